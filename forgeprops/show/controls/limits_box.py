"""The user's own limits: a field for each end, empty for no limit, and a sentence beside a bad one."""

from __future__ import annotations

from collections.abc import Mapping

from ...base.errors import InputError, check_choice
from ...inputs.limits import QUANTITIES, Limits
from .. import markup
from ..units import Units
from .fields import typed

__all__ = ["LimitsBox", "OFFERED"]

#: Quantities offered, results before costs; each is in the table of `compare`, on a window and in a scatter.
OFFERED = (
    "face_hardness_hv",
    "hosel_hardness_hv",
    "hosel_allowed_deg",
    "face_margin",
    "press_effort",
    "scale_um",
    "press_s",
    "heads_per_hour",
    "water_l",
)


class LimitsBox:
    """Two fields a quantity, "at least" and "at most"; a control whose value is a mapping of bounds.

    Parameters
    ----------
    bounds : mapping of str to (low, high)
        First limits; None at an end means no limit there.
    display_units : Units
        A hardness limit is given in HV; in other scales it is said beside the fields.

    Attributes
    ----------
    row : ipywidgets.VBox
    limits : Limits
        The last usable limits.
    """

    def __init__(self, bounds: Mapping, display_units: Units):
        import ipywidgets as w

        self._units, self._busy, self._callbacks = display_units, False, []
        self.name, self.fields, self.notes, self.note = "limits", {}, {}, w.HTML()
        rows = []
        for name in OFFERED:
            q, base = QUANTITIES[name], f"limit-{name.replace('_', '-')}"
            words = f"{q.label}, {q.unit}".rstrip(", ")
            low = typed(f"{base}-low", f"{words}, at least", "", 240, "325px").widget
            high = typed(f"{base}-high", "at most", "", 60, "145px").widget
            for field in (low, high):
                field.placeholder, field.continuous_update = "none", False
                field.observe(lambda _: self._typed(), names="value")
            self.fields[name], self.notes[name] = (low, high), w.HTML()
            look = {"min_height": "32px", "align_items": "center"}
            rows.append(w.HBox([low, high, self.notes[name]], layout=look))
        title = w.HTML("<b>Your limits</b> (leave a field empty for no limit)")
        self.row = w.VBox([title, *rows, self.note])
        self.limits = Limits()
        self.value = self.check(bounds)

    @property
    def value(self) -> dict[str, list]:
        """The last usable limits, as a settings file keeps them."""
        return self.limits.saved()

    @value.setter
    def value(self, bounds: Mapping) -> None:
        self._busy = True
        try:
            for name, fields in self.fields.items():
                for field, value in zip(fields, bounds.get(name, (None, None)), strict=True):
                    field.value = "" if value is None else f"{value:.10g}"
        finally:
            self._busy = False
        self._typed()

    def check(self, value, name: str = "limits"):
        """The bounds if each has a field here; otherwise an InputError."""
        if not isinstance(value, Mapping):
            raise InputError(
                f"{name} is {value!r:.60}; allowed is a mapping of quantities to (low, high)."
            )
        bounds = dict(Limits(**value).bounds)
        for quantity in bounds:
            check_choice(quantity, "limit on this page", OFFERED)
        return bounds

    def on_change(self, callback) -> None:
        """Call ``callback(self)`` after every usable change."""
        self._callbacks.append(callback)

    def _typed(self) -> None:
        if self._busy:
            return
        found, usable = {}, True
        for name, fields in self.fields.items():
            try:
                pair = tuple(_number(field.value, QUANTITIES[name].label) for field in fields)
                if pair != (None, None):
                    Limits(**{name: pair})  # so that the fault is told beside its own field
                    found[name] = pair
                self.notes[name].value = self._beside(name, pair)
            except InputError as error:
                usable, self.notes[name].value = False, markup.note(str(error))
        if usable:
            self.limits = Limits(**found)
            for callback in self._callbacks:
                callback(self)

    def _beside(self, name: str, pair) -> str:
        """The same in the reader's hardness scale."""
        if self._units.hardness == "HV" or not name.endswith("_hv") or pair == (None, None):
            return ""
        words = " to ".join(self._units.hardness_text(v) for v in pair if v is not None)
        return markup.note(words, bad=False)


def _number(text: str, what: str) -> float | None:
    text = text.strip().replace(",", ".")
    if not text:
        return None
    try:
        return float(text)
    except ValueError:
        raise InputError(f"limit on {what} is {text!r}; allowed is a number, or nothing.") from None
