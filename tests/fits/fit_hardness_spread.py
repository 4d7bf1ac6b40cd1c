"""Predict every measured bar without its steel, and make the standard deviations of hardness from the misses.

    python tests/fits/fit_hardness_spread.py [--march] [--write]

With ``--march`` the constants of the rate equations are refitted once per steel, without that steel and its
kin (see ``fit_kinetics.py``), to convergence, and every bar of that steel is predicted: hardness, structure
and the two other opinions, place by place in quenched bars; ``data/validation/hardness_left_out.csv`` holds them (some
minutes).  Without it the stored predictions are used (seconds).  From them: standard deviations by
constituent and the weight of the opinions' spread, by greatest likelihood, every steel counting the same
however many bars it has, and the coverage of the 80 % interval on steels that were left out of both fits;
``--write`` rewrites ``data/fits/hardness_spread.csv`` and ``data/validation/hardness_validation.csv``.
"""

import datetime

import fit_kinetics
import numpy as np
import pandas as pd
from scipy.optimize import minimize
from source_effects import group_bootstrap, options, write

from forgeprops.answer.interval import COVERAGE, FIGURES, Z, opinions_spread_hv, spread_variance
from forgeprops.answer.second_opinions import opinion_arrays
from forgeprops.base.constants import SECONDS_PER_HOUR
from forgeprops.base.tables import read_rows
from forgeprops.engine import march as marks
from forgeprops.engine import outcome as out
from forgeprops.inputs.steel import ELEMENTS
from forgeprops.strength.hardness_scales import convert_array, hv_from_hrc
from forgeprops.transformation import decomposition as d
from forgeprops.transformation import kinetics, rate_doubt

COLUMNS = (
    "steel", "diameter_mm", "cooling", "place", "basis", "measured_hv", "predicted_hv",
    "ferrite_pearlite", "bainite", "martensite", "rate_700_c_per_s", "critical_rates_hv",
    "end_quench_hv", "rate_sd_hv",
)  # fmt: skip
#: Middle of the lognormal prior of every figure, a factor e wide (our choice): a few bars decide little.
PRIOR = {
    "ferrite-pearlite": 0.06, "bainite": 0.09, "martensite": 0.05, "martensite share": 40.0,
    "opinions": 0.5, "far rates": 1.2,
}  # fmt: skip
UNITS = dict.fromkeys(FIGURES, "of hardness") | {"martensite share": "HV", "far rates": "ln(rate)"}
UNITS["opinions"] = "of their standard deviation"


def predict(problem, k, steel: str, deviates=(0.0, 0.0)) -> list[dict]:
    """Rows of one steel with constants `k` and deviates of the two baths."""
    found, films = [], fit_kinetics.baths(deviates)
    for row in (r for r in problem.rows if r["steel"] == steel):
        told = fit_kinetics.march_bar(row, k)
        z, rate = told.zones[0, 0], told.marks[0, 0, marks.M_RATE700]
        soft, hard = z[out.O_FERRITE] + z[out.O_PEARLITE], z[out.O_MARTENSITE] + z[out.O_AUSTENITE]
        measured = float(convert_array([float(row["hb"])], "HB", "HV")[0][0])
        found.append(_told(row, "", measured, z[out.O_HV], (soft, z[out.O_BAINITE], hard), rate))
    for bar in (b for b in problem.bars if b[0]["steel"] == steel):
        film = films[bar[0]["cooling"].split()[0]]
        told = fit_kinetics.march_bar(bar[0], k, film, keep_points=True)
        s = told.state[0]
        log_v = s[d.LOG_V_700] / np.maximum(s[d.PASSED_700], 1e-9)
        soft, hard = s[d.FERRITE] + s[d.PEARLITE], s[d.MARTENSITE] + s[d.AUSTENITE]
        columns = (told.point_hv[0], 10.0**log_v / SECONDS_PER_HOUR, soft, s[d.BAINITE], hard)
        for row in bar:
            at, place = fit_kinetics.place_of(row), row["cooling"].split(", ")[1]
            hv, rate, *parts = (float(np.interp(at, fit_kinetics.DEPTHS, c[:5])) for c in columns)
            found.append(_told(row, place, hv_from_hrc(float(row["hrc"])), hv, parts, rate))
    return found


def _told(row, place, measured, predicted, shares, rate) -> dict:
    hot_c = max(float(row["austenitise_c"]), 800.0)
    views = opinion_arrays(fit_kinetics.steel_of(row), rate, austenitise_c=hot_c).values()
    others = [f"{float(hv):.1f}" if counts else "" for hv, counts in views]
    bar = (row["steel"], row["diameter_mm"], row["cooling"].split(",")[0], place, row["basis"])
    hardness, parts = (f"{measured:.1f}", f"{predicted:.1f}"), (f"{s:.3f}" for s in shares)
    return dict(zip(COLUMNS, (*bar, *hardness, *parts, f"{rate:.3g}", *others, ""), strict=True))


def march() -> None:
    """Leave every steel out, refit, predict it, store."""
    full, rows = fit_kinetics.Problem(), []
    for steel in dict.fromkeys(r["steel"] for r in full.rows):
        without = fit_kinetics.Problem((steel,))
        z = without.solve(full.start(), most=12)  # steps; fewer where they gain nothing
        k = without.constants(z)
        mine = predict(full, k, steel, z[len(full.prior) :])
        misses = [round(float(r["predicted_hv"]) - float(r["measured_hv"])) for r in mine]
        print(steel, misses, flush=True)
        rows += mine
    _store(rows)
    rates()


def rates() -> None:
    """Fill in what unsure rates make of every stored row: standard deviation, the row's steel not among the bars."""
    problem, k = fit_kinetics.Problem(), kinetics.constants()
    late = ("ferrite_0", "ferrite_f0", "pearlite_0", "pearlite_f0", "bainite_0")
    rows = [dict(r) for r in read_rows("validation/hardness_left_out.csv")]
    for steel in dict.fromkeys(r["steel"] for r in rows):
        mine = [r for r in rows if r["steel"] == steel]
        made = fit_kinetics.steel_of(next(r for r in problem.rows if r["steel"] == steel))
        contents = {e: np.array([made.get(e)]) for e in ELEMENTS}
        unsure = {e: np.array([sd]) for e, sd in made.content_sd.items()}
        without = {steel, *fit_kinetics.KIN.get(steel, ())}
        rate = [[float(r["rate_700_c_per_s"]) for r in mine]]
        far = rate_doubt.far_share(contents, rate, without)
        sd = rate_doubt.ln_rate_sd(contents, unsure, far, PRIOR["far rates"])[1][0]
        ends = []
        for sign in (-Z, Z):
            moved = k | {name: k[name] + sign * sd.max() for name in late}
            ends.append([float(r["predicted_hv"]) for r in predict(problem, moved, steel)])
        for row, share, (a, b) in zip(mine, sd / sd.max(), zip(*ends, strict=True), strict=True):
            row["rate_sd_hv"] = f"{share * abs(a - b) / (2.0 * Z):.1f}"
    _store(rows)


def _store(rows) -> None:
    notes = f"""
    Bars of data/measured/air_cooled_bars.csv, each steel predicted by constants fitted without it and its kin; made by
    tests/fits/fit_hardness_spread.py --march, {datetime.date.today()}.  Empty opinion: not applicable there."""
    write("validation/hardness_left_out.csv", rows, notes)
    read_rows.cache_clear()


class LeftOut:
    """Stored predictions as arrays."""

    def __init__(self):
        self.rows = rows = pd.DataFrame(read_rows("validation/hardness_left_out.csv"))
        number = rows.iloc[:, COLUMNS.index("measured_hv") :].replace("", 0.0).astype(float)
        self.steel, self.hv = rows["steel"].to_numpy(), number["predicted_hv"].to_numpy()
        self.shares = number[["ferrite_pearlite", "bainite", "martensite"]].to_numpy().T
        views = number[["critical_rates_hv", "end_quench_hv"]].to_numpy().T
        counted = np.vstack([np.ones(len(rows)), views]) > 0.0
        self.spread = opinions_spread_hv(np.vstack([self.hv, views]), counted)
        self.error = self.hv - number["measured_hv"].to_numpy()
        self.rates = number["rate_sd_hv"].to_numpy() ** 2
        # the bars of one steel in one cooling count as one
        heats = rows.groupby(["steel", "cooling"])["steel"]
        self.weight = 1.0 / heats.transform("size").to_numpy()

    def variance(self, figures):
        *own, far = figures
        own = spread_variance(self.hv, *self.shares, self.spread, *own)
        return own + self.rates * (far / PRIOR["far rates"]) ** 2

    def fit(self, used) -> np.ndarray:
        """Figures of greatest posterior likelihood, each held to `PRIOR` by a lognormal of a factor e; then all times the
        factor that puts `COVERAGE` of the rows, weighted, inside the interval."""
        start, weight = np.log(list(PRIOR.values())), self.weight[used]

        def cost(x):
            v = self.variance(np.exp(x))[used]
            misfit = weight @ (np.log(v) + self.error[used] ** 2 / v)
            return 0.5 * float(misfit + np.sum((x - start) ** 2))

        figures = np.exp(minimize(cost, start, method="BFGS").x)
        needed = (self.error[used] / Z) ** 2 / self.variance(figures)[used]
        order = np.argsort(needed)
        share = np.cumsum(weight[order]) / weight.sum()
        return figures * np.sqrt(np.interp(COVERAGE, share, needed[order]))

    def classes(self) -> list[np.ndarray]:
        """Which rows have something to say on each figure, in the order of `FIGURES`."""
        fp, b, m = self.shares
        mixed = (m > 0.02) & (m < 0.98)
        return [fp > 0.5, b > 0.5, m > 0.5, mixed, self.spread > 0.0, self.rates > 1.0]

    def steels(self, used) -> list[int]:
        return [len(set(self.steel[c & used])) for c in self.classes()]

    def held(self) -> np.ndarray:
        """Whether each row lies in the 80 % interval whose figures were fitted without its steel."""
        inside = np.empty(len(self.rows), bool)
        for steel in np.unique(self.steel):
            mine = self.steel == steel
            variance = self.variance(self.fit(~mine))
            inside[mine] = np.abs(self.error[mine]) <= Z * np.sqrt(variance[mine])
        return inside

    def scopes(self) -> dict[str, np.ndarray]:
        """Groups that coverage is told of."""
        air = (self.rows["cooling"] == "still air").to_numpy()
        largest = np.argmax(self.shares, axis=0)
        kinds = ("ferrite and pearlite", "bainite", "martensite")
        return {
            **{"all bars": air | ~air, "air-cooled bars": air, "quenched bars": ~air},
            **{f"mostly {kind}": largest == i for i, kind in enumerate(kinds)},
            "read rows": (self.rows["basis"] == "read").to_numpy(),
        }


_COVERAGE = "scope validation rows steels coverage width_hv low_90 high_90 root_mean_square_hv bias_hv date".split()


def coverage(seen: LeftOut, values, held):
    """Rows of data/validation/hardness_validation.csv, one for each scope."""
    for name, rows in seen.scopes().items():
        low, high = group_bootstrap(held[rows], seen.steel[rows])
        e = seen.error[rows]
        width = 2.0 * Z * np.sqrt(seen.variance(values)[rows]).mean()
        numbers = f"{held[rows].mean():.3f} {width:.0f} {low:.2f} {high:.2f} {np.sqrt((e**2).mean()):.1f} {e.mean():.1f}"
        row = (name, "each steel predicted without it", int(rows.sum()), len(set(seen.steel[rows])))
        yield *row, *numbers.split(), datetime.date.today().isoformat()


def write_figures(seen: LeftOut, values, told) -> None:
    """Rewrite the two data files."""
    today, everything = datetime.date.today().isoformat(), np.ones(len(seen.rows), bool)
    columns = zip(PRIOR.items(), values, seen.classes(), seen.steels(everything), strict=True)
    names = ("id", "value", "unit", "prior", "rows", "steels", "fitted", "basis")
    figures = [
        (name, f"{value:.3g}", UNITS[name], prior, int(rows.sum()), steels, today, "our own fit")
        for (name, prior), value, rows, steels in columns
    ]
    notes = """
    Figures of the standard deviation of hardness (see answer.interval.hardness_sd_hv), by greatest likelihood on
    data/validation/hardness_left_out.csv; made by tests/fits/fit_hardness_spread.py.  prior: middle of a lognormal of a factor e.
    martensite share: HV where half is martensite; opinions: weight of the standard deviation of the methods."""
    write("fits/hardness_spread.csv", figures, notes, names)
    notes = """
    Share of measured bars inside the 80 % interval.  Constants of the rate equations and figures of the interval both
    fitted without the bar's steel; made by tests/fits/fit_hardness_spread.py.  low_90, high_90: whole steels drawn again."""
    write("validation/hardness_validation.csv", told, notes, _COVERAGE)


def main() -> None:
    args = options(__doc__, march="leave every steel out")
    if args.march:
        march()
    seen = LeftOut()
    everything = np.ones(len(seen.rows), bool)
    figures, held = seen.fit(everything), seen.held()
    print(dict(zip(PRIOR, figures.round(3), strict=True)))
    told = list(coverage(seen, figures, held))
    for name, _, n, _, share, width, *_ in told:
        print(f"{name:30s} n {n:3d} coverage {share} width {width} HV")
    if args.write:
        write_figures(seen, figures, told)


if __name__ == "__main__":
    main()
