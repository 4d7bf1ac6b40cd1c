"""The same physics marched another way: method of lines on whole arrays, in time by scipy's `solve_ivp`.

Nothing of the engine's time stepping is used: no Rosenbrock step, no table of the extent of reaction, no
heat put into heat capacity.  The published laws are written again on arrays and in continuous form;
martensite, which the engine makes by the drop of temperature, follows it here within `_LAG_S`.  Two ways
through the thickness: the engine's own points (then only time stepping differs) or even cells with the
conductivity of their own temperature (then all does).  What one case holds is what the engine is fed (`fed`).

Taken over are the table of the spray over scale and the state at the end of the furnace (`engine_laws`) and, at the very end,
hardness from structure (`outcome.collect`).
"""

import contextlib
import dataclasses
import math
from dataclasses import dataclass
from unittest import mock

import numpy as np
from reference import engine_laws as laws
from scipy.integrate import solve_ivp
from scipy.sparse import csc_matrix

from forgeprops.base.constants import STEFAN_BOLTZMANN
from forgeprops.engine import batch, march, outcome, packing
from forgeprops.engine.run import march_columns
from forgeprops.engine.section import lobatto
from forgeprops.forging.skin import ATMOSPHERES, scale_rate
from forgeprops.inputs.cases import Cases
from forgeprops.thermal import die_contact
from forgeprops.thermal.properties import LATENT_HEAT_J_KG
from forgeprops.transformation import austenite, kinetics
from forgeprops.transformation import decomposition as de

#: Martensite follows the fall of temperature within this time, s (0.02 °C behind at 200 °C/s).
_LAG_S = 1e-4
_WATER_GRID = laws.WET_STEP_C * np.arange(laws.WET_POINTS)
#: A gas furnace against the air law, on the square of thickness.
_SCALE = ATMOSPHERES["gas furnace"][0] ** 2
_HEAT_FP, _HEAT_B, _HEAT_M = (LATENT_HEAT_J_KG[p] for p in ("pearlite", "bainite", "martensite"))
DIE = (die_contact.DIE_CONDUCTIVITY_W_MK, die_contact.DIE_DENSITY_KG_M3, die_contact.DIE_HEAT_J_KGK)
# F, P, B hold share^0.6, in which their growth is smooth; U: undercooling below Ms used up
(T, F, P, B, M, U) = range(6)


def fed(steels, parts, routes, shops=None):
    """What the engine is fed for these cases: the parts of `batch.Packed` without baths."""
    columns = Cases.of(steels, parts, routes, shops)
    with mock.patch.object(batch, "run", side_effect=InterruptedError) as run:
        with contextlib.suppress(InterruptedError):
            march_columns(columns)
    return tuple(vars(run.call_args.args[0]).values())[:-1]


@dataclass
class Slab:
    """Points of all zones in one row; conduction zone by zone."""

    weight: np.ndarray
    zone: np.ndarray  # zone of every point
    first: np.ndarray
    last: np.ndarray
    slopes: list | None  # differentiation matrix of every zone; None: even cells


def slab(zones, points, cells=False):
    """Lay out the points of every zone: the engine's element, or as many even cells (half cells at the surfaces)."""
    weights = []
    for n in points:
        weights.append(np.full(n, 1.0 / (n - 1)) if cells else lobatto(n)[1])
        if cells:
            weights[-1][[0, -1]] *= 0.5
    last = np.cumsum(points) - 1
    first, slopes = last - np.array(points) + 1, None if cells else [lobatto(n)[2] for n in points]
    return Slab(np.concatenate(weights), np.repeat(np.arange(zones), points), first, last, slopes)


def capacity(t, a):
    """J/(kg K) of a mixture with `a` of austenite."""
    k = t + 273.15
    cold = np.minimum(t, 700.0)
    hot = (24.6643 + 0.00751504 * k + 3.53562e-7 * k * k - 154718.0 / (k * k)) / 0.055845
    return a * hot + (1.0 - a) * (425.0 + cold * (0.773 + cold * (-1.69e-3 + cold * 2.22e-6)))


def metal_k(t, alloyed, a):
    """W/(m K)."""
    plain = np.maximum(54.0 - 3.33e-2 * t, 27.3)
    products = plain + alloyed * (np.minimum(plain, 43.0) - plain)
    return products + a * (27.3 - 0.0093 * np.maximum(850.0 - t, 0.0) - products)


def growth(x, k, tail=0.0):
    """dX/dt / X^0.4 for dX/dt = k X^(0.4 (1-X)) (1-X)^(0.4 X) exp(-tail X²)."""
    x = np.clip(x, 1e-30, 1.0)
    slowing = np.exp(-0.4 * x * np.log(x) - tail * x * x) * np.maximum(1.0 - x, 0.0) ** (0.4 * x)
    return np.where(x < 1.0, k * slowing, 0.0)


def speed(k, under, power, q_cal, kelvin):
    return k * np.exp(-q_cal / (kinetics.GAS_CAL * kelvin)) * np.maximum(under, 0.0) ** power


class Case:
    """One case as the engine is fed it, on a slab of our own."""

    def __init__(self, args, c, points, cells=False):
        cases, zones, head_of, steps, convection, convection_of, start, start_of, kin = args[:9]
        self.case, self.zones, self.steps = cases[c], zones[head_of[c]], steps[c]
        self.air, self.start, self.kin = convection[convection_of[c]], start[start_of[c]], kin
        self.lay = lay = slab(len(self.zones), points, cells)
        # zones that the engine takes as one structure have one here too, but not on even cells
        self.one = (self.zones["one_structure"][lay.zone] > 0.0) & (not cells)
        self.wet = np.zeros((len(self.zones), laws.WET_POINTS))
        self.mass = self.zones["mass_kg"][lay.zone] * lay.weight

    # ---- heat: power into every point, W

    def loss(self, step, front, z, t, seconds):
        """Heat a surface gives off, W/m²."""
        c, kind = self.case, step["kind"]
        if kind == packing.FURNACE:
            radiated = STEFAN_BOLTZMANN * ((t + 273.15) ** 4 - (c["furnace_c"] + 273.15) ** 4)
            convected = c["furnace_convection"] * (t - c["furnace_c"])
            return c["furnace_emissivity"] * radiated + convected

        def pressed(contact):
            h = die_contact.die_contact_w_m2k(contact, seconds, *DIE)
            return c["die_factor"] * h * (t - c["die_c"])

        if kind == packing.STROKE:
            return pressed(step["contact"])
        if not front and kind in (packing.REST, packing.SPRAY_ON_DIE):
            return pressed(die_contact.RESTING_CONTACT_W_M2K)
        wet = step["share"][z] > 0.0 and step["flux"] > 0.0
        if front and wet and kind in (packing.SPRAY, packing.SPRAY_ON_DIE):
            return np.interp(t - step["fluid_c"], _WATER_GRID, self.wet[z])
        if step["cover"][z] > 0.0:
            return step["cover"][z] * (t - c["air_c"])
        return laws.dry_loss(self.case, self.air[z], t)

    def power(self, step, seconds, t, a):
        """Power into every point without heat of transformation, W; `t`, `a` of shape (points, columns)."""
        lay, zones = self.lay, self.zones
        power = np.zeros_like(t)
        means, ks = [], []
        for z in range(len(zones)):
            own = slice(lay.first[z], lay.last[z] + 1)
            tz, az, w = t[own], a[own], lay.weight[own]
            means.append(w @ tz)
            ks.append(metal_k(means[-1], self.case["alloyed"], w @ az))
            if lay.slopes is None:
                mean_t, mean_a = 0.5 * (tz[1:] + tz[:-1]), 0.5 * (az[1:] + az[:-1])
                k = metal_k(mean_t, self.case["alloyed"], mean_a)
                flow = k * zones[z]["conduction_m"] * (len(tz) - 1) * np.diff(tz, axis=0)
                power[own][:-1] += flow
                power[own][1:] -= flow
            else:
                k = metal_k(tz, self.case["alloyed"], az)
                flow = lay.slopes[z].T @ (k * (w[:, None] * (lay.slopes[z] @ tz)))
                power[own] -= zones[z]["conduction_m"] * flow
            for front, i in ((True, lay.first[z]), (False, lay.last[z])):
                area = zones[z]["front_m2" if front else "back_m2"]
                power[i] -= area * self.loss(step, front, z, t[i], seconds)
        for z in range(len(zones) - 1):
            flow = zones[z]["link_m"] * 0.5 * (ks[z] + ks[z + 1]) * (means[z] - means[z + 1])
            for zone, sign in ((z, -1.0), (z + 1, 1.0)):
                own = slice(lay.first[zone], lay.last[zone] + 1)
                power[own] += sign * flow * lay.weight[own][:, None]
        return power

    # ---- furnace

    def furnace(self, seconds, y, step):
        c = self.case
        n = len(self.mass)
        t, share, left, _ = y.reshape(4, n, -1)
        d = np.zeros((4, n, t.shape[1]))
        law = np.vectorize(austenite.austenite_equilibrium)
        equilibrium = law(t, c["ac1"], c["ac3"], c["carbon"])
        tau = np.vectorize(laws.austenite_formation_time_s)(t)
        d[1] = np.maximum(equilibrium - share, 0.0) / tau
        formed = t > c["ac1"]  # a furnace only heats
        speed_ = math.exp(c["ln_carbide_speed"])
        dissolution = np.vectorize(laws.carbide_dissolution_time_s)(t)
        d[2] = np.where(formed, -left * speed_ / dissolution, 0.0)
        names = "grain_ln_k grain_q grain_ln_k_low grain_q_low pin_low pin_high".split()
        rate = np.vectorize(laws.grain_growth_rate)(t, *(c[name] for name in names))
        d[3] = np.where(formed, rate, 0.0) / 1e6  # µm^m are large numbers
        heat = self.power(step, seconds, t, share) - d[1] * _HEAT_FP * self.mass[:, None]
        d[0] = heat / (self.mass[:, None] * capacity(t, share))
        return d.reshape(y.shape)

    # ---- cooling

    def on_carbon(self, row, carbon):
        nodes = np.linspace(0.0, de.TABLE_CARBON, self.start.shape[1])
        return np.interp(carbon, nodes, self.start[row])

    def level(self, x):
        """Mean over a zone at the points of a zone of one structure."""
        if not self.one.any():
            return x
        x = x.copy()
        for z in np.flatnonzero(self.one[self.lay.first]):
            own = slice(self.lay.first[z], self.lay.last[z] + 1)
            x[own] = self.lay.weight[own] @ x[own]
        return x

    def rates(self, seconds, y, step):
        """Rates of the six unknowns, shape (6, points, columns), with what of it became each constituent."""
        c, kin, s = self.case, self.kin, self.state
        t = y[T]
        f, p, b = (np.maximum(y[i], 0.0) ** (1.0 / 0.6) for i in (F, P, B))
        a0, c0, ae3 = (s[i][:, None] for i in (de.AUSTENITE_0, de.CARBON_0, de.AE3))
        a = np.maximum(a0 - f - p - b - y[M], 0.0)
        power = self.power(step, seconds, t, a)
        heat_capacity = self.mass[:, None] * capacity(t, a)
        imposed = self.level(-3600.0 * power / heat_capacity)
        at = self.level(t)
        kelvin = at + 273.15
        d = np.zeros_like(y)
        # ferrite, pearlite, bainite: amount over what can form
        cap = laws.ferrite_cap(at, c["ae1"], ae3, c0) * a0
        k = speed(s[de.K_F][:, None], ae3 - at, 3, kin["q_ferrite"], kelvin)
        g = np.where(cap > f, growth(f / np.maximum(cap, 1e-12), k), 0.0) * (a > 1e-9)
        d[F], df = 0.6 * cap**0.6 * g, cap**0.6 * g * f**0.4
        amounts = [df]
        to_p, to_b = c["ae1"] - at, c["bainite_limit"] - at
        for row, share, k, under, exponent, q, tail in (
            (P, p, de.K_P, to_p, 3, kin["q_pearlite"], 0.0),
            (B, b, de.K_B, to_b, 2, kin["q_bainite"], kin["bainite_tail"]),
        ):
            whole = np.maximum(share + a, 1e-12)
            k = speed(s[k][:, None], under, exponent, q, kelvin)
            g = growth(share / whole, k, tail) * (a > 1e-9)
            d[row] = 0.6 * whole**0.6 * g
            amounts.append(whole**0.6 * g * share**0.4)
        df, dp, db = amounts
        # martensite by the largest undercooling below Ms
        left = a0 - f
        rest = (c0 * a0 - austenite.FERRITE_CARBON * f) / np.maximum(left, 1e-9)
        most = de.TABLE_CARBON
        carbon = np.where(left > 1e-6, np.clip(rest, c0, most), most)
        d[U] = np.maximum(self.on_carbon(0, carbon) - at - y[U], 0.0) / _LAG_S
        d[M] = self.on_carbon(1, carbon) * a * d[U]
        heat = _HEAT_FP * (df + dp) + _HEAT_B * db + _HEAT_M * d[M]
        d[T] = (power + self.mass[:, None] * heat) / heat_capacity
        log_v = np.log10(np.maximum(imposed, 36.0))
        if self.path is not None:
            log_v = self.rate_of_hardness(at, log_v)
        temper = np.exp(-c["temper_q_k"] / kelvin)
        # summed up afterwards: what hardness needs (tempering goes with the 14th power of the share, see `decomposition`)
        tempered = y[M] ** 14 * temper, b**14 * temper
        return d, np.stack([(df + dp) * log_v, db * log_v, d[M] * carbon, *tempered])

    def rate_of_hardness(self, at, log_v):
        """The rate that hardness goes by, columns in order of time: that around 700 °C where the steel is re-heated."""
        lowest, before, total, passed = self.path
        window = (680.0, 720.0)
        found = np.empty_like(log_v)
        for k in range(log_v.shape[1]):
            t, v = at[:, k], log_v[:, k]
            share = np.maximum(np.clip(before, *window) - np.clip(t, *window), 0.0) / 40.0
            above = before >= window[1]
            total[:] = np.where(above, 0.0, total) + share * v
            passed[:] = np.where(above, 0.0, passed) + share
            at_700 = np.where(passed > 0.0, total / np.maximum(passed, 1e-12), v)
            found[:, k] = v + np.clip((t - lowest) / 50.0, 0.0, 1.0) * np.maximum(at_700 - v, 0.0)
            np.minimum(lowest, t, out=lowest)
            before[:] = t
        return found

    def cooling(self, seconds, y, step):
        shape = (6, len(self.mass), -1)
        return self.rates(seconds, y.reshape(shape), step)[0].reshape(y.shape)

    def sum_up(self, found, step):
        """Integrals of the sums over one step of the route, by three Gauss points a step of the solver."""
        nodes, weights = np.polynomial.legendre.leggauss(3)
        begin, width = found.t[:-1, None], np.diff(found.t)[:, None]
        times = (begin + 0.5 * width * (nodes + 1.0)).ravel()
        weights = (0.5 * width * weights).ravel()
        total = np.zeros((5, len(self.mass)))
        # the die's resistance has a clock
        if step["kind"] in (packing.REST, packing.STROKE, packing.SPRAY_ON_DIE):
            for time, w in zip(times, weights, strict=True):
                total += w * self.rates(time, found.sol(time).reshape(6, -1, 1), step)[1][..., 0]
            return total
        for part in np.array_split(np.arange(len(times)), max(len(times) // 300, 1)):
            y = found.sol(times[part]).reshape(6, -1, len(part))
            total += self.rates(0.0, y, step)[1] @ weights[part]
        return total

    # ---- the route

    def run(self, rtol=1e-6, stop_c=batch.STOP_C):
        """March the whole route; pieces of it as (begin, end, solution), and the state at the end."""
        c, n = self.case, len(self.mass)
        self.state = np.zeros((de.ROWS, n))
        heat = np.zeros((march.HEAT_ROWS, n))
        heat[0], heat[1] = c["start_austenite"], 1.0 - c["start_austenite"]
        heat[2] = c["start_grain_um"] ** c["grain_m"]
        t = np.full(n, float(c["start_c"]))
        scale = np.full(len(self.zones), float(c["start_scale_um"]))
        pieces, clock, y, self.calls, self.path = [], 0.0, None, 0, None
        for step in self.steps:
            kind, seconds = step["kind"], float(step["duration_s"])
            if kind == packing.FURNACE and seconds > 0.0:
                y0 = np.stack([t, heat[0], heat[1], heat[2] / 1e6]).ravel()
                scales = np.repeat([1e-1, 1e-4, 1e-4, 1e2], n)
                found = self._solve(self.furnace, step, y0, seconds, rtol, 1e-3 * scales)
                pieces.append((clock, clock + seconds, found.sol))
                t, heat[0], heat[1], heat[2] = found.y[:, -1].reshape(4, n)
                heat[2] *= 1e6
                scale = self._scale(found, scale, 4)
                clock += seconds
                continue
            if y is None:
                for i in range(n):
                    grain = heat[2, i] ** (1.0 / c["grain_m"])
                    given = (heat[0, i], heat[1, i], grain, t[i])
                    self.state[:, i] = laws.set_austenite(c, self.kin, *given)
                for row in self.state:
                    row[:] = self.level(row)
                y = np.zeros((6, n))
                y[T], y[U] = t, self.state[de.UNDERCOOLING]
                sums = np.zeros((5, n))
                path = (self.level(t).copy(), self.level(t).copy(), np.zeros(n), np.zeros(n))
            if seconds <= 0.0:
                continue
            if kind == packing.STROKE:
                y[T] += c["work_k"]
                scale *= c["scale_left"]
                self.state[de.K_F] *= np.exp(c["ln_strain_f"][self.lay.zone])
                self.state[de.K_B] *= np.exp(c["ln_strain_b"][self.lay.zone])
            if kind in (packing.SPRAY, packing.SPRAY_ON_DIE):
                for z in range(len(self.zones)):
                    if step["share"][z] > 0.0 and step["flux"] > 0.0:
                        flux = step["flux"] * step["share"][z]
                        given = (flux, step["fluid_c"], scale[z], c, self.air[z])
                        self.wet[z] = laws.wet_table(*given)
            atol = np.repeat([1e-3, 1e-6, 1e-6, 1e-6, 1e-6, 1e-3], n) * rtol / 1e-6
            events = None
            if kind == packing.COOL:
                events = [lambda _, y: y[:n].max() - stop_c]
                events[0].terminal = True
            found = self._solve(self.cooling, step, y.ravel(), seconds, rtol, atol, events)
            y = found.y[:, -1].reshape(6, n).copy()
            self.path = path
            sums += self.sum_up(found, step)
            self.path = None
            pieces.append((clock, clock + found.t[-1], found.sol))
            clock += found.t[-1]
        self._fill(y, sums)
        self.heat, self.temperature = heat, y[T]
        return pieces

    def _solve(self, rate, step, y0, seconds, rtol, atol, events=None):
        n = len(self.mass)
        # steps of the differences, °C and shares: downwards in temperature, where martensite forms, and on the side of
        # a share where it exists
        last = (1e-6,) if rate == self.furnace else (1e-6, 1e-6, -1e-3)
        width = np.repeat([-1e-3, 1e-6, 1e-6, *last], n)
        each = np.arange(len(width))

        def f(t, y):
            self.calls += 1
            return rate(t, y, step)

        def jacobian(t, y):
            moved = np.repeat(y[:, None], len(width) + 1, axis=1)
            moved[each, each] += width
            rates = rate(t, moved, step)
            # sparse, so that the factors are found in this thread alone
            return csc_matrix((rates[:, :-1] - rates[:, -1:]) / width)

        how = {"method": "BDF", "rtol": rtol, "atol": atol, "dense_output": True, "jac": jacobian}
        how |= {"events": events, "first_step": min(1e-4, seconds / 10)}
        found = solve_ivp(f, (0.0, seconds), y0, **how)
        assert found.success, found.message
        return found

    def _scale(self, found, scale, rows):
        t = found.y.reshape(rows, len(self.mass), -1)[0]
        for z in range(len(self.zones)):
            own = slice(self.lay.first[z], self.lay.last[z] + 1)
            rate = _SCALE * scale_rate(self.lay.weight[own] @ t[own])
            scale[z] = math.sqrt(scale[z] ** 2 + np.trapezoid(rate, found.t))
        return scale

    def _fill(self, y, sums):
        s = self.state
        f, p, b = (np.maximum(y[i], 0.0) ** (1.0 / 0.6) for i in (F, P, B))
        s[de.FERRITE], s[de.PEARLITE], s[de.BAINITE] = f, p, b
        s[de.MARTENSITE] = y[M]
        s[de.AUSTENITE] = np.maximum(s[de.AUSTENITE_0] - f - p - b - y[M], 0.0)
        s[de.LOG_V_FP], s[de.LOG_V_B], s[de.CARBON_M] = sums[:3]
        s[de.UNDERCOOLING], s[de.T_MIN] = y[U], self.level(y[T])
        for row, share, integral in ((de.J_MARTENSITE, y[M], sums[3]), (de.J_BAINITE, b, sums[4])):
            s[row] = np.where(share > 1e-6, integral / np.maximum(share, 1e-6) ** 14, 0.0)

    def hardness(self):
        """Outcome of every zone (columns of `outcome`) once it has cooled to the room."""
        s, z = self.state.copy(), len(self.zones)
        laws.cool_to_the_room(s, self.start, self.temperature, float(self.case["air_c"]))
        points = tuple(int(n) for n in self.lay.last - self.lay.first + 1)
        layout = batch._layout(points, (False,) * z)
        weights = [self.lay.weight[part] for part, _ in layout.points]
        parts = [(part, w) for (part, _), w in zip(layout.points, weights, strict=True)]
        layout = dataclasses.replace(layout, points=parts, structures=parts)
        none = np.zeros(1, np.int64)
        args = (self.start[None, 2], s[None], s[None], none, self.heat[None], layout)
        return outcome.collect(np.array([self.case], packing.CASE), *args)[0][0]


def along(case, pieces, times):
    """Mean and front temperature of every zone at `times`, shape (times, zones)."""
    n, lay = len(case.mass), case.lay
    mean, front = np.empty((len(times), len(case.zones))), np.empty((len(times), len(case.zones)))
    for k, time in enumerate(times):
        begin, _, solution = next((p for p in pieces if time <= p[1] + 1e-9), pieces[-1])
        t = solution(time - begin)[:n]
        for z in range(len(case.zones)):
            own = slice(lay.first[z], lay.last[z] + 1)
            mean[k, z] = lay.weight[own] @ t[own]
            front[k, z] = t[lay.first[z]]
    return mean, front
