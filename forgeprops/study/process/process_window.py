"""The process window: two settings over a grid, the region that meets all limits, its centre and slack."""

import dataclasses
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from ...answer.verdict import ShortVerdict
from ...base.errors import InputError, check_kind, check_list, check_number, check_whole
from ...base.in_words import InWords
from ...inputs.limits import Limits
from ...inputs.settings import Setting, setting, table
from ...io.tables import data_frame
from .preheat import preheat_for_c
from .study import Stopped, Study, joined, neighbours, settings_words

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
    """One axis of a window."""

    setting: Setting
    values: np.ndarray
    tolerance: float  # in the setting's unit, off by which nobody notices: what slack is counted in

    @property
    def title(self) -> str:
        """Words and unit for an axis of a figure."""
        return ", ".join(filter(None, (self.setting.label, self.setting.unit)))


@dataclass(frozen=True, repr=False)
class Window(InWords):
    """What `window` found; maps have shape (ny, nx), rows are y."""

    x: Axis
    y: Axis
    maps: Mapping[str, np.ndarray]  # every result and cost: "hosel_allowed_deg", "press_s" ...
    #: Distance inside the limits, steps of `inputs.limits.QUANTITIES`; outside < 0.
    slack: np.ndarray
    binding: np.ndarray  # texts: the limit that comes first
    limits: Limits
    #: The two settings at the centre of the largest box inside the region, and the results there.
    centre: Mapping[str, float] | None  # None: nothing meets the limits
    box: Mapping[str, tuple[float, float]] | None  # both settings may be anywhere in it together
    tolerances_held: float  # half-width of the box: at 1 both may be off by their tolerance at once
    at_edge: bool  # the box ends at the edge of the map: the window may be larger than the map
    #: The settable values next to the centre that meet all limits most surely; None: none of them does.
    proposed: Mapping[str, float] | None = None
    sure: ShortVerdict | None = None  # chances there, by 256 lots of 32 heads (standard error 0.02)
    cancelled: bool = False  # stopped before its end: the map holds the rows finished by then

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
        x, y, at, box, sure = self.x.setting, self.y.setting, self.centre, self.box, self.sure
        text = f"Stopped at {y.label} {self.y.values[-1]:.4g} {y.unit}. " * self.cancelled
        if at is None or box is None:
            j, i = np.unravel_index(int(np.argmax(self.slack)), self.slack.shape)
            place = ((x, self.x.values[i]), (y, self.y.values[j]))
            near = ", ".join(f"{what.label} {v:.4g} {what.unit}" for what, v in place)
            return (
                f"{text}Nothing on this map meets all limits. {near} comes nearest: it misses "
                f"{self.binding[j, i]} by {-self.slack[j, i]:.1f} steps. {self.limits.title}"
            )
        spans = ((s, *box[s.name]) for s in (x, y))
        spans = ", ".join(f"{s.label} {low:.4g} to {high:.4g} {s.unit}" for s, low, high in spans)
        text += (
            f"{100 * self.share:.0f} % of the map meets all limits. The largest box inside is {spans}; its "
            f"middle is {at[x.name]:.4g} {x.unit} and {at[y.name]:.4g} {y.unit}. Both settings may be off by "
            f"{self.tolerances_held:.1f} times their tolerance ({self.x.tolerance:.3g} {x.unit}, "
            f"{self.y.tolerance:.3g} {y.unit}) at the same time."
        )
        names = {"preheat": "preheat_c", "forging": "forging_c", "quench start": "quench_start_c"}
        warm = {what: at.get(name, np.nan) for what, name in names.items()}
        warm = ", ".join(f"{what} {t:.0f} °C" for what, t in warm.items() if np.isfinite(t))
        text += f" Temperatures there: {warm}."
        if sure is not None:
            text += (
                f" To set: {settings_words(self.proposed)}; {100 * sure.chance_right:.0f} % that this is right, then "
                f"{sure.heads_inside} of 100 heads inside ({sure.with_doubt} with the model's doubt)."
            )
        if self.at_edge:
            text += " The box ends at the edge of the map: the window may be larger."
        return f"{text} {self.limits.title}"


def window(
    steel, head=None, route=None, x=_X, y=_Y, limits=None, *, tolerances=None, **options
) -> Window:
    """Map two settings, and find the region that meets all limits.

    Parameters
    ----------
    steel, head, route : the case; what is not on an axis stays as it is.
    x, y : (name, low, high, points); any setting of the route, dimension of the head, element or shop
        number (see `inputs.settings.settings`), and ``forging_c``, the mean temperature of the metal when
        the press closes, in place of the preheat temperature.
    limits : Limits, optional; the default set of the route when left out.
    tolerances : mapping of name to float; by how much a setting may be off, in its unit.  Left out: twice
        the standard deviation of the default spread of a shop, or a twentieth of the axis.
    **options : ``shop, line, threads, progress, cancel, bench`` (see `study.Study`); after a
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
    tolerances = {} if tolerances is None else tolerances
    check_kind(tolerances, Mapping, "tolerances", form="a mapping such as {'flux': 1}")
    ax, ay = (_axis(given, tolerances) for given in (x, y))
    if ax.setting.name == ay.setting.name:
        raise InputError(f"both axes are {ax.setting.name}; give two different settings.")
    grid = np.meshgrid(ax.values, ay.values)
    values = _to_set(study, {ax.setting.name: grid[0].ravel(), ay.setting.name: grid[1].ravel()})
    pieces = list(study.tables(values, total=grid[0].size))
    rows = sum(len(p["slack"]) for p in pieces) // len(ax.values)
    if rows < 2:
        raise Stopped("the map was stopped before two rows of it were finished.")
    shape, done, stopped = (rows, len(ax.values)), rows * len(ax.values), rows < len(grid[0])
    found = {name: column[:done].reshape(shape) for name, column in joined(pieces).items()}
    ay = dataclasses.replace(ay, values=ay.values[:rows])
    slack, binding = found.pop("slack"), found["binding"]
    maps = {name: values for name, values in found.items() if values.dtype.kind == "f"}
    centre, box, held, at_edge = _largest_box(slack, ax, ay)
    if centre is not None:
        centre |= {name: _at(values, ax, ay, centre) for name, values in maps.items()}
    proposed, sure = (None, None) if box is None or stopped else _proposed(study, centre, box)
    region = (maps, slack, binding, study.limits, centre, box, held, at_edge)
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
    bounds = {name: (setting(name).low, setting(name).high) for name in middle}
    near = neighbours({name: float(v[0]) for name, v in middle.items()}, bounds)
    meets = np.flatnonzero(study.assess(study.job.varied(near))["meets"])
    places = [{n: float(v[i]) for n, v in near.items()} for i in meets]
    found = study.sureness([study.changed(place) for place in places])
    if not found:
        return None, None
    i = max(range(len(found)), key=lambda k: found[k].least)
    return places[i], found[i]


def _axis(given, tolerances: Mapping[str, float]) -> Axis:
    form = "(name, low, high, points) such as ('preheat_c', 850, 950, 40)"
    name, low, high, points = check_list(given, "axis", form, 4)
    what = FORGING if name == FORGING.name else setting(name)
    low, high = (what.check(end, "axis") for end in (low, high))
    n = check_whole(points, "points of an axis", 2, 2000)
    if not low < high:
        raise InputError(f"axis {name} goes from {low:g} to {high:g}; give from low to high.")
    tolerance = _SHARE_OF_AXIS * (high - low)
    if name in tolerances:
        label = f"tolerance of {what.label}"
        tolerance = check_number(tolerances[name], label, 1e-9, high - low, what.unit)
    elif what.spread is not None:
        tolerance = what.tolerance(0.5 * (low + high))
    return Axis(what, np.linspace(low, high, n), float(tolerance))


def _ends(slack: np.ndarray, at: np.ndarray) -> np.ndarray:
    """Where the region ends, shape (k, 2): straight between neighbours of the grid `at`, and all points outside."""
    # a point without a number is outside as far as its neighbour is inside
    s = np.where(np.isfinite(slack), slack, np.where(slack > 0.0, 1e6, -1e6))
    found = [at[s < 0.0]]
    for one, next_ in ((np.s_[:-1], np.s_[1:]), (np.s_[:, :-1], np.s_[:, 1:])):
        crossed = (s[one] >= 0.0) != (s[next_] >= 0.0)
        a, b, p, q = (part[crossed] for part in (s[one], s[next_], at[one], at[next_]))
        found.append(p + (a / (a - b))[:, None] * (q - p))
    return np.concatenate(found)


def _largest_box(slack: np.ndarray, ax: Axis, ay: Axis):
    """Centre and box of the largest box (square in tolerances) inside the region, its half-width, and whether it
    ends at the edge of the map."""
    from scipy.interpolate import RegularGridInterpolator
    from scipy.spatial import KDTree

    inside = slack >= 0.0
    if not inside.any():
        return None, None, 0.0, False
    axes = u, v = ax.values / ax.tolerance, ay.values / ay.tolerance
    at = np.stack(np.meshgrid(u, v), axis=-1)  # in tolerances
    low, high, ends = at[0, 0], at[-1, -1], _ends(slack, at)

    def reach(points: np.ndarray) -> np.ndarray:
        """Half-width of the square about each point that stays in the region and on the map."""
        edge = np.minimum(points - low, high - points).min(axis=-1)
        return np.minimum(edge, KDTree(ends).query(points, p=np.inf)[0]) if len(ends) else edge

    size = np.full(slack.shape, -1.0)
    size[inside] = reach(at[inside])
    # where many boxes are about as large the one in their midst is taken
    ties = np.argwhere(size >= (1.0 - _ALIKE) * size.max() - 1e-12)
    j, i = ties[np.abs(ties - ties.mean(axis=0)).sum(axis=1).argmin()]
    middle, held = at[j, i], float(size[j, i])
    # a better middle between the grid points, by looking around the best of them ever more closely
    finite = np.where(np.isfinite(slack), slack, -1e6)
    slack_at = RegularGridInterpolator((v, u), finite, bounds_error=False, fill_value=-1.0)
    shares = np.linspace(-1.0, 1.0, 9)
    around = np.stack(np.meshgrid(shares, shares, indexing="ij"), axis=-1).reshape(-1, 2)
    for halved in range(4):
        near = middle + around * (at[1, 1] - low) / 2.0**halved
        size = reach(near)
        better = (size > held * (1.0 + 1e-9)) & (slack_at(near[:, ::-1]) >= 0.0)
        if better.any():
            middle, held = near[better.argmax()], float(size[better.argmax()])
    # the square grows in the direction that has room, first along x, then along y
    halves = [held, held]
    for k in (0, 1):
        beside = np.abs(ends[:, 1 - k] - middle[1 - k]) < halves[1 - k] * (1.0 - 1e-9)
        room = np.abs(ends[beside, k] - middle[k]).min(initial=np.inf)
        halves[k] = max(halves[k], min(room, middle[k] - low[k], high[k] - middle[k]))
    centre, box, to_edge = {}, {}, []
    for axis, w, m, half in zip((ax, ay), axes, middle, halves, strict=True):
        name, unit = axis.setting.name, axis.tolerance
        centre[name] = float(m * unit)
        box[name] = float((m - half) * unit), float((m + half) * unit)
        to_edge += [m - half - w[0], w[-1] - m - half]
    centre["slack"] = _at(slack, ax, ay, centre)
    return centre, box, held, bool(min(to_edge) <= 1e-9)


def _at(values: np.ndarray, ax: Axis, ay: Axis, place) -> float:
    """A map at a place on it, by straight lines between its points."""
    from scipy.interpolate import RegularGridInterpolator

    at = [[place[ay.setting.name], place[ax.setting.name]]]
    return float(RegularGridInterpolator((ay.values, ax.values), values)(at)[0])
