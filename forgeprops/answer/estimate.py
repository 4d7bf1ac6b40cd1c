"""One case in full: a row of `evaluation.evaluate` with everything wanted."""

import dataclasses
import os
from collections.abc import Mapping
from typing import Any

from ..base.errors import check_flag, check_number
from ..engine.run import check_march_options
from ..face.distortion import CUTTING_HV, CUTTING_LIMIT_HV, FLATNESS_MM, LIMIT_MM
from ..face.strike import Strike, strike_options
from ..hosel.bench import Bench, bench_options
from ..inputs.cases import Cases
from ..inputs.head import Head
from ..inputs.job import Job
from ..inputs.limits import Limits
from ..inputs.route import Route
from ..inputs.shop import Shop
from ..inputs.steel import Steel
from .cases import checked_case, limits_from
from .evaluation import EVERYTHING, evaluate
from .result import Estimate


def estimate(
    steel: Steel | Job,
    head: Head | str | Mapping | None = None,
    route: Route | Mapping | None = None,
    shop: Shop | str | os.PathLike | Mapping | None = None,
    *,
    count_press_strain: bool = False,
    bench: Mapping[str, Any] | None = None,
    strike: Mapping[str, Any] | None = None,
    flatness_mm: float = FLATNESS_MM,
    cutting_limit_hv: float = CUTTING_LIMIT_HV,
    limits: Limits | None = None,
    **options: Any,
) -> Estimate:
    """Hardness and strength of face, rim, body, neck and hosel, how far the hosel bends, and how sure that is.

    Parameters
    ----------
    steel : Steel, str or Job
        Or what `grades.steel_of` makes one of: "4130", "C 0.31 Mn 0.5 Cr 0.95 Mo 0.2".  A job brings all the rest with it.
    head : Head, str or mapping, optional
        A library head by name, or dimensions changed on one: ``{"head": "wedge", "face_thickness_mm": 3}``; else the mid-iron.
    route : Route or mapping of settings by their short names, ``{"preheat_c": 900}``; else `Route()`
    shop : Shop, path of the file `Shop.save` wrote, or mapping of its numbers; else neutral
    count_press_strain : bool
        Let the strain that the press leaves in the austenite speed ferrite and bainite.  Off by default, because only
        its bound is known; `Estimate.strain_effect_hv` shows what it would change either way.
    bench : mapping, optional; bench and required change by the names of `hosel.bend.hosel_bend`
        ``{"target_lie_deg": 1.5, "target_loft_deg": 1, "bar_mm": 600, "hand": "left"}``
    strike : mapping, optional; strike and finish of the face by the names of `face.strike.Strike`
        ``{"speed_m_s": 45, "required_strikes": 3000, "front_finish": "polished"}``
    flatness_mm, cutting_limit_hv : float; limits on the bow of the face and on what is machined, for `Estimate.distortion`
    limits : Limits, optional; what `Estimate.verdict` is against, see `cases.limits_from`

    Raises
    ------
    InputError
        Something that is not a steel, head, route or shop, or a head or later heat outside the range of the formulas.

    Examples
    --------
    >>> from forgeprops.inputs.grades import grade
    >>> result = estimate(grade("4130"))
    >>> result.zones["face"].hardness_hv > result.zones["hosel"].hardness_hv
    True
    """
    if isinstance(steel, Job):
        job = steel
        steel, head, route, shop = job.steel, job.struck_head, job.route, job.shop
        bench = dict(job.bench) if bench is None else bench
        strike = job.surface if strike is None else strike
        limits = job.limits if limits is None else limits
    case = checked_case(steel, head, route, shop)
    check_march_options(options)
    check_flag(count_press_strain, "count_press_strain")
    bench, struck = bench_options(bench), Strike(**strike_options(strike))
    flatness_mm = check_number(flatness_mm, "flatness limit", *LIMIT_MM, "mm")
    cutting_limit_hv = check_number(cutting_limit_hv, "cutting limit", *CUTTING_HV, "HV")
    cases = Cases.of(*([part] for part in case))
    found = evaluate(cases, EVERYTHING, count_press_strain=count_press_strain, **options)
    found = dataclasses.replace(found, strike=struck, bench=Bench(**bench))
    limits = limits_from(limits, case[2], bench)
    result = Estimate(*case, found, bench, flatness_mm, cutting_limit_hv, limits)
    if bench:
        _ = result.hosel  # a bench that does not fit the head is refused here
    return result
