"""Simulate what `next_measurement` promises: known shops, readings drawn through the engine, the range that is left.

Run by hand for 30 draws a shop: ``python tests/simulate_readings.py``.
"""

import dataclasses
import sys

import numpy as np

import forgeprops as fp
from forgeprops.answer.doubt import _PULL_SD, COMMON, SCATTERED
from forgeprops.answer.evaluation import evaluate
from forgeprops.answer.next_measurement import READING_HV, TESTER_HV
from forgeprops.inputs.cases import Cases
from forgeprops.inputs.settings import table

R = fp.Route()
#: Five shops: steel, route, and how far each doubt of `COMMON` truly is from its middle, in standard deviations.
SHOPS = {
    "strong water, 4130": ("4130", R, (0.8, 0.0, -0.5, 0.6, 0.4, 0.5, 0.2, -0.3, 0.4)),
    "weak water, 8620": ("8620", R, (-0.7, 0.4, 0.3, 0.2, -0.5, -0.4, 0.0, 0.3, 0.0)),
    "short spray, 4140": ("4140", R.with_(spray_s=4), (0.3, 0.0, 0.9, -0.4, 0.2, 0.0, -0.4, 0.0, 0.5)),
    "tempered, 4130": ("4130", fp.Route(later=(fp.Temper(600),)), (0.0, -0.6, 0.2, -0.9, 0.0, 0.3, 0.0, 0.0, 0.0)),
    "air cooled, 1030": ("1030", fp.Route(spray=None), (0.0, 0.7, 0.0, 0.0, -0.8, 0.0, 0.5, -0.6, 0.0)),
}  # fmt: skip


def truth(result, z, random, heads):
    """What is read on heads of the known shop, at its true settings and errors: face and hosel hardness, pull, each (heads,)."""
    ln_sd = float(np.nan_to_num(result.shop.spray_ln_sd, nan=np.log(1.5) / 1.645))
    shop = dataclasses.replace(result.shop, spray=result.shop.spray * float(np.exp(ln_sd * z[0])))
    job, cases = fp.Job(result.steel, result.head, result.route, shop=shop), []
    for x in random.standard_normal((heads, len(SCATTERED))):
        by, changes = dict(zip(SCATTERED, x, strict=True)), {}
        by["flux"] += z[COMMON.index("spray rate")]
        for name in (n for n in SCATTERED if result.sprayed or table()[n].part != "spray"):
            now = job.value(name)
            changes[name] = max(now + by[name] * table()[name].spread.sd(now), 0.0)
        cases.append(job.with_(**changes))
    parts = ([getattr(j, part) for j in cases] for part in ("steel", "head", "route", "shop"))
    e = evaluate(Cases.of(*parts))
    names = ("soft structure", "bainite", "martensite")
    shares = np.sqrt(np.clip(list(e.doubted), 0, 1))
    off = sum(z[COMMON.index(n)] * s for n, s in zip(names, shares, strict=True))
    e = dataclasses.replace(e, results=e.results.moved(off * e.sd_hv))
    pull = e.quantity("bar_force_n") * (1.0 + _PULL_SD * z[COMMON.index("strength")])
    return {"face": e.hardness_hv[:, 0], "hosel": e.hardness_hv[:, 4], "bend": pull}


def simulated(name, draws, seed=0):
    """Promised width, mean width left over the draws, and the share of draws whose range holds the truth."""
    grade, route, z = SHOPS[name]
    result = fp.estimate(fp.grade(grade), "mid-iron", route)
    found, z = result.verdict.measure_next, np.array(z)
    reading, random = found.reading, np.random.default_rng(seed)
    quantity = {"face_hardness_hv": "face", "hosel_hardness_hv": "hosel", "bar_force_n": "bend"}
    many = truth(result, z, random, max(draws * reading.heads, 50))
    true = many[quantity[found.quantity]].mean() if found.quantity in quantity else None
    widths, held = [], []
    for i in range(draws):
        of = slice(i * reading.heads, (i + 1) * reading.heads)
        if reading.what in ("face hardness", "hosel hardness"):
            values = many[reading.what.split()[0]][of] + random.normal(0.0, TESTER_HV)
            values = values + random.normal(0.0, READING_HV, reading.heads)
        elif reading.shows == "bar_force_n":
            scatter = random.normal(0.0, reading.noise * reading.heads**0.5, reading.heads)
            values = many["bend"][of] + scatter
        else:
            centre, scale = reading.drawn
            values = centre * np.exp(scale * z[COMMON.index(reading.shows)])
            values = values + random.normal(0.0, reading.noise)
        low, high = found.after(values, taken_as_said=True)
        widths.append(high - low)
        held.append(true is None or low <= true <= high)
    return found, float(np.mean(widths)), float(np.mean(held))


if __name__ == "__main__":
    draws = int(sys.argv[1]) if len(sys.argv) > 1 else 30
    for shop in SHOPS:
        found, width, held = simulated(shop, draws)
        ranges = f"from {found.range_now:.1f}, promised {found.range_then:.1f}, left {width:.1f} ({width / found.range_then:.2f})"
        what = f"{shop:22} {found.reading.what} on {found.reading.heads}: {found.quantity}"
        print(f"{what} {ranges}; holds {held:.2f}")
