"""Refit the constants of the rate equations and of the constituents' hardness; validate by leaving whole steels out.

    python tests/fits/fit_kinetics.py [--write]

Rows: normalised bars and as-quenched bars of ``data/measured/air_cooled_bars.csv``, each marched as it is estimated: still
air and radiation, or a bath of one coefficient, heat of transformation, self-tempering.  Beside them stand soft conditions:
end-quench curves of the grades in `END_QUENCH` against those of ASTM A255, rates for full martensite, structures read from
published cooling diagrams.  Every constant that is freed is held to its published value by a normal prior (`PRIOR`).  Errors
of one steel's bars share the deviation of its heat, so that four bars of one steel do not count as four steels.  Gauss-Newton
with central differences; minutes on one core, half an hour with the validation.  ``--write`` rewrites ``data/fits/kinetics.csv``
(column value) and ``data/validation/kinetics_validation.csv``.  What was tried and did no better on steels left out: carbon
enrichment acting on bainite's rate, a slowing of bainite by composition, freeing the other alloy terms of the rates and of
bainite's hardness, another shift of the bainite limit.
"""

import datetime
import math
from collections.abc import Iterable

import numpy as np
from source_effects import options, write

from forgeprops import specimens
from forgeprops.base.tables import read_rows
from forgeprops.engine import outcome, packing
from forgeprops.engine.section import lobatto
from forgeprops.hardenability.end_quench import end_quench_distances_mm, end_quench_hrc
from forgeprops.inputs.grades import grade
from forgeprops.inputs.steel import Steel
from forgeprops.strength.hardness_scales import convert_array, hrc_from_hv
from forgeprops.transformation import kinetics

#: Standard deviation of the prior around the published value.  Pre-factors: a factor e; sensitivities of rates:
#: about a quarter of their size; hardness: what a change of steelworks practice would do.  Our choice.
PRIOR = {
    "ferrite_0": 1.0, "ferrite_c": 1.5, "ferrite_ni": 0.4, "ferrite_cr": 0.8, "ferrite_mo": 1.2,
    "pearlite_0": 1.0, "pearlite_c": 1.5, "pearlite_mo": 1.3, "ferrite_f0": 1.0,
    "pearlite_f0": 1.0, "bainite_0": 1.0, "bainite_c": 2.5, "bainite_tail": 1.0,
    "ferrite_hv": 20.0, "solid_ni": 6.0, "solid_v": 200.0, "pearlite_hv": 40.0,
    "pearlite_hv_c": 60.0, "pearlite_slope": 8.0, "bainite_hv": 60.0, "bainite_slope": 18.0,
    "bainite_hv_c": 60.0, "bainite_hv_ni": 20.0, "bainite_hv_cr": 20.0, "bainite_hv_mo": 40.0,
}  # fmt: skip
#: Relative standard deviations: of a bar within its heat (a remembered one 1.22 times that), and of a heat.
BAR_SD, HEAT_SD, MEMORY = 0.03, 0.02, 1.5
#: Grain of the bars, ASTM number: fine-grain practice just above Ac3 (7 to 8, from memory).
GRAIN = 7.5
#: Baths: Grossmann severities 0.35 (oil) and 1.2 (water) times 2205 W/(m² K), and deviation of their ln.
BATHS = {"oil": (0.35 * 2205.0, 0.25), "water": (1.2 * 2205.0, 0.30)}
#: Grades whose end-quench curves are compared with the standard's, above 23 HRC, standard deviation 3.5 HRC a
#: curve of six values; those in H: the middle of the band's composition.
END_QUENCH = (
    *("4130", "4140", "1045", "5140", "8620", "4340", "1030", "1035", "1038H", "1541H", "4118H"),
    *("4135H", "4145H", "5120H", "5130H", "8630H", "8640H"),
)
END_QUENCH_SD = 3.5
#: C, Mn, Ni, Cr, Mo in the middle of H grades, wt% (4118, 4135, 4145: read; the others from memory): compositions at
#: which the standard's curve is calculated, no measured values.
MIDDLE_OF_BAND = {
    "1038H": (0.385, 0.75, 0.10, None, None), "1541H": (0.40, 1.50, 0.10, None, None),
    "4118H": (0.20, 0.80, 0.10, 0.50, 0.115), "4135H": (0.35, 0.80, 0.10, 0.975, 0.20),
    "4145H": (0.455, 0.875, 0.10, 0.975, 0.20), "5120H": (0.20, 0.80, 0.10, 0.80, None),
    "5130H": (0.30, 0.80, 0.10, 0.975, None), "8630H": (0.30, 0.775, 0.55, 0.50, 0.20),
    "8640H": (0.405, 0.875, 0.55, 0.50, 0.20),
}  # fmt: skip
#: Steels left out together with a steel of the bars, because they are the same grade by another name.
KIN = {
    "4140": ("42CrMo4", "SCM435"), "4130": ("30CrMo",), "1040": ("C45", "1045"),
    "1050": ("C45", "1045")}  # fmt: skip
#: Rate of 95 % martensite, °C/s, deviation of its ln, contents: C45 above 100, 42CrMo4 20 to 30 (orders of magnitude, from memory).
CRITICAL = {
    "C45": (150.0, 0.4, (0.45, 0.65, 0.10, 0.02)), "42CrMo4": (25.0, 0.3, (0.415, 0.75, 1.05, 0.22))}  # fmt: skip
#: Structures at a constant rate, °C/s: least, greatest share, width.  Read: see the rows of the table of bars.
STRUCTURES = (
    ("SCM435", 0.1, ("ferrite", "pearlite"), 1.0, 1.0, 0.3),
    ("SCM435", 2.0, ("pearlite",), 0.0, 0.0, 0.1),
    ("SCM435", 2.0, ("martensite",), 0.1, 0.8, 0.1),
    ("30CrMo", 0.1, ("ferrite", "pearlite"), 1.0, 1.0, 0.4),
    ("30CrMo", 10.0, ("martensite", "austenite"), 1.0, 1.0, 0.15),
)


def steel_of(row) -> Steel:
    wt = {e: float(row[e]) for e in ("C", "Si", "Mn", "Ni", "Cr", "Mo", "V", "Cu") if row[e]}
    return Steel(row["steel"], wt, grain_size_astm=GRAIN)


def end_quench_steel(name: str) -> Steel:
    """Steel of an end-quench curve: of the library, or the middle of a band's composition."""
    if name in MIDDLE_OF_BAND:
        wt = zip(("C", "Mn", "Ni", "Cr", "Mo"), MIDDLE_OF_BAND[name], strict=True)
        return Steel(name, {"Si": 0.25, "Cu": 0.15, **{e: x for e, x in wt if x is not None}})
    return grade(name)


def march_bar(row, k, film=None, **options):
    """March the bar of a row with constants `k`: in still air, or in a bath of that film coefficient, W/(m² K)."""
    _, case, start = specimens._case(steel_of(row), float(row["austenitise_c"]), None, k)
    diameter_mm = float(row["diameter_mm"])
    convection = packing.convection_table("round", diameter_mm, 25.0, 0.0)
    points = packing.POINTS[:1]
    if film is not None:
        case["view_factor"], options["stop_c"] = 0.0, 40.0
        convection, points = np.full(len(packing.CONVECTION_C), film), (9,)
    zone = specimens._bar_zone(diameter_mm)
    return specimens._march(case, zone, convection, start, k, points, **options)


def visible() -> list[dict[str, str]]:
    """Normalised bars with a size."""
    rows = (r for r in read_rows("measured/air_cooled_bars.csv") if r["hb"] and r["diameter_mm"])
    return [r for r in rows if (r["cooling"], r["value_kind"]) == ("still air", "measured")]


#: Places in a quenched bar, share of the radius from the skin.
PLACES = {"surface": 0.0, "half radius": 0.5, "centre": 1.0}
#: Depths of the points of half a quenched bar of 9, shares of the radius.
DEPTHS = 1.0 - np.sqrt(np.maximum(1.0 - 2.0 * lobatto(9)[0][:5], 0.0))


def quenched() -> list[list[dict[str, str]]]:
    """As-quenched bars, a list of the places in each."""
    bars: dict[tuple, list] = {}
    for r in read_rows("measured/air_cooled_bars.csv"):
        bath, _, place = r["cooling"].partition(" quench, ")
        if place and r["hrc"] and r["diameter_mm"]:
            bars.setdefault((r["steel"], r["diameter_mm"], bath), []).append(r)
    return list(bars.values())


def baths(deviates) -> dict[str, float]:
    """Film coefficients of the baths for deviates in standard deviations of their ln, W/(m² K)."""
    pairs = zip(BATHS.items(), deviates, strict=True)
    return {name: h * math.exp(sd * z) for (name, (h, sd)), z in pairs}


def place_of(row) -> float:
    return PLACES[row["cooling"].split(", ")[1]]


class Problem:
    """All residuals as a function of the deviates of the constants; steels named in `without` are left out."""

    def __init__(self, without: Iterable[str] = (), prior: dict[str, float] = PRIOR):
        gone = set(without) | {k for s in without for k in KIN.get(s, ())}
        self.prior, self.published = prior, kinetics.constants("published")
        self.rows = [r for r in visible() if r["steel"] not in gone]
        self.hb = np.array([float(r["hb"]) for r in self.rows])
        names = np.array([r["steel"] for r in self.rows])
        spread = HEAT_SD**2 * np.outer(self.hb, self.hb) * (names[:, None] == names[None, :])
        doubt = np.array([1.0 if r["basis"] == "read" else MEMORY for r in self.rows])
        spread += np.diag((BAR_SD * self.hb) ** 2 * doubt)
        self.whiten = np.linalg.inv(np.linalg.cholesky(spread))
        self.bars = [b for b in quenched() if b[0]["steel"] not in gone]
        self.ends = [end_quench_steel(g) for g in END_QUENCH if g.rstrip("H") not in gone]
        self.standard = [np.asarray(end_quench_hrc(s)) for s in self.ends]
        self.critical = {n: v for n, v in CRITICAL.items() if n not in gone}
        self.structures = [s for s in STRUCTURES if s[0] not in gone]
        near = np.geomspace(0.12, 6.0, 9)
        wanted = [(self._named(n), v[0] * x) for n, v in self.critical.items() for x in near]
        wanted += [(self._named(n), rate) for n, rate, *_ in self.structures]
        self.wanted, self.rates = wanted, np.array([rate for _, rate in wanted])

    @staticmethod
    def _named(name: str) -> Steel:
        if name in CRITICAL:
            c, mn, cr, mo = CRITICAL[name][2]
            wt = {"C": c, "Si": 0.25, "Mn": mn, "Cr": cr, "Mo": mo}
            return Steel(name, wt, grain_size_astm=8.0)
        rows = read_rows("measured/air_cooled_bars.csv")
        return steel_of(next(r for r in rows if r["steel"] == name))

    def constants(self, deviates) -> dict[str, float]:
        """Constants for deviates in standard deviations of the priors."""
        k = dict(self.published)
        for (name, sd), z in zip(self.prior.items(), deviates, strict=False):
            k[name] += sd * z
        return k

    def start(self) -> list[float]:
        """Deviates of the committed constants; of the two baths, which are not stored, none."""
        k = kinetics.constants()
        return [(k[n] - self.published[n]) / sd for n, sd in self.prior.items()] + [0.0, 0.0]

    def bars_hb(self, k) -> np.ndarray:
        hv = [march_bar(row, k).zones[0, 0, outcome.O_HV] for row in self.rows]
        return np.asarray(convert_array(hv, "HV", "HB")[0])

    def quenched_hrc(self, k, deviates) -> list[tuple[dict, float]]:
        """(row, HRC) of every place in the quenched bars; two deviates of the baths, oil then water."""
        film, found = baths(deviates), []
        for bar in self.bars:
            hv = march_bar(bar[0], k, film[bar[0]["cooling"].split()[0]]).point_hv[0]
            hrc = hrc_from_hv(hv[:5])
            found += [(row, float(np.interp(place_of(row), DEPTHS, hrc))) for row in bar]
        return found

    def end_quench(self, k) -> list[np.ndarray]:
        """HRC of the grades at the standard's distances."""
        mm, found = end_quench_distances_mm(), []
        for steel in self.ends:
            bar = specimens.end_quench_bar(steel, grain_size_astm=GRAIN, constants=k)
            found.append(np.interp(mm, bar["distance_mm"], hrc_from_hv(bar["hv"].to_numpy())))
        return found

    def follow(self, k) -> list[dict[str, float]]:
        """Shares along the constant rates."""
        how = {"grain_size_astm": GRAIN, "constants": k}
        cooling = specimens.continuous_cooling
        return [cooling(s, rate_c_per_s=rate, **how).fractions for s, rate in self.wanted]

    def critical_rates(self, out, level=0.95) -> dict[str, float]:
        """Rate at which `level` of martensite is reached, °C/s."""
        found, wanted = {}, math.log(level / (1.0 - level))
        for i, name in enumerate(self.critical):
            rows = slice(9 * i, 9 * i + 9)
            share = [s["martensite"] + s["austenite"] for s in out[rows]]
            share = np.clip(share, 1e-6, 1.0 - 1e-6)
            logit = np.maximum.accumulate(np.log(share / (1.0 - share))) + 1e-9 * np.arange(9)
            found[name] = float(np.exp(np.interp(wanted, logit, np.log(self.rates[rows]))))
        return found

    def residuals(self, deviates) -> np.ndarray:
        """All residuals, the deviates themselves last."""
        k, n = self.constants(deviates), len(self.prior)
        parts = [self.whiten @ (self.bars_hb(k) - self.hb)]
        for row, hrc in self.quenched_hrc(k, deviates[n:]):
            parts.append([(hrc - float(row["hrc"])) / (2.0 if row["basis"] == "read" else 3.5)])
        for own, standard in zip(self.end_quench(k), self.standard, strict=True):
            above = standard > 23.0
            parts.append((own - standard)[above] / END_QUENCH_SD / math.sqrt(above.sum() / 6.0))
        out = self.follow(k)
        for name, rate in self.critical_rates(out).items():
            middle, sd, _ = self.critical[name]
            parts.append([math.log(rate / middle) / sd])
        told = out[9 * len(self.critical) :]
        for row, (_, _, parts_of, low, high, width) in zip(told, self.structures, strict=True):
            share = sum(row[p] for p in parts_of)
            parts.append([(share - min(max(share, low), high)) / width])
        return np.concatenate([*parts, deviates])

    def solve(self, deviates=None, most: int = 20, step: float = 0.1) -> np.ndarray:
        """Deviates of least squares by damped Gauss-Newton."""
        x = np.zeros(len(self.prior) + 2) if deviates is None else np.array(deviates, float)
        r, damping = self.residuals(x), 0.01
        for _ in range(most):
            moves = step * np.eye(len(x))
            ends = [(self.residuals(x + d), self.residuals(x - d)) for d in moves]
            slopes = np.stack([(a - b) / (2.0 * step) for a, b in ends], axis=1)
            h, g, gain = slopes.T @ slopes, slopes.T @ r, 0.0
            for _ in range(5):
                move = -np.linalg.solve(h + damping * np.diag(np.diag(h)), g)
                move *= min(1.0, 1.0 / np.abs(move).max())
                new = self.residuals(x + move)
                if new @ new < r @ r:
                    gain, x, r = 0.5 * (r @ r - new @ new), x + move, new
                    damping = max(damping / 4.0, 1e-4)
                    break
                damping = max(6.0 * damping, 1e-3)
            if gain < 0.02:
                break
        self.covariance = np.linalg.inv(h)
        return x


def validate(full: Problem, x) -> tuple[np.ndarray, list]:
    """Every steel predicted without it and its kin: errors of normalised bars, HB; (row, HRC) of quenched places."""
    left, places = np.zeros(len(full.rows)), []
    for steel in dict.fromkeys(r["steel"] for r in full.rows):
        without = Problem((steel,))
        z = without.solve(x, most=12)
        k = without.constants(z)
        own = [r["steel"] == steel for r in full.rows]
        left[own] = (full.bars_hb(k) - full.hb)[own]
        places += [p for p in full.quenched_hrc(k, z[len(PRIOR) :]) if p[0]["steel"] == steel]
    return left, places


#: Steels of the first rows of the table; shown apart.
PACK = ("1020", "1040", "1050", "4140", "4340")


def summary(problem: Problem, x, loo, places) -> list[tuple]:
    """What the fit reaches: (what, how validated, rows, mean absolute error, bias, unit)."""
    k, found = problem.constants(x), []
    error, nothing = (problem.bars_hb(c) - problem.hb for c in (k, problem.published))
    steels = [r["steel"] for r in problem.rows]
    pack = np.array([s in PACK for s in steels])
    read = np.array([r["basis"] == "read" for r in problem.rows])
    of_steel = [np.abs(loo[[s == name for s in steels]]).mean() for name in dict.fromkeys(steels)]
    quench = problem.quenched_hrc(k, x[len(PRIOR) :])
    miss, left = (np.array([hrc - float(r["hrc"]) for r, hrc in x]) for x in (quench, places))
    sure = miss[[r["basis"] == "read" for r, _ in quench]]
    pairs = zip(problem.end_quench(k), problem.standard, strict=True)
    ends = np.concatenate([(own - standard)[standard > 23.0] for own, standard in pairs])

    without, of_pack = "each steel predicted without it", f"normalised bars of {' '.join(PACK)}"
    for what, how, errors, unit in (
        ("normalised bars, published rates and first guesses", "nothing fitted", nothing, "HB"),
        ("normalised bars", "fitted", error, "HB"), (of_pack, "fitted", error[pack], "HB"),
        ("normalised bars, read rows", "fitted", error[read], "HB"),
        ("normalised bars", without, loo, "HB"), (of_pack, without, loo[pack], "HB"),
        ("normalised bars, greatest of a steel's mean", without, of_steel, "HB"),
        ("as-quenched bars, read rows", "fitted", sure, "HRC"),
        ("as-quenched bars, read rows, greatest", "fitted", sure, "HRC"),
        ("as-quenched bars", "fitted", miss, "HRC"), ("as-quenched bars", without, left, "HRC"),
        ("end-quench bar against ASTM A255", "fitted", ends, "HRC"),
    ):  # fmt: skip
        off = np.max(np.abs(errors)) if "greatest" in what else np.mean(np.abs(errors))
        mean = loo.mean() if errors is of_steel else np.mean(errors)
        found.append((what, how, len(errors), off, mean, unit))
    for name, rate in problem.critical_rates(problem.follow(k)).items():
        found.append((f"rate for 95 % martensite, {name}", "fitted", 1, rate, 0.0, "°C/s"))
    return found


def main() -> None:
    args = options(__doc__)
    problem = Problem()
    x = problem.solve(problem.start())
    sd = np.sqrt(np.diag(problem.covariance))[: len(PRIOR)] * list(PRIOR.values())
    loo, places = validate(problem, x)
    checks = summary(problem, x, loo, places)
    for what, how, n, mae, bias, unit in checks:
        print(f"{what:55s} {how:32s} {n:4d} {mae:8.2f} {bias:8.2f} {unit}")
    if args.write:
        steels = {r["steel"] for r in problem.rows}
        rows = f"{len(problem.rows) + len(places)} rows of {len(steels)} steels"
        write_constants(problem.constants(x), dict(zip(PRIOR, sd, strict=True)), rows, checks)


def write_constants(k, sd, rows: str, checks) -> None:
    """Rewrite the two data files."""
    today, constants = datetime.date.today().isoformat(), []
    for row in read_rows("fits/kinetics.csv"):
        i = row["id"]
        value, error = (f"{k[i]:.5g}", f"{sd[i]:.2g}") if i in sd else (row["published"], "")
        constants.append({**row, "value": value, "standard_error": error})
    notes = f"""
    Constants of the additive rate equations and of the constituents' hardness (HV = a + b log10 V, V in °C/h).
    value and standard_error: made by tests/fits/fit_kinetics.py from normalised and as-quenched bars
    (data/measured/air_cooled_bars.csv, {rows}), {today}; no standard error: not freed.
    published: where value starts from and is held to by a prior; bases and sources are those of published."""
    write("fits/kinetics.csv", constants, notes)
    notes = """
    Errors of the calibrated model, predicted minus measured; made by tests/fits/fit_kinetics.py.
    For a rate the column mean_absolute_error holds the rate itself."""
    header = "what validation rows date mean_absolute_error bias unit".split()
    told = [(*c[:3], today, f"{c[3]:.2f}", f"{c[4]:.2f}", c[5]) for c in checks]
    write("validation/kinetics_validation.csv", told, notes, header)


if __name__ == "__main__":
    main()
