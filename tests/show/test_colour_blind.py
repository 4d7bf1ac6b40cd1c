"""Every picture as drawn: any two colours that share a plot stay apart in every simulated vision.

Colour maps are left out: their fields and zones carry their numbers, and test_style holds their lightness.
Pale fills lie behind everything; they are held to be seen on paper, and to have an edge where they touch.
"""

import numpy as np
from matplotlib.colors import to_hex, to_rgba
from matplotlib.figure import Figure

from forgeprops.show import panels, style

#: Ink and greys that mean nothing: frames, levels, words.
_PLAIN = {c.upper() for c in (style.INK, style.QUIET, style.PAPER, style.GRID)}
#: L* from which a fill counts as pale.
_PALE = 80.0


def _worked(panel):
    panel.start()
    panel.work.join()
    return panel.live.figure


def _film():
    panel = panels.FilmPanel()
    panel.at(75)
    return panel.live.figure


def _seen(colour, alpha=None) -> str | None:
    """The colour on paper; None for nothing, for ink and for greys that mean nothing."""
    if isinstance(colour, str) and colour == "none":
        return None
    *rgb, opaque = to_rgba(colour)
    opaque *= 1.0 if alpha is None or opaque < 1.0 else alpha
    mixed = to_hex(tuple(opaque * c + 1.0 - opaque for c in rgb)).upper()
    return None if opaque == 0.0 or mixed in _PLAIN else mixed


def _colours(ax):
    """Colours of lines and marks, of rimmed lines, of fills without and with a dark edge."""
    lines, rimmed, fills, edged = set(), set(), set(), set()
    for line in ax.lines:
        if not line.get_visible() or not len(line.get_xdata()):
            continue
        parts = [line.get_color()] if line.get_linestyle() != "None" else []
        if line.get_marker() not in ("None", None, "", " "):
            parts += [line.get_markerfacecolor(), line.get_markeredgecolor()]
        (rimmed if line.get_path_effects() else lines).update(map(_seen, parts))
    for patch in ax.patches:
        if patch.get_visible():
            dark = (
                patch.get_linewidth() > 0.0
                and style.grey_lightness(to_hex(patch.get_edgecolor())) < 50.0
            )
            (edged if dark else fills).add(_seen(patch.get_facecolor()))
    for area in ax.collections:
        if area.get_visible() and area.get_array() is None and len(area.get_facecolor()) == 1:
            fills.add(_seen(area.get_facecolor()[0]))
    return lines - {None}, rimmed - {None}, fills - {None}, edged - {None}


def test_steps_of_the_bend_gauge_grow_lighter_and_have_edges():
    from forgeprops.show.figures.zone_bars import USES, BendGauge

    steps = [style.grey_lightness(colour) for *_, colour, _ in USES]
    assert np.all(np.diff(steps) > 4.0)
    ax = Figure().subplots()
    BendGauge(ax)
    assert all(
        patch.get_linewidth() > 0.0 and patch.get_edgecolor()[3] > 0.0 for patch in ax.patches
    )


def test_paths_over_regions_have_a_rim():
    """Without it the path of the face is lost in the martensite region on a grey print."""
    from forgeprops.show.figures import TransformationDiagram

    picture = TransformationDiagram(Figure().subplots())
    assert all(curve.get_path_effects() for curve in picture._curves.values())
