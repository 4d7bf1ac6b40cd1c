"""What a shop's scatter makes of the settings, and the settings that stand it best."""

from __future__ import annotations

from ...inputs.job import Job
from ...inputs.settings import table
from ...study.process.search import SETTINGS as SEARCHED
from .. import markup
from ..controls.fields import choice, html
from ..figures.scatter import input_words, quantities_shown, scatter_picture
from .settings import CasePanel, SettingsCase

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


def _drawn(job: Job, what: str, chemistry: str, n: int, base: int, progress, cancel):
    """Scatter of a job; finished ones are kept."""
    import forgeprops

    key = (job, what, chemistry, n, base)
    if key in _FINISHED:
        return _FINISHED[key]
    found = forgeprops.scatter(
        *(job.steel, job.head, job.route, _LAWS if what == "heads" else None, job.limits),
        n=n,
        chemistry=chemistry,
        indices=base or False,
        quantities=quantities_shown(job.limits),
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

    kind, size = "scatter", (1080, 600)
    shows = "distributions of the results, and what moves them"

    def __init__(self, case: SettingsCase, model=None):
        self._model = model or _drawn
        self.what = choice("scatter-what", "what varies", _WHAT, "all")
        self.analysis = choice("scatter-analysis", "analysis of the steel", _ANALYSIS, "heat")
        controls = {"what": self.what, "analysis": self.analysis}
        super().__init__(case, controls, f"Draw {_MORE[0]} heads", (_MORE,))
        self.start()

    def start(self) -> None:
        """Draw a first look, then the everyday answer."""
        self.run((_LOOK, _EVERYDAY))

    def step(self, sizes: tuple[int, int]) -> None:
        n, base = sizes

        def progress(done: int, total: int) -> None:
            self.work.tell(f"{done} of {total} heads")

        asked = (self._asked, self.what.value, self.analysis.value, n, base)
        self.result = self._model(*asked, progress, self.work.stopping)
        self.draw(scatter_picture, self.result)
        self.tell(self.sentences())

    def sentences(self) -> list[str]:
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


def _searched(job: Job, progress, cancel):
    import forgeprops

    asked = (job.steel, job.head, job.route, job.limits, SEARCHED)
    return forgeprops.choose(*asked, starts=2, progress=progress, cancel=cancel)


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

    kind, size, go_words = "choose", (1080, 600), "Search"
    shows = "distributions at the settings found, and what moves them"

    def __init__(self, case: SettingsCase, model=None):
        self._model = model or _searched
        super().__init__(case, take="Take these settings")
        shown, parts = case.units, []
        for name, ends in SEARCHED.items():
            low, high = (shown.shown(table()[name], end) for end in ends)
            parts.append(f"{shown.title(table()[name])}: {low:.4g} to {high:.4g}")
        self.top.children = (html("choose-ranges", markup.line(f"Turned: {'; '.join(parts)}.")),)
        self.live.widget.layout.display = "none"  # until there is a picture
        self.tell(
            "Press Search. It takes a minute or two; Stop ends it with the best found by then."
        )

    def start(self) -> None:
        """Search."""
        self.run(("search",))

    def take(self) -> None:
        self.case.move(self.result.settings)

    def step(self, item) -> None:
        self.buttons["take"].disabled = True
        self.work.tell("searching …")

        def progress(done: int, total: int) -> None:
            self.work.tell(f"{done} heads calculated so far")

        self.result = self._model(self._asked, progress, self.work.stopping)
        if self.result.scatter is not None:
            self.live.widget.layout.display = ""
            self.draw(scatter_picture, self.result.scatter)
        else:
            self.live.widget.layout.display, self.caption.value = "none", ""
        self.tell(self.sentences())
        self.buttons["take"].disabled = False

    def sentences(self) -> list[str]:
        """The answer in sentences."""
        found, told = self.result, []
        at = ", ".join(
            self.units.setting_text(table()[name], value) for name, value in found.settings.items()
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
