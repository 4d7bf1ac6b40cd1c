"""One step of a lesson: the reader guesses first, then sees the model's answer and the reason."""

from __future__ import annotations

from .. import markup, style
from .accessibility import slider_names


def number_guess(low: float, high: float, step: float, unit: str, first: float):
    """Slider for a guess in numbers."""
    import ipywidgets as w

    slider = w.FloatSlider(
        value=first, min=low, max=high, step=step, readout_format=".0f" if step >= 1 else ".1f",
        description=f"my guess, {unit}", style={"description_width": "150px"}, layout={"width": "460px"},
    )  # fmt: skip
    slider.add_class("fp-guess")
    return slider


def choice_guess(options):
    """Buttons for a guess in words."""
    import ipywidgets as w

    buttons = w.RadioButtons(options=list(options), value=None, layout={"width": "460px"})
    buttons.add_class("fp-guess")
    return buttons


class Question:
    """Question, guess, button; the answer appears below and says how the guess compares.

    Parameters
    ----------
    title, ask : str
        Heading and question.
    guess : ipywidgets widget with ``value``
    answer : callable
        ``answer(guess value) -> (verdict, reason, picture widget or None, picture in words)``.

    Attributes
    ----------
    widget : ipywidgets.VBox
    answered : bool
    """

    def __init__(self, title: str, ask: str, guess, answer):
        import ipywidgets as w

        self.guess, self._answer, self.answered = guess, answer, False
        self.show = w.Button(
            description="Show me", icon="eye", button_style="primary", layout={"width": "130px"}
        )
        self.show.add_class("fp-show")
        self.show.on_click(lambda _: self.reveal())
        self.box = w.VBox([])
        self.box.add_class("fp-answer")
        head = w.HTML(
            f'<div style="font-size:15px;line-height:1.4;max-width:900px"><b>{markup.text(title)}</b><br>'
            f"{markup.text(ask)}</div>"
        )
        self.widget = w.VBox(
            [
                head,
                w.HBox([guess, self.show], layout={"align_items": "flex-end"}),
                self.box,
                slider_names(),
            ]
        )
        self.widget.add_class("fp-question")

    def reveal(self) -> None:
        """Show the answer beside the guess as it stands; asks for a guess if there is none."""
        import ipywidgets as w

        if self.guess.value is None:
            self.box.children = [
                w.HTML('<span role="alert">Choose one first; a wrong guess teaches most.</span>')
            ]
            return
        verdict, reason, picture, told = self._answer(self.guess.value)
        words = w.HTML(
            '<div role="status" style="font-size:15px;line-height:1.45;max-width:900px"><p '
            'style="margin:6px 0">'
            f'<b style="color:{style.ACCENT}">{markup.text(verdict)}</b></p><p style="margin:6px 0">'
            f"{markup.text(reason)}</p></div>"
        )
        below = w.HTML(f'<p style="max-width:900px;color:{style.QUIET}">{markup.text(told)}</p>')
        self.box.children = [words, *([picture] if picture is not None else []), below]
        self.answered = True
