"""A mix of cases to hold the march on."""

import dataclasses

import numpy as np
import pytest
from first_library import GRADES, HEADS

import forgeprops as fp


@pytest.fixture(scope="session")
def mixed():
    """Random grades, heads and routes, the same at every call: (steels, heads, routes) of `n` cases."""

    def draw(n, seed=7):
        rng = np.random.default_rng(seed)
        library, names = [fp.head(name) for name in HEADS], GRADES

        def between(low, high):
            return float(rng.uniform(low, high))

        cases = []
        for _ in range(n):
            steel = fp.grade(names[rng.integers(len(names))])
            part = library[rng.integers(len(library))]
            settings = dict(
                preheat_c=between(760, 1150), soak_s=between(600, 1200), transfer_s=between(2, 10),
                dwell_s=between(0.02, 0.3), die_c=between(100, 350), rest_s=between(0.2, 1.5),
                surroundings=str(rng.choice(["single", "single", "row", "fan", "bin"])),
            )  # fmt: skip
            route = fp.Route()
            if rng.random() < 0.2:
                route = dataclasses.replace(route, spray=None)
            else:
                settings |= dict(
                    flux=between(3, 25), delay_s=between(0.5, 6), spray_s=between(1, 15), water_c=between(10, 50),
                    rim_share=between(0.3, 1), body_share=between(0, 0.4), neck_share=between(0, 0.1),
                    hosel_share=between(0, 0.05), back_on_die=bool(rng.random() < 0.3),
                )  # fmt: skip
            cases.append((steel, part, route.with_(**settings)))
        return tuple(list(column) for column in zip(*cases, strict=True))

    return draw
