"""One joint draw of what is not known: the model's doubt, common to a lot, and the shop's scatter, head by head.

Every quantity is its middle value plus one response to each source, from the engine (water law, settings) and from the same
formulas on moved hardness and bend length: first-order in how the sources combine, along each one's own curve, cliffs included.
"""

import dataclasses
import functools
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from ..base.constants import Z80 as Z
from ..base.errors import InputError
from ..inputs.cases import Cases
from ..inputs.limits import QUANTITIES
from ..inputs.settings import table
from ..inputs.shop import Shop
from .evaluation import Evaluation, evaluate
from .interval import LN_SPRAY_SD, NODES, even_deviates, spray_ln_sd, spray_nodes

#: Doubt that is common to a lot.  The error of a constituent's hardness is one number for all zones that hold it.
COMMON = ("water law", "soft structure", "bainite", "martensite", "bend length", "spray rate")
COMMON += ("bend limits", "strike load", "strength")
#: Doubt of quantities' own formulas beside hardness: that of strength at known hardness moves the pull too.
_STRENGTHS = tuple(name for name in QUANTITIES if name.endswith("_mpa"))
_OWN = (("hosel_allowed_deg",), ("face_margin",), ("bar_force_n", *_STRENGTHS))
#: Settings that differ from head to head, with the spread of data/constants/settings.csv.
SCATTERED = ("preheat_c", "transfer_s", "delay_s", "flux", "spray_s", "face_thickness_mm")
#: Deviates at which the responses beside the water law's are calculated; straight lines between and beyond them.
_TWO = np.array([-1.0, 0.0, 1.0])
#: 80 % half-range of the length that bends, as a share of it: 10 to 20 mm about 15 (our choice).
BEND_LENGTH_SHARE = 1.0 / 3.0
#: Standard error of yield strength at known hardness, as a share: moves the pull (`strength.tensile`; our choice).
_PULL_SD = 0.06
#: Seed of the draw: the same result gives the same verdict.
_SEED = 6


def rows_of(steel, head, route, shop) -> list[tuple]:
    """The case, the water law at four other deviates, and each scattered setting moved by one standard deviation."""
    case = (steel, head, route, shop)
    wet = route.spray is not None and route.spray.flux_kg_m2_s * route.spray.duration_s > 0.0
    rows = [case]
    for z in spray_nodes():
        factor = float(np.exp(spray_ln_sd(shop.spray_ln_sd) * z)) if route.sprays else 1.0
        spray = min(max(shop.spray * factor, 0.1), 10.0)
        rows.append((steel, head, route, _with_spray(shop, spray)))
    for name in SCATTERED:
        what = table()[name]
        if what.group == "head":
            thick = head.face_thickness_mm + what.spread.sd(head.face_thickness_mm)
            rows.append((steel, _with_face(head, thick), route, shop))
        elif what.part == "spray" and not wet:
            rows.append(case)
        else:
            now = route.setting(name)
            moved = min(now + what.spread.sd(now), what.high)
            rows.append((steel, head, route.with_(**{name: moved}), shop))
    return rows


@functools.lru_cache(maxsize=64)
def _with_spray(shop: Shop, spray: float) -> Shop:
    return shop if spray == shop.spray else dataclasses.replace(shop, spray=spray)


@functools.lru_cache(maxsize=64)
def _with_face(head, thickness_mm: float):
    try:
        return head.with_(face_thickness_mm=thickness_mm)
    except InputError:  # the thickest or heaviest head there may be has no room to scatter
        return head


@dataclass(frozen=True)
class Doubt:
    """Middle values and responses of some quantities of many cases."""

    names: tuple[str, ...]  # quantities, see `inputs.limits.QUANTITIES`
    middle: np.ndarray  # (q, n)
    common: tuple  # by `COMMON`: deviates, and the change at them, (len(deviates), q, n)
    scatter: np.ndarray  # (len(SCATTERED), q, n); change for one standard deviation of each setting

    def lots(self, case: int, z: np.ndarray) -> np.ndarray:
        """Quantities of the middle head of every lot, shape (lots, q), for deviates of shape (lots, COMMON)."""
        return np.stack([self.lot(case, z, name) for name in self.names], axis=1)

    def lot(self, case: int, z: np.ndarray, name: str) -> np.ndarray:
        """One quantity of `lots`, shape (lots,)."""
        q = self.names.index(name)
        found = np.full(len(z), self.middle[q, case])
        for j, (at, changes) in enumerate(self.common):
            change = changes[:, q, case]
            if change.any():
                found += _line(z[:, j], at, change)
        return found


def _line(z, at, change):
    """Straight lines through the calculated points, and on beyond the last two."""
    inside = np.interp(z, at, change)
    low = (change[1] - change[0]) / (at[1] - at[0]) * np.minimum(z - at[0], 0.0)
    high = (change[-1] - change[-2]) / (at[-1] - at[-2]) * np.maximum(z - at[-1], 0.0)
    return inside + low + high


@functools.lru_cache(maxsize=8)
def deviates(lots: int, heads: int) -> tuple[np.ndarray, np.ndarray]:
    """Standard normal deviates of lots (lots, COMMON) and of heads (heads, SCATTERED).

    Every column holds the same even quantiles in an order of its own (Latin hypercube), so that what adds up has
    hardly any error of drawing.

    .. [1] McKay, Beckman & Conover, Technometrics 21 (1979) 239-245 (from memory).
    """
    random = np.random.default_rng(_SEED)
    found = []
    for n, many in ((lots, len(COMMON)), (heads, len(SCATTERED))):
        columns = [random.permutation(even_deviates(n)) for _ in range(many)]
        found.append(np.stack(columns, axis=1))
    return tuple(found)


def cases_of(rows: Sequence[tuple]) -> Cases:
    """Columns of cases given as (steel, head, route, shop)."""
    return Cases.of(*map(list, zip(*rows, strict=True)))


def evaluate_like(cases: Cases, like: Evaluation) -> Evaluation:
    """Other cases with the strike, bench, press strain and engine options of an evaluation."""
    found = evaluate(cases, count_press_strain=like.counted_strain is not None, **like.options)
    return dataclasses.replace(found, strike=like.strike, bench=like.bench)


def doubt_of(
    cases: Sequence[tuple], names: Sequence[str], other: Sequence[float], like: Evaluation
) -> tuple[Doubt, Evaluation]:
    """Doubt of cases given as (steel, head, route, shop), in one engine call, and their evaluation.

    `other` is the standard deviation of each quantity by what is not hardness, as a share of its
    value; strike, bench and options of the engine are those of `like`.
    """
    names, blocks = tuple(names), [rows_of(*case) for case in cases]
    width, flat = len(blocks[0]), [row for block in blocks for row in block]
    columned, factor = cases_of(flat), np.ones((len(blocks), width))
    factor[:, 1 : len(NODES)] = np.exp(LN_SPRAY_SD * spray_nodes())
    columned.route["bath_factor"] = factor.ravel()
    whole = evaluate_like(columned, like)
    base = np.arange(0, len(flat), width)
    e = dataclasses.replace(whole, cases=whole.cases.rows(base), results=whole.results.rows(base))

    def columns(of: Evaluation) -> np.ndarray:
        return np.stack([of.quantity(name) for name in names])

    every = columns(whole).reshape(len(names), len(cases), width)
    middle = every[:, :, 0]
    by_row = np.moveaxis(every - middle[:, :, None], 2, 0)
    n_water = len(NODES) - 1
    water = np.insert(by_row[1 : 1 + n_water], n_water // 2, 0.0, axis=0)

    def moved(results=e.results, cases=e.cases) -> np.ndarray:
        return columns(dataclasses.replace(e, cases=cases, results=results)) - middle

    def either(change) -> np.ndarray:
        return np.stack([change(-1.0), np.zeros_like(middle), change(1.0)])

    sds_hv = (e.sd_hv * np.sqrt(np.clip(share, 0.0, 1.0)) for share in e.doubted)
    by_structure = [either(lambda z, sd=sd: moved(e.results.moved(z * sd))) for sd in sds_hv]

    def longer(z: float) -> np.ndarray:
        """More or less of the hosel bends."""
        heads, longer_by = e.cases.heads, 1.0 + z * BEND_LENGTH_SHARE / Z
        heads = dataclasses.replace(heads, bend_zone_mm=heads.bend_zone_mm * longer_by)
        return moved(cases=dataclasses.replace(e.cases, heads=heads))

    length = either(longer)
    scatter = by_row[1 + n_water :]
    rate = scatter[SCATTERED.index("flux")]  # a nozzle's wear and aim last for a lot
    spread = np.asarray(other, float)[:, None] * middle
    own = [np.where(np.isin(names, of)[:, None], spread, 0.0) for of in _OWN]
    two = [*by_structure, length, *(np.stack([-r, np.zeros_like(r), r]) for r in (rate, *own))]
    common = ((NODES, water), *((_TWO, change) for change in two))
    return Doubt(names, middle, common, scatter), e


def other_shares(result, names: Sequence[str]) -> list[float]:
    """Standard deviation of each quantity by what is not hardness, as a share of it, from a result's own intervals.

    The intervals of hosel and face hold the assumptions of their own formulas; what hardness moves is taken off.
    """
    found, e, step = dict.fromkeys(names, 0.0), result.evaluation, 0.5
    hv = dataclasses.replace(e, results=e.results.moved(step * e.sd_hv))
    for name in found.keys() & {"hosel_allowed_deg", "face_margin"}:
        value, ends = float(e.quantity(name)[0]), result.interval(name)
        if value and None not in ends:
            slope = float((hv.quantity(name) - e.quantity(name))[0]) / step
            whole = (ends[1] - ends[0]) / (2.0 * Z)
            found[name] = float(np.sqrt(max(whole**2 - slope**2, 0.0))) / value
    for name in found.keys() & {*_STRENGTHS}:
        zone, _, which = name.partition("_")
        own = getattr(result.zones[zone].strength, which.replace("_mpa", "_se_mpa"))
        found[name] = own / float(e.quantity(name)[0])
    if "bar_force_n" in found:
        found["bar_force_n"] = _PULL_SD
    return list(found.values())
