"""Who waits for a compilation is told so, once; who does not look is not disturbed."""

import sys

import numba
import pytest
from numba.core import event

from forgeprops.engine.compiled import _tell_who_waits


def more(x):
    return x + 1.0


@pytest.mark.parametrize(("looked_at", "module", "told"), [
    (True, "forgeprops.somewhere", 1),
    (False, "forgeprops.somewhere", 0),
    (True, "somebody.elses", 0),
])  # fmt: skip
def test_first_compilation_of_ours_says_so_once(looked_at, module, told, monkeypatch, capsys):
    usual = _tell_who_waits()
    if usual is not None:  # at a terminal: that one is not asked here
        monkeypatch.setattr(usual, "told", True)
    monkeypatch.setattr(sys.stderr, "isatty", lambda: looked_at, raising=False)
    more.__module__ = module
    listener = _tell_who_waits.__wrapped__()
    try:
        for _ in range(2):
            assert numba.njit(more)(1.0) == 2.0
    finally:
        if listener is not None:
            event.unregister("numba:compile", listener)
    assert (listener is not None) == looked_at
    assert capsys.readouterr().err.count("Compiling for this machine, once") == told
