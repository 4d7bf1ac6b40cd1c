"""The hosel on the bench, beside other grades and settings: allowance, what softens it, what matters most."""

from __future__ import annotations

import dataclasses
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from ..answer.evaluation import Estimate, estimate, evaluate
from ..base.errors import InputError
from ..hosel.bench import Bench, bench_options
from ..hosel.bend import bend_of_head, bends_of_heads, gradient_share
from ..inputs.cases import Cases
from ..inputs.grades import grade
from ..inputs.grades import grades as library
from ..inputs.head import ZONES, Head
from ..inputs.route import Route
from ..inputs.shop import Shop
from ..strength.tensile import strength_arrays
from . import softening as remedies

__all__ = ["GradeHosels", "allowance_curve", "grade_hosels", "hosel_sensitivity", "soften"]


def soften(
    result: Estimate, *, bench: Mapping[str, Any] | None = None, **options: Any
) -> remedies.Softening:
    """What softens a hosel that came out too hard: degrees won, and what the face pays.

    Parameters
    ----------
    result : Estimate
        The head as it is; its steel, drawing and shop stay.
    bench : mapping, optional
        The bending bench, as `estimate` takes it; left out, the standard one.
    **options
        Passed to `study.softening.soften` (lowest_preheat_c, preheat_steps_c, anneals, tempers_c).

    Returns
    -------
    Softening
        `.remedies`, the best first, and `.words()`.

    Notes
    -----
    Every remedy is a full estimate: a second or two in all.

    Raises
    ------
    InputError
        Not an estimate.

    Examples
    --------
    >>> import forgeprops as fp
    >>> hard = fp.estimate(fp.grade("4140"))
    >>> best = fp.soften(hard).remedies[0]
    >>> best.helps, best.hosel_hv < hard.zones["hosel"].hardness_hv
    (True, True)
    """
    _checked(result)

    def again(route: Route) -> Estimate:
        if route == result.route and bench is None:
            return result
        strained = result.press_strain_counted
        return estimate(
            result.steel, result.head, route, result.shop, count_press_strain=strained, bench=bench
        )

    return remedies.soften(result.route, again, **{"ac1_c": result.critical.ac1_c, **options})


def _checked(result) -> None:
    if not isinstance(result, Estimate):
        kind = type(result).__name__
        raise InputError(f"result must be what forgeprops.estimate(...) returns; got {kind}.")


@dataclass(frozen=True)
class GradeHosels:
    """Hosels of one head and route in several grades, ready for any bench.

    Attributes
    ----------
    grades : tuple of str
    hardness_hv : array
    hosel, neck : dict of str to array
        Strength of the two zones (`strength.tensile.strength_arrays`).
    head : Head
    """

    grades: tuple[str, ...]
    hardness_hv: np.ndarray
    hosel: Mapping[str, np.ndarray]
    neck: Mapping[str, np.ndarray]
    head: Head

    def allowed(self, length_mm: float, **bench: float) -> dict[str, np.ndarray]:
        """Allowed degrees and what governs (index into `bench.LIMITS`) for a bend zone (mm) and a bench.

        Parameters
        ----------
        **bench
            As in `hosel.bench.Bench`.
        """
        h = self.head.hosel
        share = gradient_share(length_mm, h.length_mm, self.head.neck.length_mm)
        shape = (h.outside_mm, h.bore_mm, length_mm)
        return bends_of_heads(*shape, self.hosel, self.neck, share, Bench(**bench_options(bench)))


def grade_hosels(
    head: Head,
    route: Route | None = None,
    grades: Sequence[str] | None = None,
    shop: Shop | None = None,
) -> GradeHosels:
    """March one head and route in many grades and keep what the bench needs of hosel and neck.

    Examples
    --------
    >>> import forgeprops as fp
    >>> from forgeprops.hosel.bench import LIMITS
    >>> hosels = grade_hosels(fp.head("mid-iron"), grades=("1020", "4140"))
    >>> answer = hosels.allowed(15.0)
    >>> [LIMITS[i] for i in answer["governed_by"]]
    ['wall', 'crack']
    """
    names = tuple(library() if grades is None else grades)
    n = len(names)
    found = evaluate(
        Cases.of(
            [grade(name) for name in names],
            [head] * n,
            [route or Route()] * n,
            [shop or Shop()] * n,
        )
    )
    zones = (
        {name: values[:, ZONES.index(zone)] for name, values in found.strength.items()}
        for zone in ("hosel", "neck")
    )
    return GradeHosels(names, found.hardness_hv[:, ZONES.index("hosel")], *zones, head)


def allowance_curve(
    hardness_hv, outside_mm: float, bore_mm: float, length_mm, *, hard: bool, **bench: float
) -> dict[str, np.ndarray]:
    """Allowed degrees against hardness for one kind of structure.

    Parameters
    ----------
    hardness_hv, length_mm : float or array
        HV; bend zone, mm; of one shape.
    outside_mm, bore_mm : float
        Hosel, mm.
    hard : bool
        Bainite and martensite in equal parts; else ferrite and pearlite.
    **bench
        As in `hosel.bench.Bench`.

    Returns
    -------
    dict
        "allowed_deg", "governed_by" (index into `bench.LIMITS`), "force_n", "springback_deg".

    Examples
    --------
    >>> answer = allowance_curve([150.0, 320.0], 13.4, 9.4, 20.0, hard=False)
    >>> answer["allowed_deg"].round(1).tolist()
    [5.8, 2.8]
    """
    hv, length = np.broadcast_arrays(
        np.atleast_1d(np.asarray(hardness_hv, dtype=float)), np.asarray(length_mm, dtype=float)
    )
    share = np.full(hv.shape, 1.0 if hard else 0.0)
    s = strength_arrays(hv, 1.0 - share, 0.5 * share, 0.5 * share)
    return bends_of_heads(outside_mm, bore_mm, length, s, s, 0.0, Bench(**bench_options(bench)))


#: What nobody has measured or everybody chooses: low and high end of each default (our choice; `hosel_bend`
#: defends each), with words.
_ENDS = {
    "bend zone, 10 to 20 mm": ("length_mm", 10.0, 20.0),
    "adjustments there and back, 10 to 1": ("rebends", 10.0, 1.0),
    "scatter of cracking, 6.6 to 1.7": ("scatter_factor", 6.6, 1.7),
    "notch, 3 to 1.5": ("notch_factor", 3.0, 1.5),
    "bore out of round, 0.05 to 0.15 mm": ("bore_out_of_round_mm", 0.05, 0.15),
}


def hosel_sensitivity(result: Estimate, bench: Mapping[str, Any] | None = None):
    """How many degrees each default of the bench is worth, the strongest first.

    Parameters
    ----------
    result : Estimate
    bench : mapping, optional
        Options of the bench that stay as given, as `estimate` takes them.

    Returns
    -------
    pandas.DataFrame
        Columns ``what``, ``low_deg``, ``high_deg`` (allowed degrees at the two ends), ``span_deg``.

    Examples
    --------
    >>> import forgeprops as fp
    >>> table = hosel_sensitivity(fp.estimate(fp.grade("1020")))
    >>> table["what"][0]
    'bend zone, 10 to 20 mm'
    """
    import pandas as pd

    _checked(result)
    bench = bench_options(bench)
    hosel, neck = result.zones["hosel"].strength, result.zones["neck"].strength
    rows = []
    for words, (name, *ends) in _ENDS.items():
        found = []
        for value in ends:
            head, options = result.head, dict(bench)
            if name == "length_mm":
                head = _with_zone(head, value)
            else:
                options[name] = value
            found.append(bend_of_head(head, hosel, neck, **options).allowed_deg)
        rows.append((words, *found, abs(found[1] - found[0])))
    soft, hard = (_harder(result, share, bench) for share in (-1.0, 1.0))
    rows.append(("hardness of the hosel, its 80 % interval", hard, soft, abs(soft - hard)))
    table = pd.DataFrame(rows, columns=["what", "low_deg", "high_deg", "span_deg"])
    return table.sort_values("span_deg", ascending=False, kind="stable", ignore_index=True)


def _harder(result: Estimate, share: float, bench) -> float:
    """Allowed degrees with hosel and neck at the end of the hosel's interval of hardness."""
    zone = result.zones["hosel"]
    end = zone.hardness_high_hv if share > 0.0 else zone.hardness_low_hv
    factor = end / zone.hardness_hv
    moved = [
        dataclasses.replace(
            s,
            hardness_hv=s.hardness_hv * factor,
            yield_mpa=s.yield_mpa * factor,
            tensile_mpa=s.tensile_mpa * factor,
        )
        for s in (zone.strength, result.zones["neck"].strength)
    ]
    return bend_of_head(result.head, *moved, **bench).allowed_deg


def _with_zone(head: Head, length_mm: float) -> Head:
    return dataclasses.replace(head, hosel=dataclasses.replace(head.hosel, bend_zone_mm=length_mm))
