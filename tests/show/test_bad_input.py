"""What nobody should type or choose: fields, files and file names of every page tell it in a sentence and keep the page."""

import datetime
import functools
import html
import json
import random
import re

import pytest

from forgeprops.base.errors import InputError
from forgeprops.io.saved import plain
from forgeprops.show.controls.limits_box import LimitsBox
from forgeprops.show.panels.compare import ComparePanel
from forgeprops.show.panels.estimate import EstimatePanel
from forgeprops.show.panels.forging_temperature import ForgingTemperaturePanel
from forgeprops.show.panels.hosel_bench import HoselBenchPanel
from forgeprops.show.panels.settings import SettingsCase
from forgeprops.show.panels.shop_data import (
    CausePanel,
    FitPanel,
    JudgePanel,
    SprayCurvePanel,
    TrackingPanel,
)
from forgeprops.show.units import Units

#: Values that no field of any page may hold.
WRONG = ["no such thing", "", None, -1e12, 1e30, [], {}, [[1]], True]
TYPED = [
    "abc",
    "nan",
    "inf",
    "-inf",
    "1e999",
    "--5",
    "1 2",
    "0x10",
    "½",
    "５x",
    "<script>alert(1)</script>",
    "=1+1",
    "1.2.3",
]
PATHS = [
    "/no/such/file.csv",
    ".",
    "/",
    "a\0b",
    "x" * 5000,
    "~nobody/x.csv",
    "con\n.csv",
    "<b>x</b>.csv",
]
NAMES = ["", ".", "/no/such/folder/x.json", "a\0b.json", "x" * 400 + ".json", "../" * 40, "\n"]


@functools.cache
def pages():
    few = functools.partial(
        ComparePanel, grades=("4130",), limits={"hosel_allowed_deg": (1.0, None)}
    )
    made = {
        "estimate": EstimatePanel,
        "hosel_bench": HoselBenchPanel,
        "compare": few,
        "forging_temperature": ForgingTemperaturePanel,
        "settings": SettingsCase,
    }
    return {name: make(display_units=Units()) for name, make in made.items()}


def told(text):
    """A sentence on the page, escaped, without Python's own words."""
    assert text and "Traceback" not in text and "<script>" not in text and "<b>x" not in text
    plain = html.unescape(re.sub("<[^>]*>", "", text)).strip()
    assert len(plain) > 10 and " object at 0x" not in plain, plain
    return plain


def load(panel, content, name="mine.json"):
    panel.keep._load(
        (
            {
                "name": name,
                "content": content,
                "type": "",
                "size": len(content),
                "last_modified": None,
            },
        )
    )


def kept(panel):
    return plain(vars(panel.inputs))


def settings_files(name):
    """Good settings with one thing wrong each."""
    good = json.loads(json.dumps(kept(pages()[name])))
    for field, value in good.items():
        yield {k: v for k, v in good.items() if k != field}
        for wrong in WRONG:
            if (
                isinstance(value, bool)
                and isinstance(wrong, bool)
                or wrong == value
                and type(wrong) is type(value)
            ):
                continue
            if field == "limits" and wrong == {}:  # none is a choice
                continue
            yield {**good, field: wrong}
    yield {**good, "colour": 1}


@pytest.mark.parametrize(
    "name", ["estimate", "hosel_bench", "compare", "forging_temperature", "settings"]
)
def test_settings_files(name, tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    panel, accepted, n = pages()[name], [], 0
    before = kept(panel)
    for inputs in settings_files(name):
        n += 1
        load(
            panel,
            json.dumps({"format": f"forgeprops {name} inputs", "version": 1, **inputs}).encode(),
        )
        if 'role="alert"' not in panel.keep.said.value:
            accepted.append(inputs)
            panel.put(before)
        else:
            told(panel.keep.said.value)
        assert kept(panel) == before
    draw = random.Random(3)
    good = json.dumps({"format": f"forgeprops {name} inputs", "version": 1, **before}).encode()
    for content in [
        b"",
        b"{}",
        b"[]",
        b"null",
        b"\xff\xfe",
        b"PK\3\4",
        good[:-2],
        good.replace(b'"version": 1', b'"version": 2'),
        good.replace(name.encode() + b" inputs", b"other"),
        bytes(draw.randrange(256) for _ in range(400)),
    ]:
        n += 1
        load(panel, content)
        assert 'role="alert"' in panel.keep.said.value, content[:40]
        told(panel.keep.said.value)
        assert kept(panel) == before
    assert not accepted and n > 40
    assert not list(tmp_path.glob("*.*"))


@pytest.mark.parametrize("text", TYPED)
def test_limits_typed(text):
    box = LimitsBox({"face_hardness_hv": (300.0, 400.0)}, Units())
    before = box.limits
    for name, fields in box.fields.items():
        for field in fields:
            kept = field.value
            field.value = text
            told(box.notes[name].value)
            assert box.limits == before and 'role="alert"' in box.notes[name].value
            field.value = kept


def fields_of(panel):
    """Every text field of a page of files that is meant for a number."""
    return {
        JudgePanel: lambda p: [p.face_low, p.face_high, p.hosel_low],
        CausePanel: lambda p: [*p.measured.values(), p.usual["face"]],
        SprayCurvePanel: lambda p: [p.thickness, p.depth, p.water, p.flux],
    }[type(panel)](panel)


def refused(panel):
    """What the page says after its button; nothing may be worked out."""
    panel.result = None
    panel.work.said.value = ""
    panel.go.click()
    try:
        panel.work.join()
    except InputError as error:
        said = str(error)
    else:
        said = ""
    assert panel.result is None, said
    return told(panel.work.said.value)


@pytest.mark.parametrize("kind", [JudgePanel, CausePanel, SprayCurvePanel])
def test_numbers_typed(kind):
    panel = kind(Units())
    for i in range(len(fields_of(panel))):
        for text in TYPED:
            if kind is CausePanel and text == "1 2" and i < len(panel.measured):
                continue  # two readings
            field = fields_of(panel)[i]
            kept, field.value = field.value, text
            refused(panel)
            field.value = kept


@pytest.mark.parametrize("kind", [JudgePanel, SprayCurvePanel, TrackingPanel, FitPanel])
def test_paths_and_uploads(kind):
    panel = kind(Units())
    choices = list(panel.files.values()) if kind is FitPanel else [panel.file]
    draw = random.Random(5)
    for i, choice in enumerate(choices):
        good = choice.path.value
        for path in PATHS[i :: len(choices)]:
            choice.path.value = path
            refused(panel)
        for content in [
            b"",
            b"\0" * 50,
            b"PK\3\4 no book",
            b"%PDF-1.4",
            bytes(draw.randrange(256) for _ in range(999)),
            b"<html><body>log in first</body></html>",
            b"a,b\n1,2\n",
            b"{}",
        ][i :: len(choices)]:
            choice.upload.value = (
                {
                    "name": "<script>.csv",
                    "type": "",
                    "size": len(content),
                    "content": memoryview(content),
                    "last_modified": datetime.datetime.now(datetime.UTC),
                },
            )
            refused(panel)
        choice.path.value = good


@pytest.mark.parametrize("name", NAMES)
def test_names_to_save_under(name, tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    panel = pages()["estimate"]
    for bar, button in ((panel.keep, panel.keep.save), (panel.sheet, panel.sheet.make)):
        kept, bar.name.value = bar.name.value, name
        button.click()
        assert 'role="alert"' in bar.said.value
        told(bar.said.value)
        bar.name.value = kept
    assert not list(tmp_path.glob("*.*"))


def test_files_that_exist_are_kept(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    panel = pages()["estimate"]
    for bar, button in ((panel.keep, panel.keep.save), (panel.sheet, panel.sheet.make)):
        target = tmp_path / bar.name.value
        target.write_bytes(b"mine")
        button.click()
        assert 'role="alert"' in bar.said.value and target.read_bytes() == b"mine"
