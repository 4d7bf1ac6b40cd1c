"""The case whose settings are chosen, shared by the panels of a notebook, and its process window."""

from __future__ import annotations

import functools

from ...answer.evaluation import estimate
from ...base.errors import InputError
from ...inputs.job import Job
from ...inputs.settings import table
from .. import markup
from ..controls.fields import button, choice, html
from ..controls.limits_box import LimitsBox
from ..controls.panel import Panel, WorkPanel, case_controls
from ..figures.window import window_picture
from ..units import Units, units

__all__ = ["SettingsCase", "WindowPanel", "settings_case", "window_panel"]

#: First limits: an invented wish.
_WISH = {
    "face_hardness_hv": (380.0, 450.0),
    "hosel_allowed_deg": (2.0, None),
    "scale_um": (None, 130.0),
}
#: Sliders of the case, which are also what a window or a search may turn.
TURNED = ("preheat_c", "flux", "delay_s", "spray_s", "water_c")
#: Axes a window offers.
AXES = {s.name: s.search for s in table().values() if s.search}
#: Points on each axis: a first look, the everyday map, and a finer one on request.
_GRIDS, _FINER = (12, 24), 48


class SettingsCase(Panel):
    """Steel, head, settings and limits: the controls that several panels share.

    Parameters
    ----------
    display_units : Units, optional
    **first
        First values of the controls.
    """

    kind = "settings"

    def __init__(self, display_units: Units | None = None, **first):
        shown, left, self._callbacks = display_units or units(), ("grade", "head", *TURNED), []
        controls = case_controls(left, shown, **first)
        controls["limits"] = self.box = LimitsBox(first.get("limits", _WISH), shown)
        super().__init__(controls, (left, ("limits",)), shown)
        top, _, _, _, keep, names = self.widget.children
        self.widget.children = (top, keep, names)
        self.widget.add_class("fp-case")

    def on_change(self, callback) -> None:
        """Call ``callback()`` after every change."""
        self._callbacks.append(callback)

    def answer(self, control) -> None:
        for callback in self._callbacks:
            callback()

    def move(self, values) -> None:
        """Move sliders, as far as they reach; others stay."""
        self.turn({n: self.sliders[n].nearest(v) for n, v in values.items() if n in self.sliders})


class CasePanel(WorkPanel):
    """A page that calculates something about the shared case, and says when it is no longer up to date.

    Parameters
    ----------
    case : SettingsCase
    controls : mapping of str to Control
    more : str
        Words of the button for more of the same.
    steps : tuple
        What ``more`` does.
    take : str
        Words of the button that takes over what was found.
    """

    def __init__(self, case: SettingsCase, controls=None, more: str = "", steps=(), take: str = ""):
        self.case, self.buttons, self._steps, self._asked = case, {}, (), None
        extra = []
        if more:
            act = functools.partial(self.run, steps)
            extra.append(button(f"{self.kind}-more", more, "search-plus", act))
        if take:
            self.buttons["take"] = button(f"{self.kind}-take", take, "crosshairs", self.take)
            self.buttons["take"].disabled = True
            extra.append(self.buttons["take"])
        super().__init__(controls or {}, (tuple(controls or ()),), case.units, extra)
        self.stale = html(f"{self.kind}-stale")
        self.bar.children = (*self.bar.children, self.stale)
        self.keep.widget.layout.display = "none"  # the case is what is saved
        self.live.widget.add_class(f"fp-{self.kind}-picture")
        self.headline.add_class(f"fp-{self.kind}-words")
        case.on_change(self._compare)

    def answer(self, control) -> None:
        self.start()

    def take(self) -> None:
        """Move the sliders of the case to what was found."""

    def _compare(self) -> None:
        """Say it when the picture is of other settings than those on the page."""
        same = self._asked in (None, self.case.job)
        late = "The picture is of earlier settings; press the button again."
        self.stale.value = "" if same else markup.note(late)

    def items(self):
        self._asked = self.case.job
        self._compare()
        return self._steps

    def run(self, steps) -> None:
        """Do these steps, one after the other; what is under way is stopped first."""
        self._steps = tuple(steps)
        super().start()


@functools.lru_cache(maxsize=32)
def _mapped(job: Job, x: str, y: str, points: int):
    import forgeprops

    axes = ((name, *AXES[name], points) for name in (x, y))
    return forgeprops.window(job.steel, job.head, job.route, *axes, job.limits)


class WindowPanel(CasePanel):
    """Two settings over a grid: maps, the region that meets all limits, its middle and how much room it has.

    Parameters
    ----------
    case : SettingsCase
    model : callable, optional
        ``model(job, x, y, points) -> Window``.
    x, y : str
        First axes.

    Attributes
    ----------
    result : Window
    """

    kind, size = "window", (1080, 430)
    shows = "process window over two settings"

    def __init__(self, case: SettingsCase, model=None, x: str = "preheat_c", y: str = "flux"):
        self._model = model or _mapped
        names = [(case.units.title(table()[name]), name) for name in AXES]
        self.x = choice("window-x", "to the right", names, x)
        self.y = choice("window-y", "upwards", names, y)
        super().__init__(
            case, {"x": self.x, "y": self.y}, "Finer map", (_FINER,), "Take the middle"
        )
        self.start()

    def start(self) -> None:
        """Draw a first look, then the map."""
        self.run(_GRIDS)

    def step(self, points: int) -> None:
        self.result = self._model(self._asked, self.x.value, self.y.value, points)
        self.draw(window_picture, self.result)
        self.tell(self.sentences())
        self.buttons["take"].disabled = self.result.centre is None or not self.result.limits.bounds

    def items(self):
        if self.x.value == self.y.value:
            words = f"Both axes are {self.x.widget.label}; allowed are two different ones."
            self.y.note.value = markup.note(words)
            raise InputError(words)
        self.y.note.value = ""
        return super().items()

    def take(self) -> None:
        found = self.result
        self.case.move({a.setting.name: found.centre[a.setting.name] for a in (found.x, found.y)})

    def _at(self, place) -> str:
        found = self.result
        return " and ".join(
            self.units.setting_text(a.setting, place[a.setting.name]) for a in (found.x, found.y)
        )

    def sentences(self) -> list[str]:
        """The answer in sentences."""
        found = self.result
        if not found.limits.bounds:
            return [
                "No limits are set, so everything meets them. Put in what you need, at the top."
            ]
        told = []
        if found.centre is None:
            j, i = divmod(int(found.slack.argmax()), found.slack.shape[1])
            place = {
                found.x.setting.name: found.x.values[i],
                found.y.setting.name: found.y.values[j],
            }
            told.append(
                f"Nothing on this map meets all your limits. Nearest is {self._at(place)}: it misses "
                f"{found.binding[j, i]} by {-found.slack[j, i]:.1f} steps."
            )
        else:
            held, units = found.tolerances_held, self.units
            told.append(
                f"The middle of the window is {self._at(found.centre)}: face "
                f"{units.hardness_text(found.centre['face_hardness_hv'])}, hosel {found.centre['hosel_allowed_deg']:.1f}°."
            )
            tolerances = " and ".join(
                units.step_text(a.setting, a.tolerance) for a in (found.x, found.y)
            )
            told.append(
                f"There both settings may be off at once by {held:.1f} times what a shop's settings wander "
                f"({tolerances})."
            )
            place = {a.setting.name: found.centre[a.setting.name] for a in (found.x, found.y)}
            verdict = estimate(self._asked.with_(**place), limits=found.limits).verdict
            told.append(f"Verdict there: {verdict.level}, {verdict.sure}.")
            if found.at_edge:
                told.append(
                    "The box ends at the edge of the map: the window may be larger than the map."
                )
        if found.now is not None:
            told.append(
                f"Where the sliders stand now there is room of {found.now['slack']:.1f} steps."
                if found.now["slack"] >= 0.0
                else f"Where the sliders stand now a limit is missed by {-found.now['slack']:.1f} steps."
            )
        return told


def settings_case(**first) -> SettingsCase:
    """Return the shared case; show its ``widget`` and hand it to the panels below.

    Parameters
    ----------
    **first
        First values of the controls: ``grade``, ``head``, the settings of `TURNED`, ``limits``.
    """
    return SettingsCase(**first)


def window_panel(case: SettingsCase, x: str = "preheat_c", y: str = "flux"):
    """Return the process window of a case."""
    return WindowPanel(case, x=x, y=y).widget
