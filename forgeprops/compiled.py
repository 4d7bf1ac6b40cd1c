"""Machine code for the loops that need it: compiled on first use, kept in numba's cache if there is one."""

from __future__ import annotations

import warnings

__all__ = ["compiled"]

#: No `fastmath` beyond what keeps infinities and NaN as they are; division by zero gives them as NumPy does.
_OPTIONS = {"nogil": True, "error_model": "numpy", "fastmath": {"contract", "arcp", "nsz"}}


def compiled(function):
    """Compile with the cache if numba finds a folder it may write to; else every process compiles anew.

    The cache notices a change of the function's own file only, so what it calls belongs in that file.
    """
    import numba

    try:
        return numba.njit(cache=True, **_OPTIONS)(function)
    except RuntimeError:
        warnings.warn("no writable folder for the compile cache; set NUMBA_CACHE_DIR to one to save some "
                      "seconds at every start", stacklevel=2)
        return numba.njit(**_OPTIONS)(function)
