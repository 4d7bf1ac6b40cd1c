"""A composition that cannot be is answered in one sentence that says what, what is allowed, and where."""

import math

import pytest
from checks import refuses

from forgeprops.base.errors import InputError
from forgeprops.inputs.steel import DEFAULT_RESIDUALS, Steel

GOOD = {"C": 0.21, "Mn": 0.82, "Si": 0.25, "Cr": 1.02, "Mo": 0.19}


@pytest.mark.parametrize(("change", "says"), [
    ({"Cr": -0.1}, r"Cr content -0.1 wt% is out of range .0–5 wt%"),
    ({"Cr": 102.0}, r"Cr content 102 wt% is out of range .0–5 wt%"),
    ({"C": 2.1}, r"C content 2.1 wt%"),
    ({"C": 0.0}, r"C content 0 wt% is out of range .0.025–"),
    ({"Mo": math.nan}, r"Mo content nan"), ({"Mo": math.inf}, r"Mo content inf"),
    ({"Mo": "0.2"}, r"Mo content must be a number .*'0.2'"),
    ({"Mo": None}, r"Mo content must be a number .*None"),
    ({"Mo": True}, r"Mo content must be a number .*True"),
    ({"Xx": 0.1}, r"element 'Xx' is unknown"), ({"cr": 1.0}, r"Cr is given twice"),
    ({3: 1.0}, r"element 3 is unknown"),
])  # fmt: skip
def test_bad_content(change, says):
    with pytest.raises(InputError, match=says) as caught:
        Steel("heat 7", GOOD | change)
    assert "steel 'heat 7'" in str(caught.value) and "\n" not in str(caught.value)


def test_carbon_missing():
    refuses(r"carbon is missing; .* \(steel 'heat 7'\)", Steel, "heat 7", {"Mn": 0.8})


def test_absent_is_unknown_and_zero_is_zero():
    assert Steel("heat 7", GOOD).get("Cu") == DEFAULT_RESIDUALS["Cu"]
    assert Steel("heat 7", GOOD | {"Cu": 0.0}).get("Cu") == 0.0
    assert "Cu" in Steel("heat 7", GOOD).assumed
    assert Steel("heat 7", GOOD).get("V") == 0.0
    with pytest.raises(TypeError):
        Steel("heat 7", GOOD).composition["C"] = 0.5
