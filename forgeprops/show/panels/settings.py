"""The case whose settings are chosen, shared by the panels of a notebook, and its process window."""

from __future__ import annotations

import dataclasses
import functools
from collections.abc import Mapping
from dataclasses import dataclass, field

from ...base.errors import InputError, check_choice
from ...inputs.limits import Limits
from ...inputs.route import Route
from ...inputs.settings import table
from ..controls.accessibility import slider_names
from ..controls.file_panel import FilePanel
from ..controls.limits_box import LimitsBox
from ..controls.save_bar import KeepBar, check_names
from ..controls.settings import Choice, Slider, note
from ..figures.window import setting_text, setting_words, shown_value, window_picture
from ..units import Units, units

__all__ = ["SettingsCase", "SettingsInputs", "WindowPanel", "settings_case", "window_panel"]

_ROUTE = Route()
#: First limits: an invented wish.
_WISH = {
    "face_hardness_hv": (380.0, 450.0),
    "hosel_allowed_deg": (2.0, None),
    "scale_um": (None, 130.0),
}
#: Sliders of the case, which are also what a window or a search may turn.
TURNED = ("preheat_c", "flux", "delay_s", "spray_s", "water_c")
#: Axes a window offers.
_AXES = {s.name: s.search for s in table().values() if s.search}
#: Points on each axis: a first look, the everyday map, and a finer one on request.
_GRIDS, _FINER = (12, 24), 48


@dataclass(frozen=True)
class SettingsInputs:
    """What the case asks for.

    Attributes
    ----------
    grade, head : str
    preheat_c, flux, delay_s, spray_s, water_c : float
        As `Route.SETTINGS`.
    limits : mapping of str to (low, high)
    """

    grade: str = "4130"
    head: str = "mid-iron"
    preheat_c: float = _ROUTE.preheat.temperature_c
    flux: float = _ROUTE.spray.flux_kg_m2_s
    delay_s: float = _ROUTE.spray.delay_s
    spray_s: float = _ROUTE.spray.duration_s
    water_c: float = _ROUTE.spray.water_c
    limits: Mapping = field(default_factory=lambda: dict(_WISH))

    @property
    def route(self) -> Route:
        """The default route with these settings."""
        return Route().with_(**{name: getattr(self, name) for name in TURNED})

    def __hash__(self):
        return hash(
            (self.grade, self.head, *(getattr(self, name) for name in TURNED), str(self.limits))
        )


class SettingsCase:
    """Steel, head, settings and limits: the controls that several panels share.

    Parameters
    ----------
    inputs : SettingsInputs
        First settings.
    display_units : Units, optional

    Attributes
    ----------
    widget : ipywidgets.VBox
    """

    def __init__(self, inputs: SettingsInputs | None = None, display_units: Units | None = None):
        import ipywidgets as w

        import forgeprops

        inputs, self.units = inputs or SettingsInputs(), display_units or units()
        self._forgeprops, self._busy, self._callbacks = forgeprops, False, []
        self.grade = Choice("grade", "steel grade", forgeprops.grades(), inputs.grade)
        self.head = Choice("head", "head", forgeprops.heads(), inputs.head)
        self.sliders = {name: Slider(name, getattr(inputs, name), self.units) for name in TURNED}
        self.box = LimitsBox(inputs.limits, self.units)
        self.keep = KeepBar("settings", self._kept, self.set_inputs)
        left = w.VBox([self.grade.row, self.head.row, *(s.row for s in self.sliders.values())])
        self.widget = w.VBox(
            [
                w.HBox([left, self.box.widget], layout={"flex_flow": "row wrap"}),
                self.keep.widget,
                slider_names(),
            ]
        )
        self.widget.add_class("fp-case")
        for control in (self.grade, self.head, *self.sliders.values()):
            control.on_change(lambda _: self._changed())
        self.box.on_change(self._changed)

    @property
    def inputs(self) -> SettingsInputs:
        """What the controls say now; of the limits the last usable ones."""
        numbers = {name: slider.value for name, slider in self.sliders.items()}
        return SettingsInputs(self.grade.value, self.head.value, **numbers, limits=self.box.kept)

    @property
    def limits(self) -> Limits:
        return self.box.limits

    def _kept(self) -> dict:
        return dataclasses.asdict(self.inputs)

    def on_change(self, callback) -> None:
        """Call ``callback()`` after every change."""
        self._callbacks.append(callback)

    def _changed(self) -> None:
        if not self._busy:
            for callback in self._callbacks:
                callback()

    def turn(self, settings: Mapping[str, float]) -> None:
        """Move sliders, as far as they reach; others stay."""
        self._busy = True
        try:
            for name, value in settings.items():
                if name in self.sliders:
                    low, high, _ = self.sliders[name].setting.slider
                    self.sliders[name].value = min(max(value, low), high)
        finally:
            self._busy = False
        self._changed()

    def set_inputs(self, values: dict) -> None:
        """Set the controls from saved inputs; nothing changes if one of them cannot be used.

        Raises
        ------
        InputError
            A name that is missing or unknown, or a value outside what the control offers.
        """
        check_names(values, (f.name for f in dataclasses.fields(SettingsInputs)))
        check_choice(values["grade"], "grade", self._forgeprops.grades(), "settings file")
        check_choice(values["head"], "head", self._forgeprops.heads(), "settings file")
        for name in TURNED:
            self.sliders[name].check(values[name])
        self._busy = True
        try:
            self.box.put(values["limits"])  # it checks before it changes anything
            self.grade.value, self.head.value = values["grade"], values["head"]
            for name, slider in self.sliders.items():
                slider.value = values[name]
        finally:
            self._busy = False
        self._changed()


class CasePanel(FilePanel):
    """A panel that works out something about the shared case, and says when it is no longer up to date."""

    name = ""

    def __init__(self, case: SettingsCase, controls, more: str = ""):
        import ipywidgets as w

        self.case = case
        super().__init__(controls, case.units)
        self.live.widget.add_class(f"fp-{self.name}-picture")
        self.words.add_class(f"fp-{self.name}-words")
        self.widget.add_class(f"fp-{self.name}")
        self.buttons = {}
        row = [self.go]
        if more:
            row.append(self._button("more", more, "search-plus"))
        self.extra, self.stale = w.HBox([]), w.HTML()
        self.stale.add_class(f"fp-{self.name}-stale")
        self.widget.children = tuple(
            w.HBox(
                [*row, self.extra, self.work.widget, self.stale],
                layout={"align_items": "center", "flex_flow": "row wrap"},
            )
            if self.go in getattr(child, "children", ())
            else child
            for child in self.widget.children
        )
        self._steps: tuple = ()
        self._asked = None
        case.on_change(self._compare)

    def _button(self, name: str, words: str, icon: str):
        import ipywidgets as w

        made = w.Button(description=words, icon=icon, layout={"width": "auto"})
        made.add_class(f"fp-{self.name}-{name}")
        self.buttons[name] = made
        return made

    def _compare(self) -> None:
        """Say it when the picture is of other settings than those on the page."""
        same = self._asked in (None, (self.case.inputs, self.case.limits))
        self.stale.value = (
            "" if same else note("The picture is of earlier settings; press the button again.")
        )

    def items(self):
        self._asked = (self.case.inputs, self.case.limits)
        self._compare()
        return self._steps

    def run(self, steps) -> None:
        """Do these steps, one after the other; what is under way is stopped first."""
        self.work.stop()
        self.work.join(raising=False)
        self._steps = tuple(steps)
        super().start()


@functools.lru_cache(maxsize=32)
def _mapped(asked: SettingsInputs, limits: Limits, x: str, y: str, points: int):
    import forgeprops

    return forgeprops.window(
        asked.grade, asked.head, asked.route, (x, *_AXES[x], points), (y, *_AXES[y], points), limits
    )


class WindowPanel(CasePanel):
    """Two settings over a grid: maps, the region that meets all limits, its middle and how much room it has.

    Parameters
    ----------
    case : SettingsCase
    model : callable, optional
        ``model(inputs, limits, x, y, points) -> Window``.
    x, y : str
        First axes.

    Attributes
    ----------
    result : Window
    """

    name, size = "window", (1080, 430)
    shows = "process window over two settings"

    def __init__(self, case: SettingsCase, model=None, x: str = "preheat_c", y: str = "flux"):
        import ipywidgets as w

        from ...inputs.settings import setting

        self._model = model or _mapped
        names = [(setting_words(setting(name), case.units), name) for name in _AXES]
        self.x = Choice("window-x", "to the right", names, x)
        self.y = Choice("window-y", "upwards", names, y)
        super().__init__(
            case, [w.HBox([self.x.row, self.y.row], layout={"flex_flow": "row wrap"})], "Finer map"
        )
        self.buttons["more"].on_click(lambda _: self.run((_FINER,)))
        take = self._button("take", "Take the middle", "crosshairs")
        take.disabled = True
        take.on_click(lambda _: self.take())
        self.extra.children = (take,)
        for axis in (self.x, self.y):
            axis.on_change(lambda _: self.start())
        self.start()

    def start(self) -> None:
        """Draw a first look, then the map."""
        self.run(_GRIDS)

    def step(self, points: int) -> None:
        self.result = self._model(*self._asked, self.x.value, self.y.value, points)
        self.draw(window_picture, self.result)
        self.tell("\n".join(self.answer()))
        self.buttons["take"].disabled = self.result.centre is None or not self.result.limits.bounds

    def items(self):
        if self.x.value == self.y.value:
            error = InputError(
                f"Both axes are {self.x.widget.label}; allowed are two different ones."
            )
            self.y.note.value = note(str(error))
            raise error
        self.y.note.value = ""
        return super().items()

    def take(self) -> None:
        """Move the sliders to the middle of the window, as far as there is a slider."""
        found = self.result
        self.case.turn({a.setting.name: found.centre[a.setting.name] for a in (found.x, found.y)})

    def _at(self, place) -> str:
        found = self.result
        return " and ".join(
            setting_text(a.setting, place[a.setting.name], self._units) for a in (found.x, found.y)
        )

    def answer(self) -> list[str]:
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
            held, units = found.tolerances_held, self._units
            told.append(
                f"The middle of the window is {self._at(found.centre)}: face "
                f"{units.hardness_text(found.centre['face_hardness_hv'])}, hosel {found.centre['hosel_allowed_deg']:.1f}°."
            )
            tolerances = " and ".join(_tolerance(a, units) for a in (found.x, found.y))
            told.append(
                f"There both settings may be off at once by {held:.1f} times what a shop's settings wander "
                f"({tolerances}): "
                + ("comfortable." if held >= 2 else "enough." if held >= 1 else "not enough.")
            )
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


def _tolerance(axis, units: Units) -> str:
    """How much a setting of an axis wanders, with its unit."""
    if axis.setting.unit == "°C":
        return f"{units.step_from_c(axis.tolerance):.2g} {units.temperature}"
    unit = units.length if axis.setting.unit == "mm" else axis.setting.unit
    return f"{shown_value(axis.setting, axis.tolerance, units):.2g} {unit}"


def settings_case(**settings) -> SettingsCase:
    """Return the shared case; show its ``widget`` and hand it to the panels below.

    Parameters
    ----------
    **settings
        First settings, see `SettingsInputs`.
    """
    return SettingsCase(SettingsInputs(**settings))


def window_panel(case: SettingsCase, x: str = "preheat_c", y: str = "flux"):
    """Return the process window of a case."""
    return WindowPanel(case, x=x, y=y).widget
