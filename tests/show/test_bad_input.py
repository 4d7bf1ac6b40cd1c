"""What nobody should type or choose: fields, files and file names of every page tell it in a sentence and keep the page."""

import datetime
import html
import random
import re

import pytest

from forgeprops.base.errors import InputError
from forgeprops.io.saved import plain
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
    "abc", "nan", "inf", "-inf", "1e999", "--5", "1 2", "0x10", "½", "５x",
    "<script>alert(1)</script>", "=1+1", "1.2.3",
]  # fmt: skip
PATHS = [
    "/no/such/file.csv", ".", "/", "a\0b", "x" * 5000, "~nobody/x.csv", "con\n.csv",
    "<b>x</b>.csv",
]  # fmt: skip
NAMES = ["", ".", "/no/such/folder/x.json", "a\0b.json", "x" * 400 + ".json", "../" * 40, "\n"]


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
