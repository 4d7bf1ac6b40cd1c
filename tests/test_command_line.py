"""`python -m forgeprops`: the same estimate in a terminal, JSON alone, exit codes, plain errors."""

import json
import os
import subprocess
import sys
import time

import pytest

import forgeprops as fp
from forgeprops.__main__ import main


def run(*options, **environment):
    return subprocess.run([sys.executable, "-m", "forgeprops", *options], capture_output=True, text=True,
                          encoding="utf-8", timeout=120, env={**os.environ, **environment})  # fmt: skip


def test_prints_the_summary_of_the_same_estimate(capsys):
    assert main(["--grade", "4130", "--preheat-c", "930"]) == 0
    said = capsys.readouterr()
    assert said.err == ""
    assert (
        said.out.strip() == fp.estimate(fp.grade("4130"), "mid-iron", fp.Route()).summary().strip()
    )


def test_the_two_grades_of_the_first_question(capsys):
    """Chromoly face harder, hosel allows fewer degrees; the text says why."""
    found = {}
    for name in ("4130", "1020"):
        assert main(["--grade", name, "--preheat-c", "930", "--json"]) == 0
        found[name] = json.loads(capsys.readouterr().out)
    zones = {
        name: {z: v["hardness_hv"] for z, v in answer["zones"].items()}
        for name, answer in found.items()
    }
    assert zones["4130"]["face"] > zones["1020"]["face"] + 100.0
    assert found["4130"]["hosel"]["allowed_deg"] < found["1020"]["hosel"]["allowed_deg"]
    main(["--grade", "4130"])
    text = " ".join(capsys.readouterr().out.split())
    assert "martensite" in text and "°" in text and "±" in text
    # the water in the units of the shop, the steel's own numbers, what the furnace made
    for words in (
        "L/min on",
        "mL in 10 s in a can",
        "2 s after the squeeze",
        "ideal diameter",
        " Ms ",
        "grain ASTM",
    ):
        assert words in text, words


def test_json_is_valid_complete_and_alone():
    """Nothing but JSON on the output, no NaN in it, and the same numbers as the estimate."""
    done = run("--json", "--grade", "1045", "--head", "wedge", "--spray", "8", "--cool", "row")
    assert done.returncode == 0 and done.stderr == ""

    def refuse(word):
        raise AssertionError(word)

    answer = json.loads(done.stdout, parse_constant=refuse)
    route = fp.Route().with_(flux=8.0, surroundings="row")
    expected = json.loads(json.dumps(fp.estimate(fp.grade("1045"), "wedge", route).to_dict()))
    assert answer == expected
    for zone in ("face", "rim", "body", "neck", "hosel"):
        assert 100.0 < answer["zones"][zone]["hardness_hv"] < 900.0
    assert isinstance(answer["warnings"], list)


def test_spray_zero_is_no_spray(capsys):
    assert main(["--spray", "0", "--json"]) == 0
    dry = json.loads(capsys.readouterr().out)
    zones = [z["hardness_hv"] for z in dry["zones"].values()]
    assert max(zones) - min(zones) < 30.0


@pytest.mark.parametrize(
    ("options", "words"),
    [
        (["--grade", "413O"], ["413O", "4130"]),
        (["--head", "no"], ["no", "mid-iron"]),
        (["--preheat-c", "5000"], ["5000", "1340"]),
        (["--preheat-c", "nan"], ["nan"]),
        (["--spray", "-3"], ["-3", "kg/(m² s)"]),
        (["--soak-s", "-1"], ["-1"]),
        (["--cool", "fridge"], ["fridge", "single"]),
        (["--water-c", "150"], ["150", "90"]),
    ],
)
def test_bad_input_is_one_line_and_exit_code_2(options, words, capsys):
    assert main([*options, "--json"]) == 2
    said = capsys.readouterr()
    assert said.out == ""
    assert (
        said.err.count("\n") == 1
        and said.err.startswith("forgeprops: ")
        and "Traceback" not in said.err
    )
    for word in words:
        assert word in said.err


def test_process_exit_codes_and_streams():
    bad = run("--grade", "9999")
    assert (
        bad.returncode == 2
        and bad.stdout == ""
        and "9999" in bad.stderr
        and "Traceback" not in bad.stderr
    )
    wrong = run("--no-such-option")
    assert wrong.returncode == 2 and "--no-such-option" in wrong.stderr
    assert run("--version").stdout.strip() == f"forgeprops {fp.__version__}"


@pytest.mark.skipif(os.name == "nt", reason="pipes of another kind")
def test_a_reader_that_has_seen_enough_makes_no_traceback():
    read, write = os.pipe()
    os.close(read)  # nobody reads
    done = subprocess.run([sys.executable, "-m", "forgeprops", "--grade", "1030"], stdout=write, stderr=subprocess.PIPE,
                          text=True, timeout=120)  # fmt: skip
    os.close(write)
    assert done.returncode == 0 and done.stderr == ""


def test_ascii_terminal_does_not_choke():
    done = run("--grade", "1030", PYTHONIOENCODING="ascii", LC_ALL="C", PYTHONUTF8="0")
    assert done.returncode == 0 and "HV" in done.stdout


def test_list_and_help(capsys):
    assert main(["--list"]) == 0
    text = capsys.readouterr().out
    for name in (*fp.grades(), *fp.heads()):
        assert name in text
    assert "invented" in text
    with pytest.raises(SystemExit) as stopped:
        main(["--help"])
    assert stopped.value.code == 0
    assert "--preheat-c" in capsys.readouterr().out


def test_second_start_is_quick():
    """Compiled code comes from the cache (generous: the target is 2 s on a machine to itself)."""
    run("--grade", "4130")
    begin = time.perf_counter()
    assert run("--grade", "4130").returncode == 0
    took = time.perf_counter() - begin
    print(f"\nsecond start {took:.1f} s")
    assert took < 8.0
