"""Warnings of steel, furnace and press."""

from collections.abc import Iterator

import numpy as np

from ...base.ranges import RANGES
from ...forging import cautions
from ...forging.cautions import FULL_AUSTENITE, NO_AUSTENITE
from ...hardenability.boron import effective_boron
from ...hardenability.ideal_diameter import ADDED_BORON, EFFECTIVE_BORON, ideal_diameter_warnings
from ...inputs.head import ZONES
from ...inputs.steel import UNREPORTED_SD
from ...transformation.austenite import diameter_um_from_astm
from ...transformation.rate_doubt import nearest_bar
from .rule import FACE, HOSEL, Rule, listed, of_contents, of_range, route

#: °C that a zone leaves the furnace below the preheat temperature (our own limit).
COLD_CORE_C = 15.0
#: Least sulphur of a resulphurised grade (SAE J403, from memory) and lead of a leaded one (our own limit), wt%.
FREE_CUTTING_S, FREE_CUTTING_PB = 0.08, 0.05
#: Part of the face's range that contents which the analysis leaves open may make, and distance from the measured bars of
#: which to tell (see `transformation.rate_doubt`); our own limits.
UNREPORTED_PART, FAR_SHARE = 0.5, 0.75


def _lead(e, i):
    pb = e.cases.content("Pb")[i]
    return {"lead": f" and {pb:.2f} % Pb" * bool(pb >= FREE_CUTTING_PB)}


def _by_contents_hv(e) -> np.ndarray:
    """Part of the face's range that contents left open make, HV, shape (n,)."""
    contents, sd, lean = e.rate_sd
    fall, rise = e.rate_ends_hv[:, :, FACE]
    return (rise - fall) * contents[:, 0] / np.maximum(np.hypot(sd, lean)[:, FACE], 1e-9)


def _unreported(e):
    low, high = (end[:, FACE] for end in e.interval_hv)
    no_manganese = e.cases.content_sd["Mn"] >= UNREPORTED_SD["Mn"]  # every mill reports it
    return (_by_contents_hv(e) > UNREPORTED_PART * (high - low)) | no_manganese


def _assumed(e, i):
    named = sorted(n for n, sd in e.cases.content_sd.items() if sd[i] > 0.0)
    contents = ", ".join(f"{n} {e.cases.content(n)[i]:.2g} %" for n in named)
    return {"assumed": contents, "half_hv": _by_contents_hv(e)[i] / 2}


def _nearest(e, i):
    steel = {n: v[i : i + 1] for n, v in e.cases.composition.items()}
    nearest = nearest_bar(steel, float(e.results.rate_700_c_per_s[i, FACE]))
    harder = ": the face is more likely harder than softer" * bool(e.rate_sd[2][i, FACE] > 0.3)
    return {"nearest": nearest, "harder": harder}


def _boron(e, i):
    steel = {n: float(v[i]) for n, v in e.cases.composition.items()}
    found = [w.text for w in ideal_diameter_warnings(steel) if w.code == "ideal_diameter:boron"]
    return {"said": found[0][:1].upper() + found[0][1:]}


def inputs() -> Iterator[Rule]:
    def free_cutting(e):
        return (e.cases.content("S") >= FREE_CUTTING_S) | (e.cases.content("Pb") >= FREE_CUTTING_PB)

    def far(e):
        return e.cases.sprayed & (e.far_share_of([FACE])[:, 0] > FAR_SHARE)

    def boron(e):
        return e.cases.content("B") >= ADDED_BORON

    def bound(e):
        return boron(e) & (effective_boron(e.cases) < EFFECTIVE_BORON * e.cases.content("B"))

    yield listed("free-cutting", free_cutting, _lead)
    yield from of_contents("kinetics")
    yield listed("unreported", _unreported, _assumed, needs="rate_ends_hv")
    yield listed("far-from-bars", far, _nearest)
    yield listed("boron-bound", bound, _boron)
    yield listed("boron-protected", lambda e: boron(e) & (e.cases.content_sd["Ti"] > 0.0))
    yield listed("niobium", lambda e: e.cases.content("Nb") >= 0.01)
    yield from of_contents("phase_hardness")
    # what the furnace temperature enters
    for id in ("thermal.conductivity", "thermal.cp_austenite"):
        yield of_range(id, route("preheat_c"))
    strain, flux = route("strain"), route("flux")
    yield of_range("recrystallisation.strain", strain, lambda e: strain(e) > 0.0)
    for id, name in (("thermal.spray_flux", "flux"), ("thermal.spray_water", "water_c")):
        yield of_range(id, route(name), lambda e: e.cases.route["has_spray"] & (flux(e) > 0.0))


def _cold(e, i):
    ac1, hottest = e.critical["ac1"][i], e.results.peak_c[i].max()
    which = f"No zone reaches this steel's Ac1 of {ac1:.0f} °C in the furnace (hottest {hottest:.0f} °C)"
    if e.cases.route["preheat_c"][i] < ac1:
        which = f"The preheat stays below this steel's Ac1 of {ac1:.0f} °C"
    return {"cold": which}


def _furnace_at(zone: int) -> Iterator[Rule]:
    """What the furnace does to one zone; scale and heat are said once."""

    def peak(e):
        return e.furnace_c[:, zone]

    def share(e):
        return e.results.share[:, zone]

    def overheated(e):
        return (peak(e) > e.critical["working"]) & (peak(e) <= e.critical["safe"])

    yield listed("burning", lambda e: peak(e) > e.critical["safe"], zone=zone, once=True)
    yield listed("overheating", overheated, zone=zone, once=True)

    def part(e, i):
        if share(e)[i] < NO_AUSTENITE:
            return {"part": f"None of the {ZONES[zone]} becomes austenite; it"}
        some = f"Only {100 * share(e)[i]:.0f} % of the {ZONES[zone]}"
        return {"part": f"{some} is austenite when cooling starts; the rest"}

    def carbides(e):
        alloyed = (e.cases.content("Cr") >= 0.30) | (e.cases.content("Mo") >= 0.08)
        left = e.results.undissolved[:, zone] > cautions.CARBIDES_LEFT
        return alloyed & (share(e) >= NO_AUSTENITE) & left

    def grain(e, i):
        diameter_um = diameter_um_from_astm(e.results.grain_astm[i, zone])
        return {"diameter_um": diameter_um, "limit_astm": cautions.COARSE_GRAIN_ASTM}

    def coarse(e):
        return e.results.grain_astm[:, zone] < cautions.COARSE_GRAIN_ASTM

    def scaled(e):
        return e.metal_loss_um[:, zone] > cautions.SCALE_LOSS_UM

    partial = (lambda e: (share(e) < FULL_AUSTENITE) & ~e.below_ac1), part
    yield listed("partial-austenite", *partial)
    yield listed("carbides-left", carbides, zone=zone)
    yield listed("coarse-grain", coarse, grain, zone)
    yield listed("scale", scaled, zone=zone, once=True)
    yield of_range("lee_lee_grain", lambda e: np.maximum(peak(e), 900.0))
    hot = (lambda e: np.maximum(peak(e), 700.0)), (lambda e: e.results.scale_um[:, zone] > 0.0)
    yield of_range("scale.temperature", *hot)


def _cold_core_c(e):
    return e.cases.route["preheat_c"] - e.results.peak_c.min(axis=1)


def _coldest(e, i):
    peaks, below_c = e.results.peak_c[i], _cold_core_c(e)[i]
    return {"coldest": ZONES[int(peaks.argmin())], "peak_c": peaks.min(), "below_c": below_c}


def furnace() -> Iterator[Rule]:
    def poor(e):
        return e.decarburised_um > 0.0

    def below_ac3(e):
        return poor(e) & (e.furnace_c[:, FACE] < e.critical["ac3"])

    lost = (lambda e: e.decarburised_um > cautions.DECARBURISED_UM), lambda e, i: vars(e.surface(i))
    yield listed("decarburised", *lost)
    yield listed("below-ac1", lambda e: e.below_ac1, _cold)
    hot_c = (lambda e: np.maximum(e.furnace_c[:, FACE], 700.0)), poor
    yield of_range("decarburisation.temperature", *hot_c)
    yield listed("decarb-below-ac3", below_ac3)
    yield from _furnace_at(FACE)
    yield from _furnace_at(HOSEL)
    yield listed("cold-core", lambda e: _cold_core_c(e) > COLD_CORE_C, _coldest)


def press() -> Iterator[Rule]:
    least_c = RANGES["shida.temperature"].low

    def cold(e):
        return (e.press["die_c"] < least_c) & (e.press["strain"] > 0.0)

    def temperatures(e, i):
        return {"die_c": e.press["die_c"][i], "least_c": least_c}

    yield listed("too-cold-to-press", cold, temperatures)
    yield of_range("shida.carbon", lambda e: e.cases.content("C"))
    for id, name in (("temperature", "die_c"), ("strain", "strain"), ("rate", "rate_per_s")):
        yield of_range(f"shida.{id}", lambda e, name=name: e.press[name])
