"""The main job: cases in; hardness, strength, hosel allowance, face margin, interval and warnings out.

`evaluate` marches one case or many; everything after is formulas on columns.  `estimate` is one row of it in full.
"""

import dataclasses
import functools
from collections.abc import Collection, Mapping
from dataclasses import dataclass, field
from typing import Any

import numpy as np

from ..engine.results import Results
from ..engine.run import PackedCases, march_columns
from ..face.margin import layers_of_faces, strike_margins
from ..face.strike import Faces, Strike
from ..forging.cautions import heating_limit_arrays
from ..forging.press import press_columns
from ..forging.skin import (
    Surface,
    decarburised_um,
    diffusion_um2,
    metal_loss_um,
    struck_skin_hv,
    surface_of,
)
from ..hosel.bench import Bench
from ..hosel.bend import bend_of_head
from ..hosel.limits import bends_of_heads, gradient_share
from ..inputs.cases import Cases, SteelColumns
from ..inputs.head import ZONES, Head, mass_g_of
from ..strength.tensile import Strength, strength_arrays, strength_of
from ..transformation import rate_doubt, temperatures
from ..transformation.austenite import carbide_carbon
from ..transformation.recrystallisation import press_strain_columns
from . import interval
from .second_opinions import OPINION_REHEAT_C, opinion_arrays
from .warnings.later_heats import hottest_c, relief_left
from .warnings.listing import codes_of, of_case
from .warnings.spray import crack_index

#: What `evaluate` may calculate beyond the march itself: "interval" (water law and carbides moved), "dry" (the same
#: without spray), "trace" (temperatures over time), "points" (temperature and structure of every point).
EVERYTHING = frozenset({"interval", "dry", "trace", "points"})
_NECK, _HOSEL = ZONES.index("neck"), ZONES.index("hosel")
#: Cases up to which the variants are traced too, so that one engine call serves.
_FEW = 4


@dataclass(frozen=True, eq=False)
class Evaluation:
    """Many cases after the march; the first axis of every array is the case, the second the zone."""

    cases: Cases
    results: Results
    nodes_hv: np.ndarray | None = None  # (nodes, n, 5) at `interval.spray_nodes`; NaN without spray
    dry_hv: np.ndarray | None = None  # without spray; NaN where there is none anyway
    carbide_span_hv: np.ndarray | None = None  # between carbides that dissolve slowly and fast
    #: What unsure rates take from the hardness and add to it at the ends of the 80 % interval, (2, n, 5).
    rate_ends_hv: np.ndarray | None = None
    counted_strain: Mapping[str, np.ndarray] | None = None  # the `press_strain` that is counted in
    strike: Strike = Strike()
    bench: Bench = Bench()
    options: Mapping[str, Any] = field(default_factory=dict)  # of the engine

    def __len__(self) -> int:
        return len(self.cases)

    @property
    def hardness_hv(self) -> np.ndarray:
        return self.results.hardness_hv

    @functools.cached_property
    def shares(self) -> np.ndarray:
        """Ferrite with pearlite, bainite and martensite, with those of the first heat that stay, shape (3, n, 5)."""
        r, f = self.results, self.results.fractions
        bainite, martensite = r.first_bainite, r.first_martensite
        soft = f["ferrite"] + f["pearlite"] + (f["untransformed"] - bainite - martensite)
        return np.stack([soft, f["bainite"] + bainite, f["martensite"] + martensite])

    @functools.cached_property
    def doubted(self) -> np.ndarray:
        """`shares` as `interval.hardness_sd_hv` takes them: austenite counts with martensite."""
        soft, bainite, martensite = self.shares
        return np.stack([soft, bainite, martensite + self.results.fractions["austenite"]])

    @functools.cached_property
    def strength(self) -> dict[str, np.ndarray]:
        """Strength of every zone, see `strength.tensile.strength_arrays`."""
        return self._strength_at(self.hardness_hv)

    def _strength_at(self, hardness_hv) -> dict[str, np.ndarray]:
        hv = np.clip(hardness_hv, 60.0, 900.0).ravel()
        flat = strength_arrays(hv, *self.shares.reshape(3, -1))
        return {name: a.reshape(hardness_hv.shape) for name, a in flat.items()}

    def interval_of(self, name: str) -> tuple[np.ndarray, np.ndarray]:
        """80 % interval of "hardness_hv", "tensile_mpa" or "yield_mpa", low and high, shape (n, 5).

        That of a strength joins what the hardness could be with the error of the strength at known hardness.
        """
        if name == "hardness_hv":
            return self.interval_hv
        middle = self.strength[name]
        own = interval.Z * self.strength[name.replace("_mpa", "_se_mpa")]
        low, high = (self._strength_at(end)[name] for end in self.interval_hv)
        return middle - np.hypot(middle - low, own), middle + np.hypot(high - middle, own)

    def strength_of(self, case: int, zone: int) -> Strength:
        """Strength of one zone of one case with its flow curve."""
        values = {name: float(column[case, zone]) for name, column in self.strength.items()}
        return strength_of(values, tuple(max(float(s[case, zone]), 0.0) for s in self.shares))

    @functools.cached_property
    def hosel(self) -> dict[str, np.ndarray]:
        """Hosel on the bench, see `hosel.limits.bends_of_heads`."""
        names = ("hosel_outside_mm", "hosel_bore_mm", "bend_zone_mm", "hosel_length_mm")
        metal = self.strength
        outside, bore, bent, length = map(self.cases.dimension, names)
        hosel, neck = ({name: v[:, zone] for name, v in metal.items()} for zone in (_HOSEL, _NECK))
        share = gradient_share(bent, length, self.cases.dimension("neck_length_mm"))
        return bends_of_heads(outside, bore, bent, hosel, neck, share, self.bench)

    def bend_of(self, head: Head, case: int = 0, **bench):
        """Hosel of one case in full, on a bench by the names of `hosel.bend.hosel_bend`."""
        low, high = (float(end[case, _HOSEL]) for end in self.interval_hv)
        given = {"hardness_se_hv": (high - low) / (2.0 * interval.Z), **bench}
        hosel, neck = (self.strength_of(case, zone) for zone in (_HOSEL, _NECK))
        return bend_of_head(head, hosel, neck, **given)

    @functools.cached_property
    def faces(self) -> Faces:
        """The faces as the strike meets them."""
        cases = self.cases
        mass_g = np.broadcast_to(mass_g_of(cases.heads), (len(cases.heads),))[cases.head_of]
        size = [cases.dimension(f"face_{n}_mm") for n in ("thickness", "length", "height")]
        kept = size[0] / (size[0] + cases.dimension("face_allowance_mm"))
        rim = (cases.dimension(f"rim_{n}_mm") for n in ("thickness", "length", "height"))
        swing = map(cases.dimension, ("loft_deg", "club_speed_m_s"))
        rim_hv = np.clip(self.results.layers_hv(1)[:, 0], 60.0, 900.0)
        layers = layers_of_faces(self.results.layers_hv(0), kept)
        metal = layers, rim_hv, tuple(self.shares[:, :, 0])
        core_hv, loss_um = np.clip(self.hardness_hv[:, 0], 60.0, 900.0), self.metal_loss_um[:, 0]
        water_c = np.where(cases.sprayed, self.results.water_on_c[:, 0], np.nan)
        skin = (cases.composition, self.diffusion_um2, loss_um, core_hv, water_c)
        skin = struck_skin_hv(*skin), self.decarburised_um
        return Faces(*size, tuple(rim), mass_g, *swing, *metal, *skin, relief_left(self))

    @functools.cached_property
    def strikes(self) -> dict[str, np.ndarray]:
        """Margin of the face at the strike, see `face.margin.strike_margins`."""
        return strike_margins(self.faces, self.strike)

    @property
    def face_margin(self) -> np.ndarray:
        return self.strikes["margin"]

    def quantity(self, name: str) -> np.ndarray:
        """Column that a limit is put on, by its name in `inputs.limits.QUANTITIES`, shape (n,)."""
        zone, _, rest = name.partition("_")
        if rest in ("hardness_hv", "tensile_mpa", "yield_mpa"):
            columns = self.strength if rest != "hardness_hv" else {rest: self.hardness_hv}
            return columns[rest][:, ZONES.index(zone)]
        if name in ("hosel_allowed_deg", "bar_force_n"):
            return self.hosel[name.removeprefix("hosel_")]
        if name == "scale_um":
            return self.results.scale_um[:, 0]
        if name == "forging_low_c":
            return self.results.die_c.min(axis=1)
        if name == "crack_index":
            return crack_index(self)
        return self.face_margin if name == "face_margin" else self.press[name]

    @functools.cached_property
    def sd_hv(self) -> np.ndarray:
        """Standard deviation of hardness: `own_sd_hv` and unsure rates."""
        ends = np.zeros((2, 1, 1)) if self.rate_ends_hv is None else self.rate_ends_hv
        return np.hypot(self.own_sd_hv, np.diff(ends, axis=0)[0] / (2.0 * interval.Z))

    @functools.cached_property
    def own_sd_hv(self) -> np.ndarray:
        """The same without the rates: fit residuals, spread of the methods, unsure carbides, tempering."""
        r, shape = self.results, self.hardness_hv.shape
        steel = {e: np.repeat(v, len(ZONES)) for e, v in self.cases.composition.items()}
        heat_c, share = np.clip(r.peak_c, 700.0, 1250.0).ravel(), np.minimum(r.share, 1.0).ravel()
        hold_s = np.repeat(np.maximum(self.cases.route["soak_s"], 60.0), len(ZONES))
        rate, reheated = r.rate_700_c_per_s.ravel(), r.rebound_c.ravel() > OPINION_REHEAT_C
        views = opinion_arrays(steel, rate, reheated, share, heat_c, hold_s).values()
        hv = r.as_cooled_hv.ravel()  # the methods know no later heats
        counted = np.stack([np.ones(hv.shape, bool), *(applies for _, applies in views)])
        spread = interval.opinions_spread_hv(np.stack([hv, *(v for v, _ in views)]), counted)
        spread = spread.reshape(shape) * self.hardness_hv / r.as_cooled_hv
        sd = interval.hardness_sd_hv(self.hardness_hv, *self.doubted, spread)
        span = 0.0 if self.carbide_span_hv is None else self.carbide_span_hv
        furnace_c = np.where(r.softened_hv > 0.0, r.peak_c, 0.0)
        softened = r.as_cooled_hv - self.hardness_hv + r.softened_hv
        temper_c = np.maximum(hottest_c(self)[:, None], furnace_c)
        tempering = interval.tempering_sd_hv(softened, self.hardness_hv, temper_c)
        return np.hypot(np.hypot(sd, span / (2.0 * interval.Z)), tempering)

    def far_share_of(self, zones) -> np.ndarray:
        """How far some zones are from the measured bars, see `rate_doubt.far_share`."""
        rate = self.results.rate_700_c_per_s[:, zones]
        return rate_doubt.far_share(self.cases.composition, np.where(np.isnan(rate), 1.0, rate))

    @functools.cached_property
    def rate_sd(self) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
        """Doubt of ln(rate) by the open contents, shape (n, 1), and in all, and the delay that lean steel may want, (n, 5)."""
        far = self.far_share_of(slice(None))
        steel, far_sd = self.cases.composition, interval.figures()[-1]
        doubts = rate_doubt.ln_rate_sd(steel, self.cases.content_sd, far, far_sd)
        return *doubts, rate_doubt.lean_delay(steel, far)

    @functools.cached_property
    def interval_hv(self) -> tuple[np.ndarray, np.ndarray]:
        """80 % interval of hardness, low and high."""
        hv, sd, wet = self.hardness_hv, self.own_sd_hv, self.cases.quenched
        low, high = hv - interval.Z * sd, hv + interval.Z * sd
        if self.nodes_hv is not None and wet.any():
            nodes = self.nodes_hv[:, wet].reshape(len(self.nodes_hv), -1)
            found = interval.interval_arrays(hv[wet].ravel(), sd[wet].ravel(), nodes)
            low[wet], high[wet] = (ends.reshape(-1, len(ZONES)) for ends in found)
        if self.rate_ends_hv is not None:
            # each end on its own: where the rates can only be too fast, only one moves
            fall, rise = self.rate_ends_hv
            low, high = hv - np.hypot(hv - low, fall), hv + np.hypot(high - hv, rise)
        return np.maximum(low, 60.0), np.minimum(high, 900.0)

    def chances(self, case: int, zone: int) -> dict[str, float] | None:
        """Near a cliff of one zone, the chance of each outcome (see `interval.outcome_chances`)."""
        if self.nodes_hv is None or not self.cases.sprayed[case]:
            return None
        centre, sd = float(self.hardness_hv[case, zone]), float(self.sd_hv[case, zone])
        return interval.outcome_chances(centre, sd, self.nodes_hv[:, case, zone])

    @functools.cached_property
    def critical(self) -> dict[str, np.ndarray]:
        """Ac1, Ac3, Ae3, Ms and the highest safe and working temperature of every case, °C, shape (n,)."""
        found = _critical(self.cases.steels)
        return {name: t[self.cases.steel_of] for name, t in found.items()}

    @functools.cached_property
    def furnace_c(self) -> np.ndarray:
        """Metal leaving the furnace, °C, rounded: a head at 1300.00001 °C is not outside a range to 1300."""
        return np.round(self.results.peak_c, 1)

    @functools.cached_property
    def below_ac1(self) -> np.ndarray:
        """Whether no zone forms austenite, shape (n,)."""
        return self.results.share.max(axis=1) <= 0.0

    @functools.cached_property
    def metal_loss_um(self) -> np.ndarray:
        return metal_loss_um(self.results.scale_um)

    @functools.cached_property
    def diffusion_um2(self) -> np.ndarray:
        """Time integral of carbon's diffusivity at the front of the face in the furnace, shape (n,)."""
        front = self.results.peak_c[:, 0], self.results.scale_um[:, 0]
        return diffusion_um2(self.cases.content("C"), self.critical, self.cases.route, *front)

    @functools.cached_property
    def decarburised_um(self) -> np.ndarray:
        """Depth at which 90 % of the carbon is left in the face, shape (n,)."""
        return decarburised_um(self.diffusion_um2, self.metal_loss_um[:, 0])

    def surface(self, case: int) -> Surface:
        """Skin of the face of one case."""
        r, steel = self.results, {e: float(v[case]) for e, v in self.cases.composition.items()}
        wet = self.cases.sprayed[case] and np.isfinite(r.water_on_c[case, 0])
        water_c, left = r.water_on_c[case, 0], self.cases.route["scale_left"][case]
        skin = r.scale_um[case, 0], self.diffusion_um2[case], self.hardness_hv[case, 0]
        return surface_of(steel, *map(float, skin), float(water_c) if wet else None, float(left))

    @functools.cached_property
    def press(self) -> dict[str, np.ndarray]:
        """What the press has to do, see `press_columns`."""
        return press_columns(self.cases, self.results.die_c)

    @functools.cached_property
    def press_strain(self) -> dict[str, np.ndarray]:
        """Strain left by the press when the spray starts, see `recrystallisation.press_strain`; needs a trace."""
        if self.counted_strain is not None:
            return self.counted_strain
        r = self.results
        return press_strain_columns(self.cases, r.traces, r.grain_astm, self.critical["ae3"])

    @functools.cached_property
    def strain_effect_hv(self) -> np.ndarray:
        """What the press strain left in the austenite changes in hardness, HV; needs a trace."""
        counted = self.counted_strain is not None
        speed = None if counted else self.press_strain["speed"]
        other = Results.of(march_columns(self.cases, strain_speed=speed, **self.options))
        changed_hv = other.hardness_hv - self.hardness_hv
        return -changed_hv if counted else changed_hv

    def heat_through_s(self, case: int, longest_s: float | None = None) -> float | None:
        """Time from loading until the slowest zone is within 10 °C of the furnace; None if it is not.

        Where the soak is too short, one of `longest_s` is marched if that is given.
        """
        route = self.cases.route
        set_c, soak_s = (float(route[name][case]) for name in ("preheat_c", "soak_s"))
        found = self.results.traces[case].heat_through_s(set_c, soak_s)
        if found is None and longest_s is not None and soak_s < longest_s:
            one = self.cases.rows(np.array([case]))
            one = dataclasses.replace(one, route={**one.route, "soak_s": np.array([longest_s])})
            long = Results.of(march_columns(one, trace=True, **self.options))
            found = long.traces[0].heat_through_s(set_c, longest_s)
        return found

    @functools.cached_property
    def codes(self) -> np.ndarray:
        """Codes of the warnings of every case, joined by "; "."""
        return codes_of(self)

    def warnings(self, case: int, bend=None):
        """Warnings of one case, in words; the hosel's for its bend on a bench where one is given."""
        return of_case(self, case, bend)


@functools.lru_cache(maxsize=16)
def _critical(steels: SteelColumns) -> dict[str, np.ndarray]:
    laws = {"ac1": temperatures.ac1_c, "ac3": temperatures.ac3_c, "ae3": temperatures.ae3_c}
    laws["ms"] = temperatures.martensite_start_c
    found = {name: law(steels)[:, 0] for name, law in laws.items()}
    safe, working = (limit[:, 0] for limit in heating_limit_arrays(steels))
    return found | {"safe": safe, "working": working}


def _varied(cases: Cases, rows: np.ndarray, deviates: np.ndarray) -> Cases:
    """The cases with their variants below them: the laws of water and baths at each deviate, then no spray and no quench."""
    n, wet = len(cases), slice(len(cases), len(cases) + len(deviates))
    if len(rows) == n:
        return cases
    stacked = cases.rows(rows)
    route, shop, dry = stacked.route, stacked.shop, slice(wet.stop, None)
    route["has_spray"][dry] = route["has_quench"][dry] = False
    spray = shop["spray"][wet] * np.exp(interval.spray_ln_sd(shop["spray_ln_sd"][wet]) * deviates)
    shop["spray"][wet] = np.minimum(np.maximum(spray, 0.1), 10.0)
    route["bath_factor"][wet] *= np.exp(interval.LN_SPRAY_SD * deviates)
    return stacked


def _rate_ends_hv(e, packed: PackedCases) -> np.ndarray:
    """See `Evaluation.rate_ends_hv`: the cases with all rates faster and slower."""
    _, sd, lean = e.rate_sd
    reach = interval.Z * np.stack([sd, np.hypot(sd, lean)])
    most, rows = reach.max(axis=2), np.arange(len(e))
    delay = np.concatenate([-most[0], most[1]])
    hv = packed.hardness_hv(np.concatenate([rows, rows]), ln_delay=delay)
    share = reach / np.maximum(most, 1e-9)[:, :, None]
    moved = (hv.reshape(reach.shape) - e.hardness_hv) * share
    low, high = np.minimum(*moved), np.maximum(*moved)
    return np.stack([np.minimum(low, 0.0), np.maximum(high, 0.0)])


def _carbide_span_hv(cases: Cases, results: Results, packed: PackedCases) -> np.ndarray:
    """Hardness between slow and fast carbides where that could change the answer; 0 elsewhere."""
    span, share = np.zeros_like(results.hardness_hv), results.share
    carbon = carbide_carbon(1.0, *(cases.content(e) for e in ("C", "Cr", "Mo")))
    bound = (results.undissolved * carbon[:, None]).max(axis=1)
    open_ = (share.min(axis=1) < interval.UNSURE_SHARE) | (bound > interval.UNSURE_CARBON)
    unsure = np.flatnonzero(open_ & (share.max(axis=1) > 0.0))
    if len(unsure):
        factor = np.repeat(interval.CARBIDE_SPEEDS, len(unsure))
        rows = np.concatenate([unsure, unsure])
        hv = packed.hardness_hv(rows, carbide_speed=factor)
        span[unsure] = np.abs(hv[: len(unsure)] - hv[len(unsure) :])
    return span


def evaluate(
    cases: Cases, want: Collection[str] = (), *, count_press_strain: bool = False, **options: Any
) -> Evaluation:
    """March many cases with the variants that the results need; everything else is calculated when it is read.

    `want` is any of `EVERYTHING`; with `count_press_strain` the strain that the press leaves in the
    austenite speeds ferrite and bainite; the options go to `engine.run.march_columns` (tolerance_c,
    points, threads, constants).

    The variants are further rows of the engine call: the water law at `interval.spray_nodes` and no spray, for the
    sprayed cases; a second call holds the two ends of carbide dissolution where the first finds them unsure.
    """
    n, counted, speed = len(cases), None, None
    traced = bool({"trace", "points"} & set(want))
    told = {"trace": traced and slice(n), "keep_points": "points" in want}
    if count_press_strain:
        plain = Evaluation(cases, Results.of(march_columns(cases, trace=True, **options)))
        counted, speed = plain.press_strain, plain.press_strain["speed"]

    wet = np.flatnonzero(cases.quenched)
    deviates = interval.spray_nodes() if "interval" in want else np.zeros(0)
    kinds = len(deviates) + ("dry" in want)
    rows = np.concatenate([np.arange(n), *[wet] * kinds])
    stacked = _varied(cases, rows, np.repeat(deviates, len(wet)))
    packed = PackedCases.of(stacked, None if speed is None else speed[rows], **options)
    if not traced or n <= _FEW:
        marched = packed.march(**told)
        results, rest_hv = Results.of(marched, slice(0, n)), marched.hardness_hv[n:]
    else:
        results = Results.of(packed.march(slice(0, n), **told))
        rest_hv = packed.hardness_hv(slice(n, None))
    variants = np.full((kinds, n, len(ZONES)), np.nan)
    variants[:, wet] = rest_hv.reshape(kinds, len(wet), len(ZONES))
    moved = {"dry_hv": variants[-1]} if "dry" in want else {}
    if "interval" in want:
        moved["nodes_hv"] = variants[: len(deviates)]
        moved["carbide_span_hv"] = _carbide_span_hv(cases, results, packed)
    found = Evaluation(cases, results, **moved, counted_strain=counted, options=options)
    if "interval" in want:
        found = dataclasses.replace(found, rate_ends_hv=_rate_ends_hv(found, packed))
    return found
