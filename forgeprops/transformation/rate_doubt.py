"""How unsure the rates of transformation are: what the analysis leaves open, and steels far from the calibration's bars."""

import functools

import numpy as np

from ..base.tables import read_rows
from ..inputs.steel import DEFAULT_RESIDUALS
from .kinetics import ln_composition_factors

#: Distances that make a bar half a stranger: contents in wt%, and ln of the cooling rate at 700 °C (our choice).
_SCALES = {"C": 0.08, "Mn": 0.35, "Cr": 0.35, "Ni": 0.6, "Mo": 0.10, "Si": 0.20, "V": 0.06}
_LN_RATE_SCALE = 0.8
#: Delay of lean low-carbon steel under water that its bars would need beside the floor of the rates, ln(rate) (our choice;
#: the bars of 1015 and 1020 behind it are from memory).
_LEAN_DELAY = 0.7
#: Doubt of boron's delay: its factor is good to 20 %, and a certificate that names no titanium may be of a heat without
#: (our choice), ln(rate).
_BORON_SD = 0.25


@functools.cache
def _bars() -> tuple[np.ndarray, np.ndarray, tuple[str, ...]]:
    """Contents over their scale (bars, elements), ln(rate) over its scale (bars,), and what each bar is called."""
    steels = {r["steel"]: r for r in read_rows("measured/air_cooled_bars.csv")}
    rows = read_rows("validation/hardness_left_out.csv")

    def content(row, element):
        given = steels[row["steel"]][element]
        return float(given) if given else DEFAULT_RESIDUALS.get(element, 0.0)

    contents = np.array([[content(r, e) / s for e, s in _SCALES.items()] for r in rows])
    rates = np.log([float(r["rate_700_c_per_s"]) for r in rows]) / _LN_RATE_SCALE
    names = tuple(f"{r['steel']}, {r['diameter_mm']} mm, {r['cooling']}" for r in rows)
    return contents, rates, names


def _in_composition(composition, left_out=()):
    """Squared distance in composition to every bar, shape (n, bars)."""
    contents, _, names = _bars()
    found = 0.0
    for (element, scale), there in zip(_SCALES.items(), contents.T, strict=True):
        mine = np.atleast_1d(np.asarray(composition.get(element), float)) / scale
        found = found + (mine[:, None] - there) ** 2
    if left_out:
        found[:, [n.split(",")[0] in left_out for n in names]] = np.inf
    return found


def _in_rate(rate_c_per_s):
    """Squared distance in cooling rate to every bar, shape (n, bars)."""
    ln_rate = np.log(np.maximum(rate_c_per_s, 0.01)) / _LN_RATE_SCALE
    return (ln_rate[:, None] - _bars()[1]) ** 2


def far_share(composition, rate_c_per_s, left_out=()):
    """How far from the bars that the rates were fitted to: 0 among many, 1 far from all; shape (n, places).

    Contents in wt% by element, (n,), cooling rate at 700 °C, (n, places), and steels whose bars do not count:
    ``1 / (1 + sum exp(-d²/2))`` over the bars, d the distance in composition and ln(rate) over `_SCALES`.

    .. [1] Form and scales (our choice).
    """
    apart, rates = _in_composition(composition, left_out), np.atleast_2d(rate_c_per_s).T
    near = [np.exp(-0.5 * (_in_rate(rate) + apart)).sum(-1) for rate in rates]
    return 1.0 / (1.0 + np.stack(near, axis=-1))


def nearest_bar(composition, rate_c_per_s: float) -> str:
    """Name of the bar nearest to one steel cooled at one rate."""
    apart = _in_rate(np.array([rate_c_per_s])) + _in_composition(composition)
    return _bars()[2][int(apart[0].argmin())]


def ln_rate_sd(composition, unsure, far, far_sd: float):
    """Standard deviation of ln(rate): of the contents that are `unsure` alone, shape (n, 1), and in all, (n, places).

    Contents and their standard deviations in wt% by element, (n,); `far_share`, (n, places), and the standard deviation far
    from every bar.

    .. [1] Slope of `ln_composition_factors`, the largest of the three; independent contents (derived).
    """
    moved = {}  # both ends of each content: two rows for each, the others as they are
    for i, (element, sd) in enumerate(unsure.items()):
        content = np.atleast_1d(np.asarray(composition[element], float))
        moved[element] = np.tile(content, (2, len(unsure), 1))
        moved[element][:, i] = content + sd, np.maximum(content - sd, 0.0)
    ends = np.broadcast_arrays(*ln_composition_factors({**composition, **moved}), *moved.values())
    square = np.max([(a - b) ** 2 / 4.0 for a, b in ends[:3]], axis=0) if moved else [0.0]
    contents = np.sqrt(np.atleast_1d(sum(square)))[:, None]
    boron = 1.0 - np.exp(-((np.asarray(composition["B"], float) / 0.0005) ** 4))
    boron = np.atleast_1d(_BORON_SD * boron)[:, None]
    return contents, np.sqrt(contents**2 + (far_sd * far) ** 2 + boron**2)


def lean_delay(composition, far):
    """By how much the rates of lean low-carbon steel are likely too fast, in ln; 0 for other steels and near the bars.

    .. [1] 0.7 below 0.27 % C and 0.6 % Mn: what water-quenched bars of 1015 and 1020 ask for (from memory).
    """
    carbon = np.atleast_1d(np.asarray(composition["C"], float))[:, None]
    manganese = np.atleast_1d(np.asarray(composition["Mn"], float))[:, None]
    lean = 1.0 / (1.0 + np.exp((carbon - 0.27) / 0.02))
    return _LEAN_DELAY * far * lean / (1.0 + np.exp((manganese - 0.62) / 0.05))
