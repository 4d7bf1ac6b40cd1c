"""Controls of the pages: each has a name, a value that is checked before it is set, and room for a sentence."""

from __future__ import annotations

from pathlib import Path

from ...base.errors import InputError, check_choice, check_flag, check_number, shown
from ...base.tables import data_path
from ...inputs.settings import table
from .. import markup
from ..units import Units

_LABEL, _WIDE = {"description_width": "195px"}, {"width": "470px"}
_WHERE = "settings file"


def html(name: str = "", value: str = ""):
    """HTML widget with a name for tests."""
    import ipywidgets as w

    made = w.HTML(value)
    if name:
        made.add_class(f"fp-{name}")
    return made


def button(name: str, words: str, icon: str, act, width: str = "auto", **more):
    """Button that calls ``act()``."""
    import ipywidgets as w

    made = w.Button(description=words, icon=icon, layout={"width": width}, **more)
    made.add_class(f"fp-{name}")
    made.on_click(lambda _: act())
    return made


class Control:
    """A widget with its name, its value, and a place for a sentence beside it.

    Parameters
    ----------
    name : str
        Name on the page (class ``fp-name``).
    widget : ipywidgets widget
    """

    def __init__(self, name: str, widget):
        import ipywidgets as w

        self.name, self.widget, self.note = name, widget, w.HTML()
        widget.add_class(f"fp-{name.replace('_', '-')}")
        look = {"align_items": "center", "min_height": "32px"}
        self.row = w.HBox([widget, self.note], layout=look)

    @property
    def value(self):
        return self.widget.value

    @value.setter
    def value(self, value) -> None:
        self.widget.value = value

    def check(self, value, name: str = ""):
        """The value if the control offers it, as it is set; otherwise an InputError."""
        name, now = name or self.name, self.widget.value
        options = getattr(self.widget, "options", None)
        if options is not None:
            offered = [o[1] if isinstance(o, tuple) else o for o in options]
            if isinstance(now, tuple):
                if not isinstance(value, (list, tuple)):
                    raise InputError(f"{name} must be a list; got {shown(value)} ({_WHERE}).")
                return tuple(check_choice(v, name, offered, _WHERE) for v in value)
            return check_choice(value, name, offered, _WHERE)
        if isinstance(now, bool):
            return check_flag(value, name, _WHERE)
        if isinstance(value, (int, float)) and not isinstance(value, bool):
            return f"{value:g}"  # written into the file by hand
        if not isinstance(value, str):
            raise InputError(f"{name} must be a text or a number; got {shown(value)} ({_WHERE}).")
        return value

    def on_change(self, callback) -> None:
        """Call ``callback(self)`` after every change by the reader."""
        self.widget.observe(lambda _: callback(self), names="value")


def choice(name: str, label: str, options, value) -> Control:
    """Drop-down list of texts or of (words, value)."""
    import ipywidgets as w

    made = w.Dropdown(options=options, value=value, description=label, style=_LABEL, layout=_WIDE)
    return Control(name, made)


def several(name: str, label: str, options, value) -> Control:
    """List of which several can be chosen."""
    import ipywidgets as w

    look = {"style": {"description_width": "100px"}, "layout": {"width": "240px"}}
    return Control(
        name,
        w.SelectMultiple(options=options, value=tuple(value), rows=9, description=label, **look),
    )


def flag(name: str, label: str, value: bool) -> Control:
    """Tick box."""
    import ipywidgets as w

    made = w.Checkbox(value=value, description=label, indent=False, layout={"width": "80px"})
    return Control(name, made)


def buttons(name: str, label: str, options, value) -> Control:
    """A row of buttons, one of them pressed."""
    import ipywidgets as w

    look = {"description_width": "100px" if name.startswith("unit") else "60px"}
    wide = "80px" if name.startswith("unit") else "120px"
    made = w.ToggleButtons(
        options=options, value=value, description=label, style={**look, "button_width": wide}
    )
    return Control(name, made)


def typed(
    name: str, label: str, value: str = "", label_px: int = 140, width: str = "230px"
) -> Control:
    """Text field."""
    import ipywidgets as w

    look = {"description_width": f"{label_px}px"}
    return Control(
        name, w.Text(value=value, description=label, style=look, layout={"width": width})
    )


class number(Control):
    """Field for a number that may stay empty."""

    def __init__(self, name: str, label: str, value: float | None):
        first = "" if value is None else f"{value:g}"
        super().__init__(name, typed(name, label, first).widget)
        self.label = label

    def read(self, needed: bool = False) -> float | None:
        """The number; None for an empty field."""
        text = self.value.strip().replace(",", ".")
        if not text:
            if needed:
                raise InputError(f"{self.label} is empty; needed is a number.")
            return None
        try:
            return float(text)
        except ValueError:
            raise InputError(
                f"{self.label} must be a number or nothing; got {shown(self.value)}."
            ) from None


class Slider(Control):
    """Slider that holds its value in the package's unit and shows it in the reader's.

    Parameters
    ----------
    name : str
        Short name of a setting that has a slider (data/constants/settings.csv).
    value : float
        First value, in the package's unit.
    units : Units
    """

    def __init__(self, name: str, value: float, units: Units):
        import ipywidgets as w

        self.setting = table()[name]
        self._hot = self.setting.unit == "°C"
        made = w.FloatSlider(readout_format=f".{self.setting.digits}f", style=_LABEL, layout=_WIDE)
        super().__init__(name, made)
        self._quiet = False
        self.set_units(units, value)

    @property
    def value(self) -> float:
        """Value in the package's unit, a whole number of steps in the reader's unit."""
        shown = self.widget.value
        return round(self._units.to_c(shown), 6) if self._hot else shown

    @value.setter
    def value(self, value: float) -> None:
        self.widget.value = self._units.from_c(value) if self._hot else value

    def set_units(self, units: Units, value: float | None = None) -> None:
        """Show the same value in other units."""
        value, self._units = self.value if value is None else value, units
        low, high, step = self.setting.slider
        if self._hot:
            low, high, step = units.from_c(low), units.from_c(high), units.step_from_c(step)
        unit = units.temperature if self._hot else self.setting.unit
        self._quiet = True
        try:
            with self.widget.hold_trait_notifications():
                self.widget.min, self.widget.max, self.widget.step = low, high, step
                self.value = value
                self.widget.description = f"{self.setting.label}, {unit}".rstrip(", ")
        finally:
            self._quiet = False

    def check(self, value, name: str = "") -> float:
        low, high, _ = self.setting.slider
        return check_number(value, self.setting.label, low, high, self.setting.unit, _WHERE)

    def nearest(self, value: float) -> float:
        """The value as far as the slider reaches."""
        low, high, _ = self.setting.slider
        return min(max(value, low), high)

    def on_change(self, callback) -> None:
        self.widget.observe(lambda _: None if self._quiet else callback(self), names="value")


class FileChoice(Control):
    """Path of a file, or the page's file chooser; what was met while reading stands below.

    Parameters
    ----------
    label : str
    name : str
        File of data/demo shown first; empty for none.
    accept : str
        Endings the chooser offers.
    """

    #: Most notes about a file that are shown.
    _NOTES = 12

    def __init__(self, label: str, name: str = "", accept: str = ".csv,.xlsx"):
        import ipywidgets as w

        first = str(data_path("demo", name)) if name else ""
        self.path = typed("path", label, first, 160, "560px").widget
        look = {"description": "Choose", "layout": {"width": "120px"}}
        self.upload = w.FileUpload(accept=accept, tooltip=f"choose a file: {label}", **look)
        self.upload.add_class("fp-upload")
        super().__init__(label.split(",")[0].replace(" ", "-"), w.HBox([self.path, self.upload]))
        self.said = w.HTML()
        self.row = w.VBox([self.widget, self.said])
        self._chosen: tuple = ()
        self.upload.observe(lambda change: self._choose(change["new"]), names="value")
        self.path.observe(lambda _: self._typed(), names="value")

    def _choose(self, uploads) -> None:
        if uploads:
            self._chosen = tuple(uploads)
            self.path.value = f"chosen: {uploads[0]['name']}"
            self.upload.value = ()  # so that the same file can be chosen again

    def _typed(self) -> None:
        if not self.path.value.startswith("chosen: "):
            self._chosen = ()

    @property
    def chosen(self) -> bool:
        """Whether the file came through the page's chooser: it has a content but no path."""
        return bool(self._chosen)

    @property
    def value(self) -> str | None:
        """The path; None for a file chosen on the page."""
        return None if self.chosen else self.path.value

    @value.setter
    def value(self, path: str | None) -> None:
        if path is not None:  # a file chosen on the page stays where none was kept
            self.path.value = path

    def check(self, value, name: str = ""):
        if value is not None and not isinstance(value, (str, int, float)) or value is True:
            raise InputError(f"{name} must be a path; got {shown(value)} ({_WHERE}).")
        return value if value is None or isinstance(value, str) else f"{value:g}"

    def on_change(self, callback) -> None:
        self.path.observe(lambda _: callback(self), names="value")

    @property
    def source(self):
        """What the readers take: the upload or the path; None if neither is given."""
        return self._chosen or (self.path.value.strip() or None)

    @property
    def file_name(self) -> str:
        """File name for people."""
        return Path(self.path.value.removeprefix("chosen: ")).name

    def tell(self, problems) -> None:
        """Show what was met and assumed."""
        lines = [*list(problems)[: self._NOTES]]
        if len(problems) > len(lines):
            lines.append(f"and {len(problems) - len(lines)} more")
        words = f"{len(problems)} note(s) on {self.file_name}"
        self.said.value = markup.folded(words, markup.bullets(lines)) if lines else ""

    def read(self, reader, *arguments, needed: str = ""):
        """What `reader` makes of the file, its notes shown; None if no file is given."""
        if self.source is None:
            if needed:
                raise InputError(f"no {needed} is given; choose a file or write its path.")
            return None
        made = reader(self.source, *arguments)
        self.tell(getattr(made, "problems", ()))
        return made
