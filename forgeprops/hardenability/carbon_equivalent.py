"""Carbon equivalents: one number for how readily a steel hardens beside a weld or in a quick cooling."""

import numpy as np

from ..base.arrays import plain
from ..base.ranges import contents_outside, tell
from ..inputs.grades import check_steel
from .boron import content_of


def carbon_equivalents(steel) -> dict[str, float]:
    """The four carbon equivalents in use, wt%: "CE_IIW" (C above about 0.18), "Pcm" (low carbon), "CET", "CEN".

    Contents of one steel outside the range of an equivalent are warned of (CEN has no stated range).

    Notes
    -----
    CE_IIW = C + Mn/6 + (Cr + Mo + V)/5 + (Ni + Cu)/15
    Pcm = C + Si/30 + (Mn + Cu + Cr)/20 + Ni/60 + Mo/15 + V/10 + 5 B
    CET = C + (Mn + Mo)/10 + (Cr + Cu)/20 + Ni/40
    CEN = C + A [Si/24 + Mn/6 + Cu/15 + Ni/20 + (Cr + Mo + Nb + V)/5 + 5 B], A = 0.75 + 0.25 tanh(20 (C − 0.12)): like Pcm at
    low carbon, like CE_IIW at high

    References
    ----------
    .. [1] CE_IIW: J. Dearden & H. O'Neill, Trans. Inst. Weld. 3 (1940) 203; IIW Doc. IX-535-67 (read).
    .. [2] Pcm: Y. Ito & K. Bessyo, J. Japan Weld. Soc. 37 (1968); IIW Doc. IX-576-68 (read).
    .. [3] CET: D. Uwer & H. Höhne; EN 1011-2, annex C, method B (read).
    .. [4] CEN: N. Yurioka et al. 1983; one printing has Ni with Cu over 15, Ni/20 is taken (read).

    Examples
    --------
    >>> from forgeprops.inputs.steel import Steel
    >>> steel = Steel("4140 without residuals", {"C": 0.405, "Si": 0.25, "Mn": 0.875, "Cr": 0.95, "Mo": 0.20,
    ...                                          "Ni": 0.0, "Cu": 0.0})
    >>> {name: round(value, 3) for name, value in carbon_equivalents(steel).items()}
    {'CE_IIW': 0.781, 'Pcm': 0.518, 'CET': 0.56, 'CEN': 0.791}
    """
    steel = check_steel(steel)
    if not np.ndim(steel.get("C")):
        tell(w for name in ("CE_IIW", "Pcm", "CET") for w in contents_outside(name, steel))
    elements = ("C", "Si", "Mn", "Cu", "Ni", "Cr", "Mo", "Nb", "V", "B")
    c, si, mn, cu, ni, cr, mo, nb, v, b = (content_of(steel, element) for element in elements)
    a = 0.75 + 0.25 * np.tanh(20.0 * (c - 0.12))
    found = {
        "CE_IIW": c + mn / 6 + (cr + mo + v) / 5 + (ni + cu) / 15,
        "Pcm": c + si / 30 + (mn + cu + cr) / 20 + ni / 60 + mo / 15 + v / 10 + 5 * b,
        "CET": c + (mn + mo) / 10 + (cr + cu) / 20 + ni / 40,
        "CEN": c + a * (si / 24 + mn / 6 + cu / 15 + ni / 20 + (cr + mo + nb + v) / 5 + 5 * b),
    }
    return {name: plain(value) for name, value in found.items()}
