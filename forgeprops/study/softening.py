"""The hosel came out too hard: what softens it, by how many degrees, and what the face pays.

Three ways are tried, one setting at a time: a lower preheat, a slower cooling hosel (sleeve or cover), and
a local anneal of hosel and neck below Ac1.  Each is re-estimated in full by a function that the caller
passes in, so the cooling, the transformation and the tempering law are the main job's own.
"""

from __future__ import annotations

import dataclasses
from collections.abc import Callable, Sequence
from dataclasses import dataclass

from ..base.errors import InputError, check_number
from ..inputs.route import LaterHeat, Route

__all__ = ["Remedy", "Softening", "soften"]


#: Steps down from the preheat that are tried, °C (our choice).
PREHEAT_STEPS_C = (20.0, 40.0, 80.0)

#: Local anneals that are tried: °C below Ac1 and minutes (our choice; 650–700 °C is the usual subcritical
#: range, from
#: memory).
ANNEALS = ((70.0, 5.0), (70.0, 30.0), (30.0, 30.0))

#: Below this share of a degree or this many HV a change is not worth telling (our choice: inside every
#: model error).
_NOTHING_DEG, _NOTHING_HV = 0.05, 3.0


@dataclass(frozen=True)
class Remedy:
    """One thing to do.

    Attributes
    ----------
    kind : {"preheat", "cooling", "anneal"}
    what : str
        In words.
    route : Route
        The route with this one change.
    hosel_hv, face_hv, allowed_deg : float
        What comes out.
    degrees_won, hosel_softer_hv : float
        Against the route as it is; negative: it makes things worse.
    face_softer_hv : float
        Hardness the face loses; negative: it gains.
    face_margin, face_margin_lost : float or None
        Margin of the face at the strike, and what it loses.
    caution : str
    """

    kind: str
    what: str
    route: Route
    hosel_hv: float
    face_hv: float
    allowed_deg: float
    degrees_won: float
    hosel_softer_hv: float
    face_softer_hv: float
    face_margin: float | None
    face_margin_lost: float | None
    caution: str = ""

    @property
    def helps(self) -> bool:
        """Whether the hosel gains more than the models' own noise."""
        return self.degrees_won > _NOTHING_DEG

    def words(self) -> str:
        """One sentence."""
        gain = f"wins {self.degrees_won:.1f}°"
        if not self.helps:
            nothing = abs(self.degrees_won) <= _NOTHING_DEG
            gain = "wins nothing" if nothing else f"costs {-self.degrees_won:.1f}°"
        softer = self.face_softer_hv
        face = (
            "the face keeps its hardness"
            if abs(softer) < _NOTHING_HV
            else f"the face {'loses' if softer > 0 else 'gains'} {abs(softer):.0f} HV"
        )
        note = f" {self.caution}" if self.caution else ""
        return f"{self.what}: {gain} ({self.allowed_deg:.1f}° at {self.hosel_hv:.0f} HV); {face}.{note}"


@dataclass(frozen=True)
class Softening:
    """All remedies of one hosel, the best first.

    Attributes
    ----------
    hosel_hv, face_hv, allowed_deg : float
        The route as it is.
    longer_bar_deg : float or None
        What the hosel as it is takes from a bar long enough; None where force does not end the bend.
    remedies : tuple of Remedy
        By degrees won; of equal ones the cheaper for the face first.
    """

    hosel_hv: float
    face_hv: float
    allowed_deg: float
    longer_bar_deg: float | None
    remedies: tuple[Remedy, ...]

    def words(self) -> str:
        """The answer in sentences, one a line."""
        lines = [f"The hosel is {self.hosel_hv:.0f} HV and takes {self.allowed_deg:.1f}°."]
        if self.longer_bar_deg is not None:
            lines.append(
                f"Force ends it; a longer bar or a screw bender gives {self.longer_bar_deg:.1f}°."
            )
        useful = [r for r in self.remedies if r.helps]
        if not useful:
            lines.append("Nothing tried here softens it; a softer grade is what is left.")
        return "\n".join([*lines, *(r.words() for r in useful)])

    def to_dict(self) -> dict:
        """Plain numbers and texts, ready for JSON."""
        names = (
            "kind",
            "what",
            "hosel_hv",
            "face_hv",
            "allowed_deg",
            "degrees_won",
            "face_softer_hv",
            "face_margin",
            "caution",
        )
        told = [
            {n: round(v, 3) if isinstance(v := getattr(r, n), float) else v for n in names}
            for r in self.remedies
        ]
        longer = None if self.longer_bar_deg is None else round(self.longer_bar_deg, 3)
        return {
            "hosel_hv": round(self.hosel_hv, 1),
            "face_hv": round(self.face_hv, 1),
            "allowed_deg": round(self.allowed_deg, 3),
            "longer_bar_deg": longer,
            "remedies": told,
        }


def _numbers(result) -> tuple[float, float, float, float | None]:
    face = getattr(result, "face", None)
    return (
        float(result.zones["hosel"].hardness_hv),
        float(result.zones["face"].hardness_hv),
        float(result.hosel.allowed_deg),
        None if face is None else float(face.margin),
    )


def soften(
    route: Route,
    reestimate: Callable[[Route], object],
    *,
    ac1_c: float = 730.0,
    lowest_preheat_c: float = 750.0,
    preheat_steps_c: Sequence[float] = PREHEAT_STEPS_C,
    anneals: Sequence[tuple[float, float]] = ANNEALS,
) -> Softening:
    """Try what softens the hosel and say what each costs the face.

    Parameters
    ----------
    route : Route
        As it is.
    reestimate : callable
        Takes a `Route`, returns an estimate (``.zones["hosel"].hardness_hv``, ``.zones["face"].hardness_hv``,
        ``.hosel`` a `HoselBend` and, if known, ``.face.margin``).
    ac1_c : float
        Ac1 of the steel, °C: anneals stay below it, since above it the hosel would harden again.
    lowest_preheat_c : float
        No preheat below this is tried (the press must still form the head), °C.
    preheat_steps_c : sequence of float
        Steps down from the preheat, °C.
    anneals : sequence of (float, float)
        °C below Ac1 and minutes at temperature.

    Returns
    -------
    Softening

    Raises
    ------
    InputError
        No route, or a number out of bounds.

    Notes
    -----
    A lower preheat acts through grain and through what the water still finds in the face; whether it wins
    anything is the estimate's to say.  A local anneal needs the face kept cold (wet cloth or heat sink):
    only the named zones are heated here.  Where the bar's force ends the bend, a longer bar wins more than
    any heat, and is said too.

    References
    ----------
    .. [1] Steps tried: preheat down, longer cooling, local anneal at 650-700 °C (our choice).

    Examples
    --------
    >>> import forgeprops as fp
    >>> steel, head, route = fp.grade("4130"), fp.head("mid-iron"), fp.Route().with_(surroundings="fan")
    >>> answer = soften(route, lambda r: fp.estimate(steel, head, r))
    >>> answer.remedies[0].helps
    True
    """
    if not isinstance(route, Route):
        raise InputError(f"route is {route!r}; allowed is a Route(...).")
    ac1 = check_number(ac1_c, "Ac1", 600.0, 900.0, "°C")
    lowest = check_number(lowest_preheat_c, "lowest preheat", 20.0, 1300.0, "°C")
    steps = [check_number(x, "preheat step", 1.0, 500.0, "°C") for x in preheat_steps_c]
    heats = [
        (
            check_number(below, "anneal below Ac1", 5.0, 400.0, "°C"),
            check_number(minutes, "anneal time", 0.1, 6000.0, "min"),
        )
        for below, minutes in anneals
    ]
    base = reestimate(route)
    hosel, face, allowed, margin = _numbers(base)
    by = dict(base.hosel.allowed_by)
    by.pop("bar force")
    longer = min(by.values()) if base.hosel.governed_by == "bar force" else None

    def remedy(kind: str, what: str, changed: Route, caution: str = "") -> Remedy:
        new_hosel, new_face, new_allowed, new_margin = _numbers(reestimate(changed))
        lost = None if margin is None or new_margin is None else margin - new_margin
        return Remedy(
            kind,
            what,
            changed,
            new_hosel,
            new_face,
            new_allowed,
            new_allowed - allowed,
            hosel - new_hosel,
            face - new_face,
            new_margin,
            lost,
            caution,
        )

    tried = []
    now = route.preheat.temperature_c
    for step in steps:
        if now - step >= lowest:
            tried.append(
                remedy(
                    "preheat",
                    f"Preheat {now - step:.0f} °C instead of {now:.0f} °C",
                    route.with_(preheat_c=now - step),
                )
            )
    for how, what in (
        ("single", "A single head in still air"),
        ("sleeve", "An insulating sleeve on the hosel"),
    ):
        if route.cool.surroundings not in (how, "sleeve"):
            tried.append(remedy("cooling", what, route.with_(surroundings=how)))
    for below, minutes in heats:
        temperature = round((ac1 - below) / 5.0) * 5.0
        heat = LaterHeat(temperature, 60.0 * minutes, ("hosel", "neck"))
        tried.append(
            remedy(
                "anneal",
                f"Hosel and neck {minutes:.0f} min at {temperature:.0f} °C",
                dataclasses.replace(route, later=(*route.later, heat)),
                "Keep the face cold meanwhile.",
            )
        )
    # rounded, so that noise in the last digits does not order what is equal
    tried.sort(key=lambda r: (-round(r.degrees_won, 2), round(r.face_softer_hv)))
    return Softening(hosel, face, allowed, longer, tuple(tried))
