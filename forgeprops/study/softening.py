"""The hosel came out too hard: what softens it, what that wins on the bench, and what it costs elsewhere.

Tried one at a time: a lower preheat, a slower cooling hosel (sleeve or cover), local heat of the bend zone with the head in
a wet cloth, and a temper of the whole head.  Each is estimated in full by a function that the caller passes in, so the
cooling, the transformation and the tempering law are the main job's own.
"""

from __future__ import annotations

import dataclasses
from collections.abc import Callable, Sequence
from dataclasses import dataclass

from ..base.errors import InputError, check_number
from ..inputs.route import LocalHeat, Route, Temper

__all__ = ["Remedy", "Softening", "soften"]


#: Steps down from the preheat that are tried, °C (our choice).
PREHEAT_STEPS_C = (20.0, 40.0, 80.0)

#: Local heats that are tried: °C below Ac1 and minutes.  30 °C are for the thermometer: above Ac1 the hosel hardens again
#: (our choice; 650–700 °C is the usual subcritical range, from memory).
ANNEALS = ((70.0, 10.0), (30.0, 10.0), (30.0, 30.0))
#: Tempers of the whole head, °C, for an hour (our choice).
TEMPERS_C = (550.0, 650.0)
#: What an hour in a furnace costs besides, min: heating up and cooling; the same of a torch (common practice).
_FURNACE_MIN, _TORCH_MIN = 40.0, 8.0

#: Below this share of a degree, this pull or this many HV a change is not worth telling (our choice: inside every
#: model error).
_NOTHING_DEG, _NOTHING_N, _NOTHING_HV = 0.05, 10.0, 3.0
#: A remedy that costs face, rim or body more than this comes after those that do not, HV (our choice: the width of the face's
#: own interval).
_COSTLY_HV = 30.0
#: Share of bainite and martensite below which a hosel counts as normalised: heat below Ac1 does not soften it (our choice).
_NORMALISED = 0.3


@dataclass(frozen=True)
class Remedy:
    """One thing to do.

    Attributes
    ----------
    kind : {"preheat", "cooling", "local heat", "temper"}
    what : str
        In words.
    route : Route
        The route with this one change.
    hosel_hv, face_hv, allowed_deg, bar_force_n : float
        What comes out; the pull is that for the required change.
    degrees_won, pull_saved_n, hosel_softer_hv : float
        Against the route as it is; negative: it makes things worse.
    face_softer_hv, lost_elsewhere_hv : float
        Hardness that the face loses, and the most that face, rim or body lose; negative: they gain.
    face_margin, face_margin_lost : float or None
        Margin of the face at the strike, and what it loses.
    minutes : float
        What it takes longer, per head or per charge.
    risk : str
        What goes wrong if it is done badly.
    """

    kind: str
    what: str
    route: Route
    hosel_hv: float
    face_hv: float
    allowed_deg: float
    bar_force_n: float
    degrees_won: float
    pull_saved_n: float
    hosel_softer_hv: float
    face_softer_hv: float
    lost_elsewhere_hv: float
    face_margin: float | None
    face_margin_lost: float | None
    minutes: float
    risk: str

    @property
    def helps(self) -> bool:
        """Whether the bench gains more than the models' own noise."""
        return self.degrees_won > _NOTHING_DEG or self.pull_saved_n > _NOTHING_N

    def words(self) -> str:
        """One sentence for what it wins and costs, one for its risk."""
        gain = f"wins {self.degrees_won:.1f}°"
        if self.degrees_won <= _NOTHING_DEG:
            nothing = abs(self.degrees_won) <= _NOTHING_DEG
            gain = "wins no degrees" if nothing else f"costs {-self.degrees_won:.1f}°"
        pull = f"{'saves' if self.pull_saved_n >= 0 else 'costs'} {abs(self.pull_saved_n):.0f} N of pull"
        softer = self.face_softer_hv
        face = (
            "the face keeps its hardness"
            if abs(softer) < _NOTHING_HV
            else f"the face {'loses' if softer > 0 else 'gains'} {abs(softer):.0f} HV"
        )
        time = f"; {self.minutes:.0f} min" if self.minutes else ""
        return (
            f"{self.what}: {gain} ({self.allowed_deg:.1f}° at {self.hosel_hv:.0f} HV) and {pull}; {face}{time}. "
            f"{self.risk}"
        )


@dataclass(frozen=True)
class Softening:
    """All remedies of one hosel, the best first.

    Attributes
    ----------
    hosel_hv, face_hv, allowed_deg, bar_force_n : float
        The route as it is.
    bar_length_needed_mm : float or None
        Bar that brings the pull down to what a hand may; None where it is there already.
    normalised : bool
        The hosel is ferrite and pearlite as cooled in air: heat below Ac1 hardly softens it.
    remedies : tuple of Remedy
        Those that cost less than 30 HV elsewhere first; by degrees won, then by pull saved.
    """

    hosel_hv: float
    face_hv: float
    allowed_deg: float
    bar_force_n: float
    bar_length_needed_mm: float | None
    normalised: bool
    remedies: tuple[Remedy, ...]

    def words(self) -> str:
        """The answer in sentences, one a line."""
        lines = [
            f"The hosel is {self.hosel_hv:.0f} HV and takes {self.allowed_deg:.1f}°; the required change takes "
            f"{self.bar_force_n:.0f} N."
        ]
        if self.bar_length_needed_mm is not None:
            lines.append(
                "That is too much for a hand: a longer bar "
                f"({self.bar_length_needed_mm:.0f} mm) or a screw bender would do."
            )
        if self.normalised:
            lines.append(
                "Its ferrite and pearlite are as normalised: an hour below Ac1 hardly softens them."
            )
        useful = [r for r in self.remedies if r.helps]
        if not useful:
            lines.append("Nothing tried here softens it; a softer grade is what is left.")
        return "\n".join([*lines, *(r.words() for r in useful)])

    def to_dict(self) -> dict:
        """Plain numbers and texts, ready for JSON."""

        def numbers(of, *without):
            found = {f.name: getattr(of, f.name) for f in dataclasses.fields(of)}
            return {
                name: round(v, 3) if isinstance(v, float) else v
                for name, v in found.items()
                if name not in without
            }

        return {
            **numbers(self, "remedies"),
            "remedies": [numbers(r, "route") for r in self.remedies],
        }


def _elsewhere(before, after) -> float:
    """The most that face, rim or body lose, HV."""
    return max(
        float(before.zones[z].hardness_hv - after.zones[z].hardness_hv)
        for z in ("face", "rim", "body")
    )


def soften(
    route: Route,
    reestimate: Callable[[Route], object],
    *,
    ac1_c: float = 730.0,
    lowest_preheat_c: float = 750.0,
    preheat_steps_c: Sequence[float] = PREHEAT_STEPS_C,
    anneals: Sequence[tuple[float, float]] = ANNEALS,
    tempers_c: Sequence[float] = TEMPERS_C,
) -> Softening:
    """Try what softens the hosel and say what each costs elsewhere.

    Parameters
    ----------
    route : Route
        As it is.
    reestimate : callable
        Takes a `Route`, returns an `Estimate`.
    ac1_c : float
        Ac1 of the steel, °C: all heat stays below it, since above it the hosel would harden again in air.
    lowest_preheat_c : float
        No preheat below this is tried (the press must still form the head), °C.
    preheat_steps_c : sequence of float
        Steps down from the preheat, °C.
    anneals : sequence of (float, float)
        Local heats: °C below Ac1 and minutes at temperature.
    tempers_c : sequence of float
        Tempers of the whole head for an hour, °C; only those below Ac1 - 30 °C are tried.

    Returns
    -------
    Softening

    Raises
    ------
    InputError
        No route, or a number out of bounds.

    Notes
    -----
    A lower preheat acts through grain and through what the water still finds in the face; whether it wins anything is the
    estimate's to say.  Where the pull is too much for a hand, the bar that would do is said too.

    References
    ----------
    .. [1] Steps down, local heats and tempers that are tried; 650-700 °C is the usual subcritical range (our choice).

    Examples
    --------
    >>> import forgeprops as fp
    >>> steel, head, route = fp.grade("4130"), fp.head("mid-iron"), fp.Route().with_(surroundings="fan")
    >>> answer = soften(route, lambda r: fp.estimate(steel, head, r))
    >>> answer.remedies[0].helps
    True
    """
    if not isinstance(route, Route):
        raise InputError(f"route must be a Route(...); got {route!r}.")
    ac1 = check_number(ac1_c, "Ac1", 600.0, 900.0, "°C")
    lowest = check_number(lowest_preheat_c, "lowest preheat", 20.0, 1300.0, "°C")
    steps = [check_number(x, "preheat step", 1.0, 500.0, "°C") for x in preheat_steps_c]
    heats = [
        (
            check_number(below, "anneal below Ac1", 5.0, 400.0, "°C"),
            check_number(minutes, "anneal time", 0.1, 600.0, "min"),
        )
        for below, minutes in anneals
    ]
    tempers = [check_number(x, "temper", 20.0, 900.0, "°C") for x in tempers_c]
    base = reestimate(route)
    stiff = base.hosel.bar_force_n > base.hosel.force_limit_n
    longer = base.hosel.bar_length_needed_mm if stiff else None
    margin = None if base.face is None else float(base.face.margin)

    def remedy(kind: str, what: str, changed: Route, minutes: float, risk: str) -> Remedy:
        new = reestimate(changed)
        hosel, face = (float(new.zones[z].hardness_hv) for z in ("hosel", "face"))
        holds = None if margin is None or new.face is None else float(new.face.margin)
        return Remedy(
            kind,
            what,
            changed,
            hosel,
            face,
            float(new.hosel.allowed_deg),
            float(new.hosel.bar_force_n),
            float(new.hosel.allowed_deg - base.hosel.allowed_deg),
            float(base.hosel.bar_force_n - new.hosel.bar_force_n),
            float(base.zones["hosel"].hardness_hv) - hosel,
            float(base.zones["face"].hardness_hv) - face,
            _elsewhere(base, new),
            holds,
            None if holds is None else margin - holds,
            minutes,
            risk,
        )

    def later(heat) -> Route:
        return dataclasses.replace(route, later=(*route.later, heat))

    tried = []
    now = route.preheat.temperature_c
    for step in steps:
        if now - step >= lowest:
            tried.append(
                remedy(
                    "preheat",
                    f"Preheat {now - step:.0f} °C instead of {now:.0f} °C",
                    route.with_(preheat_c=now - step),
                    0.0,
                    "The press works harder and the face may miss its quench start temperature.",
                )
            )
    for how, what, risk in (
        ("single", "A single head in still air", "It needs room to cool apart."),
        ("sleeve", "An insulating sleeve on the hosel", "It must sit at once after the press."),
    ):
        if route.cool.surroundings not in (how, "sleeve"):
            tried.append(remedy("cooling", what, route.with_(surroundings=how), 0.0, risk))
    for below, minutes in heats:
        heat = LocalHeat("hosel", round((ac1 - below) / 5.0) * 5.0, 60.0 * minutes)
        tried.append(
            remedy(
                "local heat",
                f"Bend zone {minutes:.0f} min at {heat.peak_c:.0f} °C, head in a wet cloth",
                later(heat),
                minutes + _TORCH_MIN,
                f"Above {ac1:.0f} °C it hardens again in air: measure the temperature. Keep the face below 200 °C.",
            )
        )
    for temperature in tempers:
        if temperature <= ac1 - 30.0:
            tried.append(
                remedy(
                    "temper",
                    f"Temper of the whole head 1 h at {temperature:.0f} °C",
                    later(Temper(temperature, 3600.0)),
                    60.0 + _FURNACE_MIN,
                    "The face tempers with the hosel.",
                )
            )
    # rounded, so that noise in the last digits does not order what is equal
    tried.sort(
        key=lambda r: (
            r.lost_elsewhere_hv > _COSTLY_HV,
            -round(r.degrees_won, 2),
            -round(r.pull_saved_n),
        )
    )
    shares = base.zones["hosel"].fractions
    hard = shares.get("bainite", 0.0) + shares.get("martensite", 0.0)
    return Softening(
        float(base.zones["hosel"].hardness_hv),
        float(base.zones["face"].hardness_hv),
        float(base.hosel.allowed_deg),
        float(base.hosel.bar_force_n),
        longer,
        hard < _NORMALISED,
        tuple(tried),
    )
