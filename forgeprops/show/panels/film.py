"""The route as a film: the head coloured by temperature beside the paths through the diagram of its steel."""

from __future__ import annotations

import numpy as np

from .. import markup, style
from ..canvas import LiveFigure
from ..controls.accessibility import slider_names
from ..figures import HeadOutline
from ..figures.diagram import TransformationDiagram
from ..units import Units, units

#: Frames: even steps of log time, so that the seconds of the water and the minutes in air both get their
#: share.
_FRAMES = 150
_FIRST_S, _LAST_S = 0.5, 1200.0
_MS_PER_FRAME = 120


class FilmPanel:
    """Play, pause and scrub through the route from the furnace to cold.

    Parameters
    ----------
    grade, head : str
        Library names.
    result : Estimate, optional
        Show this result instead.
    display_units : Units, optional
    """

    def __init__(
        self,
        grade: str = "4130",
        head: str = "mid-iron",
        result=None,
        display_units: Units | None = None,
    ):
        import ipywidgets as w

        import forgeprops

        from .lesson import diagram_of

        self._units = display_units or units()
        self.result = result or forgeprops.estimate(forgeprops.grade(grade), forgeprops.head(head))
        self.times_s = np.concatenate([[0.0], np.geomspace(_FIRST_S, _LAST_S, _FRAMES - 1)])
        self.play = w.Play(value=0, min=0, max=_FRAMES - 1, interval=_MS_PER_FRAME, tooltip="play")
        self.frame = w.IntSlider(value=0, min=0, max=_FRAMES - 1, readout=False, description="time",
                                 style={"description_width": "40px"}, layout={"width": "520px"})  # fmt: skip
        w.jslink((self.play, "value"), (self.frame, "value"))
        self.play.add_class("fp-play")
        self.frame.add_class("fp-frame")
        self.clock, self.caption = w.HTML(), w.HTML()
        self.clock.add_class("fp-clock")
        self.live = LiveFigure(
            1060, 400, "the head by temperature, and the paths of face and hosel"
        )
        self.live.widget.add_class("fp-film")
        with style.look():
            left, right = self.live.figure.subplots(1, 2, width_ratios=(0.9, 1.2))
            self.outline = HeadOutline(left, "temperature", self._units)
            self.paths = TransformationDiagram(right, units=self._units)
        diagram = diagram_of(self.result)
        self.paths.update(self.result, diagram)
        self.caption.value = markup.line(self.describe(diagram))
        self.outline.update(self.result, 0.0)
        self.live.set_live(*self.outline.artists, *self.paths.artists)
        self.frame.observe(lambda change: self.at(change["new"]), names="value")
        self.at(0)
        self.widget = w.VBox([w.HBox([self.play, self.frame, self.clock], layout={"align_items": "center"}),
                              self.live.widget, self.caption, slider_names()])  # fmt: skip

    def at(self, frame: int) -> None:
        """Show one frame."""
        time_s = float(self.times_s[frame])
        self.outline.update(self.result, time_s)
        self.paths.at(time_s)
        self.live.refresh()
        self.clock.value = f'<b role="status">{time_s:.1f} s: {self.doing(time_s)}</b>'

    def describe(self, diagram) -> str:
        """What the film shows, for those who cannot see it: every zone when something begins or ends."""
        parts, text = [], self._units.temperature_text
        out_s = self.result.events["out of furnace"]
        for words, event in (("in the die", "in die"), ("when the water starts", "water on"),
                             ("when it stops", "water off")):  # fmt: skip
            if event in self.result.events:
                at = self.result.events[event]
                now = {z: float(np.interp(at, self.result.zones[z].time_s, self.result.zones[z].temperature_c))
                       for z in ("face", "body", "hosel")}  # fmt: skip
                told = ", ".join(f"{zone} {text(value)}" for zone, value in now.items())
                parts.append(f"{words} ({at - out_s:.1f} s) {told}")
        return f"The head by temperature: {'; '.join(parts)}. {self.paths.describe(self.result, diagram)}"

    def doing(self, time_s: float) -> str:
        """What happens to the head at this time."""
        events = {
            name: at - self.result.events["out of furnace"]
            for name, at in self.result.events.items()
        }
        words = "carried to the press"
        for name, now in (("in die", "in the die"), ("end of stroke", "pressed, waiting"),
                          ("water on", "spray on the face"), ("water off", "cooling in air")):  # fmt: skip
            if name in events and time_s >= events[name]:
                words = now
        return (
            "cooling in air" if words == "pressed, waiting" and "water on" not in events else words
        )


def film_panel(grade: str = "4130", head: str = "mid-iron"):
    """Return the film of the default route."""
    return FilmPanel(grade, head).widget
