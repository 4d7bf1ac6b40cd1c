"""Subcommands and their options, by data/library/options.csv and, those of settings, by the settings table."""

import argparse
import json
import re

from .. import __version__
from ..base.errors import InputError, shown
from ..base.tables import read_rows
from ..inputs.settings import Setting, table

#: Settings with an option of their own: all of the route and of the bench.
SETTINGS = tuple(s for s in table().values() if s.group in ("route", "bench"))
#: Options by shorter names.
_OTHER_NAMES = {
    "flux": ("--spray",),
    "surroundings": ("--cool",),
    "target_lie_deg": ("--lie",),
    "target_loft_deg": ("--loft",),
    "force_limit_n": ("--bar-n",),
}

#: Subcommand -> what it prints.
COMMANDS = {
    "estimate": "one head in full (the default)",
    "compare": "steels against preheat or forging temperatures, ranked by the limits",
    "window": "two settings over a grid and where the limits are kept",
    "choose": "settings that keep the limits with the most room",
    "accept": "the heats of a certificate file, accepted or held",
    "sheet": "the setting sheet as HTML",
}
#: Version of the names in `--json`.
SCHEMA = 2


class _Parser(argparse.ArgumentParser):
    """Says what is wrong in one sentence, without the usage."""

    def error(self, message: str):
        said = " ".join(re.sub("^argument [^:]*: ", "", message).rstrip(".").split())
        said += "; --help lists the options" if said.startswith("unrecognized arguments") else ""
        raise InputError(f"{said if len(said) <= 300 else said[:299] + '…'}.")


def _reader(s: Setting):
    """What turns the text of an option into the value of a setting; its part checks the bounds."""

    def number(text: str) -> float:
        try:
            return float(text.replace(",", "."))
        except ValueError:
            allowed = f"{s.low:g} to {s.high:g} {s.unit}".rstrip()
            said = f"{s.label} is {shown(text)}, which is not a number; allowed is {allowed}"
            raise argparse.ArgumentTypeError(said) from None

    return number if s.is_number else value_of


def value_of(text: str):
    """A number, True, False or None where the text says one, else the text."""
    words = {"true": True, "false": False, "none": None}
    text = text.strip()
    try:
        return words[text.lower()] if text.lower() in words else float(text)
    except ValueError:
        return text


def parser(command: str = "estimate") -> argparse.ArgumentParser:
    """Options of a subcommand."""
    made = _Parser(
        prog="forgeprops",
        allow_abbrev=False,
        epilog="Commands: " + "; ".join(f"{name}: {what}" for name, what in COMMANDS.items()) + ".",
        description="Hardness and strength of a forged golf iron head, and how far its hosel bends. "
        "Every option has a default; the heads and the default route are invented demonstrations.",
    )
    add = made.add_argument
    for row in read_rows("library/options.csv"):
        kind, option, metavar, words = (row[n] for n in ("kind", "option", "metavar", "help"))
        again = {"action": "append", "default": [], "metavar": metavar}
        if row["command"] not in ("", command):
            continue
        if kind == "settings":
            _add_settings(add)
        elif kind == "later":  # in the order in which they are typed
            typed = {"dest": "later", "type": lambda text, option=option: (option, text)}
            add(option, help=f"{words}; repeatable", **typed, **again)
        elif kind == "repeated":
            add(option, help=f"{words}; repeatable", **again)
        elif kind == "flag":
            add(option, action="store_true", help=words)
        else:
            names = (option, "--grade") if option == "--steel" else (option,)
            add(*names, metavar=metavar, type=float if kind == "number" else str, help=words)
    if command == "compare":
        add("steels", nargs="*", metavar="STEEL", help="grades or chemistries to compare")
    add("--version", action="version", version=f"forgeprops {__version__}")
    made.set_defaults(to=".")
    return made


def _add_settings(add) -> None:
    for s in SETTINGS:
        names = ("--" + s.name.replace("_", "-"), *_OTHER_NAMES.get(s.name, ()))
        words = f"{s.label}, {s.unit}" if s.unit else s.label
        more = "; 0: no spray" if s.name == "flux" else ""
        bounds = f" ({s.low:g} to {s.high:g}{more})" if s.is_number else ""
        words = (words + bounds).replace("%", "%%")
        add(*names, dest=s.name, type=_reader(s), metavar="X", help=words)


def listing(as_json: bool) -> str:
    """Grades, heads and settings."""
    from ..inputs.grades import grades
    from ..inputs.head import heads

    if as_json:
        numbers = {s.name: {"label": s.label, "unit": s.unit, "low": s.low, "high": s.high}
                   for s in table().values() if s.is_number}  # fmt: skip
        found = {"schema": SCHEMA, "grades": grades(), "heads": heads(), "settings": numbers}
        return json.dumps(found, ensure_ascii=False, indent=1)
    rows = []
    for s in table().values():
        if s.group in ("route", "head", "steel", "shop", "bench"):
            words = (s.label, s.unit, f"{s.low:g} to {s.high:g}" if s.is_number else "")
            rows.append(f"  {s.name:22} {', '.join(filter(None, words))}")
    first = f"grades: {', '.join(grades())}\nheads (invented): {', '.join(heads())}\nsettings:"
    return "\n".join([first, *rows])
