"""What varies in a shop and by how much: spreads of settings, analysis, dimensions and the laws."""

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from ...base.errors import InputError, check_choice, shown
from ...inputs.settings import Setting, Spread, setting, table
from .study import Study

#: Where the analysis is drawn from.
CHEMISTRY = ("heat", "grade", "fixed")

#: Inputs of a shop that are drawn when the user names none, as far as the route has them.
_DEFAULT = ("preheat_c", "transfer_s", "delay_s", "flux", "water_c", "face_thickness_mm")
_DEFAULT += ("shop_emissivity", "shop_spray")
_ELEMENTS = ("C", "Si", "Mn", "Cr", "Mo", "Ni")

#: Within a grade the analysis is a normal whose limits lie this many standard deviations from the middle, cut
#: off there (our choice: mills aim well inside), and a residual with an upper limit only spreads by this
#: share.
_GRADE_SDS, _RESIDUAL_SHARE = 2.0, 0.25


@dataclass(frozen=True)
class Input:
    """One number that is drawn."""

    setting: Setting
    middle: float
    spread: Spread
    low: float  # where it is cut off: what the setting may be, or the limits of the grade
    high: float

    @property
    def name(self) -> str:
        return self.setting.name

    def quantile(self, u: np.ndarray) -> np.ndarray:
        """Values at even quantiles `u` in 0..1: the distribution cut off at `low` and `high`."""
        from scipy.special import ndtr, ndtri

        middle, width, ends = self.middle, self.spread.value, (self.low, self.high)
        if self.spread.kind == "uniform":
            low, high = max(middle - width, self.low), min(middle + width, self.high)
            return low + u * (high - low)
        log = self.spread.kind == "lognormal"
        sd = width if log else self.spread.sd(middle)
        if log:
            middle, ends = np.log(middle), [np.log(max(end, 1e-300)) for end in ends]
        below, above = (float(ndtr((end - middle) / sd)) for end in ends)
        values = middle + sd * ndtri(np.clip(below + u * (above - below), 1e-15, 1.0 - 1e-15))
        return np.clip(np.exp(values) if log else values, self.low, self.high)

    def words(self) -> str:
        """ "spray rate 12 ± 0.72 kg/(m² s)" and what kind of spread it is."""
        what, unit = self.setting, f" {self.setting.unit}" if self.setting.unit else ""
        if self.spread.kind == "uniform":
            return f"{what.label} {self.middle:.4g} ± {self.spread.value:.3g}{unit}, evenly"
        return f"{what.label} {self.middle:.4g}{unit}, standard deviation {self.spread.sd(self.middle):.3g}"


def _spread(name: str, given) -> Spread:
    if isinstance(given, Spread):
        return given
    if isinstance(given, (list, tuple)) and len(given) == 2 and isinstance(given[0], str):
        return Spread(given[0], given[1])
    if isinstance(given, bool) or not isinstance(given, (int, float)):
        raise InputError(
            f"spread of {name} must be a standard deviation, or (kind, value) with the kinds "
            f"normal, relative, lognormal, uniform; got {shown(given)}."
        )
    return Spread("normal", given)


def inputs_of(
    study: Study, spread: Mapping | None = None, chemistry: str = "heat"
) -> tuple[Input, ...]:
    """Everything that is drawn.

    `spread` holds a standard deviation, (kind, value) or Spread by the name of a setting; it adds to the
    defaults of a shop (data/constants/settings.csv) and replaces them; 0 takes one out.  `chemistry` draws
    the analysis about this heat's ("heat"), within its grade ("grade"), or not ("fixed").

    >>> found = inputs_of(Study("4130"), {"flux": 0.5}, "fixed")
    >>> [i.name for i in found]
    ['preheat_c', 'transfer_s', 'delay_s', 'flux', 'water_c', 'face_thickness_mm', 'shop_emissivity',
    'shop_spray']
    """
    steel, shop, known = study.steel, study.shop, table()
    chemistry = check_choice(chemistry, "chemistry", CHEMISTRY)
    if spread is not None and not isinstance(spread, Mapping):
        raise InputError(f"spread must be a mapping such as {{'flux': 0.8}}; got {shown(spread)}.")
    own = {setting(name).name: _spread(name, given) for name, given in (spread or {}).items()}
    if chemistry == "grade" and not steel.limits:
        raise InputError(
            f"steel {steel.name!r} has no limits to draw its analysis from; give chemistry='heat', or a "
            f"steel with limits."
        )
    wanted = {name: known[name].spread for name in _DEFAULT}
    # what this shop has measured: its own uncertainty counts
    if "spray" in shop.fitted:
        wanted["shop_spray"] = Spread("relative", shop.standard_error("spray") / shop.spray)
    if "emissivity" in shop.fitted:
        wanted["shop_emissivity"] = Spread("normal", shop.standard_error("emissivity"))
    ends = {}
    if chemistry == "heat":
        wanted |= {e: known[e].spread for e in _ELEMENTS}
    elif chemistry == "grade":
        for element, (low, high) in steel.limits.items():
            if low is not None and high is not None and high > low:
                wanted[element] = Spread("normal", (high - low) / 2.0 / _GRADE_SDS)
                ends[element] = 0.5 * (low + high), low, high
            elif high is not None and element in steel.composition:
                wanted[element] = Spread("relative", _RESIDUAL_SHARE)
                ends[element] = study.value(element), 0.0, high
    found = []
    for name, how in (wanted | own).items():
        if name in own or study.has(name):
            what = setting(name)
            middle, low, high = ends.get(name) or (study.value(name), what.low, what.high)
            if how.sd(middle) > 0.0:
                found.append(Input(what, middle, how, low, high))
    if not found:
        raise InputError("nothing varies; give a spread above 0 for one input or more.")
    return tuple(found)
