"""What a cell says: text as a person reads it, and the numbers people write."""

import datetime
import re
import unicodedata
from dataclasses import dataclass

#: Footnote marks, which Unicode's compatibility form would turn into digits: 0.21² must not become 0.212.
_MARKS = "⁰¹²³⁴⁵⁶⁷⁸⁹⁺⁻ªº†‡"
_BLANKS = dict.fromkeys(map(ord, "\u00a0\u2007\u202f\u3000\u2009\u200a\u2002\u2003\t\r\n\v\f"), " ")
_NOTHING = dict.fromkeys(map(ord, "\u200b\u200c\u200d\u2060\ufeff\u00ad\0"), None)


def clean_text(text: str) -> str:
    """Text as a person reads it: odd blanks become one blank, full-width signs become plain.

    >>> clean_text(" ０．２１\\u00a0％ ")
    '0.21 %'
    """
    if text.isascii() and text.isprintable():  # most cells of a long trace
        return " ".join(text.split())
    plain, text = (lambda part: unicodedata.normalize("NFKC", part[0])), text.translate(_NOTHING)
    text = re.sub(f"[^{_MARKS}]+", plain, text)
    return " ".join(text.translate(_BLANKS).split())


def header_key(value) -> str:
    """A header reduced to what counts when headers are compared: no case, blanks, dashes, brackets, dots.

    >>> header_key("Temperature [°C]"), header_key("temperature_c"), header_key("Head-ID")
    ('temperaturec', 'temperaturec', 'headid')
    """
    if value is None:
        return ""
    return re.sub(rf"[\s_\-–.,:;#°()\[\]{{}}/'\"*{_MARKS}]+", "", clean_text(str(value)).casefold())


@dataclass(frozen=True)
class Reading:
    """What a cell says."""

    kind: str  # "number", "below" (less than a number), "trace", "missing" or "unreadable"
    value: float | None = None  # the number as written (for "below": the limit)
    unit: str = ""  # written in the cell: "%", "ppm" or ""
    remark: str = ""  # why it is unreadable, or what was read into it


_TRACE = frozenset("trace traces tr tr. spur spuren trazas nil 痕跡".split())
_MISSING = frozenset(
    "- -- --- – — ― / . * x ? n.d. nd n.d n/d n.a. na n.a n/a #n/a none null nan n.b. k.a.".split()
) | {"", "not determined", "not analysed", "not analyzed", "not measured"}
#: A number that leaves no doubt (three digits behind a mark may be thousands).
_PLAIN = re.compile(r"-?[0-9]{1,12}(?:\.[0-9]{1,2}|\.[0-9]{4,12})?")
_NUMBER = re.compile(
    r"(?P<sign><=?|>=?|≤|≥|~|≈|lt|max\.?|min\.?|ca\.?|approx\.?)?\s*"
    r"(?P<number>[+-]?(?:\d[\d.,' ]*|[.,]\d+)(?:e[+-]?\d{1,3})?)\s*"
    r"(?:(?:±|\+/-)\s*(?P<spread>\d*[.,]?\d+))?\s*"
    r"(?P<unit>%|wt\.?\s*%|mass\s*%|m[.-]?%|gew\.?\s*-?\s*%|ppm|µg/g|μg/g)?\s*"
    rf"(?P<mark>\*+|[{_MARKS}]+\)?|[a-d]?\)|\([a-d1-9]\)|\[[a-d1-9]\])?"
)


def read_number(value, percent: bool = False, decimal: str | None = None) -> Reading:
    """Read the number in a cell, or say what stands there instead.

    `percent` says that the cell's number format is a percentage; the file's decimal mark, if known (see
    `decimal_mark`), decides what "1,200" means.

    >>> read_number("< 0,010 %")
    Reading(kind='below', value=0.01, unit='%', remark='')
    >>> read_number("n.d.").kind, read_number("O.21").kind
    ('missing', 'unreadable')
    """
    if value is None:
        return Reading("missing")
    if isinstance(value, bool):
        return Reading("unreadable", remark=f"{str(value).upper()} is not a number")
    if isinstance(value, (int, float)):
        if value != value or abs(value) > 1e300:
            return Reading("unreadable", remark=f"{value!r} is not a number that can be used")
        return Reading("number", *((value * 100.0, "%") if percent else (float(value),)))
    if isinstance(value, (datetime.date, datetime.time, datetime.timedelta)):
        turned = "perhaps a number that the spreadsheet program turned into a date"
        return Reading("unreadable", remark=f"a date or time ({value}), {turned}")
    if isinstance(value, str) and _PLAIN.fullmatch(value):
        return Reading("number", float(value))
    text = clean_text(str(value)).casefold().replace("−", "-")
    if text in _MISSING:
        return Reading("missing", remark="" if text == "" else repr(text))
    if text in _TRACE:
        return Reading("trace", 0.0)
    match = _NUMBER.fullmatch(text) if len(text) <= 60 else None
    if match is None:
        return Reading("unreadable", remark=f"{shortened(value)} is not a number")
    number, remark = _decimal_number(match["number"], decimal)
    if number is None:
        return Reading("unreadable", remark=f"{shortened(value)} is not one number")
    sign = match["sign"] or ""
    if sign[:1] == ">" or sign == "≥" or sign[:3] in ("max", "min"):
        return Reading("unreadable", number, remark=f"{shortened(value)} is a limit, not a value")
    unit = "" if not match["unit"] else "ppm" if match["unit"][-1] != "%" else "%"
    if match["spread"]:
        remark = remark or f"the spread in {shortened(value)} is left out"
    if match["mark"]:
        remark = remark or f"a footnote mark in {shortened(value)} is left out"
    if sign[:1] == "<" or sign in ("≤", "lt"):
        return Reading("below", number, unit, remark)
    remark = remark or (f"{shortened(value)} is approximate" if sign else "")
    return Reading("number", number, unit, remark)


def cell_text(value) -> str:
    """A cell as text: 4711.0 as 4711, a midnight as its day.

    >>> cell_text(4711.0), cell_text(datetime.datetime(2025, 2, 1)), cell_text(" A1 ")
    ('4711', '2025-02-01', 'A1')
    """
    if isinstance(value, float) and value.is_integer() and abs(value) < 1e15:
        value = int(value)
    if isinstance(value, datetime.datetime) and value.time() == datetime.time():
        value = value.date()
    return str(value).strip()


def is_day(text: str) -> bool:
    """Whether a text is a day as YYYY-MM-DD.

    >>> is_day("2025-03-01"), is_day("2025-W09-6"), is_day("2025-02-30")
    (True, False, False)
    """
    try:
        datetime.date.fromisoformat(text)
    except ValueError:
        return False
    return re.fullmatch(r"\d{4}-\d\d-\d\d", text) is not None  # no week dates


def shortened(value) -> str:
    text = repr(value if isinstance(value, str) else str(value))
    return text if len(text) <= 44 else text[:40] + "...'"


def _decimal_number(text: str, decimal: str | None) -> tuple[float | None, str]:
    """The number in digits, dots and commas; None if it could be several numbers."""
    mantissa, _, exponent = text.partition("e")
    mantissa, said = mantissa.strip(), ""
    dots, commas = mantissa.count("."), mantissa.count(",")
    if "'" in mantissa or " " in mantissa:  # 12 500 and 12'500
        if not re.fullmatch(r"[+-]?\d{1,3}(?:[ ']\d{3})+(?:[.,]\d+)?", mantissa):
            return None, ""
        mantissa = re.sub("[ ']", "", mantissa)
    elif dots and commas:  # 1.234,5 and 1,234.5
        other, mark = (",", ".") if mantissa.rfind(".") > mantissa.rfind(",") else (".", ",")
        if not re.fullmatch(rf"[+-]?\d{{1,3}}(?:\{other}\d{{3}})+\{mark}\d*", mantissa):
            return None, ""
        mantissa = mantissa.replace(other, "")
    elif dots + commas > 1:  # 1.234.567
        if not re.fullmatch(r"[+-]?\d{1,3}(?:([.,])\d{3})(?:\1\d{3})+", mantissa):
            return None, ""
        mantissa = re.sub("[.,]", "", mantissa)
    elif re.fullmatch(r"[+-]?[1-9]\d{0,2}[.,]\d{3}", mantissa):  # 1,200 and 1.200
        if commas and decimal == ".":
            mantissa = mantissa.replace(",", "")
            said = f"the comma in '{text}' is read as a thousands mark"
        elif (commas and decimal is None) or (dots and decimal == ","):
            said = f"the {'comma' if commas else 'dot'} in '{text}' is read as the decimal mark"
    try:
        number = float(mantissa.replace(",", ".") + (f"e{exponent}" if exponent else ""))
    except ValueError:
        return None, ""
    return (number, said) if abs(number) < 1e300 else (None, "")
