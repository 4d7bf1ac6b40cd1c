"""Pictures follow a result: what is drawn is what the result says, in the reader's units."""

import numpy as np
import pytest
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure

from forgeprops.show import style
from forgeprops.show.figures import (
    BendGauge,
    CoolingCurves,
    HardnessBars,
    HeadOutline,
    StructureBars,
)
from forgeprops.show.units import Units


@pytest.fixture
def ax():
    with style.look():
        figure = Figure(figsize=(6, 4), layout="constrained")
        FigureCanvasAgg(figure)
        return figure.add_subplot()


def render(ax):
    ax.figure.canvas.draw()
    return np.asarray(ax.figure.canvas.buffer_rgba())[..., :3].copy()


def test_curves_are_the_result_in_fahrenheit(ax, double):
    result = double.result()
    picture = CoolingCurves(ax, units=Units("°F"))
    picture.update(result)
    line = picture._curves["face"]
    out = result.events["out of furnace"]
    zone = result.zones["face"]
    expected = np.interp(line.get_xdata(), zone.time_s - out, zone.temperature_c) * 1.8 + 32
    assert np.allclose(line.get_ydata(), expected)
    assert "°F" in ax.get_ylabel() and ax.get_xlabel().endswith(", s")


def test_water_band_stands_where_the_water_runs(ax, double):
    result = double.result(delay_s=3.0, spray_s=5.0)
    picture = CoolingCurves(ax)
    picture.update(result)
    band, out = picture._bands["water"], result.events["out of furnace"]
    assert band.get_x() == pytest.approx(result.events["water on"] - out)
    assert band.get_x() + band.get_width() == pytest.approx(result.events["water off"] - out)
    picture.update(double.result(spray=False))
    assert not band.get_visible()


def test_very_hot_result_grows_the_frame(ax, double):
    picture = CoolingCurves(ax)
    picture.update(double.result(preheat_c=930))
    assert picture.update(double.result(preheat_c=1200)) is True
    assert ax.get_ylim()[1] >= 1200
    assert picture.update(double.result(preheat_c=1200)) is False


def test_hidden_zones_are_hidden(ax, double):
    picture = CoolingCurves(ax, style.ZONES)
    picture.set_zones(("face", "hosel"))
    picture.update(double.result())
    assert [z for z in style.ZONES if picture._curves[z].get_visible()] == ["face", "hosel"]


def test_names_do_not_sit_on_each_other(ax, double):
    picture = CoolingCurves(ax, style.ZONES)
    picture.update(double.result())
    ax.figure.canvas.draw()
    boxes = [t.get_window_extent() for t in picture._names.values()]
    for i, one in enumerate(boxes):
        assert not any(one.overlaps(other) for other in boxes[i + 1 :])


def test_bars_and_words_are_the_result(ax, double):
    result = double.result()
    picture = HardnessBars(ax)
    picture.update(result)
    for zone in style.ZONES:
        z = result.zones[zone]
        assert picture._bars[zone].get_width() == z.hardness_hv
        assert list(picture._spans[zone].get_xdata()) == [z.hardness_low_hv, z.hardness_high_hv]
        assert (
            f"{z.hardness_hv:.0f} HV ({z.hardness_low_hv:.0f}–{z.hardness_high_hv:.0f})"
            in picture.describe(result)
        )
    assert "HRC" in picture.words(result.zones["face"])


def test_rockwell_axis_agrees_with_the_table(ax):
    from forgeprops.strength.hardness_scales import convert_hardness

    picture = HardnessBars(ax)
    top = picture.ax.child_axes[0]
    ticks = dict(zip([t.get_text() for t in top.get_xticklabels()], top.get_xticks(), strict=True))
    assert ticks["40"] == pytest.approx(convert_hardness(40, "HRC", "HV"))


def test_structure_pieces_fill_the_bar(ax, double):
    picture = StructureBars(ax)
    result = double.result()
    picture.update(result)
    for zone in style.ZONES:
        last = max(
            (
                picture._pieces[zone, p]
                for p in style.PHASES
                if picture._pieces[zone, p].get_visible()
            ),
            key=lambda piece: piece.get_x(),
        )
        assert last.get_x() + last.get_width() == pytest.approx(
            100 * sum(result.zones[zone].fractions.values())
        )


def test_gauge_pointer_and_words(ax, double):
    result = double.result()
    picture = BendGauge(ax)
    picture.update(result)
    assert picture._pointer.get_xdata()[0] == pytest.approx(2.4)
    assert "2.4°" in picture.describe(result) and "1.7°" in picture.describe(result)
    result.hosel.allowed_deg = 30.0
    picture.update(result)
    assert (
        picture._pointer.get_xdata()[0] < ax.get_xlim()[1] and "30.0°" in picture._words.get_text()
    )


@pytest.mark.parametrize("quantity", ["hardness", "temperature"])
def test_harder_or_hotter_zone_has_another_shade(ax, double, quantity):
    picture = HeadOutline(ax, quantity)
    picture.show(dict.fromkeys(style.ZONES, 300.0))
    before = render(ax)
    picture.show(dict.fromkeys(style.ZONES, 300.0) | {"face": 500.0})
    assert not np.array_equal(before, render(ax))
    shades = {z: picture._areas[z].get_facecolor() for z in style.ZONES}
    assert shades["rim"] == shades["body"] != shades["face"]


def test_outline_is_closed_and_has_the_lie_of_an_iron(ax):
    picture = HeadOutline(ax)
    corners = picture._areas["hosel"].get_path().vertices
    along = corners[1] - corners[0]
    assert np.degrees(np.arctan2(along[1], along[0])) == pytest.approx(61.0, abs=0.1)
    assert np.hypot(*(corners[3] - corners[0])) == pytest.approx(13.4, abs=0.01)
    for zone in style.ZONES:
        path = picture._areas[zone].get_path()
        assert path.codes[-1] == path.CLOSEPOLY and len(path.to_polygons()) == 1


def test_grey_print_still_shows_face_and_hosel_apart(ax, double):
    """On the picture itself: the grey of the face line and of the hosel line differ visibly."""
    picture = CoolingCurves(ax)
    picture.update(double.result())
    greys = [style.grey_lightness(picture._curves[z].get_color()) for z in ("face", "hosel")]
    assert abs(greys[0] - greys[1]) > 8
