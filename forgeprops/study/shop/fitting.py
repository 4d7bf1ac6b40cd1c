"""The shop's own multipliers from its traces and hardness readings, by least squares with priors.

Residuals are the readings over their noise and, as a pseudo-reading each, what is known of a multiplier
before anything was measured.  Traces that the model misses by more than their noise count for less: their
variance is estimated along, with how far their misses hang together in time.
"""

from dataclasses import dataclass, replace

import numpy as np

from ...answer.cases import shop_from
from ...base.errors import InputError, check_choice, check_list, check_number
from ...inputs.cases import SHOP_NUMBERS
from ...inputs.settings import numbers_of
from ...inputs.shop import Shop
from .measured_heads import observe
from .report import ShopFit, residual_tables, warnings_of
from .residuals import Model, Prior

#: Numbers fitted by default.  Air is left out: radiation is nearly nine tenths of what a hot head loses, and
#: both fall with time in much the same way.
NUMBERS = ("spray", "emissivity", "die", "delay_s")
#: Rounds of fitting and weighing; the weights have settled after the third (our choice).
_ROUNDS = 3
#: Standard deviation of the logger's zero, s: a logger started by hand with the furnace door (our choice).
CLOCK_SD_S = 0.3
#: Scatter of single hardness readings, HV (HV10 on a ground forging; common practice, no source).
HARDNESS_NOISE_HV = 10.0
#: Scatter of a shop's numbers from one head to the next, as a share of how well they are known before anything is
#: measured: spray 6 %, as nozzle, wear and aim scatter; emissivity 0.015, die 10 %, delay 0.12 s (our choice).
HEAD_SCATTER = 0.25


@dataclass(frozen=True)
class Noise:
    """Standard deviations of readings and of the hardness model."""

    noise_c: float | None = None  # of the thermocouples, K; by default estimated from each trace
    hardness_noise_hv: float = HARDNESS_NOISE_HV  # of single readings
    #: Of the hardness model itself; by default what its residuals on measured bars say for the structure.
    hardness_model_sd_hv: float | None = None
    clock_sd_s: float = CLOCK_SD_S  # an offset of each head's clock is fitted too; 0: no offset
    head_scatter: float = HEAD_SCATTER

    def __post_init__(self):
        check_number(self.clock_sd_s, "standard deviation of the clock", 0.0, 60.0, "s")
        check_number(self.head_scatter, "scatter from head to head", 0.0, 10.0)
        check_number(self.hardness_noise_hv, "scatter of hardness readings", 0.1, 200.0, "HV")
        if self.hardness_model_sd_hv is not None:
            what = "standard deviation of the hardness model"
            check_number(self.hardness_model_sd_hv, what, 0.0, 200.0, "HV")


def priors(shop: Shop | None = None) -> dict[str, Prior]:
    """Priors by number: the published spread about the shop's numbers, or an earlier fit's own standard errors.

    References
    ----------
    .. [1] What is known of a shop before it measures, row by row (data/constants/settings.csv)
       (our choice).

    Examples
    --------
    >>> round(float(priors()["spray"].value(1.645)), 2)       # the ends of a 90 % interval
    1.5
    """
    shop = Shop() if shop is None else shop
    found = {}
    for name, what in numbers_of("shop").items():
        log = what.spread.kind == "lognormal"
        centre, sd, why = float(getattr(shop, name)), what.spread.value, what.source
        if shop.standard_error(name) > 0.0:
            sd = shop.standard_error(name) / (centre if log else 1.0)
            why = f"the earlier fit {shop.name!r}"
        if log and centre <= 0.0:
            raise InputError(f"shop {name} is {centre:g}; to fit it, it must start above 0.")
        found[name] = Prior(name, what.label.removeprefix("shop "), what.unit, log, centre, sd, why)
    return found


def fit(
    traces=None, hardness=None, head="mid-iron", steel=None, route=None, *, shop=None,
    numbers=NUMBERS, name: str = "our shop", measured_on: str = "", data_files=(), **noise,
) -> ShopFit:  # fmt: skip
    """What a shop's measurements make of the published laws.

    Parameters
    ----------
    traces : Traces (`read_traces`), optional; time counts from the moment the head leaves the furnace.
    hardness : HardnessReadings (`read_hardness`), optional.
    head, steel, route : what was measured: one of each, or many by ``head_id``: `route` may be the list of
        runs (`read_runs`), `steel` the certificates (`read_certificates`) by heat.  Left out: mid-iron,
        default route.
    shop : Shop, optional; what is known beforehand; an earlier fit counts with its standard errors.
    numbers : which of spray, emissivity, air, die, delay_s to fit; the others stay as in `shop`.
    name, measured_on, data_files : kept in the shop's file.
    **noise : ``noise_c, hardness_noise_hv, hardness_model_sd_hv, clock_sd_s, head_scatter`` (see `Noise`).

    Raises
    ------
    InputError
        No steel, nothing to fit to, an unknown number, or a number out of bounds.

    References
    ----------
    .. [1] Least squares with priors as pseudo-readings; autocorrelation time: A. Sokal's lectures
       (1989) (from memory).
    .. [2] Shares of variance that count as settled, 0.75, and partly, 0.3; correlation that counts
       as together, 0.8 (our choice).

    Examples
    --------
    >>> from forgeprops.study.shop.measurements import read_hardness
    >>> bench = read_hardness(b"zone,value,scale\\nface,462,HV10\\nface,455,HV10\\nhosel,236,HV10")
    >>> found = fit(hardness=bench, steel="4130", numbers=("spray",))
    >>> 0.5 < found.shop.spray < 2.0
    True
    """
    if steel is None:
        raise InputError(
            "no steel is given; needed is the steel that was measured: a Steel, a grade or certificates."
        )
    before = shop_from(shop)
    known = priors(before)
    numbers = (numbers,) if isinstance(numbers, str) else check_list(numbers, "numbers")
    numbers = tuple(dict.fromkeys(check_choice(n, "number to fit", SHOP_NUMBERS) for n in numbers))
    if not numbers:
        raise InputError(f"there is no number to fit; give {', '.join(SHOP_NUMBERS)}.")
    for option in noise:
        check_choice(option, "option of fit", Noise.__dataclass_fields__)
    sd, data_files = Noise(**noise), check_list(data_files, "data_files")
    seen = observe(traces, hardness, head, steel, route, sd.noise_c)
    model = Model(seen, before, [known[n] for n in numbers], sd.clock_sd_s)
    n, at, weights = len(numbers), np.zeros(model.size), None
    for _ in range(_ROUNDS):
        weights = model.weights(at, weights, sd.hardness_noise_hv, sd.hardness_model_sd_hv)
        at = model.solve(at, weights)
    jacobian = model.jacobian(at, weights)
    covariance = np.linalg.inv(jacobian.T @ jacobian)
    tied = _correlations(covariance[:n, :n])
    published = np.array([numbers_of("shop")[p.number].spread.value / p.sd for p in model.known])
    between = (sd.head_scatter * published) ** 2 / (len(model.wired) or len(seen.heads))
    covariance = _with_scatter(covariance, between)
    deviate_sd, shop = np.sqrt(np.diag(covariance)), model.shop(at)
    block = np.clip(_correlations(covariance[:n, :n]), -1.0, 1.0)
    np.fill_diagonal(block, 1.0)
    slopes = [p.slope(getattr(shop, p.number)) for p in model.known]
    shop = replace(
        shop, name=name, fitted=numbers, measured_on=measured_on, data_files=data_files,
        standard_errors=tuple((np.array(slopes) * deviate_sd[:n]).tolist()),
        correlations=tuple(map(tuple, (0.5 * (block + block.T)).tolist())),
        n_readings=sum(p.time_s.size for p in seen.probes) + sum(h.readings for h in seen.hardness),
    )  # fmt: skip
    start = model.predicted(model.marched([before])[0])
    end = model.predicted(model.at([at])[0], at[n:])
    late = (sd.clock_sd_s * np.column_stack([at, deviate_sd])[n:]).tolist()
    clocks = {seen.heads[i].head_id: tuple(v) for i, v in zip(model.clocked, late, strict=True)}
    near = np.minimum(at - model.low, model.high - at)[:n] < 0.02
    at_bound = tuple(number for number, ends in zip(numbers, near, strict=True) if ends)
    traces, hardness = residual_tables(seen, start, end, weights)
    warnings = warnings_of(seen, traces, weights.miss_c, at_bound)
    known_by = (tuple(model.known), at[:n].copy(), deviate_sd[:n].copy(), tied)
    rest = (traces, hardness, clocks, at_bound, seen.problems, warnings)
    return ShopFit(shop, before, *known_by, *rest)


def _correlations(covariance: np.ndarray) -> np.ndarray:
    sd = np.sqrt(np.diag(covariance))
    return covariance / np.outer(sd, sd)


def _with_scatter(covariance, between) -> np.ndarray:
    """Covariance of deviates to which every reading adds a variance between heads that it cannot average out."""
    n = len(between)
    if not between.any():
        return covariance
    readings = np.linalg.inv(covariance[:n, :n]) - np.eye(n)  # less what was known before
    less = readings @ np.linalg.solve(readings + np.diag(1.0 / between), readings)
    wider = covariance.copy()
    wider[:n, :n] = np.linalg.inv(np.eye(n) + readings - less)
    return wider
