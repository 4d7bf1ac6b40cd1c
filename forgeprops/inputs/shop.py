"""This shop's own multipliers on the published laws: neutral by default, made by `fit`, kept in a file."""

import functools
import math
from dataclasses import dataclass

import numpy as np

from ..base.errors import (
    InputError,
    check_choice,
    check_kind,
    check_list,
    check_name,
    check_number,
    check_whole,
    shown,
)
from ..io.cells import is_day
from ..io.saved import Saved
from .settings import check_settings, numbers_of

#: The five numbers, by field.
NUMBERS = tuple(numbers_of("shop"))


@dataclass(frozen=True)
class Shop(Saved):
    """What one shop's measurements made of the published laws; numbers that cannot be, alone or together, are an InputError.

    Attributes
    ----------
    spray : Multiplies the spray heat-transfer law (a published one is good to about a factor 1.5).
    emissivity : Of the scaled head in air (0.8 ± 0.1 for thin tight scale at 500–1000 °C).
    air : Multiplies the convection of still or moving air.
    die : Multiplies the die contact.
    delay_s : Added to the spray delay: what the valve and the pipe take, s.
    name : Who measured.
    fitted : Which of the five numbers measurements settled; the others are assumed.
    standard_errors : Standard error of each of `fitted`, in its own unit.
    correlations : Correlation matrix of `fitted`; empty means none between them.
    measured_on : Day of the measurements, YYYY-MM-DD; empty if unknown.
    data_files : Names of the files the numbers come from.
    n_readings : How many readings went into them.

    Examples
    --------
    >>> Shop().spray
    1.0
    >>> bay = Shop(spray=1.2, delay_s=0.3, fitted=("spray", "delay_s"), standard_errors=(0.05, 0.1))
    >>> bay.standard_error("spray"), bay.standard_error("die")
    (0.05, 0.0)
    >>> load_shop(Shop(spray=1.2, name="bay 2").as_bytes()).spray
    1.2
    """

    KIND = "shop"

    spray: float = 1.0
    emissivity: float = 0.8
    air: float = 1.0
    die: float = 1.0
    delay_s: float = 0.0
    name: str = "neutral"
    fitted: tuple[str, ...] = ()
    standard_errors: tuple[float, ...] = ()
    correlations: tuple[tuple[float, ...], ...] = ()
    measured_on: str = ""
    data_files: tuple[str, ...] = ()
    n_readings: int = 0

    def __post_init__(self):
        put = functools.partial(object.__setattr__, self)
        check_settings(self, "shop")
        check_name(self.name, "shop name")
        fitted = check_list(self.fitted, "shop fitted")
        put("fitted", tuple(check_choice(n, "fitted number", NUMBERS, "shop") for n in fitted))
        put("standard_errors", _numbers(self.standard_errors, "standard error", 0.0, 100.0))
        rows = check_list(self.correlations, "shop correlations")
        put("correlations", tuple(_numbers(row, "correlation", -1.0, 1.0) for row in rows))
        _check_uncertainty(self.fitted, self.standard_errors, self.correlations)
        put("data_files", check_list(self.data_files, "shop data_files"))
        for text in self.data_files:
            if not isinstance(text, str) or len(text) > 500:
                give = "give texts of up to 500 characters"
                raise InputError(f"shop data_files holds {shown(text)}; {give}.")
        put("n_readings", check_whole(self.n_readings, "number of readings", 0, 10**9, "shop"))
        if check_kind(self.measured_on, str, "shop measured_on") and not is_day(self.measured_on):
            day = shown(self.measured_on)
            raise InputError(f"shop measured_on must be a day such as 2025-03-01; got {day}.")

    @staticmethod
    def by_setting(content: dict, where: str) -> dict:
        """Content of a file by field: some keep the five numbers apart, as ``values``."""
        values = content.get("values")
        apart = isinstance(values, dict)
        return {n: v for n, v in content.items() if n != "values"} | values if apart else content

    def standard_error(self, field: str) -> float:
        """Standard error of one of the five numbers; 0 for one that was not fitted."""
        check_choice(field, "shop number", NUMBERS)
        return self.standard_errors[self.fitted.index(field)] if field in self.fitted else 0.0

    @property
    def spray_ln_sd(self) -> float:
        """Standard error of the logarithm of `spray`; nan where it was not fitted."""
        return self.standard_error("spray") / self.spray if "spray" in self.fitted else math.nan


#: Read a shop file, by custom ``NAME.shop.json``, that `Shop.save` wrote (see `Shop.load`).
load_shop = Shop.load


def _numbers(given, what: str, low: float, high: float) -> tuple[float, ...]:
    numbers = check_list(given, f"shop {what}s")
    return tuple(check_number(v, what, low, high, "", "shop") for v in numbers)


def _check_uncertainty(fitted, errors, correlations) -> None:
    n, wrong = len(fitted), ""
    if len(set(fitted)) != n:
        wrong = f"fitted names a number twice: {', '.join(fitted)}; give each once"
    elif len(errors) != n:
        wrong = f"{len(errors)} standard errors for {n} fitted numbers; give one each"
    elif correlations and {len(correlations), *map(len, correlations)} != {n}:
        wrong = f"the correlations have the wrong shape; give a table of {n} by {n}"
    elif correlations:
        table = np.array(correlations)
        even = np.allclose(np.diag(table), 1.0) and np.allclose(table, table.T, atol=1e-9)
        if not even or np.linalg.eigvalsh(table).min() <= -1e-6:
            must = (
                "be symmetric, with ones on the diagonal, and no number may be worse than certain"
            )
            wrong = f"the correlations are impossible: the table must {must}"
    if wrong:
        raise InputError(f"{wrong} (shop).")
