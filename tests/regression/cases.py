"""Inputs of the frozen numbers: mixed steels, heads, routes and shops; what is not of the library is invented."""

import dataclasses
import random
from collections import namedtuple

from first_library import GRADES

import forgeprops as fp

SURROUNDINGS = ("single", "row", "bin", "fan", "sleeve")
#: Preheat temperature, °C: below Ac1, between Ac1 and Ac3, usual (three times as often), high.
PREHEATS_C = ((560.0, 690.0), (745.0, 785.0), *3 * ((820.0, 990.0),), (1000.0, 1260.0))
#: Spray, emissivity, air, die, delay of a shop.
SHOP = ((0.5, 1.8), (0.6, 0.95), (0.7, 1.4), (0.5, 1.5), (-0.5, 1.5))
#: An alloy of our own: lowest and highest content, wt%, and how often the element is named at all.
CONTENTS = {"C": (0.10, 0.62, 1.0), "Si": (0.0, 0.6, 0.7), "Mn": (0.2, 2.1, 0.9), "Cr": (0.0, 2.2, 0.7),
            "Mo": (0.0, 0.9, 0.6), "Ni": (0.0, 4.2, 0.4), "Cu": (0.0, 0.3, 0.3), "V": (0.0, 0.22, 0.3),
            "Nb": (0.0, 0.05, 0.2), "Ti": (0.0, 0.04, 0.3), "B": (0.0, 0.004, 0.25), "N": (0.002, 0.015, 0.4)}  # fmt: skip
#: One case; `options` are keywords that only a single estimate accepts.
Case = namedtuple("Case", "steel head route shop options")


class Draw(random.Random):
    """Choices of one case, by `random()` alone, whose digits Python guarantees."""

    def chance(self, share: float) -> bool:
        return self.random() < share

    def between(self, low: float, high: float) -> float:
        return round(low + (high - low) * self.random(), 4)

    def one_of(self, *values):
        return values[int(len(values) * self.random())]


def cases(kind: str, count: int) -> list[Case]:
    """Case 0 to `count` - 1 of a kind; a larger count adds cases and changes none."""
    found = []
    for i in range(count):
        draw = Draw(f"{kind} {i}")
        struck = {"count_press_strain": True, "bench": {"target_lie_deg": 1.5, "bar_mm": 600.0}}
        options = struck if i % 20 == 7 else {}
        shop = fp.Shop(*(draw.between(*ends) for ends in SHOP)) if draw.chance(0.5) else fp.Shop()
        found.append(Case(_steel(draw, i), _head(draw, i), _route(draw, i), shop, options))
    return found


def _steel(draw: Draw, i: int) -> fp.Steel:
    grade = fp.grade(GRADES[i % len(GRADES)])
    kind, fine = draw.one_of("grade", "grade", "heat", "own"), draw.chance(0.7)
    if kind == "grade":
        return grade
    if kind == "heat":
        contents = {e: draw.between(0.9 * c, 1.1 * c) for e, c in grade.composition.items()}
    else:
        contents = {
            e: draw.between(low, high)
            for e, (low, high, often) in CONTENTS.items()
            if draw.chance(often)
        }
        contents |= {"Mo": 0.0} if draw.chance(0.2) else {}
    return fp.Steel(f"{kind} {i}", contents, fine_grain=fine)


def _head(draw: Draw, i: int) -> fp.Head:
    head = fp.head(draw.one_of("mid-iron", "long-iron", "wedge"))
    if i % 50 == 11:  # the shortest bend zone
        return head.with_(bend_zone_mm=3.0)
    if draw.chance(0.4):
        return head
    head = head.with_(
        face_thickness_mm=draw.between(1.8, 3.8), face_allowance_mm=draw.between(0.0, 0.8),
        rim_thickness_mm=draw.between(3.6, 5.0), hosel_outside_mm=draw.between(12.8, 14.2),
        hosel_bore_depth_mm=draw.between(0.0, 50.0), neck_base_mm=draw.between(15.0, 18.0),
        bend_zone_mm=draw.between(8.0, 26.0),
    )  # fmt: skip
    body, blocks = head.body, draw.one_of(1, 2, 3, 4, 4, 4, 8)
    if blocks == 8:
        halves = [(b, f"{b.name} {k}") for b in body for k in "ab"]
        body = [dataclasses.replace(b, name=name, length_mm=b.length_mm / 2) for b, name in halves]
    return dataclasses.replace(head, name=f"{head.name} {i}", body=tuple(body[:blocks]))


def _route(draw: Draw, i: int) -> fp.Route:
    view = draw.between(0.3, 1.0) if draw.chance(0.3) else None
    air_c, speed = draw.between(-5.0, 40.0), draw.between(1.0, 8.0)
    air = {
        "surroundings": SURROUNDINGS[i % len(SURROUNDINGS)],
        "air_c": air_c,
        "air_speed_m_s": speed,
    }
    later = []
    if draw.chance(0.15):
        later.append(fp.Temper(draw.between(150.0, 640.0), draw.between(600.0, 10_000.0)))
    if draw.chance(0.15):
        hot_c, hold_s = draw.between(450.0, 680.0), draw.between(5.0, 3600.0)
        later.append(fp.Temper(hot_c, hold_s, ("hosel", "neck")))
    if i % 50 == 23:  # above Ac1: refused
        later = [fp.Temper(860.0)]
    route = fp.Route(**air, view_factor=view, later=tuple(later)).with_(
        preheat_c=draw.between(*draw.one_of(*PREHEATS_C)), soak_s=draw.between(240.0, 2400.0),
        start_c=draw.one_of(25.0, 25.0, 200.0), furnace_emissivity=draw.between(0.3, 0.95),
        transfer_s=draw.between(1.0, 12.0), dwell_s=draw.one_of(0.0, 0.05, 0.05, 0.3, 2.0), rest_s=draw.between(0.0, 2.0),
        die_c=draw.between(100.0, 450.0), contact=draw.between(2000.0, 15_000.0), scale_left=draw.between(0.0, 1.0),
        strain=draw.one_of(0.0, 0.03, 0.15, 0.4, 0.8), finish_c=draw.between(820.0, 1000.0), first_grain_astm=draw.between(2, 9),
    )  # fmt: skip
    if draw.chance(0.15):
        return dataclasses.replace(route, spray=None)
    return route.with_(
        flux=draw.between(1.0, 32.0) * draw.chance(0.96), delay_s=draw.between(0.0, 12.0),
        spray_s=draw.between(1.0, 25.0) * draw.chance(0.96), water_c=draw.between(5.0, 62.0),
        rim_share=draw.between(0.0, 1.0), body_share=draw.between(0.0, 0.6), neck_share=draw.between(0.0, 0.3),
        hosel_share=draw.one_of(0.0, 0.0, 0.05, 0.5), back_on_die=draw.chance(0.3),
    )  # fmt: skip
