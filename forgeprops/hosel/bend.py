"""How far the hosel will bend: the least of strain, force on the bar, re-bends and wall, and why.

The mechanics are in `section` (moment–curvature), `bench` (along the bend zone), `rebend` (low-cycle
fatigue) and `allowance` (the least of the limits, for thousands at once); here is the answer for one hosel,
with its words. No open measurement of hosel bends exists: the intervals rest on assumptions, named beside
each default.
"""

from __future__ import annotations

import dataclasses
import inspect
import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from ..base.errors import InputError, check_choice, check_flag, check_number
from ..base.ranges import Warn, outside
from ..strength.hardness_scales import hv_to_hb_array
from ..strength.tensile import Strength
from .allowance import DEFAULTS, allowed, allowed_deg_array
from .bench import LIMITS, Bench, along, angles, curve_at, limit_forces, yield_force
from .bending_moment import elastic_modulus_mm3, plastic_modulus_mm3
from .cases import (
    after_bends,
    bench_of,
    between,
    eccentric_factors,
    force_of,
    gradient_share,
    material_of,
    moved,
    over_strain,
)
from .fatigue import cycles_to_crack, roessle_fatemi, uniform_material_law

__all__ = [
    "CAUTIONS",
    "EASE",
    "HoselBend",
    "allowed_deg_array",
    "bench_options",
    "bend_of_head",
    "ease_of",
    "hosel_bend",
]

#: Rows of data/sources behind each public formula; () is bookkeeping without one.
SOURCES = {
    "hosel_bend": (
        "tube_section",
        "moment_curvature",
        "bench_beam",
        "strain_fraction",
        "bend_zone",
        "bar",
        "strain_life",
        "roessle_fatemi",
        "uniform_material_law",
        "scatter_factor",
        "bore_out_of_round",
        "bauschinger",
        "ovalisation",
        "wrinkling",
    ),
    "bend_of_head": (
        "tube_section",
        "moment_curvature",
        "bench_beam",
        "strain_fraction",
        "bend_zone",
        "bar",
        "strain_life",
        "roessle_fatemi",
        "uniform_material_law",
        "scatter_factor",
        "bore_out_of_round",
        "bauschinger",
        "ovalisation",
        "wrinkling",
    ),
    "bench_options": (),
    "ease_of": ("hand_force_225", "hand_force_400"),
}

#: What must stand beside every bend allowance.
CAUTIONS = (
    "A hard or notched hosel can snap without warning and the bar flies on: wear eye protection, stand to "
    "the side and keep others away.",
    "Clamp the head close to the neck on a full, padded seat; a head that shifts bends where it should not.",
    "Bend slowly and unload to measure; stop at the first crack, wrinkle or sudden give.",
    "These numbers are for bare forged steel in one piece; never bend plated, cast or welded parts by them.",
    "An estimate never replaces a trial bend on a head of the same heat and route.",
)

#: Force by hand on the end of the bar, N, and what it means.  225 N: recommended upper limit of a standing
#: push or pull with the whole body, 110 N with the arms alone (Ergonomic Design for People at Work, as
#: reprinted at scribd.com 430010241, read).  400 N: greatest mean pull of standing men (Das & Wang, Int. J.
#: Occup. Saf. Ergon. 10 (2004) 43, abstract read).
EASE = (
    (110.0, "easy: arm force alone"),
    (225.0, "firm: a steady pull with the body"),
    (400.0, "heavy: the most a strong person pulls, too much for daily work"),
    (math.inf, "beyond the hand: a longer bar or a screw bender"),
)

#: Bend zones always shown, mm.  Nobody has measured it: 10–20 mm lies free between bar and clamp (our
#: estimate).
LENGTHS_MM = (10.0, 20.0)

_REASONS = {
    "strain": "Strain ends it: the outer fibre is at {strain:.1f} %, the stated share of what the steel "
    "stretches evenly.",
    "bar force": "The bar ends it: more would need more force than a hand should put on this bar.",
    "re-bends": "Re-bending ends it: more would not leave the stated number of bends there and back before a "
    "crack (outer fibre at {strain:.1f} %).",
    "wall": "The wall ends it: more would flatten the bore past what the glue gap of the shaft takes.",
}


def ease_of(force_n: float) -> str:
    """Grade of ease of a hand force on the bar, in words.

    Examples
    --------
    >>> ease_of(180)
    'firm: a steady pull with the body'
    """
    return next(words for limit, words in EASE if force_n <= limit)


@dataclass(frozen=True)
class HoselBend:
    """What the hosel will take.

    Attributes
    ----------
    allowed_deg, allowed_deg_low, allowed_deg_high : float
        Permanent change either way, degrees, with an 80 % interval that rests on assumptions.
    governed_by : {"strain", "bar force", "re-bends", "wall"}
        The limit that comes first.
    allowed_by : dict of str to float
        Degrees by each limit alone, counted no further than where the outer fibre reaches uniform strain.
    for_length : dict of float to float
        Allowed degrees for a bend zone of 10 and of 20 mm.
    target_deg, direction_deg : float
        Wanted change (loft and lie added as vectors) and where to pull: 0° towards a more upright lie, 90°
        towards a weaker loft, as a right-handed head turns; mirrored for a left-handed one.
    bar_force_n, ease : float, str
        Force on the end of the bar that leaves the wanted change, and what that is for a hand.
    springback_deg, overbend_deg : float
        What springs back from the wanted change, and the angle to go to under load.
    yield_moment_nm, limit_moment_nm : float
        First yield (less residual stress) and fully plastic moment without hardening, at the hosel.
    return_force_n : float
        Force that starts to bend back after the wanted change (Bauschinger effect).
    outer_strain : float
        Greatest outer-fibre strain at the allowed change, under load.
    bends_at_mm : float
        Where the hosel bends most, from the bar's mouth.
    rebends_left : dict of str to float
        Cycles of ± the wanted change to a crack by each fatigue method, scatter factor and history taken off.
    strength : Strength
    hardness_hv : float
    warnings : tuple of Warn
    bench : Bench
        The case itself, for `along` and `moment_angle`.
    hand : {"right", "left"}
        Whose head it is.
    """

    allowed_deg: float
    allowed_deg_low: float
    allowed_deg_high: float
    governed_by: str
    allowed_by: Mapping[str, float]
    for_length: Mapping[float, float]
    target_deg: float
    direction_deg: float
    bar_force_n: float
    ease: str
    springback_deg: float
    overbend_deg: float
    yield_moment_nm: float
    limit_moment_nm: float
    return_force_n: float
    outer_strain: float
    bends_at_mm: float
    rebends_left: Mapping[str, float]
    strength: Strength = dataclasses.field(repr=False)
    hardness_hv: float
    warnings: tuple[Warn, ...]
    bench: Bench = dataclasses.field(repr=False, compare=False)
    hand: str = "right"

    @property
    def cautions(self) -> tuple[str, ...]:
        """What must be said beside the number."""
        return CAUTIONS

    @property
    def pull(self) -> str:
        """Which way to pull the bar, in words; the head is clamped.

        Towards the toe the lie gets more upright, towards the face side the loft weaker, for either hand.
        """
        turn = math.radians(self.direction_deg if self.hand == "right" else -self.direction_deg)
        lie, loft = math.cos(turn), math.sin(turn)
        first = "towards the toe" if lie > 0.0 else "towards the heel"
        second = "the face side" if loft > 0.0 else "the back"
        if abs(loft) < 0.01:
            return first
        if abs(lie) < 0.01:
            return f"towards {second}"
        return f"{first}, turned {math.degrees(math.atan2(abs(loft), abs(lie))):.0f}° to {second}"

    def along(self, degrees: float | None = None) -> dict[str, np.ndarray]:
        """Section, moment, curvature and strain along the bend zone under the load that leaves `degrees`.

        Parameters
        ----------
        degrees : float, optional
            Permanent change; None: the allowed one.
        """
        angle = (
            self.allowed_deg if degrees is None else check_number(degrees, "bend", 0.0, 45.0, "°")
        )
        return along(self.bench, force_of(self.bench, angle))

    def moment_angle(self, to_deg: float | None = None, points: int = 60) -> dict[str, np.ndarray]:
        """Loading curve: bar force, moment at the clamp, angle under load, permanent angle.

        Parameters
        ----------
        to_deg : float, optional
            Greatest permanent angle; None: one and a half times the allowed one, at least 1°.
        """
        top = max(1.5 * self.allowed_deg, 1.0)
        if to_deg is not None:
            top = check_number(to_deg, "bend", 0.1, 45.0, "°")
        start, end = float(yield_force(self.bench)[0]), force_of(self.bench, top)
        force = np.r_[np.linspace(0.0, start, 5)[1:], np.linspace(start, end, points)[1:]]
        case = self.bench.part(np.zeros(force.size, dtype=int))
        permanent, sprung = angles(case, force)
        return {
            "force_n": force,
            "moment_nm": force * (case.bar_mm + case.length_mm) / 1000.0,
            "angle_deg": np.degrees(permanent + sprung),
            "permanent_deg": np.degrees(permanent),
        }

    def words(self) -> str:
        """The answer in sentences."""
        short, long = sorted(self.for_length)
        bar, length = float(self.bench.bar_mm[0]), float(self.bench.length_mm[0])
        lines = [
            f"The hosel ({self.hardness_hv:.0f} HV) takes {self.allowed_deg:.1f}° at most, either way "
            f"({self.allowed_deg_low:.1f} to {self.allowed_deg_high:.1f}°, resting on assumptions): "
            f"{self.for_length[short]:.1f}° if only {short:.0f} mm of it bend, "
            f"{self.for_length[long]:.1f}° if {long:.0f} mm do.",
            _REASONS[self.governed_by].format(strain=100 * self.outer_strain),
        ]
        force = f"{self.bar_force_n:.0f} N on the end of the {bar:.0f} mm bar ({self.ease})"
        if self.target_deg == 0.0:
            pass
        elif self.target_deg <= self.allowed_deg:
            lines.append(
                f"A change of {self.target_deg:.1f}° needs {force}, {self.pull}; go to "
                f"{self.overbend_deg:.1f}° under load, {self.springback_deg:.1f}° of it springs "
                "back."
            )
        else:
            lines.append(
                f"A change of {self.target_deg:.1f}° is more than it allows; it would need {force}."
            )
        if self.bends_at_mm < 0.75 * length:
            lines.append(
                f"It bends first {self.bends_at_mm:.0f} mm from the bar, not at the clamp."
            )
        return " ".join(lines)


def hosel_bend(
    outside_mm: float = 13.4,
    bore_mm: float = 9.4,
    length_mm: float = 20.0,
    hardness_hv: float = 210.0,
    *,
    fractions: Mapping[str, float] | None = None,
    material: Strength | None = None,
    hardness_se_hv: float = 0.0,
    neck_hardness_hv: float | None = None,
    neck_fractions: Mapping[str, float] | None = None,
    neck_material: Strength | None = None,
    neck_outside_mm: float | None = None,
    bored_mm: float = DEFAULTS["bored_mm"],
    eccentricity_mm: float = 0.0,
    bar_mm: float = DEFAULTS["bar_mm"],
    force_limit_n: float = DEFAULTS["force_limit_n"],
    target_lie_deg: float = 2.0,
    target_loft_deg: float = 0.0,
    hand: str = "right",
    strain_fraction: float = DEFAULTS["strain_fraction"],
    notch_factor: float = DEFAULTS["notch_factor"],
    bore_factor: float = DEFAULTS["bore_factor"],
    plating_factor: float = DEFAULTS["plating_factor"],
    residual_stress_mpa: float = 0.0,
    bauschinger: float = 0.7,
    rebends: float = DEFAULTS["rebends"],
    scatter_factor: float = DEFAULTS["scatter_factor"],
    bore_out_of_round_mm: float = DEFAULTS["bore_out_of_round_mm"],
    wall_thinning: float = DEFAULTS["wall_thinning"],
    history_deg: Sequence[float] = (),
    aged: bool = False,
) -> HoselBend:
    """How far a hosel bends, by which limit, with what force and springback.

    Parameters
    ----------
    outside_mm, bore_mm : float
        Hosel at the bar's mouth, mm (13.4 × 9.4 lies inside the usual 12.5–14 × 9.1–9.5).
    length_mm : float
        Free length between the bar's mouth and the clamp, mm, 3 to 60.  **Nobody has measured how much of it
        bends**; 20 mm is the long end of our estimate of 10–20, and the answer is given for both.
    hardness_hv : float
        At the bar's mouth, HV.
    fractions, material : optional
        Structure, or a ready `Strength`.  Without either the all-data regression speaks.
    hardness_se_hv : float
        Standard error of the hardness; widens the interval.
    neck_hardness_hv, neck_fractions, neck_material, neck_outside_mm : optional
        The same at the clamp; straight lines between (gradient and taper).  None: as at the bar's mouth.
    bored_mm : float
        Bored length from the bar's mouth, mm; solid beyond.  Default: bored through (the weaker case).
    eccentricity_mm : float
        Offset of the bore, mm; the worse direction is reckoned.
    bar_mm : float
        From the hand to the bar's mouth, mm.  500 is a usual bending bar (common practice, no source).
    force_limit_n : float
        Greatest force on the bar, N.  400 is the greatest mean pull of standing men (`EASE`); daily work:
        225.
    target_lie_deg, target_loft_deg : float
        Wanted change; they add as vectors.  2° of lie is common practice for forged low-carbon heads.
    hand : {"right", "left"}
        Head turned for a right- or a left-handed player.
    strain_fraction : float
        Allowed outer-fibre strain as a share of the true uniform strain.  0.4 (0.3–0.5) is our suggestion, no
        source: bending has a strain gradient and does not neck at uniform strain, but a forged hosel has a
        decarburised, stamped and polished skin and a bore edge, and must still carry the strike.
    notch_factor, bore_factor : float
        Strain concentration at the outer fibre (stamp, scratch) and at the bore edge; 1: none.
    plating_factor : float
        Share of the allowed strain that a plated skin takes; 1: bare.  Chrome cracks at 0.1–0.5 % (from
        memory).
    residual_stress_mpa : float
        Tension left at the outer fibre; lowers the first-yield moment, not the plastic one.
    bauschinger : float
        Yield in reverse over yield, 0.3–1; 0.7 from memory.
    rebends : float
        Cycles of ± the bend that the hosel must survive.  5: refitted now and then (our choice).
    scatter_factor : float
        On cycles to a crack of smooth bars (see `rebend.SCATTER_FACTOR`).
    bore_out_of_round_mm : float
        Allowed change of bore diameter, mm; 0.10 is a usual glue gap (0.05–0.15, from memory).
    wall_thinning : float
        Allowed thinning of the wall; 0.10 is our choice.
    history_deg : sequence of float
        Earlier bends in order, signed degrees (+2, −1 …).  Each counts as half a fatigue cycle; the angle
        they leave uses up strain.
    aged : bool
        Time or warmth since: strain ageing raises yield and shortens the uniform strain.

    Returns
    -------
    HoselBend

    Raises
    ------
    InputError
        A dimension that cannot be built, or a number out of bounds.

    Notes
    -----
    The interval combines as independent: one standard error × 1.28 of strength (with hardness) and of uniform
    elongation, strain share 0.3–0.5, scatter factor 10–40.  The bend length is kept out of it (`for_length`).

    Examples
    --------
    >>> soft = hosel_bend(hardness_hv=150, fractions={"ferrite": 0.75, "pearlite": 0.25})
    >>> soft.governed_by, round(soft.allowed_deg, 1), round(soft.springback_deg, 1)
    ('re-bends', 4.6, 0.4)
    >>> hard = hosel_bend(hardness_hv=320, fractions={"bainite": 0.6, "martensite": 0.4})
    >>> hard.governed_by, hard.allowed_deg < 0.5
    ('bar force', True)
    """
    out_d = check_number(outside_mm, "hosel outside diameter", 6.0, 40.0, "mm")
    bore = check_number(bore_mm, "hosel bore", 0.0, 39.0, "mm")
    if bore > out_d - 1.0:
        raise InputError(
            f"hosel bore is {bore:g} mm in a {out_d:g} mm hosel; allowed is "
            "a wall of 0.5 mm or more."
        )
    numbers = {
        "outside_mm": out_d,
        "bore_mm": bore,
        "length_mm": check_number(length_mm, "bend zone", 3.0, 60.0, "mm"),
        "neck_outside_mm": out_d
        if neck_outside_mm is None
        else check_number(neck_outside_mm, "neck diameter", bore + 1.0, 60.0, "mm"),
        "bored_mm": 1e6
        if bored_mm == math.inf
        else check_number(bored_mm, "bored length", 0.0, 1e6, "mm"),
        "bar_mm": check_number(bar_mm, "bar length", 50.0, 3000.0, "mm"),
        "force_limit_n": check_number(force_limit_n, "force limit", 10.0, 20_000.0, "N"),
        "strain_fraction": check_number(strain_fraction, "share of uniform strain", 0.05, 1.0),
        "notch_factor": check_number(notch_factor, "notch factor", 1.0, 10.0),
        "bore_factor": check_number(bore_factor, "bore factor", 1.0, 10.0),
        "plating_factor": check_number(plating_factor, "plating factor", 0.01, 1.0),
        "rebends": check_number(rebends, "re-bends", 0.5, 10_000.0),
        "scatter_factor": check_number(scatter_factor, "scatter factor", 1.0, 1000.0),
        "bore_out_of_round_mm": check_number(
            bore_out_of_round_mm, "bore out of round", 0.005, 2.0, "mm"
        ),
        "wall_thinning": check_number(wall_thinning, "wall thinning", 0.005, 0.5),
        "used_strain": 0.0,
        "fibre_factor": 1.0,
        "moment_factor": 1.0,
    }
    offset = check_number(eccentricity_mm, "bore eccentricity", 0.0, 0.45 * (out_d - bore), "mm")
    lie = check_number(target_lie_deg, "lie change", -15.0, 15.0, "°")
    loft = check_number(target_loft_deg, "loft change", -15.0, 15.0, "°")
    hand = check_choice(hand, "hand", ("right", "left"))
    residual = check_number(residual_stress_mpa, "residual stress", 0.0, 1500.0, "MPa")
    reverse = check_number(bauschinger, "Bauschinger factor", 0.3, 1.0)
    spread_hv = check_number(hardness_se_hv, "standard error of hardness", 0.0, 300.0, "HV")
    past = [check_number(d, "earlier bend", -20.0, 20.0, "°") for d in history_deg]

    check_flag(aged, "aged")
    here = material_of(hardness_hv, fractions, material, "material")
    neck = here
    if not (neck_hardness_hv is None and neck_fractions is None and neck_material is None):
        neck_hv = here.hardness_hv if neck_hardness_hv is None else neck_hardness_hv
        neck = material_of(
            neck_hv,
            fractions if neck_fractions is None else neck_fractions,
            neck_material,
            "neck material",
        )
    once = {
        w.code: w for w in (*neck.warnings, *here.warnings)
    }  # a range once, with the hosel's value
    notes = [*once.values(), outside("hosel_length", numbers["length_mm"])]

    if offset > 0.0:
        numbers |= eccentric_factors(here, numbers, offset)
    damage = 0.0
    if past:
        here, neck, damage = after_bends(past, here, neck, numbers, aged, notes)
    notes += _advice(here, numbers, aged and not past)

    bench = bench_of(here, neck, numbers)
    shown = [bench_of(here, neck, numbers, length_mm=x) for x in LENGTHS_MM]
    cases = [bench, *shown, *moved(here, neck, numbers, spread_hv)]
    answer = allowed(
        Bench(
            **{
                f.name: np.concatenate([getattr(c, f.name) for c in cases])
                for f in dataclasses.fields(Bench)
            }
        )
    )
    degrees = answer["allowed_deg"]
    now, shift = float(degrees[0]), degrees[1 + len(shown) :] - degrees[0]
    low = max(now - math.sqrt(float(np.sum(np.minimum(shift, 0.0) ** 2))), 0.0)
    high = now + math.sqrt(float(np.sum(np.maximum(shift, 0.0) ** 2)))

    target = math.hypot(lie, loft)
    force = force_of(bench, target)
    permanent, sprung = (float(np.degrees(a[0])) for a in angles(bench, np.array([force])))
    at_allowed = along(bench, float(answer["force_n"][0]))
    place = int(np.argmax(at_allowed["outer_strain"]))
    strain = float(at_allowed["outer_strain"][place])
    notes.append(outside("hosel_strain", strain))
    if LIMITS[int(answer["governed_by"][0])] == "re-bends":
        notes.append(outside("roessle_fatemi", float(hv_to_hb_array(here.hardness_hv)[0])))
    most = float(at_allowed["permanent_strain"][place]) / (
        0.5 * float(at_allowed["outside_mm"][place])
    )
    if most > 0.0 and math.radians(now) / most < 0.25 * out_d:
        notes.append(
            Warn(
                "hosel:gathers",
                "All the bending gathers in less than a quarter of the diameter (taper, end of the "
                "bore, hardness gradient); the beam picture is cautious there: try it.",
            )
        )
    if now < 0.05:
        notes.append(
            Warn("hosel:too-strong", "Within these limits the hosel only springs; no bend stays.")
        )
    turn = math.degrees(math.atan2(loft, lie)) if target else 0.0
    return HoselBend(
        allowed_deg=now,
        allowed_deg_low=low,
        allowed_deg_high=high,
        governed_by=LIMITS[int(answer["governed_by"][0])],
        allowed_by=_by_each(bench, here, neck, numbers),
        for_length={x: float(degrees[1 + i]) for i, x in enumerate(LENGTHS_MM)},
        target_deg=target,
        direction_deg=turn if hand == "right" else -turn,
        bar_force_n=force,
        ease=ease_of(force),
        springback_deg=sprung,
        overbend_deg=permanent + sprung,
        yield_moment_nm=_first_yield_nm(bench, residual),
        limit_moment_nm=here.yield_mpa * plastic_modulus_mm3(out_d, bore) / 1000.0,
        return_force_n=_return_force(bench, force, reverse),
        outer_strain=strain,
        bends_at_mm=float(at_allowed["s_mm"][place]),
        rebends_left=_rebends_left(bench, here, force, damage) if target else {},
        strength=here,
        hardness_hv=here.hardness_hv,
        warnings=tuple(n for n in notes if n is not None),
        bench=bench,
        hand=hand,
    )


def bench_options(bench: Mapping | None) -> dict:
    """Check a bench given as a mapping by the names of `hosel_bend`; head and strengths are not part of it.

    Raises
    ------
    InputError
        Not a mapping, or a name that is no option of the bench; the nearest is suggested.

    Examples
    --------
    >>> bench_options({"bar_mm": 600.0})
    {'bar_mm': 600.0}
    """
    if bench is None:
        return {}
    if not isinstance(bench, Mapping):
        kind = type(bench).__name__
        raise InputError(
            f"bench is {kind} {bench!r:.60}; allowed is a mapping such as {{'bar_mm': 600}}."
        )
    for name in bench:
        check_choice(name, "bench option", _BENCH_NAMES)
    return dict(bench)


def bend_of_head(head, hosel: Strength, neck: Strength, **options) -> HoselBend:
    """`hosel_bend` of a head from the strengths of its hosel and neck zones.

    The head's ``bend_zone_mm`` is by definition the length over which the bend spreads: straight, bored
    hosel.  Taper and solid neck are stronger and stay out of it; the hardness gradient across it is kept.

    Parameters
    ----------
    head : forgeprops.head.Head
    hosel, neck : Strength
        Of the two zones.
    **options
        As in `hosel_bend`.
    """
    return hosel_bend(
        head.hosel.outside_mm,
        head.hosel.bore_mm,
        head.hosel.bend_zone_mm,
        material=hosel,
        neck_material=between(hosel, neck, gradient_share(head)),
        **options,
    )


_OF_THE_HEAD = (
    "outside_mm",
    "bore_mm",
    "length_mm",
    "hardness_hv",
    "fractions",
    "material",
    "neck_hardness_hv",
    "neck_fractions",
    "neck_material",
)
#: What a bench may set: the keywords of `hosel_bend` that are not the head's.
_BENCH_NAMES = tuple(
    name for name in inspect.signature(hosel_bend).parameters if name not in _OF_THE_HEAD
)


# ---- pieces of the answer ----------------------------------------------------------------------------------


def _advice(here: Strength, numbers: Mapping[str, float], aged_without_bend: bool) -> list[Warn]:
    notes = []
    if aged_without_bend:
        notes.append(
            Warn("hosel:ageing", "Strain ageing needs an earlier bend; history_deg names none.")
        )
    if here.yield_plateau_strain > 0.002:
        notes.append(
            Warn(
                "hosel:plateau",
                "Low-carbon steel yields in a plateau: it gives suddenly, then stiffens. A bend "
                "that rested for days or was warmed has aged: stiffer, less ductile.",
            )
        )
    if numbers["plating_factor"] < 1.0:
        notes.append(
            Warn("hosel:plating", "A plated skin cracks first; its factor is an assumption.")
        )
    return notes


def _by_each(
    bench: Bench, here: Strength, neck: Strength, numbers: Mapping[str, float]
) -> dict[str, float]:
    """Degrees by each limit alone, no further than where the outer fibre reaches uniform strain."""
    forces = limit_forces(bench)
    bare = bench_of(
        here,
        neck,
        numbers,
        strain_fraction=1.0,
        plating_factor=1.0,
        notch_factor=1.0,
        bore_factor=1.0,
        used_strain=0.0,
    )
    most = limit_forces(bare)["strain"]
    case = bench.part(np.zeros(len(LIMITS), dtype=int))
    permanent, _ = angles(case, np.minimum(np.concatenate([forces[name] for name in LIMITS]), most))
    return dict(zip(LIMITS, np.degrees(permanent).tolist(), strict=True))


def _rebends_left(
    bench: Bench, material: Strength, force: float, damage: float
) -> dict[str, float]:
    amplitude = over_strain(bench, force) * float(bench.notch_factor[0])
    lives = {
        "Roessle–Fatemi": roessle_fatemi(material.hardness_hv),
        "uniform material law": uniform_material_law(material.tensile_mpa),
    }
    left = max(1.0 - damage, 0.0) / float(bench.scatter_factor[0])
    return {name: float(cycles_to_crack(life, amplitude)) * left for name, life in lives.items()}


def _first_yield_nm(bench: Bench, residual_mpa: float) -> float:
    """First yield at the hosel's section, residual tension taken off."""
    left = max(float(bench.yield_mpa[0]) - residual_mpa, 0.0)
    section = elastic_modulus_mm3(float(bench.outside_mm[0]), float(bench.bore_mm[0]))
    return left * section * float(bench.moment_factor[0]) / float(bench.fibre_factor[0]) / 1000.0


def _return_force(bench: Bench, force: float, reverse: float) -> float:
    """Force in reverse at which the most strained fibre yields again after a bend under `force`.

    Unloading and reverse loading are elastic until that fibre has come down by its peak stress plus the
    reduced reverse yield (Bauschinger): ΔM = (stress + factor · YS) I/R.
    """
    shape = along(bench, force)
    i = int(np.argmax(shape["outer_strain"]))
    curve = curve_at(bench, float(shape["s_mm"][i]))
    stress = float(curve.stress_mpa(shape["outer_strain"][i])) + reverse * curve.yield_mpa
    section = elastic_modulus_mm3(float(shape["outside_mm"][i]), float(shape["bore_mm"][i]))
    down = stress * section * float(bench.moment_factor[0]) / float(bench.fibre_factor[0])
    return max(down / (float(bench.bar_mm[0]) + float(shape["s_mm"][i])) - force, 0.0)
