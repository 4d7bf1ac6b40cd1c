"""`python -m forgeprops`: the same estimate in a terminal, JSON alone, exit codes, plain errors."""

import json
import os
import signal
import subprocess
import sys
import time

import pytest
from checks import flaw

import forgeprops as fp
from forgeprops.__main__ import main
from forgeprops.command_line import commands
from forgeprops.command_line.job import job_from
from forgeprops.command_line.options import SETTINGS, parser
from forgeprops.inputs.settings import settings


def run(*options, stdout=subprocess.PIPE, **environment):
    return subprocess.run([sys.executable, "-m", "forgeprops", *options], stdout=stdout, stderr=subprocess.PIPE, text=True,
                          encoding="utf-8", timeout=120, env={**os.environ, **environment})  # fmt: skip


@pytest.fixture
def said(capsys):
    """What a command prints, where it works."""

    def prints(*options):
        assert main(list(options)) == 0
        out, err = capsys.readouterr()
        assert not err
        return out

    return prints


def as_json(result):
    return {"schema": 2, **json.loads(json.dumps(result.to_dict()))}


def test_summary_temper_no_spray_and_details_are_the_estimates(said):
    told = said("--grade", "4130", "--preheat-c", "930")
    assert told.strip() == fp.estimate("4130").summary().strip()
    given = "--grade 4140 --temper 600:1h --temper 200:90min --json".split()
    found = json.loads(said(*given))
    route = fp.Route(later=(fp.Temper(600, 3600), fp.Temper(200, 5400)))
    assert found == as_json(fp.estimate("4140", "mid-iron", route))
    zones = [z["hardness_hv"] for z in json.loads(said("--spray", "0", "--json"))["zones"].values()]
    assert max(zones) - min(zones) < 30.0
    text = " ".join(said("--grade", "4130", "--details").split())
    # the water in the units of the shop, the steel's own numbers, what the furnace made
    words = "martensite|°|L/min on|mL in 10 s|2 s after the press|ideal diameter| Ms |grain ASTM"
    assert [w for w in words.split("|") if w not in text] == []


def test_later_heats_keep_the_order_typed_and_a_heat_undone_is_named():
    typed = ["--normalise", "890:30min", "--temper", "600:1h", "--torch", "680:10min"]
    for first, kinds in ((0, "NTL"), (2, "TLN"), (4, "LNT")):
        job = job_from(parser().parse_args(typed[first:] + typed[:first]), fp.grade("4130"))
        assert "".join(type(heat).__name__[0] for heat in job.route.later) == kinds
        (note,) = (w.text for w in fp.estimate(job).warnings if w.code == "normalised")
        assert ("undoes the heats before it" in note) == (first != 0)


def test_json_is_valid_complete_and_alone():
    """Nothing but JSON on the output, no NaN in it, and the same numbers as the estimate."""
    done = run(*"--json --grade 1045 --head wedge --spray 8 --cool row".split())
    assert done.returncode == 0 and done.stderr == ""
    answer = json.loads(done.stdout, parse_constant=pytest.fail)
    route = fp.Route().with_(flux=8.0, surroundings="row")
    assert answer == as_json(fp.estimate("1045", "wedge", route))
    assert isinstance(answer["warnings"], list)


#: Options apart by a bar, and words of the sentence.
REFUSED = """
--grade|: grade must be a name
--grade|413O: 413O
--grade|413O: 4130
--grade|4130\x00: is unknown
--head|no: mid-iron
--steel|maraging: is a maraging steel, which is not covered
--preheat-c|abc: preheat temperature is 'abc', which is not a number; allowed is 20 to 1340
--preheat-c|5000: 1340
--preheat-c|nan: nan
--preheat-c: expected one argument
--spray|-3: -3 kg/(m² s)
--spray|water: spray rate is 'water'
--soak-s|-1: -1
--soak-s|1e99: 1e+99
--cool|fridge: Allowed: single
--water-c|150: 90
--spray|0|--water-c|9999: Water temperature 9999 °C is out of range
--spray|0|--delay-s|-5: Delay -5 s is out of range
--temper|600: 600:1h
--temper|600:1d: 600:1h
--temper|9999:1h: 9999
--limits|face=1: must be NAME=LOW:HIGH
--set|spray_s: NAME=VALUE
--set|sprays=3: did you mean 'spray_s'
--set|nope=3: setting 'nope' is unknown. Allowed: preheat_c, soak_s
--set|nope=3: chance_percent (--list says what each is).
--set|face_thickness_mm=99: 15 mm
--set|spray_s=long: spray time
--units|stone: 'stone'
--job|/no/such/file.json: does not exist
window|--x|flux:2: must be NAME:LOW:HIGH:POINTS
--wat|3: unrecognized arguments: --wat
stray: unrecognized arguments: stray
""".strip().split("\n")


@pytest.mark.parametrize("line", REFUSED)
def test_bad_input_is_one_line_and_exit_code_2(line, capsys, tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    options, _, words = line.partition(": ")
    for more in [], ["--json"]:
        assert main([*options.split("|"), *more]) == 2
        out, err = capsys.readouterr()
        assert out == "" and err.startswith("forgeprops: ") and words in err
        assert not flaw(err.removesuffix("\n"))
    assert not list(tmp_path.iterdir())


def test_process_exit_codes_streams_and_an_ascii_terminal():
    for options in ("--grade", "9999"), ("--no-such-option",):
        bad = run(*options)
        assert bad.returncode == 2 and bad.stdout == "" and options[-1] in bad.stderr
        assert "Traceback" not in bad.stderr
    assert run("--version").stdout.strip() == f"forgeprops {fp.__version__}"
    begin = time.perf_counter()
    done = run("--grade", "1030", PYTHONIOENCODING="ascii", LC_ALL="C", PYTHONUTF8="0")
    assert done.returncode == 0 and "HV" in done.stdout
    # generous: the target of a later start is 2 s on a machine to itself
    assert time.perf_counter() - begin < 8.0


@pytest.mark.skipif(os.name == "nt", reason="pipes of another kind")
def test_a_reader_that_has_seen_enough_makes_no_traceback():
    read, write = os.pipe()
    os.close(read)  # nobody reads
    done = run("--grade", "1030", stdout=write)
    os.close(write)
    assert done.returncode == 0 and done.stderr == ""


@pytest.mark.skipif(not os.path.exists("/dev/full"), reason="needs /dev/full")
@pytest.mark.parametrize("stdout", [">/dev/full", ">&-"])
@pytest.mark.parametrize("options", ["--json", "--list"])
def test_an_output_that_takes_nothing_is_one_sentence(options, stdout):
    command = f"exec '{sys.executable}' -m forgeprops {options} {stdout}"
    done = subprocess.run(["sh", "-c", command], stderr=subprocess.PIPE, text=True, timeout=120)
    assert done.returncode == 1 and done.stderr.count("\n") == 1
    assert done.stderr.startswith("forgeprops: the output cannot be written: ")


def test_list_help_and_every_setting_listed_is_taken(said):
    text = said("--list")
    for name in (*fp.grades(), *fp.heads(), *(f"  {name} " for name in settings())):
        assert name in text
    assert "invented" in text and "spray time, s, 0 to 600" in text
    assert "--preheat-c" in said("--help")
    # At the middle of its range.
    for s in SETTINGS:
        if s.is_number:
            words = ["--" + s.name.replace("_", "-"), f"{0.5 * (s.low + s.high):g}"]
            words += ["--quench", "oil bath:60"] * (s.part == "quench")
            job_from(parser().parse_args(words), fp.grade("4130"))


def test_any_setting_can_be_set_and_a_job_saved_and_started_from(tmp_path, said, capsys):
    file = str(tmp_path / "a.job.json")
    given = "--grade 1045 --spray-s 6 --bar-mm 600 --set face_thickness_mm=2.4 --set C=0.47 --set shop_spray=1.2 --set back_on_die=true"
    answer = json.loads(said(*given.split(), "--save-job", file, "--json"))
    changes = {"spray_s": 6, "bar_mm": 600, "face_thickness_mm": 2.4, "C": 0.47, "shop_spray": 1.2}
    job = fp.Job("1045").with_(**changes, back_on_die=True)
    assert fp.load_job(file) == job and answer == as_json(fp.estimate(job))
    assert json.loads(said("--job", file, "--json")) == answer
    assert main(["--job", file, "--save-job", file]) == 2  # an existing file is kept
    assert "exists" in capsys.readouterr().err


def test_comparison_takes_steels_as_text_and_ranks_no_cracked_head_first(said):
    steels = "1045", "C 0.31 Mn 0.5 Cr 0.95 Mo 0.2"
    limits = "face_hardness_hv=350: hosel_allowed_deg=2:"
    text = said("compare", *steels, "--preheats", "850,900", "--limits", limits, "--json")
    answer = json.loads(text)
    best = answer["rows"][0]
    assert answer["schema"] == 2 and best["rank"] == 1 and best["grade"].startswith("C 0.31")
    plain = [r["binding"] for r in answer["rows"] if r["grade"] == "1045"]
    assert plain == ["warning quench-crack"] * 2


def part(steel="4130", changes=None, **route):
    return fp.Job(steel, route=fp.Route(**route).with_(**changes or {}))


#: Options, and the same in Python: own head, every medium and later heat, a preheat by coil, a slow cooling.
PARTS = {
    "--mass-g 270 --face-mm 2.4 --blade-mm 76x45 --hosel-mm 13.4x9.4x60": lambda: fp.Job(
        head=fp.head_from(mass_g=270, face_mm=2.4, blade_mm=(76, 45), hosel_mm=(13.4, 9.4, 60))),
    "--steel 1040 --spray 0 --quench oil_bath:60 --set agitation=0.5": lambda: part(
        "1040", spray=None, quench=fp.Quench("oil bath", duration_s=60, agitation=0.5)),
    "--spray-s 3 --quench water_spray:5:2": lambda: part(
        changes={"spray_s": 3}, quench=fp.Quench("water spray", duration_s=5, delay_s=2)),
    "--quench forced_air:20:0:hosel": lambda: part(quench=fp.Quench("forced air", "hosel", 20, 0)),
    "--furnace induction --soak-s 90 --cool box": lambda: part(
        changes={"furnace": "induction", "soak_s": 90, "surroundings": "box"}),
    "--torch 680:10min:air": lambda: part(later=fp.LocalHeat("hosel", 680, 600, "air")),
    "--normalise 890:30min:row": lambda: part(later=fp.Normalise(890, 1800, "row")),
}  # fmt: skip


@pytest.mark.parametrize("options", PARTS)
def test_every_part_of_a_head_and_a_route(options, tmp_path, said):
    job = tmp_path / "a.json"
    given = [word.replace("_", " ") if ":" in word else word for word in options.split()]
    answer = json.loads(said(*given, "--save-job", str(job), "--json"))
    expected = PARTS[options]()
    assert fp.load_job(job) == expected and answer == as_json(fp.estimate(expected))


def test_route_and_heat_from_a_file(tmp_path, said, capsys):
    file = str(tmp_path / "route.json")
    first = said("--spray-s", "3", "--quench", "water spray:5:2", "--save-route", file)
    text = said("--route", file, "--units", "US")
    assert " °F" in text and " °C" not in text and " lbf" in text
    assert said("--route", file) == first
    mill = tmp_path / "mill.csv"
    head = "Schmelze;Sorte;C %;Mn %;Cr %;Mo %;N ppm;B %"
    mill.write_text(f"{head}\nA1;4130;0,31;0,52;0,96;0,19;70;<0.001\n")
    given = "--certificate", str(mill)
    assert json.loads(said(*given, "--heat", "A1", "--json"))["steel"] == "A1"
    assert said("accept", *given, "--limits", "face_hardness_hrc=30:55").startswith("A1: ")
    assert main([*given, "--heat", "B2"]) == 2
    assert "it has A1" in capsys.readouterr().err


def test_stopped_work_says_so_and_keeps_what_was_finished(capsys, monkeypatch):
    def interrupted(*_):
        signal.raise_signal(signal.SIGINT)
        return "first rows", {}

    monkeypatch.setitem(commands._STUDIES, "choose", interrupted)
    # a job in the background ignores the signal
    before = signal.signal(signal.SIGINT, signal.default_int_handler)
    assert main(["choose"]) == 130
    out, err = capsys.readouterr()
    assert out.startswith("first rows\n\nAn estimate") and err.count("\n") == 1
    assert signal.signal(signal.SIGINT, before) is signal.default_int_handler
