"""Checks that many tests share."""

import io
import zipfile

import openpyxl
import pytest

import forgeprops as fp
from forgeprops.answer.evaluation import evaluate
from forgeprops.base.errors import InputError
from forgeprops.inputs.cases import Cases


def flaw(text):
    """What keeps a message from being one clear sentence or two; "" if nothing does."""
    whole = 10 < len(text) < 1500 and text.endswith((".", "!")) and not text.endswith("..")
    foreign = any(words in text for words in ("Traceback", " object at 0x", "\n"))
    return "" if whole and not foreign else f"not a sentence: {text[:300]!r}"


def refuses(words, call, /, *given, **options):
    """The sentence, with the pattern `words` in it, by which `call` refuses what it is given."""
    with pytest.raises(InputError, match=words or None) as caught:
        call(*given, **options)
    assert not flaw(str(caught.value))
    return str(caught.value)


def workbook(rows, change=None, title="Sheet") -> bytes:
    """A workbook of these rows, to which `change` does what it likes."""
    book, buffer = openpyxl.Workbook(), io.BytesIO()
    book.active.title = title
    for row in rows:
        book.active.append(row)
    if change:
        change(book)
    book.save(buffer)
    return buffer.getvalue()


def repacked(data, part, change) -> bytes:
    """A workbook with the XML of one part changed, or without it where `change` gives None."""
    old, buffer = zipfile.ZipFile(io.BytesIO(data)), io.BytesIO()
    with zipfile.ZipFile(buffer, "w", zipfile.ZIP_DEFLATED) as new:
        for name in old.namelist():
            content = change(old.read(name)) if name == part else old.read(name)
            if content is not None:
                new.writestr(name, content)
    return buffer.getvalue()


def evaluated(steel, routes, *needs, shops=None, **options):
    """`evaluate` of the mid-iron on these routes, of one steel or grade or of a list with one for each route."""
    steels = steel if isinstance(steel, list) else [steel] * len(routes)
    steels = [fp.grade(s) if isinstance(s, str) else s for s in steels]
    heads = [fp.head("mid-iron")] * len(routes)
    return evaluate(Cases.of(steels, heads, routes, shops), *needs, **options)
