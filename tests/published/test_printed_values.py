"""Formulas against values printed elsewhere or derived apart from this package; each row names its source."""

import ast
import importlib

import pytest

from forgeprops.base.tables import read_rows

ROWS = read_rows("validation/printed_values.csv")


@pytest.mark.parametrize("function", dict.fromkeys(r["function"] for r in ROWS))
def test_printed_values(function):
    path, _, attribute = function.partition(":")
    room, _, name = path.rpartition(".")
    law = getattr(importlib.import_module(f"forgeprops.{room}"), name)
    for row in (r for r in ROWS if r["function"] == function):
        arguments, options = (ast.literal_eval(row[c] or "{}") for c in ("arguments", "options"))
        found = law(*arguments, **options)
        found = getattr(found, attribute) if attribute else found
        near = {name[:3]: float(row[name]) for name in ("relative", "absolute") if row[name]}
        assert found == pytest.approx(float(row["value"]), **near), row
