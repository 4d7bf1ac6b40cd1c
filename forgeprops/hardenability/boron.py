"""What boron adds to hardenability, and what protects it from nitrogen."""

import numpy as np

from ..base.arrays import plain

#: Nitrogen that aluminium holds even without titanium or zirconium, wt%.
_HELD_BY_AL = 0.002
#: Widths of the smooth corners of free nitrogen and of effective boron, wt% (our choice).
_SMOOTH_N, _SMOOTH_B = 0.0004, 0.0001
#: Effective boron at which half of its effect is there, wt%: full from about 10 to 30 ppm.
_HALF = 0.0004


def content_of(steel, element: str):
    """Content in wt% as an array; an element that a dict lacks counts as 0."""
    content = steel.get(element)
    return np.asarray(0.0 if content is None else content, dtype=float)


def _corner(x, width):
    """max(x, 0) with a smooth corner."""
    return width * np.logaddexp(0.0, x / width)


def effective_boron(steel):
    """Boron that nitrogen leaves in solution, wt%.

    Free nitrogen is ``N - 0.002 - Ti/5 - Zr/15``, effective boron what exceeds it; both without sharp corners.
    Aluminium alone protects no more than the 0.002.

    >>> protected = effective_boron({"C": 0.25, "B": 0.002, "Ti": 0.03, "N": 0.006})
    >>> bare = effective_boron({"C": 0.25, "B": 0.002, "Al": 0.03, "N": 0.008})
    >>> round(float(protected), 4), float(bare) < 1e-6
    (0.002, True)

    .. [1] B. M. Kapadia, R. M. Brown & W. J. Murphy, Trans. AIME 242 (1968) 1689 (from memory).
    """
    ti, zr, n = (content_of(steel, e) for e in ("Ti", "Zr", "N"))
    free = _corner(n - _HELD_BY_AL - ti / 5.0 - zr / 15.0, _SMOOTH_N)
    left = _corner(content_of(steel, "B") - free, _SMOOTH_B)
    return plain(left - _corner(-free, _SMOOTH_B))  # 0 without boron


def boron_factor(steel):
    """Factor on the ideal diameter: ``1 + 1.5 (0.90 - C)`` where the boron is effective, 1 without it; smooth, ± 20 %.

    >>> round(boron_factor({"C": 0.25, "B": 0.002, "Ti": 0.03, "N": 0.006}), 2)
    1.92

    .. [1] Fall with carbon: D. T. Llewellyn & W. T. Cook, Met. Technol. 1 (1974) 517 (from memory).
    .. [2] Full effect from about 10 to 30 ppm, half at 4 ppm; peak at 3-15 ppm (our choice).
    """
    b = effective_boron(steel)
    active = b**2 / (b**2 + _HALF**2)
    return plain((1.0 + 1.5 * np.maximum(0.90 - content_of(steel, "C"), 0.0)) ** active)
