"""A mix of cases that reaches every corner of the route, for the batch tests."""

import dataclasses

import numpy as np

import forgeprops as fp


def mixed(n: int, seed: int = 3):
    """Steels, heads, routes and shops, `n` of each, all different."""
    rng = np.random.default_rng(seed)
    grades, heads = fp.grades(), [fp.head(name) for name in fp.heads()]
    steels, parts, routes, shops = [], [], [], []
    for i in range(n):
        grade = fp.grade(grades[rng.integers(len(grades))])
        wiggled = {e: c * (1 + 0.05 * rng.standard_normal()) for e, c in grade.composition.items()}
        steels.append(fp.Steel(f"heat {i}", wiggled, fine_grain=bool(i % 3)))
        head = heads[i % 3]
        if i % 2:
            head = head.with_(
                face_thickness_mm=2 + rng.random(), hosel_outside_mm=13 + 0.5 * rng.random()
            )
        parts.append(head)
        how = ("single", "row", "bin", "fan", "sleeve")[i % 5]
        cool = fp.Cool(how, air_c=20 + i % 4, view_factor=None if i % 2 else 0.8)
        later = () if i % 4 else (fp.LaterHeat(500.0, 3600.0, ("hosel",)), fp.LaterHeat(300.0))
        route = fp.Route(cool=cool, later=later)
        if i % 7 == 0:
            route = dataclasses.replace(route, spray=None)
        else:
            route = route.with_(
                flux=1 + 15 * rng.random(), delay_s=6 * rng.random(), back_on_die=bool(i % 2), spray_s=2 + 10 * rng.random(),
            )  # fmt: skip
        routes.append(route.with_(
            preheat_c=700 + 550 * rng.random(), soak_s=300 + 600 * rng.random(), strain=0.1 * (i % 3), dwell_s=0.05 * (i % 4),
            rest_s=rng.random(),
        ))  # fmt: skip
        shops.append(fp.Shop(spray=1 + 0.1 * (i % 3), delay_s=0.1 * (i % 2) - 0.05))
    return steels, parts, routes, shops
