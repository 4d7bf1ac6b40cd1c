"""Grades and heads for which the limits of the random draws were set.

A draw over the whole library changes with every grade that joins it, and with the draw the cases that a limit was set for. What
a wider draw finds is added beside it by name.
"""

import numpy as np

import forgeprops as fp

GRADES = tuple(
    "1015 1018 1020 1025 1030 1035 1040 1045 1050 5120 5130 5140 4118 4120 4130 4135 4140 4150 4340 8620 S20C S25C S35C S45C "
    "SCM415 SCM420 SCM435 SCM440 41Cr4 25CrMo4 34CrMo4 42CrMo4".split()
)
HEADS = ("mid-iron", "long-iron", "wedge")


def ordinary(n, seed=9, names=GRADES):
    """`n` different cases: every grade about its middle, three heads of any face, routes of any useful setting."""
    rng = np.random.default_rng(seed)
    grades, base = [fp.grade(g) for g in names], [fp.head(h) for h in HEADS]
    steels, heads, routes = [], [], []
    for i in range(n):
        grade = grades[i % len(grades)]
        x = rng.standard_normal(len(grade.composition))
        contents = dict(zip(grade.composition, np.array([*grade.composition.values()]) * (1.0 + 0.04 * x), strict=True))  # fmt: skip
        steels.append(fp.Steel(f"heat {i}", contents))
        heads.append(base[i % 3].with_(face_thickness_mm=2.2 + 0.9 * rng.random()))
        routes.append(fp.Route().with_(
            preheat_c=850 + 170 * rng.random(), flux=3 + 15 * rng.random(), delay_s=1 + 4 * rng.random(),
            spray_s=4 + 10 * rng.random(), water_c=15 + 20 * rng.random(), transfer_s=2 + 4 * rng.random(),
        ))  # fmt: skip
    return steels, heads, routes
