"""Front view of an iron head, its zones coloured by a number.  The outline is invented, no real club."""

from __future__ import annotations

import math

from .. import style
from ..canvas import Picture
from ..units import Units

_LIE_DEG = 61.0
_C = 4  # matplotlib's code of a cubic curve

# Outline in mm: toe left, sole on y = 0, heel and hosel right.  Each row: two handles and an end point.
_BODY = (
    (30, 26),
    ((10, 31), (-12, 42), (-26, 53)),
    ((-33, 58), (-42, 50), (-42, 36)),
    ((-42, 18), (-38, 4), (-24, 1)),
    ((-8, -1.5), (14, -1), (28, 2)),
    ((36, 4), (41, 9), (44, 16)),
)
_PLATE = (
    (22, 24.5),
    ((7, 29), (-12, 38.5), (-25, 48.5)),
    ((-31, 53), (-38, 47), (-38, 36)),
    ((-38, 20), (-34, 8), (-23, 5.5)),
    ((-8, 3), (10, 3.5), (21, 5.5)),
    ((25, 10), (25, 20), (22, 24.5)),
)
_FACE_CENTRE, _FACE_SHARE = (-12.0, 24.5), 0.62
_NECK_LENGTH, _HOSEL_LENGTH, _HOSEL_HALF = 20.0, 42.0, 6.7


def _path(rows, shrink=1.0, about=(0.0, 0.0)):
    from matplotlib.path import Path

    points = [rows[0]] + [p for row in rows[1:] for p in row]
    points = [
        (about[0] + shrink * (x - about[0]), about[1] + shrink * (y - about[1])) for x, y in points
    ]
    codes = [Path.MOVETO] + [_C] * (len(points) - 1)
    return Path([*points, points[0]], [*codes, Path.CLOSEPOLY])


def _tube():
    """Neck and hosel along the shaft axis."""
    from matplotlib.path import Path

    along = (math.cos(math.radians(_LIE_DEG)), math.sin(math.radians(_LIE_DEG)))
    across = (along[1], -along[0])
    low_left, low_right = _BODY[0], _BODY[-1][-1]
    foot = ((low_left[0] + low_right[0]) / 2, (low_left[1] + low_right[1]) / 2)

    def at(distance, side):
        return tuple(foot[i] + distance * along[i] + side * _HOSEL_HALF * across[i] for i in (0, 1))

    left, right = at(_NECK_LENGTH, -1), at(_NECK_LENGTH, 1)
    pull = 0.45 * _NECK_LENGTH
    neck = Path(
        [
            low_left,
            (low_left[0] + 6, low_left[1] + 2),
            (left[0] - pull * along[0], left[1] - pull * along[1]),
            left,
            right,
            (right[0] - pull * along[0], right[1] - pull * along[1]),
            (low_right[0] + 1.2, low_right[1] + 3.0),
            low_right,
            low_left,
        ],
        [Path.MOVETO, _C, _C, _C, Path.LINETO, _C, _C, _C, Path.CLOSEPOLY],
    )
    top_left, top_right = at(_NECK_LENGTH + _HOSEL_LENGTH, -1), at(_NECK_LENGTH + _HOSEL_LENGTH, 1)
    hosel = Path([left, top_left, top_right, right, left], [1, 2, 2, 2, 79])
    return neck, hosel, at(_NECK_LENGTH / 2, 1), at(_NECK_LENGTH + 0.6 * _HOSEL_LENGTH, 1)


class HeadOutline(Picture):
    """Head from the front; each zone is filled with the colour of its number and carries the number."""

    def __init__(
        self, ax, quantity: str = "hardness", units: Units | None = None, title: str | None = None
    ):
        import matplotlib as mpl
        from matplotlib.cm import ScalarMappable
        from matplotlib.patches import PathPatch

        self.ax, self.quantity, self.units = ax, quantity, units or Units()
        hot = quantity == "temperature"
        self._norm = mpl.colors.Normalize(20, 1000) if hot else mpl.colors.Normalize(100, 600)
        self._map = mpl.colormaps[style.TEMPERATURE_MAP if hot else style.HARDNESS_MAP]
        style.tidy(
            ax,
            title
            if title is not None
            else ("Temperature on the head" if hot else "Hardness on the head"),
        )
        ax.set(xlim=(-62, 92), ylim=(-18, 84), aspect="equal")
        neck, hosel, neck_spot, hosel_spot = _tube()
        paths = {
            "hosel": hosel,
            "neck": neck,
            "body": _path(_BODY),
            "rim": _path(_PLATE),
            "face": _path(_PLATE, _FACE_SHARE, _FACE_CENTRE),
        }
        self._areas = {}
        for order, (zone, path) in enumerate(paths.items()):
            self._areas[zone] = PathPatch(
                path,
                facecolor="#BBBBBB",
                edgecolor=style.INK,
                linewidth=0.9,
                zorder=2 + 0.1 * order,
                joinstyle="round",
            )
            ax.add_patch(self._areas[zone])
        self._grooves = [
            ax.plot(
                [-33.0 + 0.35 * i, 20.5],
                [9 + 4.2 * i] * 2,
                c=style.INK,
                lw=0.5,
                alpha=0.5,
                zorder=2.6,
            )[0]
            for i in (0, 1, 2, 6, 7)
        ]  # the middle is left free for the number
        clip = _path(_PLATE, 0.93, _FACE_CENTRE)
        for groove in self._grooves:
            groove.set_clip_path(clip, ax.transData)
        spots = {
            "rim": ((-31, 41), (-47, 55), "right"),
            "body": ((6, 1.0), (6, -5), "center"),
            "neck": (neck_spot, (neck_spot[0] + 8, neck_spot[1] - 5), "left"),
            "hosel": (hosel_spot, (hosel_spot[0] + 6, hosel_spot[1] - 6), "left"),
        }
        x, y = _FACE_CENTRE
        self._face_name = ax.text(
            x, y + 0.5, "face", ha="center", va="bottom", size=10, weight="bold", zorder=5
        )
        self._words = {
            "face": ax.text(x, y, "", ha="center", va="top", size=10, weight="bold", zorder=5)
        }
        for zone, (
            spot,
            where,
            side,
        ) in spots.items():  # names stay in the kept background, numbers move
            ax.plot([spot[0], where[0]], [spot[1], where[1]], c=style.QUIET, lw=0.8, zorder=4)
            x, y = (
                where[0] + {"right": -1, "left": 1, "center": 0}[side],
                where[1] - (6 if side == "center" else 0),
            )
            ax.text(x, y + 0.3, zone, ha=side, va="bottom", size=9.5)
            self._words[zone] = ax.text(x, y - 0.3, "", ha=side, va="top", size=9.5, zorder=5)
        bar = ax.inset_axes([0.02, 0.02, 0.30, 0.028])
        self.colourbar = ax.figure.colorbar(
            ScalarMappable(self._norm, self._map), cax=bar, orientation="horizontal"
        )
        ticks = (20, 500, 1000) if hot else (100, 350, 600)
        self.colourbar.set_ticks(
            ticks, labels=[f"{self.units.from_c(t):.0f}" if hot else f"{t}" for t in ticks]
        )
        self.colourbar.ax.tick_params(labelsize=8, length=2)
        self.colourbar.outline.set_linewidth(0.5)
        self.colourbar.ax.set_title(
            self.units.temperature if hot else "HV",
            fontsize=8,
            fontweight="normal",
            loc="center",
            pad=2,
        )

    def show(self, values) -> bool:
        """Colour the zones by `values` (zone → HV or °C)."""
        for zone, value in values.items():
            rgba = self._map(self._norm(value))
            self._areas[zone].set_facecolor(rgba)
            text = (
                self.units.temperature_text(value)
                if self.quantity == "temperature"
                else self.units.hardness_text(value)
            )
            self._words[zone].set_text(text)
            if zone == "face":
                shade = "#{:02X}{:02X}{:02X}".format(*(round(255 * c) for c in rgba[:3]))
                for words in (self._words[zone], self._face_name):
                    words.set_color(style.PAPER if style.grey_lightness(shade) < 55 else style.INK)
        return False

    def update(self, result, time_s: float | None = None) -> bool:
        """Follow a result: its hardness, or its temperatures `time_s` s after it left the furnace."""
        if self.quantity == "hardness":
            return self.show({zone: result.zones[zone].hardness_hv for zone in style.ZONES})
        import numpy as np

        at = result.events["out of furnace"] + (0.0 if time_s is None else time_s)
        return self.show(
            {
                zone: float(np.interp(at, z.time_s, z.temperature_c))
                for zone in style.ZONES
                for z in (result.zones[zone],)
            }
        )

    def describe(self, result) -> str:
        """One sentence that says what the picture shows."""
        hardest = max(style.ZONES, key=lambda zone: result.zones[zone].hardness_hv)
        softest = min(style.ZONES, key=lambda zone: result.zones[zone].hardness_hv)
        return (
            f"Front view of the head (invented outline): the {hardest} is hardest at "
            f"{self.units.hardness_text(result.zones[hardest].hardness_hv)}, the {softest} softest at "
            f"{self.units.hardness_text(result.zones[softest].hardness_hv)}."
        )
