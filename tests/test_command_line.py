"""The command line: bench options, remedies, limits of the user, and errors in one sentence."""

import json

import pytest

from forgeprops.__main__ import main


def test_bench_options_reach_the_answer(capsys):
    assert main(["--grade", "1020", "--lie", "1.5", "--loft", "-1", "--bar-mm", "700", "--hand", "left"]) == 0
    told = " ".join(capsys.readouterr().out.split())
    assert "A change of 1.8°" in told and "on the end of the 700 mm bar" in told
    assert "towards the toe, turned 34° to the back" in told and "springs back" in told
    assert "Before you pull" in told and "eye protection" in told and "trial bend" in told


def test_cautions_of_the_bench_stand_only_where_the_bench_is_asked(capsys):
    main(["--grade", "1020"])
    assert "Before you pull" not in capsys.readouterr().out


def test_loft_alone_means_no_change_of_lie(capsys):
    main(["--grade", "1020", "--loft", "1", "--json"])
    hosel = json.loads(capsys.readouterr().out)["hosel"]
    assert hosel["target_deg"] == 1.0 and hosel["direction_deg"] == 90.0
    assert hosel["overbend_deg"] == pytest.approx(1.0 + hosel["springback_deg"], rel=0.01)
    assert hosel["ease"].split(":")[0] in ("easy", "firm", "heavy")


def test_soften_lists_remedies_in_text_and_json(capsys):
    main(["--grade", "4140", "--soften"])
    text = capsys.readouterr().out
    assert "What softens the hosel" in text and "An insulating sleeve on the hosel" in text
    main(["--grade", "4140", "--soften", "--json"])
    told = json.loads(capsys.readouterr().out)
    assert {r["kind"] for r in told["soften"]["remedies"]} == {"preheat", "cooling", "anneal"}
    assert told["soften"]["allowed_deg"] == pytest.approx(told["hosel"]["allowed_deg"], rel=0.01)


def test_limits_of_the_user(capsys):
    main(["--grade", "4130", "--flatness-mm", "0.01", "--cutting-hv", "250", "--json"])
    shape = json.loads(capsys.readouterr().out)["distortion"]
    assert shape["limit_mm"] == 0.01
    assert [w["code"] for w in shape["warnings"]] == ["distortion:bow", "distortion:hard-to-cut"]


@pytest.mark.parametrize(
    ("options", "words"),
    [
        (["--bar-mm", "5"], "bar length is 5 mm"),
        (["--hand", "both"], "both"),
        (["--lie", "40"], "lie change is 40"),
    ],
)
def test_bad_bench_is_one_sentence(options, words, capsys):
    assert main(options) == 2
    told = capsys.readouterr()
    assert told.out == "" and words in told.err and len(told.err.splitlines()) == 1
