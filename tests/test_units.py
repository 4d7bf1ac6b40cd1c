"""Units once for all texts: chosen by a word, no other unit appears, the numbers are those of the result."""

import html
import json
import re

import pandas as pd
import pytest
from checks import refuses

import forgeprops as fp
from forgeprops.show.sheet import sheet_html
from forgeprops.units import US, Units

#: A number and a unit of the other system; the second scale of hardness stands beside Vickers only.
NOT_US = re.compile(r"\d ?(°C|mm|µm|HV|HB|L/min|kN|MN|N)(?![\w/])")
NOT_SI = re.compile(r"\d ?(°F|(?<=\.\d\d )in|gpm|lbf|tons)(?![\w/])")


@pytest.fixture(scope="module", params=["4130", "1045 tempered", "1020 local"])
def result(request):
    name, _, how = request.param.partition(" ")
    heats = {"tempered": fp.Temper(300, 3600), "local": fp.LocalHeat("hosel", peak_c=650)}
    return fp.estimate(fp.grade(name), "mid-iron", fp.Route(later=heats.get(how, ())))


def pages(result, units):
    """Every text of a result; the sources of the sheet keep the units of their papers."""
    page = sheet_html(result, display_units=Units.of(units))
    page = html.unescape(re.sub("<style>.*?</style>", "", page, flags=re.S))
    plain = {k: v for k, v in result.to_dict(units).items() if k != "sources"}
    return {
        "summary": result.summary(units),
        "details": result.details(units),
        "sheet": page.partition("<h2>Sources</h2>")[0],
        "json": json.dumps(plain, ensure_ascii=False),
    }


@pytest.mark.parametrize("units, other", [("US", NOT_US), (None, NOT_SI), ("F in HRB gpm lbf", NOT_US)])  # fmt: skip
def test_no_other_unit_appears(result, units, other):
    for where, text in pages(result, units).items():
        found = other.search(text)
        assert not found, (where, text[max(found.start() - 60, 0) :][:120])
        assert ("ksi" in text) == (units == "US")
        assert not re.search(r"\d ?MPa", text) or units != "US"
    assert max(map(len, result.summary(units).splitlines())) <= 100
    assert len(result.summary(units).splitlines()) <= 25


def test_numbers_are_those_of_the_result_and_brinell_takes_the_place_of_the_others(result):
    text, face = " ".join(result.summary("US").split()), result.zones["face"].hardness_hv
    assert f"preheat temperature {result.route.preheat_c * 1.8 + 32:.0f} °F" in text
    assert f"face {US.hardness_text(face)} (" in text
    assert f"{result.hosel.bar_force_n / 4.4482:.0f} lbf on a 19.7 in bar" in text
    assert result.to_dict("US")["units"]["force"] == "lbf"
    assert result.to_dict("US")["zones"] == result.to_dict()["zones"]
    for text in pages(result, "HB").values():
        assert not re.search(r"\d (HV|HRC|HRB)\b", text) and re.search(r"\d HB\b", text)


@pytest.mark.parametrize("said, shown", [
    ("re-heats it by 100 °C to 400 °C", "re-heats it by 180 °F to 752 °F"),
    ("at 500 °C, above Ms (380 °C)", "at 932 °F, above Ms (716 °F)"),
    ("2.8 °C/s at 700 °C", "5.0 °F/s at 1292 °F"),
    ("190–220 °C; -20 to 30 °C", "374–428 °F; -4 to 86 °F"),
    ("230 to 400 HV, 60 HV, above 31 HRC", "98 HRB to 41 HRC, below 55 HRB, above 31 HRC"),
    ("180 µm; 80 × 50 mm; 0.15 mm", "0.0071 in; 3.15 × 1.97 in; 0.0059 in"),
    ("2.9 L/min, 12 kg/(m² s), 9.1 kN", "0.77 gpm, 12 kg/(m² s), 2046 lbf"),
    ("grade 4130, 10 N·m, 205 N/mm²", "grade 4130, 10 N·m, 205 N/mm²"),
])  # fmt: skip
def test_a_sentence_is_said_in_other_units(said, shown):
    assert US.text(said) == shown
    assert Units().text(said) == said


def test_units_by_word_and_columns_of_a_table():
    assert Units.of("US") == US
    assert Units.of("si") == Units() and Units.of("f, in") == Units("°F", "in")
    for wrong in ("parsec", "mm in"):
        refuses("units", Units.of, wrong)
    table = {"preheat_c": [930.0], "face_hv": [400.0], "pull_n": [100.0], "steel": ["4130"]}
    table = US.table(pd.DataFrame(table))
    assert list(table.columns) == ["preheat_f", "face_hrc", "pull_lbf", "steel"]
    assert table["preheat_f"][0] == 1706.0 and table["face_hrc"][0] == "41 HRC"
