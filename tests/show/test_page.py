"""The page and the lesson without a browser: what the kernel sends, what comes back, units and colours."""

import asyncio
import json
import multiprocessing
import re
from concurrent.futures import ProcessPoolExecutor
from pathlib import Path

import numpy as np
import pytest
from checks import refuses
from scipy.spatial.distance import pdist

import forgeprops as fp
import forgeprops.show.page
from forgeprops.answer.warnings.listing import RULES
from forgeprops.show import units as u
from forgeprops.show.page import Desk, Page
from forgeprops.show.page.blocks import Stopped
from forgeprops.show.page.fields import changes_of, limits_with
from forgeprops.show.page.lesson import _STEPS, GOALS, Lesson, step_of
from forgeprops.show.page.tabs import TABS

PAGE = Path(fp.__file__).parent / "show" / "page"


def test_moves_of_one_setting_are_one_step_and_a_bad_value_changes_nothing():
    desk = Desk()
    for seconds in (9, 8, 7):
        desk.move(spray_s=seconds)
        desk.commit(merge=True)
    assert len(desk.past) == 1
    refuses("", desk.move, preheat_c=5000)
    assert desk.job.value("spray_s") == 7.0
    desk.undo()
    assert desk.job == fp.Job()
    desk.redo()
    assert desk.job.value("spray_s") == 7.0


def _moves(path, preheats):
    """A page that changes the job again and again, in a process of its own."""
    desk = Desk(path=path)
    for preheat_c in preheats:
        desk.look()
        desk.set(preheat_c=preheat_c)


def test_two_pages_and_a_script_on_one_file_lose_nothing(tmp_path):
    """The last write wins and says so; what it replaced is one step back; no reader ever meets half a file."""
    path = tmp_path / "job.json"
    here = Desk(path=path)
    here.set(spray_s=6)
    fp.Job().with_(spray_s=7).save(path, overwrite=True)  # the script
    here.set(delay_s=3.0)
    assert "one step back" in here.note and fp.load_job(path) == here.job
    here.undo()
    assert here.job.value("spray_s") == 7.0
    (tmp_path / "job.json").write_text("{")  # another program's half
    here.set(spray_s=8)
    assert "not saved" in here.note and path.read_text() == "{"
    path.unlink()
    here.set(spray_s=9)
    seen = []
    with ProcessPoolExecutor(2, multiprocessing.get_context("spawn")) as pool:
        pages = [pool.submit(_moves, str(path), range(n, n + 30)) for n in (800, 900)]
        while not all(page.done() for page in pages):
            here.look()
            seen.append(here.job.value("preheat_c"))
    assert [page.result() for page in pages] == [None, None] and len(set(seen)) > 5
    assert fp.load_job(path).value("preheat_c") in (829.0, 929.0)
    assert [p.name for p in tmp_path.iterdir()] == ["job.json"]


def test_damaged_files_are_kept_or_left_alone(tmp_path):
    path = tmp_path / "job.json"
    path.write_text("{", encoding="utf-8")
    desk = Desk(path=path)
    assert desk.note and desk.job == fp.Job()
    assert [p.read_text(encoding="utf-8") for p in tmp_path.glob("*unread*")] == ["{"]
    u.units_file().parent.mkdir()
    kelvin = '{"format": "forgeprops units", "version": 1, "temperature": "K"}'
    u.units_file().write_text(kelvin, encoding="utf-8")
    assert u.units() == u.Units()


def test_remedy_on_the_button_and_stops_first():
    page = Page(Desk(fp.Job().with_(spray_s=5.0)))
    assert page.state["level"] == "out" and page.state["zones"]["face"]["level"] == "out"
    page._heard(None, {"do": "remedy"}, [])
    assert page.state["level"] == "good"
    assert page.more["strips"]["spray_s"].count("good") >= 1
    limits = fp.Limits(crack_index=(None, 1.0), forging_low_c=(900.0, None))
    page = Page(Desk(fp.Job(steel=fp.grade("4140"), limits=limits).with_(spray_s=10)))
    assert [s["level"] for s in page.state["signs"][:2]] == ["out", "out"]
    said = [b.get("words", "") for b in TABS["sure"].content(page.desk, page._result, print)]
    assert said[0].startswith("Stop. Quench cracks")
    assert any(words.startswith("Note. A longer delay makes this face harder") for words in said)


def test_hardness_of_a_move_comes_first_and_agrees_with_the_whole_answer():
    async def drag():
        page = Page(Desk())
        old = page.state
        for n, seconds in enumerate((8.0, 7.0)):
            page.move = {"set": {"spray_s": seconds}, "n": n}
        assert page.state is old and page.first["n"] == 1
        curves = page.curves
        await asyncio.sleep(0.5)
        assert page.state["fields"]["spray_s"]["value"] == 7.0 and page.curves == curves
        assert page.first["zones"] == {z: v["text"] for z, v in page.state["zones"].items()}
        face = page.state["tiles"]["face"]["value"]
        assert page.first["value"] == face != old["tiles"]["face"]["value"]

    asyncio.run(drag())


def test_no_other_unit_is_left_after_the_switch():
    page = Page(Desk(fp.Job()))
    page._heard(None, {"do": "units", "units": ["°F", "in", "HRC"]}, [])
    for name in TABS:
        page._open_tab(name)
        every = [page.content, page.more, {**page.state, "units": ""}]
        text = json.dumps(every, ensure_ascii=False)
        text = re.sub(r"<h2>Sources.*?</body>", "", text)  # what formulas cite stays in their units
        other = re.search(r".{60}(°C|\d HV\b|\d mm\b|\d N\b|L/min).{20}", text)
        assert other is None, f"tab {name}: {other[0]}"


def test_search_finds_a_setting_that_is_at_least_as_sure_and_can_be_stopped():
    page, said = Page(Desk(fp.Job())), []
    work = TABS["window"].slow["search"]

    def progress(share, words=""):
        said.append((share, words))
        if share > 0.4:
            raise Stopped

    blocks = work(page.desk, page._result, {}, progress)
    page.desk.set(**changes_of(page.desk.job, page.desk.units, blocks[1]["items"][0]["take"]))
    assert page._result.verdict.chance_right > fp.estimate(fp.Job()).verdict.chance_right - 0.03
    assert all("best so far" in words for _, words in said) and said[-1][0] < 0.6


def test_sheet_of_the_job_own_steel_and_own_head():
    page = Page(Desk(fp.Job()), "sheet")
    page._heard(None, {"do": "act", "act": "note", "values": {"note": "order <7>"}}, [])
    shown = page.content["blocks"][-1]
    assert fp.Job().id in shown["html"] and "order &lt;7&gt;" in shown["html"]
    assert re.fullmatch(r"\d{4}-\d\d-\d\d_4130_mid-iron_\w+\.html", shown["name"])
    page = Page(Desk(fp.Job()))
    page._heard(None, {"do": "steel", "text": "C 0.31 Mn 0.5 Cr 0.95 Mo 0.2"}, [])
    sizes = {"mass_g": 262, "face_mm": 2.4, "hosel_outside_mm": None}
    page._heard(None, {"do": "head", "set": sizes}, [])
    assert page.desk.note == "" and page.desk.job.steel.get("Cr") == 0.95
    assert page.desk.job.head.face_thickness_mm == 2.4


def test_a_limit_is_edited_in_the_readers_scale():
    hard = fp.Limits.hard_thin_face()
    limits = limits_with(hard, fp.Units(hardness="HRC"), "face_hardness_hv", 0, 40.0)
    assert limits.written["face_hardness_hv"][:2] == ("HRC", 40.0)
    fewer = limits_with(limits, fp.Units(), "hosel_allowed_deg", 0, None).bounds.keys()
    assert fewer == limits.bounds.keys() - {"hosel_allowed_deg"}


@pytest.mark.parametrize("message", [{"set": {"steel": "none"}}, {"set": {"spray_s": "x"}}, {"set": {"mass": 3}}])  # fmt: skip
def test_nonsense_from_the_browser_is_answered_in_one_sentence(message):
    page = Page(Desk(fp.Job()))
    page._heard(None, {"do": "commit", **message}, [])
    assert page.state["note"] and page.desk.job == fp.Job()


@pytest.fixture(scope="module")
def lesson():
    return Lesson(fp.Units())


def test_answers_are_the_estimates_hidden_before_the_guess_and_the_film_is_in_order(lesson):
    own, soft, hard = (fp.estimate(fp.grade(g)) for g in ("4130", "1030", "4140"))
    steps = lesson.static["steps"]
    hosel, after, cross_s, hv, alloyed, pull = (s["answer"]["value"] for s in steps)
    face = own.zones["face"]
    assert face.water_off_c + 0.8 * face.rebound_c < after < face.water_off_c + face.rebound_c + 1
    assert hosel > 700 > face.water_off_c and cross_s > 10 * face.t85_s
    assert hv == pytest.approx(own.zones["hosel"].hardness_hv, abs=0.1)
    assert alloyed == pytest.approx(hard.zones["hosel"].hardness_hv, abs=0.1)
    assert pull == pytest.approx(hard.hosel.bar_force_n, abs=0.1)
    assert pull > 1.5 * soft.hosel.bar_force_n
    for step in steps:
        guess, axis = step["guess"], step["guess"]["axis"]
        assert not step["answer"]["near"][0] <= guess["start"] <= step["answer"]["near"][1]
        assert step["chart"][axis]["low"] < step["answer"]["value"] < step["chart"][axis]["high"]
    film = lesson.static["film"]
    result = fp.estimate(fp.grade("4130"))
    on, off = (result.events[f"water {w}"] - result.events["out of furnace"] for w in ("on", "off"))
    shown_s = sum(on <= t <= off for t in film["times"]) / film["rate"]
    assert shown_s > off - on and film["times"] == sorted(film["times"])
    words = [w for _, w in film["says"]]
    order = [next(i for i, w in enumerate(words) if part in w) for part in ("furnace", "die", "Spray on", "Ms", "spray stops")]  # fmt: skip
    assert order == sorted(order)


def test_every_warning_has_its_step_and_units_are_the_readers():
    named = tuple(" ".join(_STEPS.values()).split())
    assert [r.code for r in RULES if not r.code.startswith(named)] == []
    assert {step_of(r.code) for r in RULES} == set(_STEPS)
    lesson = Lesson(fp.Units(temperature="°F", length="in", force="lbf", hardness="HRC"))
    words = json.dumps([lesson.static, lesson.task], ensure_ascii=False)
    assert "°F" in words and "°C" not in words and " N " not in words and " mm" not in words
    assert "HRC" in words and " HV" not in words


@pytest.mark.parametrize("steel, good", [("1030", {"flux": 4.5, "spray_s": 12.0}), ("4130", {"flux": 4.1, "cooling": "sleeve"})]
)  # fmt: skip
def test_task_is_solved_with_sense_and_failed_without_spray(steel, good):
    lesson = Lesson(fp.Units())
    lesson._heard(None, {"do": "act", "act": "try", "values": {"steel": steel, "spray_s": 1.0}}, [])
    assert not lesson.task["passed"] and lesson.tries[-1]["score"] < 10
    lesson._heard(None, {"do": "act", "act": "try", "values": {"steel": steel} | good}, [])
    last, (hv, newton) = lesson.tries[-1], GOALS[steel]
    assert lesson.task["passed"] and last["x"] < newton and hv[0] < last["y"] < hv[1]
    assert len(lesson.tries) == 2


@pytest.mark.parametrize("given", [None, {}, {"steel": "x"}, {"steel": "1030", "flux": "wet"}])
def test_nonsense_is_answered_in_one_sentence(lesson, given):
    lesson._heard(None, {"do": "act", "act": "try", "values": given}, [])
    assert lesson.tries == [] and lesson.task["tries"][0]["words"].endswith(".")


LOOKS = re.findall(r'\["(#\w{6})", "(\w+)"\]', (PAGE / "chart.js").read_text("utf-8"))
INK = re.findall(r'(\w+): \["(#\w{6})"', (PAGE / "head.js").read_text("utf-8"))
FAMILIES = {"series": [colour for colour, _ in LOOKS], "verdicts": [colour for _, colour in INK]}


def test_the_colours_are_found_each_with_a_mark_of_its_own():
    assert len({mark for _, mark in LOOKS}) == len(LOOKS) == 4
    assert [name for name, _ in INK] == ["good", "marginal", "out", "none"]
    # where two levels are alike in grey, the hatch tells them apart
    script = (PAGE / "head.js").read_text(encoding="utf-8")
    assert all(f'pattern("{level}"' in script for level in ("out", "marginal"))
    lines = [line for f in PAGE.glob("*.js") for line in f.read_text("utf-8").splitlines()]
    assert len(lines) <= 900 and sum(len(line.encode()) + 1 for line in lines) <= 60_000
    assert max(map(len, lines)) <= 120


#: Smallest difference (CIE 1976) that two colours of one picture must keep.  About 2 is just seen side by side;
#: thin lines and small marks apart from each other need about ten times that (our choice).
APART = 20.0

#: Matrices for linear RGB at full severity: Machado, Oliveira & Fernandes 2009, "A physiologically-based model
#: for simulation of color vision deficiency", IEEE TVCG 15(6), 1291-1298.  All digits agree with the table that
#: colorspacious 1.1.2 prints (`machado_et_al_2009_matrix(kind, 100)`).
KINDS = {
    "normal": np.eye(3),
    "protanopia": np.array([
        (0.152286, 1.052583, -0.204868), (0.114503, 0.786281, 0.099216), (-0.003882, -0.048116, 1.051998)]),
    "deuteranopia": np.array([
        (0.367322, 0.860646, -0.227968), (0.280085, 0.672501, 0.047413), (-0.011820, 0.042940, 0.968881)]),
    "tritanopia": np.array([
        (1.255528, -0.076749, -0.178779), (-0.078411, 0.930809, 0.147602), (0.004733, 0.691367, 0.303900)]),
}  # fmt: skip
#: Linear sRGB to CIE XYZ, and the white D65: IEC 61966-2-1, from memory.
_XYZ = np.array([
    (0.4124564, 0.3575761, 0.1804375), (0.2126729, 0.7151522, 0.0721750), (0.0193339, 0.1191920, 0.9503041),
])  # fmt: skip
_WHITE = np.array([0.95047, 1.0, 1.08883])


def lab(colour: str, kind: str) -> np.ndarray:
    """CIE L*a*b* of "#RRGGBB" as eyes of this kind see it."""
    srgb = np.array([int(colour[i : i + 2], 16) / 255 for i in (1, 3, 5)])
    linear = np.where(srgb <= 0.04045, srgb / 12.92, ((srgb + 0.055) / 1.055) ** 2.4)
    x = _XYZ @ np.clip(KINDS[kind] @ linear, 0, 1) / _WHITE
    f = np.where(x > 0.008856, np.cbrt(x), 7.787 * x + 16 / 116)
    return np.array([116 * f[1] - 16, 500 * (f[0] - f[1]), 200 * (f[1] - f[2])])


@pytest.mark.parametrize("family", FAMILIES)
def test_colour_blind_readers_tell_them_apart(family):
    for kind in KINDS:  # CIE 1976 colour difference: the distance in L*a*b*
        assert pdist([lab(colour, kind) for colour in FAMILIES[family]]).min() > APART, kind


def test_units_are_chosen_kept_and_converted(monkeypatch):
    assert u.units() == u.Units("°C", "mm", "HV")
    u.choose_units(temperature="°F", length="in", hardness="HRC")
    monkeypatch.setattr(u, "_chosen", [])  # what a fresh kernel knows
    assert u.units() == u.Units("°F", "in", "HRC")
    f = u.Units("°F")
    assert f.from_c(0.0) == 32.0 and f.from_c(100.0) == 212.0
    assert f.to_c(f.from_c(931.0)) == pytest.approx(931.0)
    assert f.convert(10.0, "°C", step=True) == 18.0
    refuses("'K'", u.choose_units, temperature="K")
