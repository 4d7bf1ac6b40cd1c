"""Hosel allowance: independent integration along the bench, batch equals single, trade practice, words."""

import math

import numpy as np
import pytest
from checks import refuses
from reference.bending import along, elastic_modulus_mm3, moment_nmm, second_moment_mm4
from scipy.optimize import brentq

import forgeprops as fp
from forgeprops.base.cautions import BENCH
from forgeprops.hosel import bench
from forgeprops.hosel.bench import force_for_angle
from forgeprops.hosel.bend import bend_of_head, hosel_bend
from forgeprops.hosel.fatigue import allowed_amplitude
from forgeprops.hosel.limits import bends_of_heads, gradient_share
from forgeprops.hosel.result import ease_of
from forgeprops.strength.tensile import flow_curve, strength, strength_arrays

E = 205_000.0
SOFT = {"ferrite": 0.75, "pearlite": 0.25}
HARD = {"bainite": 0.6, "martensite": 0.4}


def soft(**more):
    return hosel_bend(**{"hardness_hv": 150, "fractions": SOFT, **more})


def hard(hv=320, **more):
    return hosel_bend(**{"hardness_hv": hv, "fractions": HARD, **more})


def martensite(hv=360, **more):
    return hosel_bend(hardness_hv=hv, fractions={"martensite": 1.0}, **more)


def codes(bend):
    return [w.code for w in bend.warnings]


def exact_angle(bend, force):
    """Permanent angle of a case by general library routines on the same straight-line inputs."""
    b = {name: float(v[0]) for name, v in vars(bend.bench).items() if name != "metal"}
    here, there = bend.bench.metal[0]

    def left(s):
        share = s / b["length_mm"]
        curve = flow_curve(*(here + share * (there - here))[1:5])
        outside = b["outside_mm"] + share * (b["neck_outside_mm"] - b["outside_mm"])
        bore = b["bore_mm"] if s < b["bored_mm"] else 0.0
        target, inertia = force * (b["bar_mm"] + s), second_moment_mm4(outside, bore)
        if target <= curve.yield_mpa * inertia / (outside / 2):
            return 0.0

        def over(k):
            return moment_nmm(curve, outside, bore, k, epsrel=1e-7) - target

        elastic = target / (E * inertia)
        return brentq(over, elastic, 0.2, rtol=1e-7) - elastic

    ends = [0.0, *([b["bored_mm"]] if b["bored_mm"] < b["length_mm"] else []), b["length_mm"]]
    x, w = np.polynomial.legendre.leggauss(6)
    total = 0.0
    for a, c in zip(ends, ends[1:], strict=False):
        edges = np.linspace(a + 1e-9, c - 1e-9, 6)
        for lo, hi in zip(edges, edges[1:], strict=False):
            half, middle = 0.5 * (hi - lo), 0.5 * (lo + hi)
            total += half * sum(wi * left(middle + half * xi) for xi, wi in zip(x, w, strict=True))
    return total


@pytest.mark.parametrize("case", [
    {"hardness_hv": 150, "fractions": SOFT}, {"hardness_hv": 320, "fractions": HARD},
    {"hardness_hv": 210},
    {"hardness_hv": 150, "fractions": SOFT, "neck_hardness_hv": 175},
    {"hardness_hv": 220, "neck_hardness_hv": 190, "neck_outside_mm": 13.9},
    {"hardness_hv": 180, "bored_mm": 13.0, "length_mm": 20},
    {"hardness_hv": 250, "bar_mm": 100},
])  # fmt: skip
def test_angle_and_springback_against_general_library(case):
    bend = hosel_bend(**case)
    for degrees in (0.5, bend.allowed_deg):
        found = force_for_angle(bend.bench.nodes(), np.radians([degrees]))
        force, permanent, sprung = found.x, found.permanent, found.sprung
        assert math.degrees(permanent[0]) == pytest.approx(degrees, rel=1e-8)
        assert exact_angle(bend, float(force[0])) == pytest.approx(float(permanent[0]), rel=5e-3)
        b = bend.bench
        s = np.linspace(0, b.length_mm[0], 2001)
        outside = b.outside_mm + (b.neck_outside_mm - b.outside_mm) * s / b.length_mm
        bore = np.where(s <= b.bored_mm, b.bore_mm, 0.0)
        exact = np.trapezoid(force * (b.bar_mm + s) / (E * second_moment_mm4(outside, bore)), s)
        assert exact == pytest.approx(float(sprung[0]), rel=5e-3)


def test_cantilever_yields_over_its_length_and_unloads_elastically():
    # Derived: yielding spreads over l (1 − My/Mmax) of a cantilever of arm l; short bar, so that the arm is the zone.
    bend = hosel_bend(hardness_hv=320, length_mm=20, bar_mm=50)
    force = 1.3 * float(bend.bench.nodes().yield_force()[0])
    s = np.linspace(0, 20, 4001)
    over = force * (50 + s) > bend.strength.yield_mpa * elastic_modulus_mm3(13.4, 9.4)
    shape = along(bend, 2.0)
    assert 20 - s[over][0] == pytest.approx(min(20.0, 70 * (1 - 1 / 1.3)), abs=0.01)
    assert (np.diff(shape["outer_strain"]) > 0).all()  # greatest at the clamp
    assert (shape["permanent_strain"] >= -1e-12).all()
    # after the bend the outer fibre must not yield in reverse: drop M R/I below stress + 0.7 yield (Bauschinger)
    for bend in (soft(), hard(), hosel_bend(hardness_hv=450)):
        shape = along(bend, max(bend.allowed_deg, 1.0))
        drop = shape["moment_nm"].max() * 1000 / elastic_modulus_mm3(13.4, 9.4)
        stress = float(bend.strength.curve.stress_mpa(shape["outer_strain"].max()))
        assert drop < stress + 0.7 * bend.strength.yield_mpa


def test_common_practice():
    # Common practice: forged low-carbon heads (HRB 70–85, some 125–165 HV) are bent ±2°, 3° at most.
    for hv in (125, 145, 165):
        bend = soft(hardness_hv=hv)
        assert all(degrees >= 2.0 for degrees in bend.for_length.values())
        assert bend.bar_force_n < 225  # a firm pull
    # Common practice, trade pages: heads of 18–25 HRC (about 238–266 HV) bend up to 2°, 34–38 HRC (336–372
    # HV) are hard to bend and often refused.  Other steels, so only the order is required.
    assert 1.0 < hosel_bend(hardness_hv=250, length_mm=15).allowed_deg < 4.0
    hard = hosel_bend(hardness_hv=355, length_mm=15)
    assert hard.hand_deg < 0.5 and hard.bar_force_n > 400.0 and hard.allowed_deg < 2.5
    bend = hosel_bend(13.4, 9.4, 15.0, 310.0, fractions={"bainite": 0.95, "martensite": 0.05})
    assert 2.0 < bend.allowed_deg < 4.0 and bend.bar_force_n > 400.0
    assert bend.hand_deg < 0.6 and bend.steady_deg == 0.0 and bend.bar_length_needed_mm > 500.0
    assert "hosel:pull" in [w.code for w in bend.warnings]
    assert "For 400 N the bar must be" in bend.words()


#: Structures over the hardness they occur at.
TABLE = {
    "ferrite-pearlite": ({"ferrite": 0.5, "pearlite": 0.5}, (130, 160, 200, 233, 280)),
    "bainite": ({"bainite": 1.0}, (200, 233, 280, 320, 360, 400)),
    "martensite": ({"martensite": 1.0}, (200, 233, 280, 320, 360, 400)),
}


@pytest.mark.parametrize("structure", TABLE)
def test_table_of_hardness_and_structure_against_common_practice(structure):
    fractions, hardness = TABLE[structure]
    bends = [hosel_bend(13.4, 9.4, 15.0, hv, fractions=fractions) for hv in hardness]
    names = ("one_bend_deg", "rebend_deg", "bar_force_n")
    one, again, pull = (np.array([getattr(b, n) for b in bends]) for n in names)
    # ferrite–pearlite hardens more at 160 HV than at 130, so the wall takes a little more there
    assert (np.diff(one) <= 0.1).all() and (np.diff(again) <= 0.1).all()
    assert (np.diff(pull) > 0.0).all()
    for bend, hv in zip(bends, hardness, strict=True):
        assert bend.allowed_deg == min(bend.one_bend_deg, bend.rebend_deg)
        # forged mild steel: about 2° each way as a routine, up to 4 for some (common practice)
        assert not hv <= 165 or (bend.allowed_deg >= 2.0 and pull[hardness.index(hv)] <= 225.0)
        # 34–38 HRC: hard to bend, the metal takes little and a hand on this bar nothing
        assert not hv >= 360 or (1.0 <= bend.allowed_deg <= 2.5 and bend.hand_deg < 0.5)


@pytest.mark.xfail(strict=True, reason="3.008° at 360 HV")
def test_hard_martensite_takes_at_most_3_degrees_in_one_bend():
    """34–38 HRC: hard to bend (common practice)."""
    assert hosel_bend(13.4, 9.4, 15.0, 360.0, fractions={"martensite": 1.0}).one_bend_deg <= 3.0


def test_a_reading_is_enough_and_the_interval_grows_with_doubt():
    for hv in (150, 233, 310):
        bend = hosel_bend(hardness_hv=hv, bar_mm=600, target_lie_deg=1.5, length_mm=15)
        known = (soft if hv < 200 else hard)(hardness_hv=hv, length_mm=15)
        assert bend.overbend_deg == pytest.approx(1.5 + bend.springback_deg)
        assert bend.allowed_deg_low <= known.allowed_deg <= bend.allowed_deg_high + 0.05
    bend = soft(hardness_hv=180)
    assert 0 <= bend.allowed_deg_low < bend.allowed_deg < bend.allowed_deg_high
    wide, sure = (b.allowed_deg_high - b.allowed_deg_low for b in (hard(240, hardness_se_hv=25), hard(240)))  # fmt: skip
    assert wide > sure and "resting on assumptions" in bend.words()


def test_soft_and_hard_hosel_of_one_geometry():
    one, two = soft(), hard()
    assert one.allowed_deg > 3.5 and two.hand_deg < 0.6
    assert one.governed_by == "wall" and two.governed_by in ("crack", "re-bends")
    assert two.bar_force_n > 2.3 * one.bar_force_n
    assert two.springback_deg > 2 * one.springback_deg
    assert "150 HV" in one.words() and "firm" in one.words() and "springs back" in one.words()
    assert "beyond the hand" in two.words() and "the pull tells them apart" in one.words()
    assert ease_of(90).startswith("easy") and ease_of(500).startswith("beyond")
    assert one.cautions is BENCH


def test_hand_and_metal_are_apart_and_one_bend_takes_more_than_bends_there_and_back():
    bend, weak, long = hard(230), hard(230, force_limit_n=200.0), hard(230, bar_mm=1000.0)
    assert weak.allowed_deg == bend.allowed_deg
    # a longer bar bends the zone more evenly
    assert bend.allowed_deg < long.allowed_deg < 1.2 * bend.allowed_deg
    assert weak.hand_deg < bend.hand_deg <= bend.one_bend_deg and long.steady_deg > bend.steady_deg
    needed = hard(230, bar_mm=bend.bar_length_needed_mm)
    assert needed.bar_force_n == pytest.approx(400.0, rel=0.02)
    assert soft().hand_deg == pytest.approx(soft().one_bend_deg)
    bend = martensite()
    assert bend.one_bend_deg > bend.rebend_deg == bend.allowed_deg
    assert martensite(rebends=1).rebend_deg > bend.rebend_deg


def test_bench_directions_forces_and_a_plateau():
    aim = {"target_lie_deg": 1.2, "target_loft_deg": 0.9}
    both, one, back = hosel_bend(**aim), hosel_bend(target_lie_deg=1.5), hosel_bend(target_lie_deg=-1.5)  # fmt: skip
    assert both.target_deg == pytest.approx(1.5)
    assert both.direction_deg == pytest.approx(36.87, abs=0.01)
    assert hosel_bend(**aim, hand="left").direction_deg == -both.direction_deg
    assert both.bar_force_n == pytest.approx(one.bar_force_n, rel=1e-9)
    assert both.overbend_deg == pytest.approx(1.5 + both.springback_deg)
    assert back.bar_force_n == pytest.approx(one.bar_force_n) and abs(back.direction_deg) == 180.0
    forces = [hosel_bend(hardness_hv=150, bar_mm=bar).bar_force_n for bar in (300, 500, 800)]
    assert forces[0] > forces[1] > forces[2]
    assert forces[1] / forces[2] == pytest.approx((800 + 20) / (500 + 20), rel=0.02)
    assert soft().for_length[20.0] == pytest.approx(2 * soft().for_length[10.0], rel=0.1)
    # same yield, tensile and uniform strain with and without a plateau: with it the bend needs less force
    s = strength_arrays(150.0, 1.0)
    metals = s, {**s, "yield_plateau_strain": np.zeros(1)}
    flat, round_ = (bends_of_heads(13.4, 9.4, 20.0, m, m, 0.0)["force_n"][0] for m in metals)
    assert flat < 0.99 * round_ and "hosel:plateau" in codes(soft())


def test_it_bends_first_where_it_is_weak():
    assert soft().bends_at_mm == 20.0  # greatest moment: the clamp
    graded = soft(neck_hardness_hv=200)
    assert graded.bends_at_mm == 0.0 and graded.allowed_deg < soft().allowed_deg
    assert "not at the clamp" in graded.words()
    assert soft(neck_outside_mm=15).bends_at_mm == 0.0
    stepped = soft(bored_mm=10)
    assert stepped.bends_at_mm == pytest.approx(10, abs=0.6)  # end of the bore
    assert stepped.allowed_deg < 0.7 * soft().allowed_deg


def test_a_hotter_torch_may_allow_less_because_the_bend_gathers_in_the_ring():
    """Of one hardness the softer hosel takes more; beside its cooled neck the bend gathers, and it takes less."""
    even, beside, gathered = [], [], []
    for peak_c in (650.0, 735.0):
        result = fp.estimate("4140", "mid-iron", fp.Route(later=fp.LocalHeat(peak_c=peak_c)))
        ring = result.zones["hosel"].strength
        even.append(bend_of_head(result.head, ring, ring).allowed_deg)
        beside.append(result.hosel.allowed_deg)
        strain = along(result.hosel, result.hosel.allowed_deg)["outer_strain"]
        gathered.append(strain[0] / strain[-1])
        assert "softest there" in result.hosel.words()
        said = {w.code: w.text for w in result.warnings}["local-heat"]
        assert "the bend gathers in the ring" in said
    assert even[1] > even[0] and beside[1] < beside[0] and gathered[1] > gathered[0] > 1.0


@pytest.mark.parametrize("name, value, limit", [
    ("notch_factor", 4.0, "crack"), ("notch_factor", 4.0, "re-bends"), ("plating_factor", 0.1, "crack"), ("rebends", 50, "re-bends"),
    ("scatter_factor", 20, "re-bends"), ("bore_out_of_round_mm", 0.02, "wall"), ("wall_thinning", 0.01, "wall"),
])  # fmt: skip
def test_each_input_bites(name, value, limit):
    base, less = soft(), soft(**{name: value})
    assert less.allowed_by[limit] < base.allowed_by[limit]
    assert less.allowed_deg <= base.allowed_deg
    assert less.allowed_deg == pytest.approx(min(less.allowed_by.values()), rel=1e-9)


def test_allowed_meets_its_limit():
    # no notch and a wide glue gap: 5 % at the outer fibre
    bend = soft(notch_factor=1.0, bore_out_of_round_mm=1.0)
    assert bend.governed_by == "crack" and bend.outer_strain == pytest.approx(0.05, rel=1e-6)
    # there and back: strain under load and the elastic share of the way back, by hand
    bend = martensite()
    m, cycles = bend.strength, 4 * 3.3
    amplitude = float(allowed_amplitude(360.0, m.tensile_mpa, cycles, 1.0))
    wanted = 2 * amplitude / 2.0 ** (2 / (1 + m.hardening_exponent)) - 1.2 * m.yield_mpa / E
    assert bend.governed_by == "re-bends" and bend.outer_strain == pytest.approx(wanted, rel=1e-6)


def test_eccentric_bore_and_history():
    base, off = (hosel_bend(hardness_hv=210, eccentricity_mm=e) for e in (0.0, 0.3))
    assert 0.85 < off.allowed_deg / base.allowed_deg < 0.98
    fresh, bent = soft(), soft(history_deg=[2.0, -2.0] * 4 + [2.0])
    assert bent.allowed_by["crack"] < fresh.allowed_by["crack"] - 1.5
    assert bent.allowed_by["re-bends"] < fresh.allowed_by["re-bends"]
    gone = soft(history_deg=[4.0, -4.0] * 60)
    assert gone.allowed_deg < 0.5 and "hosel:used-up" in codes(gone)
    aged, young = (soft(history_deg=[2.0], aged=aged).bar_force_n for aged in (True, False))
    assert aged > young


@pytest.mark.parametrize("bad, message", [
    ({"bore_mm": 13.0}, "a wall of 0.5 mm or more"), ({"hardness_hv": -5}, "Hardness -5 HV"), ({"length_mm": 0}, "Bend zone 0 mm"),
    ({"hand": "lefty"}, "did you mean 'left'"), ({"bar_mm": float("nan")}, "Bar length nan"), ({"material": 250}, "must be a Strength"),
    ({"fractions": {"ferite": 1}}, "did you mean 'ferrite'"), ({"history_deg": [50]}, "Earlier bend 50"),
    ({"eccentricity_mm": 3}, "Bore eccentricity 3 mm"),
])  # fmt: skip
def test_bad_input_is_one_clear_sentence(bad, message):
    refuses(message, hosel_bend, **bad)


def test_bend_of_head_uses_the_bored_straight_hosel():
    head, here, there = fp.head("mid-iron"), strength(150, SOFT), strength(190, SOFT)
    share = gradient_share(head.bend_zone_mm, head.hosel_length_mm, head.neck_length_mm)
    assert 0.3 < share < 0.6  # 15 mm of the 35 mm between the middles of hosel and neck
    bend = bend_of_head(head, here, there)
    expected = [here.yield_mpa, here.yield_mpa + share * (there.yield_mpa - here.yield_mpa)]
    assert bend.bench.metal[0, :, 1] == pytest.approx(expected)
    tube = {"outside_mm": head.hosel_outside_mm, "bore_mm": head.hosel_bore_mm}
    straight = soft(**tube, length_mm=head.bend_zone_mm)
    assert bend.bends_at_mm == 0.0 and 0.7 < bend.allowed_deg / straight.allowed_deg < 1.1
    even = bend_of_head(head, here, here).allowed_deg
    assert even == pytest.approx(straight.allowed_deg, rel=1e-12)


@pytest.mark.parametrize("lie, loft, words", [
    (2.0, 0.0, "towards the toe"), (-2.0, 0.0, "towards the heel"),
    (0.0, 1.0, "towards the face side"), (0.0, -1.0, "towards the back"),
    (2.0, 1.0, "towards the toe, turned 27° to the face side"),
    (-1.0, -1.0, "towards the heel, turned 45° to the back"),
])  # fmt: skip
def test_where_to_pull_is_the_same_side_of_the_head_for_either_hand(lie, loft, words):
    for hand in ("right", "left"):
        assert soft(target_lie_deg=lie, target_loft_deg=loft, hand=hand).pull == words


def test_no_digit_of_a_hosel_depends_on_its_neighbours(monkeypatch):
    """Soft hosels with a yield plateau, some of which Newton's steps do not settle: alone and backwards as together."""
    hard_ones, rng, n = [], np.random.default_rng(3), 800
    found = bench._bracketed
    monkeypatch.setattr(bench, "_bracketed", lambda *a: hard_ones.append(len(a[1])) or found(*a))
    hv, ferritic = rng.uniform(100, 300, (2, n)), rng.random((2, n)) ** 0.3
    zones = [
        strength_arrays(h, f, 0.5 * (1 - f), 0.5 * (1 - f))
        for h, f in zip(hv, ferritic, strict=True)
    ]
    shape = rng.uniform([[12], [8], [8], [0]], [[14], [10], [28], [1]], (4, n))

    def bends(rows):
        parts = ({k: v[rows] for k, v in zone.items()} for zone in zones)
        return bends_of_heads(*shape[:3, rows], *parts, shape[3, rows])

    together = bends(np.arange(n))
    assert sum(hard_ones) > 20
    back = bends(np.arange(n)[::-1])
    assert all((back[name][::-1] == values).all() for name, values in together.items())
    for i in range(0, n, 16):
        assert all(values[0] == together[name][i] for name, values in bends(np.array([i])).items())
