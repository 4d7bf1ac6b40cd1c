"""Warnings of steel, furnace and press."""

from collections.abc import Callable, Iterator

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
from .rule import FACE, HOSEL, Rule, of_contents, of_range, route

#: °C that a zone leaves the furnace below the preheat temperature (our own limit).
COLD_CORE_C = 15.0
#: Least sulphur of a resulphurised grade (SAE J403, from memory) and lead of a leaded one (our own limit), wt%.
FREE_CUTTING_S, FREE_CUTTING_PB = 0.08, 0.05
#: Part of the face's range that contents which the analysis leaves open may make, and distance from the measured bars of
#: which to tell (see `transformation.rate_doubt`); our own limits.
UNREPORTED_PART, FAR_SHARE = 0.5, 0.75


def _by_contents_hv(e) -> np.ndarray:
    """Part of the face's range that contents left open make, HV, shape (n,)."""
    contents, sd, lean = e.rate_sd
    fall, rise = e.rate_ends_hv[:, :, FACE]
    return (rise - fall) * contents[:, 0] / np.maximum(np.hypot(sd, lean)[:, FACE], 1e-9)


def _unreported(e):
    low, high = (end[:, FACE] for end in e.interval_hv)
    no_manganese = e.cases.content_sd["Mn"] >= UNREPORTED_SD["Mn"]  # every mill reports it
    return (_by_contents_hv(e) > UNREPORTED_PART * (high - low)) | no_manganese


def _unreported_text(e, i):
    named = {n for n, sd in e.cases.content_sd.items() if sd[i] > 0.0}
    listed = ", ".join(f"{n} {e.cases.content(n)[i]:.2g} %" for n in sorted(named))
    return (
        f"The analysis leaves contents open; {listed} assumed. They alone may move the face by ± "
        f"{_by_contents_hv(e)[i] / 2:.0f} HV: have them analysed."
    )


def _far_text(e, i):
    steel = {n: v[i : i + 1] for n, v in e.cases.composition.items()}
    nearest = nearest_bar(steel, float(e.results.rate_700_c_per_s[i, FACE]))
    harder = ": the face is more likely harder than softer" * bool(e.rate_sd[2][i, FACE] > 0.3)
    return f"No measured bar is near this steel cooled this fast (nearest: {nearest}); the range is wider for it{harder}."


def _boron_text(e, i):
    steel = {n: float(v[i]) for n, v in e.cases.composition.items()}
    found = [w.text for w in ideal_diameter_warnings(steel) if w.code == "ideal_diameter:boron"]
    return found[0][:1].upper() + found[0][1:]


def _bound_boron(e):
    b = e.cases.content("B")
    return (b >= ADDED_BORON) & (effective_boron(e.cases) < EFFECTIVE_BORON * b)


def _free_cutting(e, i):
    s, pb = (e.cases.content(element)[i] for element in ("S", "Pb"))
    lead = f" and {pb:.2f} % Pb" * bool(pb >= FREE_CUTTING_PB)
    return (
        f"{s:.2f} % S{lead} make a free-cutting steel: it is short when hot, its hosel cracks when bent, a thin face "
        "fails early, and no number here includes that."
    )


def _is_free_cutting(e):
    return (e.cases.content("S") >= FREE_CUTTING_S) | (e.cases.content("Pb") >= FREE_CUTTING_PB)


def _far(e):
    return e.cases.sprayed & (e.far_share[:, FACE] > FAR_SHARE)


def _protected_boron(e):
    return (e.cases.content("B") >= ADDED_BORON) & (e.cases.content_sd["Ti"] > 0.0)


def _protected_text(e, i):
    return (
        f"Boron {e.cases.content('B')[i]:.2g} wt% is taken as protected by {e.cases.content('Ti')[i]:.3f} wt% of "
        "titanium, which the analysis does not name; without titanium it does little."
    )


def _niobium_text(e, i):
    return (
        f"Niobium {e.cases.content('Nb')[i]:.3g} wt% is counted as grain pinning only: strength that it keeps "
        "from the first forging heat is not."
    )


def inputs() -> Iterator[Rule]:
    yield Rule("free-cutting", "change", _is_free_cutting, _free_cutting)
    yield from of_contents("kinetics")
    yield Rule("unreported", "change", _unreported, _unreported_text, "rate_ends_hv")
    yield Rule("far-from-bars", "note", _far, _far_text)
    yield Rule("boron-bound", "change", _bound_boron, _boron_text)
    yield Rule("boron-protected", "note", _protected_boron, _protected_text)
    yield Rule("niobium", "note", lambda e: e.cases.content("Nb") >= 0.01, _niobium_text)
    yield from of_contents("phase_hardness")
    # what the furnace temperature enters
    for id in ("thermal.conductivity", "thermal.cp_austenite"):
        yield of_range(id, route("preheat_c"))
    strain, flux = route("strain"), route("flux")
    yield of_range("recrystallisation.strain", strain, lambda e: strain(e) > 0.0)
    for id, name in (("thermal.spray_flux", "flux"), ("thermal.spray_water", "water_c")):
        yield of_range(id, route(name), lambda e: e.cases.route["has_spray"] & (flux(e) > 0.0))


def _decarburised(e, i):
    skin = e.surface(i)
    return (
        f"The skin has lost carbon to {skin.decarburised_um:.0f} µm (skin {skin.skin_hv:.0f} HV, below it "
        f"{skin.sound_hv:.0f} HV): grind or mill it off where the face must be hard, or heat shorter."
    )


def _below_ac1(e, i):
    ac1, hottest = e.critical["ac1"][i], e.results.peak_c[i].max()
    which = f"No zone reaches this steel's Ac1 of {ac1:.0f} °C in the furnace (hottest {hottest:.0f} °C)"
    if e.cases.route["preheat_c"][i] < ac1:
        which = f"The preheat stays below this steel's Ac1 of {ac1:.0f} °C"
    return f"{which}: nothing hardens; the head keeps its first-heat structure, tempered."


def _below_ac3(e, i):
    return (
        f"{e.furnace_c[i, FACE]:.0f} °C is below Ac3 ({e.critical['ac3'][i]:.0f} °C): a carbon-free ferrite rim "
        "can form, and the decarburised depth given is an upper bound."
    )


def _alloyed(e):
    return (e.cases.content("Cr") >= 0.30) | (e.cases.content("Mo") >= 0.08)


def _furnace_at(zone: int) -> Iterator[Rule]:
    """What the furnace does to one zone; scale and heat are said once."""
    where = f"the {ZONES[zone]}"

    def at(column: Callable) -> Callable:
        return lambda e: column(e)[:, zone]

    peak = at(lambda e: e.furnace_c)
    share, grain = at(lambda e: e.results.share), at(lambda e: e.results.grain_astm)
    undissolved, scale = at(lambda e: e.results.undissolved), at(lambda e: e.results.scale_um)

    def safe(e):
        return e.heating_limits[0][:, 0]

    def working(e):
        return e.heating_limits[1][:, 0]

    def above(limit, name: str, then: str):
        def text(e, i):
            hot = f"{peak(e)[i]:.0f} °C is above {limit(e)[i]:.0f} °C"
            return f"{hot}, the {name} limit of {e.cases.steel_name(i)}: {then}."

        return text

    melts = above(safe, "safe", "the grain boundaries may melt, which nothing repairs")
    coarsens = above(working, "working", "expect very coarse, brittle grain")

    def overheated(e):
        return (peak(e) > working(e)) & (peak(e) <= safe(e))

    yield Rule("burning", "stop", lambda e: peak(e) > safe(e), melts, once=True)
    yield Rule("overheating", "change", overheated, coarsens, once=True)

    def partial(e, i):
        keeps = "the first-heat structure, tempered, and stays soft"
        if share(e)[i] < NO_AUSTENITE:
            return f"None of {where} becomes austenite; it keeps {keeps}."
        part = f"Only {100 * share(e)[i]:.0f} % of {where} is austenite when cooling starts"
        return f"{part}; the rest keeps {keeps}."

    yield Rule(
        "partial-austenite", "change", lambda e: (share(e) < FULL_AUSTENITE) & ~e.below_ac1, partial
    )
    yield Rule(
        "carbides-left",
        "note",
        lambda e: (
            _alloyed(e) & (share(e) >= NO_AUSTENITE) & (undissolved(e) > cautions.CARBIDES_LEFT)
        ),
        lambda e, i: (
            f"About {100 * undissolved(e)[i]:.0f} % of the Cr-Mo carbides of {where} are not dissolved; it "
            "hardens less than its analysis promises. Soak longer or hotter."
        ),
    )
    yield Rule(
        "coarse-grain",
        "change",
        lambda e: grain(e) < cautions.COARSE_GRAIN_ASTM,
        lambda e, i: (
            f"The austenite grain of {where} grows to ASTM {grain(e)[i]:.1f} "
            f"({diameter_um_from_astm(grain(e)[i]):.0f} µm), coarser than {cautions.COARSE_GRAIN_ASTM:.0f}: less "
            "tough, and the hosel hardens more in air."
        ),
    )
    yield Rule(
        "scale",
        "change",
        lambda e: e.metal_loss_um[:, zone] > cautions.SCALE_LOSS_UM,
        lambda e, i: (
            f"Scale of {scale(e)[i]:.0f} µm takes {e.metal_loss_um[i, zone]:.0f} µm of metal from each side "
            "and must come off before the press or it is pressed in."
        ),
        once=True,
    )
    yield of_range("lee_lee_grain", lambda e: np.maximum(peak(e), 900.0))
    hot_c = at(lambda e: np.maximum(e.furnace_c, 700.0))
    yield of_range("scale.temperature", hot_c, lambda e: scale(e) > 0.0)


def _cold_core_c(e):
    return e.cases.route["preheat_c"] - e.results.peak_c.min(axis=1)


def _cold_core(e, i):
    peaks = e.results.peak_c[i]
    return (
        f"The {ZONES[int(peaks.argmin())]} leaves the furnace at {peaks.min():.0f} °C, "
        f"{_cold_core_c(e)[i]:.0f} °C below the preheat temperature: soak longer."
    )


def _poor(least_um: float = 0.0) -> Callable:
    return lambda e: e.decarburised_um > least_um


def _hot_c(e):
    return np.maximum(e.furnace_c[:, FACE], 700.0)


def _rimmed(e):
    return _poor()(e) & (e.furnace_c[:, FACE] < e.critical["ac3"])


def furnace() -> Iterator[Rule]:
    yield Rule("decarburised", "change", _poor(cautions.DECARBURISED_UM), _decarburised)
    yield Rule("below-ac1", "change", lambda e: e.below_ac1, _below_ac1)
    yield of_range("decarburisation.temperature", _hot_c, _poor())
    yield Rule("decarb-below-ac3", "note", _rimmed, _below_ac3)
    yield from _furnace_at(FACE)
    yield from _furnace_at(HOSEL)
    yield Rule("cold-core", "change", lambda e: _cold_core_c(e) > COLD_CORE_C, _cold_core)


def _cold_press(e):
    return (e.press["die_c"] < RANGES["shida.temperature"].low) & (e.press["strain"] > 0.0)


def _cold_press_text(e, i):
    low = RANGES["shida.temperature"].low
    return (
        f"The metal is at {e.press['die_c'][i]:.0f} °C in the die: do not press.  Below {low:.0f} °C no flow stress is known, and "
        "press, die or head may break."
    )


def press() -> Iterator[Rule]:
    yield Rule("too-cold-to-press", "stop", _cold_press, _cold_press_text)
    yield of_range("shida.carbon", lambda e: e.cases.content("C"))
    yield of_range("shida.temperature", lambda e: e.press["die_c"])
    yield of_range("shida.strain", lambda e: e.press["strain"])
    yield of_range("shida.rate", lambda e: e.press["rate_per_s"])
