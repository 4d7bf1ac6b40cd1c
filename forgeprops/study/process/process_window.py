"""The process window: two settings over a grid, the region that meets all limits, its centre and slack."""

import dataclasses
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from ...answer.verdict import ShortVerdict
from ...base.errors import InputError, check_list, check_number, shown
from ...base.in_words import InWords
from ...inputs.limits import Limits
from ...inputs.settings import Setting, setting, table
from ...io.tables import data_frame
from ..settable import neighbours, sureness
from .equal_effort import metal_in_die_c, preheat_for_c
from .study import Stopped, Study, settings_words

#: Boxes that differ by less than this share count as alike.
_ALIKE = 0.02

#: Where no spread of a setting is known, a tolerance of this share of the axis.
_SHARE_OF_AXIS = 0.05

#: An axis in place of the preheat temperature.
FORGING = dataclasses.replace(setting("preheat_c"), name="forging_c", label="forging temperature")
#: Axes when none are named.
_X, _Y = (("preheat_c", *table()["preheat_c"].search, 60), ("flux", *table()["flux"].search, 60))


@dataclass(frozen=True)
class Axis:
    """One axis of a window.

    Attributes
    ----------
    values : array, shape (n,)
    tolerance : By how much the setting may be off without anybody noticing, in its unit: what slack
        is counted in.
    """

    setting: Setting
    values: np.ndarray
    tolerance: float

    @property
    def title(self) -> str:
        """Words and unit for an axis of a figure."""
        return ", ".join(filter(None, (self.setting.label, self.setting.unit)))


@dataclass(frozen=True, repr=False)
class Window(InWords):
    """What `window` found.

    Attributes
    ----------
    maps : shape (ny, nx); every result and cost over the grid, rows are y: "face_hardness_hv",
        "hosel_allowed_deg", "press_s" ...
    slack : shape (ny, nx); least distance inside the limits, in the steps of
        `inputs.limits.QUANTITIES`; below 0 outside.
    binding : array of text, shape (ny, nx); the limit that comes first.
    centre : The two settings at the centre of the largest box inside the region, and the results
        there. None: nothing meets the limits.
    box : dict of str to (low, high); that box: both settings may be anywhere in it together.
    tolerances_held : Half-width of the box in tolerances of the settings: at 1 both may be off by
        their tolerance at the same time.
    at_edge : The box ends at the edge of the map: the window may be larger than the map.
    now : The two settings and the slack as the route has them, where that lies on the map.
    proposed : The settable values next to the centre that meet all limits most surely; None: none
        of them does.
    sure : Chances there, by 256 lots of 32 heads (standard error 0.02).
    cancelled : Stopped before its end: the map holds the rows finished by then.
    """

    x: Axis
    y: Axis
    maps: Mapping[str, np.ndarray]
    slack: np.ndarray
    binding: np.ndarray
    limits: Limits
    centre: Mapping[str, float] | None
    box: Mapping[str, tuple[float, float]] | None
    tolerances_held: float
    at_edge: bool
    now: Mapping[str, float] | None
    proposed: Mapping[str, float] | None = None
    sure: ShortVerdict | None = None
    cancelled: bool = False

    @property
    def meets(self) -> np.ndarray:
        """Where all limits are met, shape (ny, nx)."""
        return self.slack >= 0.0

    @property
    def share(self) -> float:
        """Share of the map that meets all limits."""
        return float(self.meets.mean())

    def table(self):
        """The maps as a table, one row a point (DataFrame)."""
        x, y = np.meshgrid(self.x.values, self.y.values)
        columns = {self.x.setting.name: x, self.y.setting.name: y, **self.maps}
        columns |= {"meets": self.meets, "slack": self.slack, "binding": self.binding}
        return data_frame({name: values.ravel() for name, values in columns.items()})

    def words(self) -> str:
        y = self.y.setting
        stopped = f"Stopped at {y.label} {self.y.values[-1]:.4g} {y.unit}. " * self.cancelled
        return f"{stopped}{self._words()} {self.limits.title}"

    def _words(self) -> str:
        if self.centre is None:
            j, i = np.unravel_index(int(np.argmax(self.slack)), self.slack.shape)
            x, y = (self.x.setting, self.x.values[i]), (self.y.setting, self.y.values[j])
            near = ", ".join(f"{what.label} {v:.4g} {what.unit}" for what, v in (x, y))
            return (
                f"Nothing on this map meets all limits. {near} comes nearest: it misses "
                f"{self.binding[j, i]} by {-self.slack[j, i]:.1f} steps."
            )
        spans = ", ".join(
            f"{axis.setting.label} {self.box[axis.setting.name][0]:.4g} to "
            f"{self.box[axis.setting.name][1]:.4g} {axis.setting.unit}"
            for axis in (self.x, self.y)
        )
        text = (
            f"{100 * self.share:.0f} % of the map meets all limits. The largest box inside is {spans}; its "
            f"middle is {self.centre[self.x.setting.name]:.4g} {self.x.setting.unit} and "
            f"{self.centre[self.y.setting.name]:.4g} {self.y.setting.unit}. Both settings may be off by "
            f"{self.tolerances_held:.1f} times their tolerance ({self.x.tolerance:.3g} "
            f"{self.x.setting.unit}, {self.y.tolerance:.3g} {self.y.setting.unit}) at the same time."
        )
        warm = {w: self.centre[n] for w, n in (("preheat", "preheat_c"), ("forging", "forging_c"), ("quench start", "quench_start_c")) if np.isfinite(self.centre.get(n, np.nan))}  # fmt: skip
        text += f" Temperatures there: {', '.join(f'{w} {t:.0f} °C' for w, t in warm.items())}."
        if self.sure is not None:
            text += (
                f" To set: {settings_words(self.proposed)}; {100 * self.sure.chance_right:.0f} % that this is right, then {self.sure.heads_inside} of "
                f"100 heads inside ({self.sure.with_doubt} with the model's doubt)."
            )
        if self.at_edge:
            text += " The box ends at the edge of the map: the window may be larger."
        return text


def window(
    steel, head=None, route=None, x=_X, y=_Y, limits=None, *, tolerances=None, **options
) -> Window:
    """Map two settings, and find the region that meets all limits.

    Parameters
    ----------
    steel, head, route
        The case; what is not on an axis stays as it is.
    x, y : (name, low, high, points)
        Any setting of the route, dimension of the head, element or shop number (see `vary.settings`), and
        ``forging_c``, the mean temperature of the metal when the press closes, in place of the preheat temperature.
    limits : Limits, optional
        The default set of the route when left out.
    tolerances : mapping of str to float, optional
        By how much each of the two settings may be off, in its unit.  Left out: twice the standard deviation
        of the default spread of a shop (`Setting.tolerance`), or a twentieth of the axis.
    **options
        ``shop``, ``line``, ``reference``, ``threads``, ``progress``, ``cancel``, ``bench`` (see `study.Study`); after a
        cancel the map ends with the last row of y finished by then.

    Raises
    ------
    InputError
        Unknown setting, an axis that is none, a value out of bounds.

    Examples
    --------
    >>> found = window("4130", x=("preheat_c", 850, 950, 5), y=("flux", 6, 14, 5),
    ...                limits=Limits(face_hardness_hv=(350, 550)))
    >>> found.maps["face_hardness_hv"].shape
    (5, 5)
    """
    study = Study.of(steel, head, route, limits, options)
    if tolerances is not None and not isinstance(tolerances, Mapping):
        raise InputError(
            f"tolerances must be a mapping such as {{'flux': 1}}; got {shown(tolerances)}."
        )
    axes = [_axis(given, tolerances or {}) for given in (x, y)]
    if axes[0].setting.name == axes[1].setting.name:
        raise InputError(f"both axes are {axes[0].setting.name}; give two different settings.")
    ax, ay = axes
    grid = np.meshgrid(ax.values, ay.values)
    values = _to_set(study, {ax.setting.name: grid[0].ravel(), ay.setting.name: grid[1].ravel()})
    pieces = list(study.tables(values, total=grid[0].size))
    rows = sum(len(p["slack"]) for p in pieces) // len(ax.values)
    if rows < 2:
        raise Stopped("the map was stopped before two rows of it were finished.")
    shape, done = (rows, len(ax.values)), rows * len(ax.values)
    found = {n: np.concatenate([p[n] for p in pieces])[:done].reshape(shape) for n in pieces[0]}
    ay = dataclasses.replace(ay, values=ay.values[:rows])
    slack, binding = found.pop("slack"), found["binding"]
    maps = {name: values for name, values in found.items() if values.dtype.kind == "f"}
    centre, box, held, at_edge = _largest_box(slack, ax, ay)
    if centre is not None:
        centre |= {name: _at(values, ax, ay, centre) for name, values in maps.items()}
    now, stopped = _now(slack, ax, ay, study), rows < len(grid[0])
    proposed, sure = (None, None) if box is None or stopped else _proposed(study, centre, box)
    region = (maps, slack, binding, study.limits, centre, box, held, at_edge, now)
    return Window(ax, ay, *region, proposed, sure, stopped)


def _to_set(study: Study, values: Mapping[str, np.ndarray]) -> dict[str, np.ndarray]:
    """The values with the preheat temperature in place of a forging temperature, which other settings may move."""
    if FORGING.name not in values:
        return dict(values)
    ((name, other),) = ((n, v) for n, v in values.items() if n != FORGING.name)
    preheats_c = np.empty(len(other))
    for value in np.unique(other):
        here = other == value
        case = study.changed({name: float(value)})
        preheats_c[here] = preheat_for_c(case[0], values[FORGING.name][here], *case[1:])
    return {"preheat_c": preheats_c, name: other}


def _proposed(study: Study, centre, box):
    """What a shop can set next to the centre, the surest of it, and how sure."""
    middle = _to_set(study, {name: np.array([centre[name]]) for name in box})
    middle = {name: float(v[0]) for name, v in middle.items()}
    near = neighbours(middle, {name: (what.low, what.high) for name, what in zip(middle, map(setting, middle), strict=True)})  # fmt: skip
    table = study.assess(study.varied(near))
    places = [{n: float(v[i]) for n, v in near.items()} for i in np.flatnonzero(table["meets"])]
    found = sureness([study.changed(place) for place in places], study.limits, study.bench)
    if not found:
        return None, None
    i = max(range(len(found)), key=lambda k: found[k].least)
    return places[i], found[i]


def _axis(given, tolerances: Mapping[str, float]) -> Axis:
    form = "(name, low, high, points) such as ('preheat_c', 850, 950, 40)"
    name, low, high, points = check_list(given, "axis", form, 4)
    what = FORGING if name == FORGING.name else setting(name)
    low, high = (what.check(end, "axis") for end in (low, high))
    n = check_number(points, "points of an axis", 2, 2000)
    if n != int(n) or not low < high:
        raise InputError(
            f"axis {name} goes from {low:g} to {high:g} in {n:g} points; give from low to high in a "
            "whole number of points."
        )
    if name in tolerances:
        label = f"tolerance of {what.label}"
        tolerance = check_number(tolerances[name], label, 1e-9, high - low, what.unit)
    elif what.spread is not None:
        tolerance = what.tolerance(0.5 * (low + high))
    else:
        tolerance = _SHARE_OF_AXIS * (high - low)
    return Axis(what, np.linspace(low, high, int(n)), float(tolerance))


def _crossings(slack: np.ndarray, ax: Axis, ay: Axis) -> tuple[np.ndarray, np.ndarray]:
    """Points, in tolerances, where the region ends: on lines between neighbours, interpolated straight."""
    u, v = ax.values / ax.tolerance, ay.values / ay.tolerance
    us, vs = [], []
    # a point without a number is outside as far as its neighbour is inside
    finite = np.where(np.isfinite(slack), slack, np.where(slack > 0.0, 1e6, -1e6))
    for axis in (0, 1):
        a, b = (finite[:-1], finite[1:]) if axis == 0 else (finite[:, :-1], finite[:, 1:])
        j, i = np.nonzero((a >= 0.0) != (b >= 0.0))
        share = a[j, i] / (a[j, i] - b[j, i])
        if axis == 0:
            us.append(u[i])
            vs.append(v[j] + share * (v[j + 1] - v[j]))
        else:
            us.append(u[i] + share * (u[i + 1] - u[i]))
            vs.append(v[j])
    outside_v, outside_u = np.nonzero(finite < 0.0)
    return np.concatenate([*us, u[outside_u]]), np.concatenate([*vs, v[outside_v]])


def _largest_box(slack: np.ndarray, ax: Axis, ay: Axis):
    """Centre and box of the largest box (square in tolerances) inside the region, about grid points."""
    from scipy.spatial import KDTree

    inside = np.argwhere(slack >= 0.0)
    if not len(inside):
        return None, None, 0.0, False
    u, v = ax.values / ax.tolerance, ay.values / ay.tolerance
    to_edge = np.minimum(
        np.minimum(u - u[0], u[-1] - u)[None, :], np.minimum(v - v[0], v[-1] - v)[:, None]
    )
    reach = np.full(slack.shape, np.inf)
    end_u, end_v = _crossings(slack, ax, ay)
    if len(end_u):
        points = np.column_stack([u[inside[:, 1]], v[inside[:, 0]]])
        reach[*inside.T] = KDTree(np.column_stack([end_u, end_v])).query(points, p=np.inf)[0]
    size = np.where(slack >= 0.0, np.minimum(reach, to_edge), -1.0)
    # where many boxes are about as large the one in their midst is taken
    ties = np.argwhere(size >= (1.0 - _ALIKE) * size.max() - 1e-12)
    j, i = ties[np.abs(ties - ties.mean(axis=0)).sum(axis=1).argmin()]
    at_u, at_v, held = _moved_off_grid(
        float(u[i]), float(v[j]), float(size[j, i]), u, v, end_u, end_v, slack
    )
    half_u, half_v = _grown(at_u, at_v, held, u, v, end_u, end_v)
    centre, box, to_edge = {}, {}, []
    for axis, w, at, half in ((ax, u, at_u, half_u), (ay, v, at_v, half_v)):
        name, unit = axis.setting.name, axis.tolerance
        centre[name] = float(at * unit)
        box[name] = float((at - half) * unit), float((at + half) * unit)
        to_edge += [at - half - w[0], w[-1] - at - half]
    centre["slack"] = _at(slack, ax, ay, centre)
    return centre, box, held, bool(min(to_edge) <= 1e-9)


def _moved_off_grid(at_u, at_v, held, u, v, end_u, end_v, slack):
    """A better middle between the grid points, by looking around the best of them ever more closely."""
    from scipy.interpolate import RegularGridInterpolator

    inside = RegularGridInterpolator((v, u), np.where(np.isfinite(slack), slack, -1e6))
    step_u, step_v = u[1] - u[0], v[1] - v[0]
    shares = np.linspace(-1.0, 1.0, 9)
    for _ in range(4):
        for du in shares * step_u:
            for dv in shares * step_v:
                pu, pv = at_u + du, at_v + dv
                reach = min(pu - u[0], u[-1] - pu, pv - v[0], v[-1] - pv)
                if reach > held and len(end_u):
                    to_end = np.maximum(np.abs(end_u - pu), np.abs(end_v - pv))
                    reach = min(reach, float(to_end.min()))
                if reach > held * (1.0 + 1e-9) and inside([[pv, pu]])[0] >= 0.0:
                    best_u, best_v, held = pu, pv, reach
                    break
            else:
                continue
            at_u, at_v = best_u, best_v
            break
        step_u, step_v = step_u / 2.0, step_v / 2.0
    return at_u, at_v, held


def _grown(at_u, at_v, held, u, v, end_u, end_v):
    """The box grown past its square in the direction that has room, first along x, then along y."""
    halves = [held, held]
    for k, (at, ends, axis, other, other_ends) in enumerate(
        ((at_u, end_u, u, at_v, end_v), (at_v, end_v, v, at_u, end_u))
    ):
        beside = np.abs(other_ends - other) < halves[1 - k] * (1.0 - 1e-9)
        room = float(np.abs(ends[beside] - at).min()) if beside.any() else np.inf
        halves[k] = max(halves[k], min(room, at - axis[0], axis[-1] - at))
    return halves


def _at(values: np.ndarray, ax: Axis, ay: Axis, place) -> float:
    """A map at a place on it, by straight lines between its points."""
    from scipy.interpolate import RegularGridInterpolator

    at = [[place[ay.setting.name], place[ax.setting.name]]]
    return float(RegularGridInterpolator((ay.values, ax.values), values)(at)[0])


def _now(slack, ax: Axis, ay: Axis, study: Study) -> dict[str, float] | None:
    """Where the route stands on the map, and the slack there."""
    now = {}
    for axis in (ax, ay):
        name = axis.setting.name
        if name == FORGING.name:
            steel, *rest = study.case
            now[name] = metal_in_die_c(steel, study.value("preheat_c"), *rest)
        elif study.has(name):
            now[name] = study.value(name)
        if name not in now or not axis.values[0] <= now[name] <= axis.values[-1]:
            return None
    return {**now, "slack": _at(slack, ax, ay, now)}
