"""One job: steel, head, route, limits, shop, bench and strike as one frozen value that is changed, saved and loaded."""

from __future__ import annotations

import dataclasses
import hashlib
import json
from collections.abc import Mapping
from dataclasses import dataclass, field
from types import MappingProxyType
from typing import Any

import numpy as np

from ..base.errors import InputError, check_choice, check_kind, shown
from ..io.saved import Saved, plain
from .cases import Cases, spread
from .grades import steel_of
from .head import Head, head
from .limits import Limits
from .route import Route
from .settings import by_part, setting, settings, table
from .shop import Shop
from .steel import Steel

#: Settings of the head that a strike may replace.
_STRIKE = ("loft_deg", "club_speed_m_s")
#: And what a strike takes beside it; its values are checked by `forgeprops.face.strike.Strike`.
_SURFACE = ("required_strikes", "front_finish", "back_finish", "front_removed_um")
_SURFACE += ("residual_mpa", "fillet_mm", "edge_notch")


@dataclass(frozen=True)
class Job(Saved):
    """What is made, and the limits it must keep; a part of another kind or an unknown name is an InputError.

    Attributes
    ----------
    steel, head : Or what `grades.steel_of` makes one of; the name of a library head.
    limits : What the verdict is against; the default set of the route where there are none.
    bench : Bending bench and required change, by the names of `forgeprops.hosel_bend`.
    strike : The swing, ``loft_deg`` and ``club_speed_m_s``, else the head's own, and surface and
        residual stress, by the names of `forgeprops.face.strike.Strike`.

    Examples
    --------
    >>> job = Job("4130").with_(preheat_c=900, face_thickness_mm=2.6, bar_mm=600)
    >>> job.route.preheat_c, job.head.face_thickness_mm, job.bench["bar_mm"]
    (900.0, 2.6, 600.0)
    >>> load_job(Job("1045").with_(spray_s=6).as_bytes()).route.spray.duration_s
    6.0
    """

    KIND = "job"

    steel: Steel | str = "4130"
    head: Head | str = "mid-iron"
    route: Route = field(default_factory=Route)
    limits: Limits = field(default_factory=Limits)
    shop: Shop = field(default_factory=Shop)
    bench: Mapping[str, Any] = field(default_factory=dict)
    strike: Mapping[str, Any] = field(default_factory=dict)

    def __post_init__(self):
        object.__setattr__(self, "steel", steel_of(self.steel))
        if isinstance(self.head, str):
            object.__setattr__(self, "head", head(self.head))
        for name, kind in (("head", Head), ("route", Route), ("limits", Limits), ("shop", Shop)):
            check_kind(getattr(self, name), kind, name, "job")
        for name in ("bench", "strike"):
            given = dict(check_kind(getattr(self, name), Mapping, name, "job"))
            for key, value in given.items():
                if name == "strike":
                    check_choice(key, "setting of the strike", _STRIKE + _SURFACE, "job")
                if key in _STRIKE or key in settings(name):
                    given[key] = table()[key].check(value, name)
                elif not isinstance(value, (str, bool, int, float)):
                    form = f"a number or a text, not {shown(value)}"
                    raise InputError(f"{name} {key} must be {form}.")
            object.__setattr__(self, name, MappingProxyType(given))

    def __hash__(self):
        return hash((self.steel, self.head, self.route, self.limits, self.shop))

    @property
    def id(self) -> str:
        """Eight digits that are the same for the same job: what a sheet is filed under.

        >>> Job().id == Job("4130").id, Job().id == Job("4130").with_(spray_s=9).id
        (True, False)
        """
        limits = self.limits if self.limits.bounds else Limits.of_route(self.route)
        case = (self.steel, self.struck_head, self.route, limits, self.shop)
        parts = [plain(part) for part in (*case, self.bench, self.surface)]
        text = json.dumps(parts, sort_keys=True, default=str)
        return hashlib.sha256(text.encode()).hexdigest()[:8]

    @property
    def struck_head(self) -> Head:
        """The head with the loft and the club speed of the strike."""
        swing = {name: value for name, value in self.strike.items() if name in _STRIKE}
        return self.head.with_(**swing) if swing else self.head

    @property
    def surface(self) -> dict[str, Any]:
        """What the strike says of the surface, by the names of `forgeprops.face.strike.Strike`."""
        return {name: value for name, value in self.strike.items() if name in _SURFACE}

    def with_(self, **changes) -> Job:
        """A copy with parts or single settings changed; an unknown name or a value out of bounds is refused.

        Parts by the names of the attributes; any setting of the route, dimension of the head, element, ``shop_``
        number or setting of the bench by its short name; ``spray=None`` for a route without spray.
        """
        grow, parts = dataclasses.replace, {f.name for f in dataclasses.fields(self)}
        job = grow(self, **{n: changes.pop(n) for n in parts & changes.keys()})
        dry = {"spray": changes.pop("spray")} if "spray" in changes else {}
        named = (s for s in table().values() if s.group not in ("later", "block"))
        known = {s.name: (s.group, s.name) for s in named}
        groups = by_part(changes, known, "setting", "--list says what each is")
        new = {"route": grow(job.route, **dry).with_(**groups.get("route", {}))}
        new["bench"] = {**job.bench, **groups.get("bench", {})}
        if "steel" in groups:
            content = {**job.steel.composition, **groups["steel"]}
            new["steel"] = grow(job.steel, composition=content)
        if "head" in groups:
            new["head"] = job.head.with_(**groups["head"])
        if "shop" in groups:
            shops = {n.removeprefix("shop_"): v for n, v in groups["shop"].items()}
            new["shop"] = grow(job.shop, **shops)
        return grow(job, **new)

    def value(self, name: str) -> float:
        """What a number of the job is now; an InputError says why the job does not have it."""
        what = setting(name)
        if what.group == "steel":
            return float(self.steel.get(name))
        if what.group == "route":
            value = self.route.setting(name)
        else:
            value = getattr(self.head if what.group == "head" else self.shop, what.field)
        if value is None:
            why = "this route has no spray, or takes the value of its surroundings"
            raise InputError(f"{name} cannot be varied: {why}.")
        return float(value)

    def varied(self, values: Mapping[str, np.ndarray]) -> Cases:
        """As many cases as the arrays are long, shape (n,), checked at the ends of every array."""
        for name, array in values.items():
            what = setting(name)
            for end in (float(np.min(array)), float(np.max(array))):
                what.check(end, "study")
                if what.group in ("head", "route"):
                    self.with_(**{name: end})
        return spread(self.steel, self.head, self.route, self.shop, values)


#: Read a job that `Job.save` wrote (see `Job.load`).
load_job = Job.load
