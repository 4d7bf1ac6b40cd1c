"""Every picture as drawn: any two colours that share a plot stay apart in every simulated vision.

Colour maps are left out: their fields and zones carry their numbers, and test_style holds their lightness.
Pale fills lie behind everything; they are held to be seen on paper, and to have an edge where they touch.
"""

import itertools

import numpy as np
import pytest
from matplotlib.colors import to_hex, to_rgba
from matplotlib.figure import Figure

from forgeprops.show import panels, style
from forgeprops.show.figures.trust import coverage_plot, parity_plot

#: Ink and greys that mean nothing: frames, levels, words.
_PLAIN = {c.upper() for c in (style.INK, style.QUIET, style.PAPER, style.GRID)}
#: L* from which a fill counts as pale.
_PALE = 80.0


def _worked(panel):
    panel.start()
    panel.work.join()
    return panel.live.figure


def _trust():
    from forgeprops.study import validation as trust

    figure = Figure()
    upper, lower = figure.subplots(2)
    parity_plot(upper, trust.parity("bars"))
    coverage_plot(lower, trust.coverage())
    return figure


def _film():
    panel = panels.FilmPanel()
    panel.at(75)
    return panel.live.figure


PICTURES = {
    "estimate": lambda: panels.EstimatePanel().live.figure,
    "forging temperature": lambda: panels.ForgingTemperaturePanel().live.figure,
    "hosel bench": lambda: panels.HoselBenchPanel().live.figure,
    "film": _film,
    "task": lambda: panels.TaskPanel().live.figure,
    "end-quench band": lambda: panels.BandPanel().live.figure,
    "trust": _trust,
    "heats": lambda: _worked(panels.JudgePanel()),
    "log": lambda: _worked(panels.TrackingPanel()),
    "spray": lambda: _worked(panels.SprayCurvePanel()),
    "causes": lambda: _worked(panels.CausePanel()),
    "fit": lambda: _worked(panels.FitPanel()),
}


@pytest.fixture(scope="module", params=PICTURES)
def figure(request):
    return PICTURES[request.param]()


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


def test_colours_that_share_a_plot_stay_apart(figure, eyes):
    for ax in figure.axes:
        if ax.get_title(loc="left").endswith("on the head"):
            continue  # a colour map, with its numbers on it
        lines, rimmed, fills, edged = _colours(ax)
        strong, regions = (
            {c for c in some if style.grey_lightness(c) < _PALE} for some in (fills, edged)
        )
        pairs = [
            *itertools.combinations(lines | rimmed, 2),
            *itertools.combinations(strong, 2),
            *itertools.product(
                lines, strong | regions
            ),  # a rimmed line needs no distance from a fill
        ]
        for least, some in (
            (eyes.APART, pairs),
            (eyes.APART / 2, itertools.combinations(regions, 2)),
        ):
            for (one, other), kind in itertools.product(some, eyes.KINDS):
                apart = eyes.difference(one, other, kind)
                where = f"{ax.get_title(loc='left')}: {one}, {other}, {kind}: {apart:.0f}"
                assert one == other or apart > least, where


def test_pale_fills_are_seen_on_paper(figure, eyes):
    for ax in figure.axes:
        for fill in _colours(ax)[2]:  # one with an edge is seen by its edge
            for kind in eyes.KINDS:
                assert eyes.difference(fill, style.PAPER, kind) > 2.0, (
                    ax.get_title(loc="left"),
                    fill,
                    kind,
                )


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
