"""Lists of runs: settings by their short names, bounds, and no error but our own."""

import pytest
from checks import refuses

from forgeprops.inputs.route import Route
from forgeprops.study.shop.runs import read_runs


def test_settings_by_name_and_what_is_silent_stays():
    text = (
        "head_id;heat;head;preheat_c;flux;surroundings;back_on_die\n7;A1;mid-iron;910;8,5;row;yes\n"
        "8;;;;;;\n9;A2;wedge;;0,5;;no"
    )
    runs = read_runs(text.encode(), Route().with_(preheat_c=880))
    settings = {"preheat_c": 910, "flux": 8.5, "surroundings": "row", "back_on_die": True}
    assert runs["7"].route == Route().with_(**settings)
    assert runs["8"].route == Route().with_(preheat_c=880)
    assert runs["8"].heat == ""
    assert runs.problems == ()
    assert runs["9"].route.spray.flux_kg_m2_s == 0.5 and runs["9"].head == "wedge"


@pytest.mark.parametrize("row, what", [
    ("7,A1,mid-iron,5000,8", "Preheat temperature 5000"),
    ("7,A1,mid-iron,hot,8", "cannot be read"),
    ("7,A1,mid-irno,900,8", "did you mean 'mid-iron'"),
    ("1,A1,mid-iron,900,8", "given twice"), (",A1,mid-iron,900,8", "nothing given"),
    ("7,A1,mid-iron,900,8,9", "more cells"),
])  # fmt: skip
def test_bad_rows_are_reported_and_the_good_one_stays(row, what):
    runs = read_runs(f"head_id,heat,head,preheat_c,flux\n1,A1,mid-iron,900,8\n{row}".encode())
    assert list(runs) == ["1"] and any(what in p.what and p.row == 3 for p in runs.problems)


@pytest.mark.parametrize("text, options, message", [
    (b"a,b\n1,2", {}, "no list of runs"), (b"head_id,flux\n7,90", {}, "no usable head"),
    (b"head_id\n7", {"route": "slow"}, "must be a Route"),
])  # fmt: skip
def test_unusable_lists(text, options, message):
    refuses(f"(?i){message}", read_runs, text, **options)
