"""Files of our own: JSON that says what it is and in which version; text cells safe for spreadsheets."""

from __future__ import annotations

import json
import re
from collections.abc import Mapping, Sequence

from ..base.errors import InputError, shown
from .reading import decode_text, read_source
from .writing import write_bytes

__all__ = ["plain_cell", "read_json", "safe_cell", "write_json"]


#: First characters that make a spreadsheet program take a cell for a formula (OWASP ASVS 5.0 requirement
#: 1.2.10, read at asvs.emil.hemdal.se/1.2.10, and CWE-1236), with the full-width forms of the first four.
FORMULA_STARTS = "=+-@\t\r\n\0＝＋－＠"

#: Deepest nesting of a JSON file that is read (ours have three levels), and what opens or closes a level;
#: a text in quotation marks is one match.
DEPTH_LIMIT = 20
_NESTING = re.compile(r'[\[\]{}]|"[^"\\]*(?:\\.[^"\\]*)*"?', re.DOTALL)


def write_json(path, kind: str, version: int, content: Mapping, overwrite: bool = False) -> None:
    """Write a small readable JSON file that names its kind and version (see `writing` for the rest).

    Raises
    ------
    InputError
        As `writing`; also for content that JSON has no word for.
    """
    try:
        text = json.dumps(
            {"format": f"forgeprops {kind}", "version": version, **content},
            indent=2,
            ensure_ascii=False,
            allow_nan=False,
        )
    except (TypeError, ValueError) as error:
        raise InputError(f"the {kind} cannot be saved: {error}.") from None
    write_bytes(path, (text + "\n").encode("utf-8", errors="backslashreplace"), overwrite)


def read_json(
    source,
    kind: str,
    versions: Sequence[int],
    filename: str | None = None,
    limit_bytes: int = 2**20,
) -> dict:
    """Read a file that `write_json` wrote: checked for kind and version, each name once, no NaN or infinity.

    Returns
    -------
    dict
        The content without ``format``; ``version`` tells which of `versions` it is.

    Raises
    ------
    InputError
        Not JSON, another kind of file, an unknown version, a name given twice.
    """
    file = read_source(source, filename, limit_bytes)

    def once(pairs):
        made: dict = {}
        for name, value in pairs:
            if name in made:
                raise InputError(f"{file.name}: {shown(name)} is given twice; allowed is once.")
            made[name] = value
        return made

    def no_constant(word):
        raise InputError(f"{file.name} contains {word}; allowed are finite numbers.")

    text, depth = decode_text(file.data)[0], 0
    for mark in _NESTING.finditer(text):
        depth += {"[": 1, "{": 1, "]": -1, "}": -1}.get(mark[0], 0)
        if depth > DEPTH_LIMIT:
            raise InputError(
                f"{file.name} is nested more than {DEPTH_LIMIT} deep; allowed is a {kind} file saved "
                "by forgeprops."
            )
    try:
        content = json.loads(text, object_pairs_hook=once, parse_constant=no_constant)
    except InputError:
        raise
    except json.JSONDecodeError as error:
        raise InputError(
            f"{file.name}, line {error.lineno} is not JSON: {error.msg}; "
            f"allowed is a {kind} file saved by forgeprops."
        ) from None
    except ValueError as error:  # thousands of digits
        raise InputError(f"{file.name} is not a {kind} file: {str(error)[:80]}.") from None
    found = content.pop("format", None) if isinstance(content, dict) else None
    if found != f"forgeprops {kind}":
        said = f"says {found!r}" if isinstance(found, str) else "does not say what it is"
        raise InputError(f'{file.name} {said}; allowed is "format": "forgeprops {kind}".')
    _check_version(content.get("version"), versions, kind, file.name)
    return content


def _check_version(version, versions: Sequence[int], kind: str, name: str) -> None:
    if isinstance(version, bool) or not isinstance(version, int) or version not in versions:
        newer = (
            isinstance(version, int) and not isinstance(version, bool) and version > max(versions)
        )
        hint = "; it was written by a newer forgeprops" if newer else ""
        known = ", ".join(str(v) for v in versions)
        raise InputError(
            f"{name} has {kind} version {str(version)[:40]}{hint}; allowed is {known}."
        )


def safe_cell(value):
    """A cell for CSV that no spreadsheet program takes for a formula; anything but text passes unchanged.

    Text that begins with one of `FORMULA_STARTS` (after blanks), or with an apostrophe, gets an apostrophe in
    front; `plain_cell` takes it off again.

    References
    ----------
    .. [1] OWASP ASVS 5.0, requirement 1.2.10; CWE-1236 (read).

    Examples
    --------
    >>> safe_cell("=HYPERLINK(1)"), safe_cell("heat 7"), safe_cell(-1.5)
    ("'=HYPERLINK(1)", 'heat 7', -1.5)
    """
    if isinstance(value, str) and value:
        bare = value.lstrip(" \u00a0\u3000")
        if value[0] in FORMULA_STARTS or value[0] == "'" or (bare and bare[0] in FORMULA_STARTS):
            return "'" + value
    return value


def plain_cell(value):
    """Undo `safe_cell`.

    Examples
    --------
    >>> plain_cell("'=HYPERLINK(1)"), plain_cell("heat 7")
    ('=HYPERLINK(1)', 'heat 7')
    """
    return value[1:] if isinstance(value, str) and value[:1] == "'" else value
