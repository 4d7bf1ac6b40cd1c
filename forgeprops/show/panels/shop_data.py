"""The shop's own data: accept heats, fit the shop, chart the log, find a cause, measure the spray.

Every page takes its files by path or by the page's file chooser, reports what it met in them, and works
beside the page.
"""

from __future__ import annotations

from ...base.errors import InputError, check_number
from ...inputs.route import Route
from .. import markup, style
from ..controls.fields import Control, FileChoice, Slider, button, html, number, typed
from ..controls.panel import WorkPanel, case_controls, row
from ..figures import shop_data as draw
from ..units import Units, units

_ROUTE = ("preheat_c", "flux", "spray_s", "delay_s")


def _shop_controls(shown: Units) -> dict[str, Control]:
    """What the line is set to, and the shop file that the page of the fit wrote."""
    file = FileChoice("shop file, or empty", "", ".json")
    return {**case_controls(_ROUTE, shown), "shop_file": file}


class ShopPanel(WorkPanel):
    """A page of the shop's data."""

    def __init__(self, controls, columns=(), display_units: Units | None = None):
        super().__init__(controls, columns, display_units)
        self.widget.add_class("fp-shop-data")

    def answer(self, control) -> None:
        """Nothing happens before the button is pressed."""

    @property
    def route(self) -> Route:
        """The default route with the settings of the sliders."""
        return Route().with_(**{n: self.sliders[n].value for n in _ROUTE})

    @property
    def shop(self):
        """The shop of the file; None without one."""
        from ...inputs.shop import load_shop

        return self.controls["shop_file"].read(load_shop)


class JudgePanel(ShopPanel):
    """Certificates and limits in; a verdict for every heat out."""

    kind, go_words = "judge", "Check the heats"
    shows = "face hardness and hosel bend of every heat"

    def __init__(self, display_units: Units | None = None):
        shown = display_units or units()
        self.file = FileChoice("certificates", "certificates.csv")
        self.face_low = number("face-from", "face hardness from", 380.0)
        self.face_high = number("face-to", "face hardness to, HV", 470.0)
        self.hosel_low = number("hosel-from", "hosel bend from, °", 1.5)
        limits = {
            "face_from_hv": self.face_low,
            "face_to_hv": self.face_high,
            "hosel_from_deg": self.hosel_low,
        }
        controls = {
            "certificates": self.file,
            **case_controls(("head",), shown),
            **_shop_controls(shown),
        }
        controls |= {**limits, "chance_percent": Slider("chance_percent", 50.0, shown)}
        files = ("certificates", "shop_file", "head", *limits)
        super().__init__(controls, (files, (*_ROUTE, "chance_percent")), shown)
        self.table = html()
        self.below.children = [self.table]

    def items(self):
        import forgeprops

        bounds = {
            "face_hardness_hv": (self.face_low.read(), self.face_high.read()),
            "hosel_allowed_deg": (self.hosel_low.read(), None),
        }
        bounds = {name: ends for name, ends in bounds.items() if ends != (None, None)}
        chance = self.inputs.chance_percent / 100.0
        asked = (self.inputs.head, self.route, forgeprops.Limits(**bounds), self.shop)
        self._asked, self._made = (asked, chance), []
        found = self.file.read(forgeprops.read_certificates, needed="certificate")
        if not found:
            raise InputError("no certificate is given; choose a file or write its path.")
        return found

    def step(self, item) -> None:
        import forgeprops

        from ...study.shop.heat_acceptance import Judgements

        asked, chance = self._asked
        self._made.append(forgeprops.judge_heat(item, *asked, chance=chance))
        self.result = Judgements(self._made)
        self.draw(draw.draw_heats, self.result)
        self.tell([j.words() for j in self.result])
        self.table.value = _written(self.result.table().drop(columns="reason"), 2)


class FitPanel(ShopPanel):
    """Runs, certificates, traces and hardness in; the shop's own numbers out, to be saved."""

    kind, go_words, size = "fit", "Fit the shop", (1060, 680)
    shows = "the fit: traces, what it leaves, hardness, and the numbers found"

    def __init__(self, display_units: Units | None = None):
        import ipywidgets as w

        names = ("runs", "certificates", "traces", "channels", "hardness")
        self.files = {name: FileChoice(name, f"{name}.csv") for name in names}
        super().__init__(self.files, (), display_units)
        self.head = w.Dropdown(options=[], description="traces of head")
        self.head.observe(lambda _: self._draw(), names="value")
        self.file = typed("save-as", "shop file", "my.shop.json", 90)
        self.save = button("save-shop", "Save the shop", "save", self._save, "140px")
        self.said, self.table = html(), html()
        self.below.children = [self.head, self.table, row(self.file.widget, self.save, self.said)]

    def compute(self):
        import forgeprops as fp

        files = self.files
        runs = files["runs"].read(fp.read_runs)
        steels = files["certificates"].read(fp.read_certificates)
        if runs is None or steels is None:
            raise InputError("runs and certificates are needed: they say what was measured.")
        traces = files["traces"].read(fp.read_traces, files["channels"].source)
        hardness = files["hardness"].read(fp.read_hardness)
        names = tuple(f.file_name for f in files.values() if f.source is not None)
        return fp.fit(traces, hardness, "mid-iron", steels, runs, data_files=names)

    def show(self) -> None:
        """Show the fit."""
        self.tell(self.result.report())
        self.table.value = _written(self.result.table(), 3)
        self.head.options = list(dict.fromkeys(self.result.traces["head_id"]))
        self._draw()

    def _draw(self) -> None:
        if self.result is not None:
            self.draw(draw.draw_fit, self.result, self.head.value)

    def _save(self) -> None:
        if self.result is None:
            self.said.value = markup.note("fit first; there is nothing to save yet")
            return
        try:
            self.result.shop.save(self.file.value)
            self.said.value = markup.note(f"saved as {self.file.value}", bad=False)
        except InputError as error:
            self.said.value = markup.note(str(error))


class TrackingPanel(ShopPanel):
    """The shop's log in; control chart and drift alarm out."""

    kind, go_words, size = "tracking", "Chart the log", (1000, 460)
    shows = "control chart and cumulative sum of the log"

    def __init__(self, display_units: Units | None = None):
        self.file = FileChoice("log", "log.csv")
        super().__init__({"log": self.file}, (), display_units)

    def compute(self):
        from ...study.shop.tracking import read_log, track

        return track(self.file.read(read_log, needed="log"))

    def show(self) -> None:
        """Show the chart."""
        self.draw(draw.draw_tracking, self.result)
        self.tell(self.result.summary())


class CausePanel(ShopPanel):
    """Hardness that is off in; ranked causes and the check that separates them out."""

    kind, go_words = "cause", "Find the cause"
    shows = "readings that are off, and the chance of every cause"

    def __init__(self, display_units: Units | None = None):
        shown, first = display_units or units(), {"face": "322 315 328", "hosel": "236 231 240"}
        self.measured = {
            z: typed(f"measured-{z}", f"{z}, HV", first.get(z, ""), 80, "300px")
            for z in style.ZONES
        }
        self.usual = {z: number(f"usual-{z}", f"usual {z}, HV", None) for z in style.ZONES}
        readings = {f"{z}_hv": field for z, field in self.measured.items()}
        usual = {f"usual_{z}_hv": field for z, field in self.usual.items()}
        case = {**case_controls(("grade", "head"), shown), **_shop_controls(shown)}
        super().__init__(
            case | readings | usual, (tuple(case), tuple(readings), tuple(usual)), shown
        )
        how = (
            "Readings of each zone (one or several, with blanks between), and what they usually measure "
            "where that is known."
        )
        self.widget.children = (html("", markup.line(how)), *self.widget.children)

    def compute(self):
        import forgeprops

        measured = {}
        for zone, field in self.measured.items():
            words = field.value.replace(";", " ").split()
            try:
                numbers = [float(word.replace(",", ".")) for word in words]
            except ValueError:
                raise InputError(
                    f"{zone} is {field.value!r}; allowed are numbers in HV, with blanks between."
                ) from None
            if numbers:
                measured[zone] = numbers
        usual = {z: self.usual[z].read() for z in measured}
        usual = {z: v for z, v in usual.items() if v is not None}
        case = (self.inputs.grade, self.inputs.head, self.route, self.shop)
        return forgeprops.find_cause(measured, *case, usual=usual or None)

    def show(self) -> None:
        """Show the ranking."""
        self.draw(draw.draw_causes, self.result)
        self.tell(self.result.report())


class SprayCurvePanel(ShopPanel):
    """A plate's thermocouple under the spray in; the spray's own heat transfer out."""

    kind, go_words = "spray_curve", "Calculate the curve"
    shows = "heat transfer of the spray, and the trace it comes from"

    def __init__(self, display_units: Units | None = None):
        self.file = FileChoice("plate trace", "plate.csv")
        self.channel = typed("channel", "channel", "P1")
        self.thickness = number("plate-mm", "plate, mm", 10.0)
        self.depth = number("thermocouple-mm", "thermocouple at, mm", 1.0)
        self.water = number("water-c", "water, °C", 25.0)
        self.flux = number("spray-rate", "spray rate, kg/(m² s)", 12.0)
        fields = {
            "channel": self.channel, "plate_mm": self.thickness, "thermocouple_mm": self.depth,
            "water_c": self.water, "flux": self.flux,
        }  # fmt: skip
        super().__init__({"trace": self.file, **fields}, (("trace",), tuple(fields)), display_units)

    def compute(self):
        import forgeprops

        from ...study.spray_plate.conduction import Plate
        from ...study.spray_plate.heat_transfer import cooling_curve

        flux, depth = self.flux.read(needed=True), self.depth.read(needed=True)
        self.flux_used = check_number(flux, "spray rate", 0.1, 60.0, "kg/(m² s)")
        channel = self.channel.value.strip()
        where = {channel: ("face", depth)}
        traces = self.file.read(forgeprops.read_traces, where, needed="trace")
        plate = Plate(self.thickness.read(needed=True), depth)
        return cooling_curve(*traces.trace(channel), plate, self.water.read(needed=True))

    def show(self) -> None:
        """Show the curve."""
        self.draw(draw.draw_spray_curve, self.result, self.flux_used)
        factor, _ = self.result.multiplier(self.flux_used)
        words = (
            f"The spray multiplier of this shop is about {factor:.2f}: use it as "
            f"Shop(spray={factor:.2f})."
        )
        self.tell([words, *(w.text for w in self.result.warnings)])


def _written(frame, digits: int) -> str:
    """A DataFrame as a table of the page."""
    shown = frame.round(digits).astype(object).where(frame.notna(), "")
    return markup.table(shown.columns, shown.itertuples(index=False))


def judge_panel():
    """Return the page that checks a list of certificates."""
    return JudgePanel().widget


def fit_panel():
    """Return the page that fits the shop's own numbers."""
    return FitPanel().widget


def tracking_panel():
    """Return the page that charts the shop's log."""
    return TrackingPanel().widget


def cause_panel():
    """Return the page that ranks what may have drifted."""
    return CausePanel().widget


def spray_curve_panel():
    """Return the page that measures the spray on a test plate."""
    return SprayCurvePanel().widget
