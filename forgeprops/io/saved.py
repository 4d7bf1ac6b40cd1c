"""Files of our own: JSON that says what it is and in which version; text cells safe for spreadsheets."""

import copyreg
import dataclasses
import json
import re
import types
import typing
from collections import abc
from collections.abc import Mapping

from ..base.errors import InputError, check_choice, shown
from .reading import decode_text, read_source
from .writing import write_bytes

#: First characters that make a spreadsheet program take a cell for a formula (OWASP ASVS 5.0 requirement
#: 1.2.10, read at asvs.emil.hemdal.se/1.2.10, and CWE-1236), with the full-width forms of the first four.
FORMULA_STARTS = "=+-@\t\r\n\0＝＋－＠"

#: Deepest nesting of a JSON file that is read (ours have three levels), and what opens or closes a level;
#: a text in quotation marks is one match.
DEPTH_LIMIT = 20
_NESTING = re.compile(r'[\[\]{}]|"[^"\\]*(?:\\.[^"\\]*)*"?', re.DOTALL)


def json_bytes(kind: str, version: int, content: Mapping) -> bytes:
    """A small readable JSON file that names its kind and version."""
    content = {"format": f"forgeprops {kind}", "version": version, **content}
    try:
        text = json.dumps(content, indent=2, ensure_ascii=False, allow_nan=False)
    except (TypeError, ValueError) as error:
        raise InputError(f"the {kind} cannot be saved: {error}.") from None
    return (text + "\n").encode("utf-8", errors="backslashreplace")


def read_json(source, kind: str, versions, filename=None, limit_bytes: int = 2**20) -> dict:
    """Read a file of `json_bytes`: checked for kind and version, each name once, no NaN or infinity.

    The content is without ``format``; ``version`` tells which of `versions` it is.
    """
    file = read_source(source, filename, limit_bytes)

    def once(pairs):
        made: dict = {}
        for name, value in pairs:
            if name in made:
                raise InputError(f"{file.name}: {shown(name)} is given twice; give it once.")
            made[name] = value
        return made

    def no_constant(word):
        raise InputError(f"{file.name} contains {word}; give finite numbers.")

    text, depth = decode_text(file.data)[0], 0
    give = f"give a {kind} file saved by forgeprops"
    for mark in _NESTING.finditer(text):
        depth += {"[": 1, "{": 1, "]": -1, "}": -1}.get(mark[0], 0)
        if depth > DEPTH_LIMIT:
            raise InputError(f"{file.name} is nested more than {DEPTH_LIMIT} deep; {give}.")
    try:
        content = json.loads(text, object_pairs_hook=once, parse_constant=no_constant)
    except InputError:
        raise
    except json.JSONDecodeError as error:
        where = f"{file.name}, line {error.lineno}"
        raise InputError(f"{where} is not JSON: {error.msg}; {give}.") from None
    except ValueError as error:  # thousands of digits
        raise InputError(f"{file.name} is not a {kind} file: {str(error)[:80]}.") from None
    found = content.pop("format", None) if isinstance(content, dict) else None
    if found != f"forgeprops {kind}":
        said = f"says {shown(found)}" if isinstance(found, str) else "does not say what it is"
        raise InputError(f'{file.name} {said}; give "format": "forgeprops {kind}".')
    version = content.get("version")
    whole = isinstance(version, int) and not isinstance(version, bool)
    if not whole or version not in versions:
        newer = whole and version > max(versions)
        hint = "; it was written by a newer forgeprops" * newer
        said, known = f"{kind} version {shown(version)}{hint}", ", ".join(map(str, versions))
        raise InputError(f"{file.name} has {said}; the version must be {known}.")
    return content


def plain(value):
    """A value of frozen dataclasses, mappings and sequences as what JSON holds.

    Private fields are left out; a class may say itself what is saved by ``saved()`` and make itself from that by
    ``restored(content, where)``.
    """
    if hasattr(value, "saved"):
        return value.saved()
    if dataclasses.is_dataclass(value):
        names = [f.name for f in dataclasses.fields(value) if f.name[0] != "_"]
        return {name: plain(getattr(value, name)) for name in names}
    if isinstance(value, Mapping):
        return {name: plain(v) for name, v in value.items()}
    return [plain(v) for v in value] if isinstance(value, (list, tuple)) else value


def restored(kind, value, where: str):
    """Undo `plain`: an object of `kind` (a dataclass or a type hint), each of its own checks made on the way.

    A class may read content that names its fields otherwise by ``by_setting(content, where)``.
    """
    origin, inner = typing.get_origin(kind), typing.get_args(kind)
    if origin in (typing.Union, types.UnionType):
        if value is None and type(None) in inner:
            return None
        inner = [k for k in inner if k is not type(None)]
        classes = [k for k in inner if dataclasses.is_dataclass(k)]
        if isinstance(value, dict) and classes:  # the class that has all the names
            fits = (k for k in classes if set(value) <= {f.name for f in dataclasses.fields(k)})
            return restored(next(fits, classes[0]), value, where)
        return restored(inner[0], value, where)
    own = dataclasses.is_dataclass(kind)
    form = {tuple: "a list", abc.Mapping: "a table of names and values"}.get(origin, "")
    form = "a table of settings" if own else form
    if form and not isinstance(value, list if origin is tuple else dict):
        raise InputError(f"{where} must be {form}, not {shown(value)}.")
    if origin is tuple:
        return tuple(restored(inner[0], v, where) for v in value)
    if origin is abc.Mapping:
        return {n: restored(inner[1], v, f"{where}, {n}") for n, v in value.items()}
    if own and hasattr(kind, "restored"):
        return kind.restored(value, where)
    if own:
        value = kind.by_setting(value, where) if hasattr(kind, "by_setting") else value
        fields = {f.name: f for f in dataclasses.fields(kind) if f.name[0] != "_"}
        for name in value:
            check_choice(name, "field", fields, where)
        for name, f in fields.items():
            if name not in value and f.default is f.default_factory is dataclasses.MISSING:
                raise InputError(f"{where} has no {name}.")
        hints = typing.get_type_hints(kind)
        return kind(**{n: restored(hints[n], v, f"{where}, {n}") for n, v in value.items()})
    return value


class Saved:
    """A frozen dataclass that is kept in a small readable JSON file of its own."""

    #: What the file says it is.
    KIND = ""

    def as_bytes(self) -> bytes:
        """What `save` writes."""
        return json_bytes(self.KIND, 1, plain(self))

    def save(self, path, overwrite: bool = False) -> None:
        """Write the file, whole or not at all; without `overwrite` an existing one is kept.

        Raises
        ------
        InputError
            File exists, folder missing, no permission, full disk.
        """
        write_bytes(path, self.as_bytes(), overwrite)

    @classmethod
    def load(cls, source, filename: str | None = None):
        """Read a file that `save` wrote; every value is checked.

        Parameters
        ----------
        source : path, bytes or upload (see `io.reading.read_source`)
        filename : str, optional; name for messages when bytes are given

        Raises
        ------
        InputError
            Another kind of file, a newer version, or a field that is unknown, missing or out of bounds.
        """
        content = read_json(source, cls.KIND, (1,), filename)
        content.pop("version")
        return restored(cls, content, f"{cls.KIND} file")


def _mapping(content: dict) -> types.MappingProxyType:
    return types.MappingProxyType(content)


# the mappings of a frozen dataclass do not pickle by themselves; workers elsewhere need them
copyreg.pickle(types.MappingProxyType, lambda mapping: (_mapping, (dict(mapping),)))


def safe_cell(value):
    """A cell for CSV that no spreadsheet program takes for a formula; anything but text passes unchanged.

    Text that begins with one of `FORMULA_STARTS` (after blanks), or with an apostrophe, gets an apostrophe in
    front; `plain_cell` takes it off again.

    >>> safe_cell("=HYPERLINK(1)"), safe_cell("heat 7"), safe_cell(-1.5)
    ("'=HYPERLINK(1)", 'heat 7', -1.5)

    .. [1] OWASP ASVS 5.0, requirement 1.2.10; CWE-1236 (read).
    """
    if isinstance(value, str) and value:
        bare = value.lstrip(" \u00a0\u3000")
        if value[0] in FORMULA_STARTS or value[0] == "'" or (bare and bare[0] in FORMULA_STARTS):
            return "'" + value
    return value


def plain_cell(value):
    """Undo `safe_cell`.

    >>> plain_cell("'=HYPERLINK(1)"), plain_cell("heat 7")
    ('=HYPERLINK(1)', 'heat 7')
    """
    return value[1:] if isinstance(value, str) and value[:1] == "'" else value
