"""Bytes and text of a file somebody hands over: by path, as bytes or by a file chooser, limited in size."""

import contextlib
import os
import re
import stat
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from ..base.errors import InputError, check_kind, shown

#: Largest file read, bytes.  Our own limit: a year of certificates is below 1 MB, ten minutes of eight
#: thermocouples at 100 Hz below 15 MB.
READ_LIMIT_BYTES = 20 * 2**20


@dataclass(frozen=True)
class Source:
    """Bytes that somebody handed over, and the name messages call them by."""

    name: str
    data: bytes


def read_source(source, filename: str | None = None, limit_bytes: int = READ_LIMIT_BYTES) -> Source:
    """Take a file by path, as bytes, or from a file chooser, up to a size limit.

    An upload of a file chooser is a mapping with ``name`` and ``content``, also as the one-element tuple
    that the widget's `value` is; `filename` is what messages call bytes.

    >>> read_source(b"heat;C", "certs.csv").name
    'certs.csv'

    .. [1] 20 MB read, 60 MB unpacked, 2 million cells (our choice).
    """
    if filename is not None:
        check_kind(filename, str, "filename")
    if isinstance(source, Sequence) and not isinstance(source, (str, bytes, bytearray, memoryview)):
        if len(source) != 1:
            raise InputError(f"{len(source)} files were given; give one file at a time.")
        source = source[0]
    if isinstance(source, Mapping):
        if not {"name", "content"} <= set(source):
            what = "an upload without name and content"
            raise InputError(f"{what} was given; give a file chooser's upload.")
        filename, source = filename or str(source["name"]), source["content"]
    if isinstance(source, (bytes, bytearray, memoryview)):
        name = one_line(filename or "uploaded file")
        size = source.nbytes if isinstance(source, memoryview) else len(source)
        data = b"" if size > limit_bytes else bytes(source)
    elif isinstance(source, (str, os.PathLike)):
        try:
            source = os.fspath(source)
        except Exception:  # noqa: BLE001  (whatever a foreign object says)
            raise InputError(f"a file must be a path; got {shown(source)}.") from None
        name = one_line(filename or os.path.basename(source) or source)
        data, size = _read_path(source, name, limit_bytes)
    else:
        raise InputError(f"a file must be a path, bytes or an upload; got {type(source).__name__}.")
    if size > limit_bytes:
        most = f"{limit_bytes / 2**20:.3g} MB"
        raise InputError(f"{name} is larger than {most}; give {most} or less: split the file.")
    if not data:
        raise InputError(f"{name} is empty; give a file with at least a header and one row.")
    return Source(name, data)


def one_line(name) -> str:
    text = "".join(c if c.isprintable() else "?" for c in str(name))
    return text if len(text) <= 120 else text[:117] + "..."


def _read_path(source, name: str, limit_bytes: int) -> tuple[bytes, int]:
    try:
        found = os.stat(source)
        if not stat.S_ISREG(found.st_mode):
            what = "a folder" if stat.S_ISDIR(found.st_mode) else "not an ordinary file"
            raise InputError(f"{name or source!r} must be a file; got {what}.")
        if found.st_size > limit_bytes:
            return b"", found.st_size
        with open(source, "rb") as file:
            data = file.read(limit_bytes + 1)
    except (FileNotFoundError, NotADirectoryError):
        what = f"file {one_line(source)!r} does not exist"
        raise InputError(f"{what}; give the path of an existing file.") from None
    except InputError:
        raise
    except (OSError, ValueError) as error:  # ValueError: a NUL in the path
        said = getattr(error, "strerror", None) or error
        raise InputError(f"{name!r} cannot be read: {said}.") from None
    return data, len(data)


#: Byte-order marks.
_MARKS = ((b"\xef\xbb\xbf", "utf-8-sig"), (b"\xff\xfe\0\0", "utf-32"), (b"\0\0\xfe\xff", "utf-32"))
_MARKS += ((b"\xff\xfe", "utf-16"), (b"\xfe\xff", "utf-16"))


def decode_text(data: bytes) -> tuple[str, str]:
    """Text of a file and the encoding it was taken for.

    A byte-order mark decides; else UTF-16 if every other byte of plain text is zero; else UTF-8 if it is
    valid; else Shift-JIS if that gives words of kana and kanji; else Windows-1252 (Latin-1 with the dashes
    and quotes of office programs).

    >>> decode_text("Güte;0,21".encode("latin-1"))
    ('Güte;0,21', 'cp1252')
    """
    for mark, encoding in _MARKS:
        if data.startswith(mark):
            return data.decode(encoding, errors="replace"), encoding
    head = data[:4096]
    if len(head) >= 4:
        pairs = len(head) // 2
        for full, encoding in ((0, "utf-16-le"), (1, "utf-16-be")):
            zeros, other = head[1 - full :: 2].count(0), head[full::2].count(0)
            if zeros > 0.6 * pairs and other < 0.1 * pairs:
                return data.decode(encoding, errors="replace"), encoding
    for encoding in ("utf-8", "cp932", "cp1252"):
        with contextlib.suppress(UnicodeDecodeError):
            text = data.decode(encoding)
            if encoding != "cp932" or _reads_as_japanese(text):
                return text, encoding
    return data.decode("latin-1"), "latin-1"


def _reads_as_japanese(text: str) -> bool:
    """Kana and kanji stand together in words; accented letters misread as Shift-JIS stand alone."""
    words = re.findall("[\u3040-\u30ff\u3400-\u9fff\uff66-\uff9d]+", text)
    together = sum(len(w) for w in words if len(w) > 1)
    return together > sum(len(w) for w in words if len(w) == 1)
