"""The process window: maps over two settings, the region that meets all limits, its middle and its room."""

from __future__ import annotations

import io

import numpy as np

from ...base.errors import InputError
from ...io.writing import write_bytes
from .. import style
from ..units import Units
from .compare import SHORT_NAMES

__all__ = ["window_picture", "window_png"]

#: Quantity → title, colour map, its limits, contour steps, format of the contours.
_MAPS = {
    "face_hardness_hv": ("Face hardness, HV", style.HARDNESS_MAP, (120.0, 600.0), 40.0, "%.0f"),
    "hosel_allowed_deg": ("Hosel bend allowed, degrees", "viridis", (0.0, 5.0), 0.2, "%.1f"),
}
#: Slack beyond this counts as this: drawing only.
_FAR = 50.0
#: Smallest share of the map worth a name.
_WORTH_A_NAME = 0.02
#: Share of the map that words take along their length.
_WORDS_WIDE = 0.45
#: What a limit says when it is missed: (quantity, +1 for a low end) → words.
_MISSED = {
    ("face_hardness_hv", 1.0): "face too soft",
    ("face_hardness_hv", -1.0): "face too hard",
    ("hosel_hardness_hv", 1.0): "hosel too soft",
    ("hosel_hardness_hv", -1.0): "hosel too hard",
    ("hosel_allowed_deg", 1.0): "hosel bends too little",
    ("face_margin", 1.0): "face too weak",
    ("press_effort", -1.0): "too hard to press",
    ("scale_um", -1.0): "too much scale",
    ("press_s", -1.0): "too long on the press",
    ("heads_per_hour", 1.0): "too slow",
    ("water_l", -1.0): "too much water",
}


def window_picture(figure, window, units: Units | None = None) -> str:
    """Draw face hardness, hosel bend and the room inside the limits over two settings; return it in words.

    Outside the region that meets all limits the maps are pale and hatched; its edge is the thick line.  The
    dashed box is the largest inside, the cross its middle, the ring where the settings are now.
    """
    units = units or Units()
    figure.clear()
    figure.set_layout_engine("constrained")
    with style.look():
        axes = figure.subplots(1, 3, sharey=True)
        x, y = (units.shown(a.setting, a.values) for a in (window.x, window.y))
        slack = np.clip(np.nan_to_num(window.slack, nan=-_FAR), -_FAR, _FAR)
        for ax, (name, how) in zip(axes, _MAPS.items(), strict=False):
            _map(ax, x, y, window.maps[name], how)
            _region(ax, x, y, slack, veil=True)
        _room(axes[2], x, y, slack, window)
        for ax in axes:
            ax.grid(visible=False)
            ax.set(xlim=(x[0], x[-1]), ylim=(y[0], y[-1]), xlabel=units.title(window.x.setting))
            _marks(ax, window, units)
        axes[0].set_ylabel(units.title(window.y.setting))
    return _words(window, units)


def window_png(window, path: str) -> None:
    """Write the picture of a window to a PNG file that does not exist yet.

    Raises
    ------
    InputError
        The file exists, or does not end in .png.
    """
    from matplotlib.figure import Figure

    if not str(path).endswith(".png"):
        raise InputError(f"{path} must end in .png.")
    figure, made = Figure(figsize=(12, 4.5), layout="constrained"), io.BytesIO()
    window_picture(figure, window)
    figure.savefig(made, format="png", dpi=110)
    write_bytes(path, made.getvalue())


def _map(ax, x, y, values, how) -> None:
    title, colours, (low, high), step, form = how
    style.title(ax, title)
    finite = np.ma.masked_invalid(values)
    ax.pcolormesh(x, y, finite, cmap=colours, vmin=low, vmax=high, shading="gouraud", zorder=1)
    ax.text(0.02, 0.02, f"{form % finite.min()} to {form % finite.max()} on this map", transform=ax.transAxes,
            size=8.5, va="bottom", zorder=6, bbox=style.BOX)  # fmt: skip
    levels = np.arange(np.floor(finite.min() / step), np.ceil(finite.max() / step) + 1) * step
    if len(levels) > 9:
        levels = levels[:: int(np.ceil(len(levels) / 9))]
    if np.ptp(finite) > 1e-9 and len(levels) > 1:
        lines = ax.contour(x, y, finite, levels=levels, colors=style.INK, linewidths=0.8, zorder=4)
        for words in ax.clabel(lines, fmt=form, fontsize=8.5, inline=True, inline_spacing=2):
            words.set_bbox(
                {"facecolor": style.PAPER, "edgecolor": "none", "pad": 0.8, "alpha": 0.85}
            )


def _region(ax, x, y, slack, veil: bool) -> None:
    """Outside pale and hatched, its edge a thick line."""
    import matplotlib as mpl

    if (slack < 0.0).any():
        if veil:
            ax.contourf(
                x, y, slack, levels=[-2 * _FAR, 0.0], colors=[style.PAPER], alpha=0.62, zorder=2
            )
        with mpl.rc_context({"hatch.color": "#7A7A7A"}):
            ax.contourf(
                x, y, slack, levels=[-2 * _FAR, 0.0], colors="none", hatches=["///"], zorder=3
            )
        if (slack >= 0.0).any():
            ax.contour(x, y, slack, levels=[0.0], colors=style.INK, linewidths=3.0, zorder=5)


def _room(ax, x, y, slack, window) -> None:
    """How far inside the limits, and what stops you outside."""
    if not window.limits.bounds:
        style.title(ax, "Room inside your limits")
        ax.text(0.5, 0.5, "no limits set", transform=ax.transAxes, ha="center", va="center")
        return
    style.title(ax, "Room inside, and what stops you")
    inside = np.ma.masked_less(slack, -0.5)
    ax.pcolormesh(x, y, inside, cmap="Blues", vmin=-1.0, vmax=7.0, shading="gouraud", zorder=1)
    _region(ax, x, y, slack, veil=True)
    levels = [level for level in (0.5, 1.0, 2.0, 3.0, 4.0, 5.0) if level < slack.max()]
    if levels:
        lines = ax.contour(x, y, slack, levels=levels, colors=style.INK, linewidths=0.8, zorder=4)
        ax.clabel(lines, fmt="%g", fontsize=8.5, inline=True, inline_spacing=2)
    for words, (i, j, upright) in _names(window).items():
        ax.text(
            x[i], y[j], words, ha="center", va="center", size=9, weight="bold", zorder=6,
            clip_on=True, c=style.CAUTION, rotation=90 if upright else 0,
            bbox={"facecolor": style.PAPER, "edgecolor": style.CAUTION, "linewidth": 0.8, "pad": 2.0},
        )  # fmt: skip


def _names(window) -> dict[str, tuple[int, int, bool]]:
    """Words of every limit that stops, where its area is widest: column and row on the map, and whether the
    words stand upright because the area is narrow."""
    from scipy.ndimage import distance_transform_edt

    found = {}
    rows, columns = window.slack.shape
    for words, name, _, sign in window.limits.ends():
        area = (window.binding == words) & (window.slack < 0.0)
        if area.mean() < _WORTH_A_NAME:
            continue
        room = distance_transform_edt(np.pad(area, 1))[1:-1, 1:-1]
        # of places with as much room the one in their midst
        ties = np.argwhere(room >= room.max() - 1e-9)
        j, i = ties[np.abs(ties - ties.mean(axis=0)).sum(axis=1).argmin()]
        upright = (
            _run(area[j], i) < _WORDS_WIDE * columns and _run(area[:, i], j) > _WORDS_WIDE * rows
        )
        ends = (0.04, 0.25) if upright else (0.25, 0.04)  # so that the words stay on the map
        i, j = (
            int(np.clip(at, round(end * n), n - 1 - round(end * n)))
            for at, end, n in ((i, ends[0], columns), (j, ends[1], rows))
        )
        said = f"{SHORT_NAMES.get(name, name)} too {'low' if sign > 0 else 'high'}"
        found[_MISSED.get((name, sign), said)] = (i, j, upright)
    return found


def _run(inside, at: int) -> int:
    """How many fields in a row about one of them are inside."""
    outside = np.flatnonzero(~inside)
    before, after = outside[outside < at], outside[outside > at]
    return int(after[0] if len(after) else len(inside)) - int(before[-1] if len(before) else -1) - 1


def _marks(ax, window, units: Units) -> None:
    from matplotlib.patches import Rectangle

    def at(place):
        return tuple(units.shown(a.setting, place[a.setting.name]) for a in (window.x, window.y))

    if window.box is not None and window.limits.bounds:
        low, high = (at({n: ends[k] for n, ends in window.box.items()}) for k in (0, 1))
        for colour, width, dash in ((style.PAPER, 3.4, "-"), (style.INK, 1.6, (0, (4, 2)))):
            ax.add_patch(
                Rectangle(low, high[0] - low[0], high[1] - low[1], fill=False, ec=colour,
                          lw=width, ls=dash, zorder=6)
            )  # fmt: skip
        ax.plot(*at(window.centre), "P", c=style.INK, ms=12, mec=style.PAPER, zorder=8)
        ax.annotate("middle", at(window.centre), (0, -17), textcoords="offset points", size=9,
                    weight="bold", ha="center", va="center", zorder=7, bbox=style.BOX)  # fmt: skip
    if window.now is not None:
        ax.plot(*at(window.now), "o", ms=10, mfc=style.PAPER, mec=style.CAUTION,
                mew=2.4, zorder=9)  # fmt: skip
        ax.annotate("now", at(window.now), (0, 15), textcoords="offset points", size=9,
                    weight="bold", ha="center", va="center", c=style.CAUTION, zorder=9, bbox=style.BOX)  # fmt: skip


def _words(window, units: Units) -> str:
    """What the picture shows, for those who cannot see it."""
    parts = []
    for name, (title, *_rest, form) in _MAPS.items():
        values = window.maps[name]
        parts.append(
            f"{title}: {form % np.nanmin(values)} to {form % np.nanmax(values)} over the map."
        )
    if window.limits.bounds:
        parts.append(f"{100 * window.share:.0f} % of the map meets all limits.")
        stops = list(_names(window))
        if stops:
            parts.append(f"Outside: {', '.join(stops)}.")
    return " ".join(parts)
