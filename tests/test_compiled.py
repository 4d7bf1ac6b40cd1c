"""Who waits for a compilation is told so, once; who does not look is not disturbed."""

import sys

import numba
import pytest
from numba.core import event

from forgeprops.compiled import _tell_who_waits


@pytest.mark.parametrize("looked_at", [True, False])
def test_first_compilation_says_so_once(looked_at, monkeypatch, capsys):
    monkeypatch.setattr(sys.stderr, "isatty", lambda: looked_at, raising=False)
    monkeypatch.delitem(sys.modules, "ipykernel", raising=False)
    listener = _tell_who_waits.__wrapped__()
    try:
        for _ in range(2):
            assert numba.njit(lambda x: x + 1.0)(1.0) == 2.0
    finally:
        if listener is not None:
            event.unregister("numba:compile", listener)
    assert (listener is not None) == looked_at
    assert capsys.readouterr().err.count("Compiling for this machine, once") == looked_at
