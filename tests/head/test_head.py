"""The head: mass, surfaces and conduction paths against hand calculation and numerical solutions; a head from seven numbers."""

import math
import re

import numpy as np
import pytest
from checks import refuses
from scipy.integrate import quad
from scipy.sparse import diags, identity, kron
from scipy.sparse.linalg import spsolve

import forgeprops as fp
from forgeprops.base.constants import STEEL_DENSITY_KG_M3
from forgeprops.inputs import head as he
from forgeprops.inputs.drawing import DIMENSIONS, Block


def plain(**changes):
    """A head of round numbers, so that a pocket calculator checks it."""
    drawn = {
        "name": "plain", "face_length_mm": 40, "face_height_mm": 30, "face_thickness_mm": 3.0, "face_allowance_mm": 0.5,
        "rim_length_mm": 70, "rim_height_mm": 40, "rim_thickness_mm": 4.0, "rim_allowance_mm": 0.5,
        "body": (he.Block("sole", 60, 20, 8, 0.5),), "neck_length_mm": 20, "neck_base_mm": 16,
        "hosel_length_mm": 50, "hosel_outside_mm": 14, "hosel_bore_mm": 10, "hosel_bore_depth_mm": 30,
        "hosel_allowance_mm": 1.0, "hosel_length_allowance_mm": 2.0}  # fmt: skip
    return he.Head(**{**drawn, **changes})


def test_volumes_surfaces_slab_and_path_factor_by_hand():
    z = plain().zones("finished")
    assert z["face"].volume_mm3 == pytest.approx(40 * 30 * 3)
    assert z["rim"].volume_mm3 == pytest.approx((70 * 40 - 40 * 30) * 4)
    assert z["body"].volume_mm3 == pytest.approx(60 * 20 * 8)
    assert z["neck"].volume_mm3 == pytest.approx(math.pi * 20 / 3 * (7**2 + 7 * 8 + 8**2))
    assert z["hosel"].volume_mm3 == pytest.approx(math.pi * (7**2 * 50 - 5**2 * 30))
    z = plain().zones("forged")
    assert z["face"].volume_mm3 == pytest.approx(40 * 30 * 3.5)
    assert z["hosel"].volume_mm3 == pytest.approx(math.pi * 7.5**2 * 52)  # solid, wider, longer
    assert z["neck"].volume_mm3 == pytest.approx(math.pi * 20 / 3 * (7.5**2 + 7.5 * 8 + 8**2))
    z = plain().zones("finished")
    assert z["face"].front_mm2 == z["face"].back_mm2 == 1200
    # the rim stands on the sole over 60 × 4 mm
    assert 2 * z["body"].front_mm2 == pytest.approx(2 * (60 * 20 + 60 * 8 + 20 * 8) - 60 * 4)
    assert 2 * z["hosel"].front_mm2 == pytest.approx(math.pi * 14 * 50 + math.pi * (7**2 - 5**2))
    frustum = quad(lambda x: 2 * math.pi * (8 - x / 20) * math.sqrt(1 + 1 / 20**2), 0, 20)[0]
    assert 2 * z["neck"].front_mm2 == pytest.approx(frustum)
    for name in he.heads():
        for z in he.head(name).zones("forged").values():
            assert z.path_mm * (z.front_mm2 + z.back_mm2) / 2 == pytest.approx(z.volume_mm3)
    z = he.head("mid-iron").zones("forged")
    assert z["face"].path_factor == z["rim"].path_factor == 1.0
    # slab L/3k with L = R/2 against round R/4k
    assert z["hosel"].path_factor == pytest.approx(2 / 3)
    assert z["neck"].path_factor == pytest.approx(2 / 3)
    thin = plain(hosel_bore_mm=12.2, hosel_bore_depth_mm=50).zones("finished")["hosel"]
    assert 0.9 < thin.path_factor < 1  # a thin wall is nearly a plate cooled from one side
    assert thin.path_mm == pytest.approx(2 * 0.9, rel=0.10)


@pytest.mark.parametrize("name", he.heads())
@pytest.mark.parametrize("state", he.STATES)
def test_mass_is_volume_times_density_and_closes(name, state):
    h = he.head(name)
    zones = h.zones(state)
    assert tuple(zones) == he.ZONES
    volume = sum(z.volume_mm3 for z in zones.values())
    assert h.mass_g(state) == pytest.approx(volume * STEEL_DENSITY_KG_M3 * 1e-6)
    if state == "finished":
        assert h.mass_g() == pytest.approx(h.declared_mass_g, rel=0.03)
        assert 230 <= h.mass_g() <= 300


@pytest.mark.parametrize("name", he.heads())
def test_library_heads_are_believable(name):
    h = he.head(name)
    assert 2.4 <= h.forged_thickness_mm <= 4.0
    assert h.face_thickness_mm < h.rim_thickness_mm  # the centre is the thinnest
    assert h.mass_g("forged") > h.mass_g("finished")
    assert 12.5 <= h.hosel_outside_mm <= 14.0 and 1.6 <= h.wall_mm <= 2.5
    assert 50 <= h.hosel_length_mm + h.neck_length_mm <= 75 and 25 <= h.hosel_bore_depth_mm <= 38
    assert "invented" in h.note


def poisson_mean(width, height, n=160):
    """Mean of u with −∇²u = 1 in a rectangle, u = 0 on the edge, by central differences."""
    hx, hy = width / n, height / n

    def second(h):
        return diags([-1.0, 2.0, -1.0], [-1, 0, 1], shape=(n - 1, n - 1)) / h**2

    eye = identity(n - 1)
    u = spsolve((kron(second(hx), eye) + kron(eye, second(hy))).tocsc(), np.ones((n - 1) ** 2))
    return u.sum() / n**2


@pytest.mark.parametrize("width, height", [(10, 10), (18, 7), (46, 32)])
def test_mean_rise_of_a_bar_against_finite_differences(width, height):
    expected = poisson_mean(width, height)
    assert he.bar_mean_rise_mm2(width, height) == pytest.approx(expected, rel=2e-3)


@pytest.mark.parametrize("bore", [0.0, 4.0, 9.4, 13.0])
def test_mean_rise_of_a_tube_against_quadrature(bore):
    big, a = 7.0, bore / 2

    def u(r):
        return (big**2 - r**2) / 4 + (a**2 / 2 * math.log(r / big) if a else 0.0)

    mean = quad(lambda r: u(r) * 2 * r, a, big)[0] / (big**2 - a**2)
    assert he.tube_mean_rise_mm2(14.0, bore) == pytest.approx(mean, rel=1e-9)


def links(drawing, state):
    """Bridges between the zones of a head."""
    parts = drawing.drawing(state)
    return he.links_of(parts, he.zones_of(parts))


def test_bridges_against_the_plate_and_a_cooling_rod():
    h = plain()
    area_mm2, length_mm = links(h, "finished")["face"]
    edge, area = 2 * (h.face_length_mm + h.face_height_mm), h.face_length_mm * h.face_height_mm
    face_side = poisson_mean(h.face_length_mm, h.face_height_mm) * edge / area
    breadth = (70 * 40 - area) / ((edge + 2 * (70 + 40)) / 2)
    rim_side = breadth / 2 * h.face_thickness_mm / h.rim_thickness_mm
    assert area_mm2 == pytest.approx(edge * h.face_thickness_mm)
    assert length_mm == pytest.approx(face_side + rim_side, rel=2e-3)
    # A rod that cools slowly and evenly along its length: mean minus root = q‴ L²/(3 k), from the fin equation.
    solid = {"hosel_bore_mm": 0, "hosel_bore_depth_mm": 0}
    h = plain(neck_length_mm=1, neck_base_mm=15, **solid)
    area_mm2, length_mm = links(h, "finished")["neck"]
    neck_part = area_mm2 * 0.5 / (h.zones("finished")["neck"].volume_mm3 / 1)
    assert length_mm == pytest.approx(50.0 / 3 + neck_part, rel=1e-6)


def test_changed_heads_keep_the_allowance_and_templates_come_back():
    h = he.head("mid-iron").with_(face_thickness_mm=3.0, hosel_outside_mm=14.0)
    assert h.forged_thickness_mm == pytest.approx(3.4)
    assert h.forged_outside_mm == pytest.approx(14.6)
    assert h.declared_mass_g is None and h.mass_g() > he.head("mid-iron").mass_g()
    like = fp.head("wedge")
    made = fp.head_from(like.mass_g(), 3.4, (73, 48), (13.6, 9.4, 50), like="wedge", name="again")
    for name in DIMENSIONS:
        assert getattr(made, name) == getattr(like, name)
    for mine, theirs in zip(made.body, like.body, strict=True):
        assert isinstance(mine, Block) and mine.width_mm == pytest.approx(theirs.width_mm)


@pytest.mark.parametrize("changes, words", [
    ({"hosel_bore_mm": 14.0}, "bore is 14 mm"), ({"hosel_outside_mm": 10.0}, "hosel wall is 0.30 mm"),
    ({"hosel_bore_depth_mm": 80}, "bore depth is 80 mm"), ({"neck_base_mm": 10}, "neck base is 10 mm"),
    ({"face_length_mm": 74}, "face length is 74 mm"), ({"face_height_mm": 60}, "face height is 60 mm"),
    ({"face_thickness_mm": -2}, "Face thickness -2 mm is out of range"),
    ({"face_thickness_mm": 0.2}, "Face thickness 0.2 mm"), ({"face_thickness_mm": math.nan}, "Face thickness nan"),
    ({"face_thickness_mm": "thin"}, "must be a number"),
    ({"bend_zone_mm": 59, "hosel_length_mm": 40}, "bend zone is 59 mm"),
    ({"face_thicknes_mm": 3}, "did you mean 'face_thickness_mm'?"),
])  # fmt: skip
def test_what_cannot_be_built_is_one_sentence(changes, words):
    assert "'mid-iron'" in refuses(re.escape(words), he.head("mid-iron").with_, **changes)


def test_what_does_not_close_or_is_no_part_is_named():
    words = r"declared mass is 400 g but the finished dimensions make \d+ g"
    refuses(words, plain, declared_mass_g=400.0)
    assert plain().declared_mass_g is None
    refuses("body is empty", plain, body=())
    long = (he.Block("sole", 150, 20, 8), he.Block("frame", 150, 5, 3))
    refuses("blocks are 300 mm long together", plain, body=long)
    refuses("did you mean 'wedge'", he.head, "wege")
    refuses("state 'raw' is unknown", he.head("wedge").zones, "raw")


SEVEN = {"mass_g": 270, "face_mm": 2.4, "blade_mm": (76, 45), "hosel_mm": (13.4, 9.4, 60)}


@pytest.mark.parametrize("like", fp.heads())
def test_seven_numbers_close_the_mass_on_every_template(like):
    made = fp.head_from(**SEVEN, like=like)
    assert made.mass_g() == pytest.approx(270, abs=1e-6) and made.declared_mass_g == 270
    assert (made.rim_length_mm, made.rim_height_mm, made.face_thickness_mm) == (76, 45, 2.4)
    assert (made.hosel_outside_mm, made.hosel_bore_mm, made.hosel_length_mm) == (13.4, 9.4, 60)
    assert made.note.startswith(f"Assumed from {like}: face") and "bore" in made.note


@pytest.mark.parametrize("change, says", [
    ({"mass_g": 590}, r"the shape of mid-iron takes \d+ to \d+ g"),
    ({"mass_g": "heavy"}, "must be a number"),
    ({"hosel_mm": (13.4, 9.4)}, r"must be \(outside, bore, length\) in mm"),
    ({"hosel_mm": (10, 9.4, 60)}, "hosel wall is 0.30 mm"),
    ({"face_mm": 0.2}, "Face thickness 0.2 mm"),
    ({"like": "iron 7"}, "head 'iron 7' is unknown"),
    ({"like": 7}, "must be a Head"),
])  # fmt: skip
def test_what_cannot_be_is_one_sentence(change, says):
    refuses(says, fp.head_from, **{**SEVEN, **change})
