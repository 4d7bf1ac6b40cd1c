"""One look for every picture: colours, line styles and markers of zones and phases.

Colours are our own choice, held to three tests (tests/show/test_style.py): neighbours differ under simulated
red-, green- and blue-blindness, every pair within a family differs in lightness so that a grey print still
separates them, and each stands out from white paper.
"""

from __future__ import annotations

import contextlib
import threading
from dataclasses import dataclass

PAPER = "#FFFFFF"
INK = "#222222"
QUIET = "#6B6B6B"
GRID = "#DDDDDD"
ACCENT = "#1F4E9E"
#: Paper behind words, so that lines do not cross them.
BOX = {"facecolor": PAPER, "edgecolor": "none", "alpha": 0.8, "pad": 0.8}
CAUTION = "#B3261E"
#: Fill of what is wanted (goals, limits); told by its words and its edge, never by its colour alone.
WANTED = "#DCE7D3"
#: Fill of what is missed; told by its words too.
MISSED = "#F3D3D0"

#: Colour maps for coloured zones: both rise steadily in lightness, so they survive a grey print.
TEMPERATURE_MAP = "inferno"
HARDNESS_MAP = "cividis"


@dataclass(frozen=True)
class Look:
    """How one thing is drawn: the same in every picture.

    Attributes
    ----------
    colour : str
        "#RRGGBB".
    dash : object
        matplotlib line style.
    marker : str
        matplotlib marker.
    hatch : str
        matplotlib hatch for areas.
    width : float
        Line width, points.
    """

    colour: str
    dash: object = "-"
    marker: str = "o"
    hatch: str = ""
    width: float = 1.8

    @property
    def line(self) -> dict:
        """Options of a line."""
        return {"color": self.colour, "linestyle": self.dash, "linewidth": self.width}


_ZONE_LOOKS = {
    "face": Look("#C23F17", "-", "o", "", 2.6),
    "rim": Look("#E6990F", (0, (5, 1.5)), "s", "", 1.6),
    "body": Look("#2B2B2B", (0, (1.2, 1.4)), "D", "", 1.8),
    "neck": Look("#2C8F88", (0, (6, 1.5, 1.2, 1.5)), "^", "", 1.6),
    "hosel": Look("#1F4E9E", (0, (9, 2)), "v", "", 2.6),
}
#: Zone names in the order they stand in every picture: from the water to the shaft.
ZONES = tuple(_ZONE_LOOKS)

_PHASE_LOOKS = {
    "ferrite": Look("#F0D77B", "-", "o", ""),
    "pearlite": Look("#8A5A2B", "-", "s", ""),
    "bainite": Look("#3A8FB7", "-", "^", ""),
    "martensite": Look("#6A1535", "-", "D", ""),
    "austenite": Look("#8CC08A", "-", "v", ""),
    "untransformed": Look("#C9C9C9", "-", "x", ""),
}
#: Constituents in the order in which falling temperature makes them.
PHASES = tuple(_PHASE_LOOKS)

#: For things without a fixed identity (steels, settings), in order of use.
SERIES = (
    Look("#1F4E9E", "-", "o"),
    Look("#C23F17", (0, (6, 2)), "s"),
    Look("#2C8F88", (0, (6, 1.5, 1.2, 1.5)), "^"),
    Look("#2B2B2B", (0, (1.2, 1.4)), "D"),
    Look("#E6990F", (0, (3, 1.2)), "v"),
)


def zone_look(zone: str) -> Look:
    """Look of a zone: one colour, dash and marker everywhere."""
    return _ZONE_LOOKS[zone]


def phase_look(phase: str) -> Look:
    """Look of a constituent."""
    return _PHASE_LOOKS[phase]


def series_look(index: int) -> Look:
    """Look of the n-th of several things; repeats after the last."""
    return SERIES[index % len(SERIES)]


def grey_lightness(colour: str) -> float:
    """CIE lightness L* (0 black … 100 white) of a "#RRGGBB" colour: what a grey print keeps of it.

    Source: sRGB transfer curve and luminance weights of IEC 61966-2-1; L* of CIE 1976 (both from memory).

    Examples
    --------
    >>> round(grey_lightness("#FFFFFF")), round(grey_lightness("#000000")), round(grey_lightness("#777777"))
    (100, 0, 50)
    """
    luminance = 0.0
    for start, weight in ((1, 0.2126), (3, 0.7152), (5, 0.0722)):
        channel = int(colour[start : start + 2], 16) / 255
        linear = channel / 12.92 if channel <= 0.04045 else ((channel + 0.055) / 1.055) ** 2.4
        luminance += weight * linear
    return 116 * luminance ** (1 / 3) - 16 if luminance > 0.008856 else 903.3 * luminance


def shade(colours: str, ends, value: float) -> str:
    """Colour "#RRGGBB" of a value in a colour map that runs from one end to the other."""
    import matplotlib as mpl

    share = (value - ends[0]) / (ends[1] - ends[0])
    return mpl.colors.to_hex(mpl.colormaps[colours](min(max(share, 0.0), 1.0))).upper()


#: matplotlib's settings are one for the whole process; panels that work beside the page take turns.
_SETTINGS = threading.RLock()


@contextlib.contextmanager
def look():
    """Context in which figures and axes take the common look; the caller's own settings stay."""
    import matplotlib as mpl

    with (
        _SETTINGS,
        mpl.rc_context(
            {
                "font.family": "DejaVu Sans",
                "font.size": 10,
                "axes.labelsize": 10,
                "axes.edgecolor": QUIET,
                "axes.labelcolor": INK,
                "axes.spines.top": False,
                "axes.spines.right": False,
                "axes.grid": True,
                "axes.axisbelow": True,
                "grid.color": GRID,
                "grid.linewidth": 0.7,
                "text.color": INK,
                "xtick.color": QUIET,
                "ytick.color": QUIET,
                "xtick.labelcolor": INK,
                "ytick.labelcolor": INK,
                "xtick.labelsize": 9,
                "ytick.labelsize": 9,
                "figure.facecolor": PAPER,
                "savefig.facecolor": PAPER,
                "legend.frameon": False,
                "hatch.linewidth": 0.6,
                "svg.fonttype": "none",
            }
        ),
    ):
        yield


def cased(width: float) -> list:
    """Path effects that draw a line over a paper-coloured one `width` points wide, so that it stands out from
    any fill it crosses, in colour and in grey."""
    from matplotlib.patheffects import withStroke

    return [withStroke(linewidth=width, foreground=PAPER)]


def title(ax, words: str) -> None:
    """Write the title of a picture: bold, at the left, wherever the axes were made."""
    ax.set_title(words, loc="left", fontweight="bold", fontsize=11)


def corner(ax, x: float, y: float, words: str, colour: str = INK, **more):
    """Words at a place given in shares of the axes, on the side where they stay inside."""
    look = {"ha": "right" if x > 0.5 else "left", "va": "top" if y > 0.5 else "bottom"}
    look |= {"c": colour, "size": 8.5, "zorder": 5}
    return ax.text(x, y, words, transform=ax.transAxes, **look | more)


def rows(ax, names, above: float = 0.6, below: float = 0.6) -> None:
    """Rows from top to bottom, each with its name, and no lines between."""
    ax.set_yticks(range(len(names)), list(names))
    ax.set_ylim(len(names) - 1 + below, -above)
    ax.grid(axis="y", visible=False)


def span(ax, low, high, row, colour: str, width: float = 2.0, z: float = 2):
    """A level line from one value to another."""
    look = {"solid_capstyle": "butt", "zorder": z}
    return ax.plot([low, high], [row, row], color=colour, linewidth=width, **look)


def tidy(ax, words: str = "") -> None:
    """Switch a drawing's axes off (for outlines) and write its title."""
    ax.set_axis_off()
    if words:
        title(ax, words)
