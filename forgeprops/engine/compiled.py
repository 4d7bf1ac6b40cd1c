"""Machine code for the loops that need it: compiled on first use, kept in numba's cache if there is one."""

from __future__ import annotations

import functools
import sys
import warnings

__all__ = ["compiled"]

#: No `fastmath` beyond what keeps infinities and NaN as they are; division by zero gives them as NumPy does.
_OPTIONS = {"nogil": True, "error_model": "numpy", "fastmath": {"contract", "arcp", "nsz"}}


def compiled(function):
    """Compile with the cache if numba finds a folder it may write to; else every process compiles anew.

    The cache notices a change of the function's own file only, so what it calls belongs in that file, or a checksum of
    it in the function's closure.  A person who waits, at a terminal or in a notebook, is told once that it compiles.
    """
    import numba

    _tell_who_waits()
    try:
        return numba.njit(cache=True, **_OPTIONS)(function)
    except RuntimeError:
        warnings.warn(
            "no writable folder for the compile cache; set NUMBA_CACHE_DIR to one to save about ten "
            "seconds at every start",
            stacklevel=2,
        )
        return numba.njit(**_OPTIONS)(function)


@functools.cache
def _tell_who_waits():
    """Have the first compilation say so, if someone looks; what comes from the cache says nothing."""
    kernel = sys.modules.get(
        "ipykernel.kernelapp"
    )  # imported by test tools too, so whether it runs is asked
    if not (sys.stderr.isatty() or (kernel is not None and kernel.IPKernelApp.initialized())):
        return None
    from numba.core import event

    class Told(event.Listener):
        told = False

        def on_start(self, happening):
            ours = happening.data["dispatcher"].py_func.__module__.startswith("forgeprops.")
            if ours and not self.told:
                self.told = True
                where = (
                    sys.stderr if sys.stderr.isatty() else sys.stdout
                )  # a notebook shows the other in red
                print(
                    "Compiling for this machine, once: up to a quarter of a minute.",
                    file=where,
                    flush=True,
                )

        def on_end(self, _):
            pass

    listener = Told()
    event.register("numba:compile", listener)
    return listener
