"""The user's own limits: a field for each end, empty for no limit, and a sentence beside a bad one."""

from __future__ import annotations

import html
from collections.abc import Mapping

from ...base.errors import InputError
from ...inputs.limits import QUANTITIES, Limits
from ..units import Units
from .settings import note

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
    """Two fields a quantity, "at least" and "at most".

    Parameters
    ----------
    bounds : mapping of str to (low, high)
        First limits; None at an end means no limit there.
    display_units : Units
        A hardness limit is given in HV; in other scales it is said beside the fields.

    Attributes
    ----------
    widget : ipywidgets.VBox
    limits : Limits
        The last usable limits.
    """

    def __init__(self, bounds: Mapping, display_units: Units):
        import ipywidgets as w

        self._units, self._busy, self._callbacks = display_units, False, []
        self.fields, self.notes = {}, {}
        rows = []
        for name in OFFERED:
            q = QUANTITIES[name]
            ends = []
            for end, words, width in (
                ("low", f"{_label(q)}, at least", "325px"),
                ("high", "at most", "145px"),
            ):
                field = w.Text(
                    description=words,
                    placeholder="none",
                    continuous_update=False,
                    style={"description_width": "240px" if end == "low" else "60px"},
                    layout={"width": width},
                )
                field.add_class(f"fp-limit-{name.replace('_', '-')}-{end}")
                field.observe(lambda _: self._typed(), names="value")
                ends.append(field)
            self.fields[name], self.notes[name] = tuple(ends), w.HTML()
            rows.append(
                w.HBox(
                    [*ends, self.notes[name]],
                    layout={"min_height": "32px", "align_items": "center"},
                )
            )
        title = w.HTML("<b>Your limits</b> (leave a field empty for no limit)")
        self.widget = w.VBox([title, *rows])
        self.limits = Limits()
        self.put(bounds)

    def read(self) -> Limits:
        """Limits as the fields say.

        Raises
        ------
        InputError
            A field that is no number, or a low end that is not below the high one.
        """
        found = {}
        for name, fields in self.fields.items():
            pair = tuple(_number(field.value, QUANTITIES[name].label) for field in fields)
            if pair != (None, None):
                Limits(**{name: pair})  # so that the fault is told beside its own field
                found[name] = pair
        return Limits(**found)

    def put(self, bounds: Mapping) -> None:
        """Set the fields; nothing changes if one of the limits cannot be used.

        Raises
        ------
        InputError
            Not a mapping of offered quantities to pairs.
        """
        if not isinstance(bounds, Mapping):
            raise InputError(
                f"limits is {bounds!r:.60}; allowed is a mapping of quantities to (low, high)."
            )
        limits = Limits(**bounds)
        for name in limits.bounds:
            if name not in self.fields:
                raise InputError(
                    f"limit on {name} has no field here; allowed are {', '.join(OFFERED)}."
                )
        self._busy = True
        try:
            for name, fields in self.fields.items():
                for field, value in zip(fields, limits.bounds.get(name, (None, None)), strict=True):
                    field.value = "" if value is None else f"{value:.10g}"
        finally:
            self._busy = False
        self._typed()

    @property
    def kept(self) -> dict[str, list]:
        """Limits as a settings file keeps them."""
        return {name: list(pair) for name, pair in self.limits.bounds.items()}

    def on_change(self, callback) -> None:
        """Call ``callback()`` after every usable change."""
        self._callbacks.append(callback)

    def _typed(self) -> None:
        if self._busy:
            return
        found, usable = {}, True
        for name, fields in self.fields.items():
            try:
                pair = tuple(_number(field.value, QUANTITIES[name].label) for field in fields)
                if pair != (None, None):
                    Limits(**{name: pair})
                    found[name] = pair
                self.notes[name].value = self._beside(name, pair)
            except InputError as error:
                usable, self.notes[name].value = False, note(str(error))
        if usable:
            self.limits = Limits(**found)
            for callback in self._callbacks:
                callback()

    def _beside(self, name: str, pair) -> str:
        """The same in the reader's hardness scale."""
        if self._units.hardness == "HV" or not name.endswith("_hv") or pair == (None, None):
            return ""
        words = " to ".join(
            html.escape(self._units.hardness_text(v)) for v in pair if v is not None
        )
        return note(words, bad=False)


def _label(quantity) -> str:
    return f"{quantity.label}, {quantity.unit}" if quantity.unit else quantity.label


def _number(text: str, what: str) -> float | None:
    text = text.strip().replace(",", ".")
    if not text:
        return None
    try:
        return float(text)
    except ValueError:
        raise InputError(f"limit on {what} is {text!r}; allowed is a number, or nothing.") from None
