"""Subcommands and their options; those of settings follow from the settings table."""

import argparse
import functools
import json
import re

from .. import __version__
from ..base.errors import InputError, shown
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

#: Option, its metavar and its help, of every subcommand.
_EVERY = (
    ("--job", "FILE", "a saved job to start from (`Job.save`)"),
    ("--save-job", "FILE", "save the job with these settings; an existing file is kept"),
    ("--certificate", "FILE", "mill certificate, CSV or XLSX"),
    ("--heat", "NAME", "the heat of the certificate (left out: its only one)"),
    ("--limits", "LIMITS", "what is required, NAME=LOW:HIGH with an end left out for none, separated by blanks: "
     "'face_hardness_hrc=39:50 hosel_allowed_deg=2: bar_force_n=:400'"),
    ("--head", "NAME", "library head (default mid-iron); with the next four options the head that yours is scaled from"),
    ("--mass-g", "G", "finished mass of your head"),
    ("--face-mm", "MM", "face thickness of your head"),
    ("--blade-mm", "LxH", "blade length and height: 76x45"),
    ("--hosel-mm", "DxBxL", "hosel outside, bore and length: 13.4x9.4x60"),
    ("--route", "FILE", "a saved route; the options below change it"),
    ("--save-route", "FILE", "save the route with these settings; an existing file is kept"),
    ("--shop", "FILE", "the shop's own numbers, as `Shop.save` wrote them"),
    ("--hand", "HAND", "head for a right or left hand (default right)"),
    ("--units", "UNITS", "SI (default), US, or one of each kind: '°F in HRC gpm lbf'; of the text, not of the options"),
)  # fmt: skip
#: The same of later heats, which keep the order in which they are typed.
_LATER = (
    ("--temper", "C:TIME[:ZONES]", "temper afterwards, for example 600:1h or 200:90min:hosel+neck"),
    ("--torch", "C:TIME[:cloth|air]", "heat the hosel afterwards by torch or coil: 680:10min:air"),
    ("--normalise", "C:TIME[:COOLING]", "heat the whole head above Ac3 afterwards: 890:30min:row"),
)  # fmt: skip
#: The same of other options that may be repeated.
_REPEATED = (
    ("--quench", "MEDIUM:S[:DELAY[:ZONES]]", "a quench after the spray or in its place, s and s: 'oil bath:60', "
     "'water spray:5:2', 'forced air:20:0:hosel', 'water bath:3:2:face+rim'"),
    ("--set", "NAME=VALUE", "any setting of the route, dimension of the head, element or shop number (--list shows the names)"),
)  # fmt: skip
#: The same of single subcommands.
_OWN = {
    "compare": (
        ("--preheats", "LIST", "preheat temperatures, °C: 850,900,950"),
        ("--forgings", "LIST", "forging temperatures (metal when the press closes), °C, in their place"),
        ("--csv", "FILE", "write the table: .csv, .xlsx or .parquet"),
    ),
    "window": (
        ("--x", "NAME:LOW:HIGH:POINTS", "an axis, for example forging_c:850:950:20"),
        ("--y", "NAME:LOW:HIGH:POINTS", "the other axis, for example flux:2:20:30"),
        ("--csv", "FILE", "write the table: .csv, .xlsx or .parquet"),
        ("--png", "FILE", "draw the map"),
    ),
}  # fmt: skip
_FLAGS = (
    ("--count-press-strain", "let the press strain left in the austenite speed ferrite and bainite (a bound; default off)"),
    ("--soften", "also try what softens the hosel, and what the face pays"),
    ("--details", "also print why, and everything else"),
    ("--json", "print JSON alone"),
    ("--list", "list grades, heads and settings"),
)  # fmt: skip


class _Parser(argparse.ArgumentParser):
    """Says what is wrong in one sentence, without the usage."""

    def error(self, message: str):
        said = " ".join(re.sub("^argument [^:]*: ", "", message).rstrip(".").split())
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


def _with_option(option: str, text: str) -> tuple[str, str]:
    return option, text


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
    words = (
        "grade or chemistry: 4130, 42CrMo4, 1.1191, 'C 0.31 Mn 0.5 Cr 0.95 Mo 0.2' (default 4130)"
    )
    add("--steel", "--grade", dest="steel", metavar="STEEL", help=words)
    if command == "compare":
        add("steels", nargs="*", metavar="STEEL", help="grades or chemistries to compare")
    words = "a setting that may be turned; repeatable"
    if command == "choose":
        add("--turn", action="append", metavar="NAME:LOW:HIGH", help=words)
    if command == "sheet":
        add("--to", metavar="FILE", default=".", help="HTML file or folder (default: here)")
    for name, metavar, words in (*_OWN.get(command, ()), *_EVERY):
        add(name, metavar=metavar, help=words)
    for s in SETTINGS:
        names = ("--" + s.name.replace("_", "-"), *_OTHER_NAMES.get(s.name, ()))
        words = f"{s.label}, {s.unit}" if s.unit else s.label
        more = "; 0: no spray" if s.name == "flux" else ""
        bounds = f" ({s.low:g} to {s.high:g}{more})" if s.is_number else ""
        add(*names, dest=s.name, type=_reader(s), metavar="X", help=(words + bounds).replace("%", "%%"))  # fmt: skip
    for name, metavar, words in (*_LATER, *_REPEATED):
        how = {"action": "append", "default": [], "metavar": metavar}
        if (name, metavar, words) in _LATER:
            how |= {"dest": "later", "type": functools.partial(_with_option, name)}
        add(name, help=f"{words}; repeatable", **how)
    add("--flatness-mm", type=float, metavar="MM", help="bow the face may have, mm (default 0.15)")
    add("--cutting-hv", type=float, metavar="HV", help="hardest you can machine, HV (default 320)")
    for name, words in _FLAGS:
        add(name, action="store_true", help=words)
    add("--version", action="version", version=f"forgeprops {__version__}")
    return made


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
