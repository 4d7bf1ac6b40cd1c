"""Checks that many tests share."""

import pytest

from forgeprops.base.errors import InputError


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
