"""What a shop's scatter makes of the settings, and the settings that stand it best."""

from __future__ import annotations

from ...inputs.limits import Limits
from ...inputs.settings import setting
from ...study.process.search import SETTINGS as SEARCHED
from ..controls.settings import Choice
from ..figures.scatter import input_words, quantities_shown, scatter_picture
from ..figures.window import setting_text, setting_words, shown_value
from .settings import CasePanel, SettingsCase, SettingsInputs

__all__ = ["ChoosePanel", "ScatterPanel", "choose_panel", "scatter_panel"]

#: Heads drawn and base sample of the indices: a first look, the everyday answer, and more on request.
_LOOK, _EVERYDAY, _MORE = (256, 0), (1024, 128), (8192, 512)
_LAWS = {"shop_spray": 0.0, "shop_emissivity": 0.0}
_WHAT = (("all, also how far the laws are off", "all"), ("from head to head only", "heads"))
_ANALYSIS = (
    ("of this heat (lab and segregation)", "heat"),
    ("anywhere within the grade", "grade"),
    ("as it stands", "fixed"),
)


#: Finished scatters by what was asked, the latest few.
_FINISHED: dict = {}
_KEEP = 16


def _drawn(
    asked: SettingsInputs,
    limits: Limits,
    what: str,
    chemistry: str,
    n: int,
    base: int,
    progress,
    cancel,
):
    """Scatter of a case; finished ones are kept."""
    import forgeprops

    key = (asked, limits, what, chemistry, n, base)
    if key in _FINISHED:
        return _FINISHED[key]
    found = forgeprops.scatter(
        asked.grade,
        asked.head,
        asked.route,
        _LAWS if what == "heads" else None,
        limits,
        n=n,
        chemistry=chemistry,
        indices=base or False,
        quantities=quantities_shown(limits),
        progress=progress,
        cancel=cancel,
    )
    if not found.cancelled:
        _FINISHED[key] = found
        while len(_FINISHED) > _KEEP:
            _FINISHED.pop(next(iter(_FINISHED)))
    return found


class ScatterPanel(CasePanel):
    """Distributions with limits, the share outside, capability, and which input matters.

    Parameters
    ----------
    case : SettingsCase
    model : callable, optional
        As `_drawn`.

    Attributes
    ----------
    result : Scatter
    """

    name, size = "scatter", (1080, 600)
    shows = "distributions of the results, and what moves them"

    def __init__(self, case: SettingsCase, model=None):
        import ipywidgets as w

        self._model = model or _drawn
        self.what = Choice("scatter-what", "what varies", _WHAT, "all")
        self.analysis = Choice("scatter-analysis", "analysis of the steel", _ANALYSIS, "heat")
        controls = [w.HBox([self.what.row, self.analysis.row], layout={"flex_flow": "row wrap"})]
        super().__init__(case, controls, f"Draw {_MORE[0]} heads")
        self.buttons["more"].on_click(lambda _: self.run((_MORE,)))
        for choice in (self.what, self.analysis):
            choice.on_change(lambda _: self.start())
        self.start()

    def start(self) -> None:
        """Draw a first look, then the everyday answer."""
        self.run((_LOOK, _EVERYDAY))

    def step(self, sizes: tuple[int, int]) -> None:
        n, base = sizes

        def progress(done: int, total: int) -> None:
            self.work.tell(f"{done} of {total} heads")

        self.result = self._model(
            *self._asked,
            self.what.value,
            self.analysis.value,
            n,
            base,
            progress,
            self.work.stopping,
        )
        self.draw(scatter_picture, self.result)
        self.tell("\n".join(self.answer()))

    def answer(self) -> list[str]:
        """The answer in sentences."""
        found = self.result
        told = []
        if found.limits.bounds:
            o = found.outside
            told.append(
                f"About {100 * o.share:.2g} of 100 heads miss a limit ({100 * o.low:.2g} to {100 * o.high:.2g} "
                f"with so many drawn)."
            )
            worst = max(found.by_quantity, key=lambda name: found.by_quantity[name].share)
            by = found.by_quantity[worst]
            if by.share > 0.0:
                c = by.capability
                told.append(
                    f"Most of them by {_label(worst)}"
                    + (
                        f"; its capability Cpk is {c.cpk:.2f}."
                        if c.normal
                        else f"; it is not normally distributed, so take its capability by percentiles, "
                        f"{c.by_percentiles:.2f}, not Cpk."
                    )
                )
        else:
            told.append(
                "No limits are set, so nothing is outside. Put in what you need, at the top."
            )
        words = {one.name: input_words(one) for one in found.inputs}
        for name in ("face_hardness_hv", "hosel_allowed_deg"):
            if name in found.indices:
                first, second = (words[i] for i in found.ranking(name)["input"].head(2))
                told.append(f"What moves {_label(name)} most: {first}, then {second}.")
        if found.cancelled:
            told.append("Stopped before its end: fewer heads than asked for.")
        return told


def _label(name: str) -> str:
    from ...inputs.limits import QUANTITIES

    return f"the {QUANTITIES[name].label}"


def _searched(asked: SettingsInputs, limits: Limits, progress, cancel):
    import forgeprops

    return forgeprops.choose(
        asked.grade,
        asked.head,
        asked.route,
        limits,
        SEARCHED,
        starts=2,
        progress=progress,
        cancel=cancel,
    )


class ChoosePanel(CasePanel):
    """Search of the settings that stand scatter best; where none do, which limit to relax.

    Parameters
    ----------
    case : SettingsCase
    model : callable, optional
        ``model(inputs, limits, progress, cancel) -> Choice``.

    Attributes
    ----------
    result : forgeprops.study.process.search.Choice
    """

    name, size, go_words = "choose", (1080, 600), "Search"
    shows = "distributions at the settings found, and what moves them"

    def __init__(self, case: SettingsCase, model=None):
        import ipywidgets as w

        self._model = model or _searched
        ranges = "; ".join(
            f"{setting_words(setting(name), case.units)}: {shown_value(setting(name), low, case.units):.4g} to "
            f"{shown_value(setting(name), high, case.units):.4g}"
            for name, (low, high) in SEARCHED.items()
        )
        super().__init__(case, [w.HTML(f"<p>Turned: {ranges}.</p>")])
        take = self._button("take", "Take these settings", "crosshairs")
        take.disabled = True
        take.on_click(lambda _: self.case.turn(self.result.settings))
        self.extra.children = (take,)
        self.live.widget.layout.display = "none"  # until there is a picture
        self.tell(
            "Press Search. It takes a minute or two; Stop ends it with the best found by then."
        )

    def start(self) -> None:
        """Search."""
        self.run(("search",))

    def step(self, item) -> None:
        self.buttons["take"].disabled = True
        self.work.tell("looking …")
        self.result = self._model(
            *self._asked,
            lambda done, _: self.work.tell(f"{done} heads worked out so far"),
            self.work.stopping,
        )
        if self.result.scatter is not None:
            self.live.widget.layout.display = ""
            self.draw(scatter_picture, self.result.scatter)
        else:
            self.live.widget.layout.display, self.caption.value = "none", ""
        self.tell("\n".join(self.answer()))
        self.buttons["take"].disabled = False

    def answer(self) -> list[str]:
        """The answer in sentences."""
        found, told = self.result, []
        at = ", ".join(
            setting_text(setting(name), value, self._units)
            for name, value in found.settings.items()
        )
        if found.feasible:
            told.append(f"These meet all your limits: {at}.")
            told.append(
                f"What comes first is {found.binding}, with {found.slack:.1f} steps to spare."
            )
            if found.scatter is not None:
                o = found.scatter.outside
                told.append(
                    f"With a shop's scatter about {100 * o.share:.2g} of 100 heads miss a limit "
                    f"({100 * o.low:.2g} to {100 * o.high:.2g})."
                )
            told += filter(None, [found.end_words()])
            cost = found.results
            told.append(
                f"Cost: {cost['press_s']:.1f} s on the press, {cost['heads_per_hour']:.0f} heads an hour, "
                f"{cost['water_l']:.2f} L of water a head."
            )
        else:
            told.append(f"No settings in these ranges meet all your limits. Nearest: {at}.")
            told.append(f"There {found.binding} is missed by {-found.slack:.1f} steps.")
            enough = found.relax[found.relax["enough"]] if len(found.relax) else found.relax
            if len(enough):
                row = enough.iloc[0]
                told.append(
                    f"Relax this one, by {row['by']:.3g} {row['unit']} to {row['to']:.4g}: {row['limit']}."
                )
            else:
                told.append("Giving way at one limit alone is not enough.")
        if found.cancelled:
            told.append("Stopped before its end: there may be better ones.")
        return told


def scatter_panel(case: SettingsCase):
    """Return the scatter of a case."""
    return ScatterPanel(case).widget


def choose_panel(case: SettingsCase):
    """Return the search of settings for a case."""
    return ChoosePanel(case).widget
