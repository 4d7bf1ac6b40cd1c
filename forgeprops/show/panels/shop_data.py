"""The shop's own data: judge heats, fit the shop, chart the log, find a cause, measure the spray.

Every panel takes its files by path or by the page's file chooser, reports what it met in them, and works
beside the page.
"""

from __future__ import annotations

from ...base.errors import InputError, check_number
from .. import style
from ..controls.file_panel import FileChoice, FilePanel, number_field, value_of
from ..controls.settings import Choice, Slider, note
from ..figures import shop_data as draw
from ..units import Units, units

__all__ = [
    "CausePanel",
    "FitPanel",
    "JudgePanel",
    "SprayCurvePanel",
    "TrackingPanel",
    "cause_panel",
    "fit_panel",
    "judge_panel",
    "spray_curve_panel",
    "tracking_panel",
]


class ShopSettings:
    """What the line is set to, and the shop file that the panel of the fit wrote: sliders and a file chooser.

    Parameters
    ----------
    shown : Units
        The reader's units.
    """

    def __init__(self, shown: Units):
        from ...inputs.route import Route

        first, self.units = Route(), shown
        self.sliders = {
            n: Slider(n, first.setting(n), shown)
            for n in ("preheat_c", "flux", "spray_s", "delay_s")
        }
        self.file = FileChoice("shop file, or empty", "", ".json")
        self.file.widget.add_class("fp-shop-file")
        self.rows = (*(s.row for s in self.sliders.values()), self.file.widget)
        self.keep = {**self.sliders, "shop_file": self.file}

    @property
    def route(self):
        """The default route with the settings of the sliders."""
        from ...inputs.route import Route

        return Route().with_(**{n: s.value for n, s in self.sliders.items()})

    @property
    def shop(self):
        """The shop of the file; None without one."""
        from ...inputs.shop import load_shop

        return self.file.read(load_shop)


class JudgePanel(FilePanel):
    """Certificates and limits in; a verdict for every heat out."""

    kind, go_words = "judge", "Judge the heats"
    shows = "face hardness and hosel bend of every heat"

    def __init__(self, display_units: Units | None = None):
        import ipywidgets as w

        import forgeprops

        self.file = FileChoice("certificates", "certificates.csv")
        self.head = Choice("judge-head", "head", forgeprops.heads(), "mid-iron")
        self.face_low, self.face_high = (
            number_field("face hardness from", 380.0),
            number_field("to, HV", 470.0),
        )
        self.hosel_low = number_field("hosel bend from, °", 1.5)
        self.settings = ShopSettings(display_units or units())
        self.chance = Slider("chance_percent", 50.0, self.settings.units)
        super().__init__(
            [
                self.file.widget,
                self.head.row,
                *self.settings.rows,
                w.HBox(
                    [self.face_low, self.face_high, self.hosel_low],
                    layout={"flex_flow": "row wrap"},
                ),
                self.chance.row,
            ],
            display_units,
            {
                "certificates": self.file,
                "head": self.head,
                **self.settings.keep,
                "face_from_hv": self.face_low,
                "face_to_hv": self.face_high,
                "hosel_from_deg": self.hosel_low,
                "chance_percent": self.chance,
            },
        )
        self.widget.add_class("fp-judge")
        self.table = w.HTML()
        self.below.children = [self.table]

    def items(self):
        bounds = {}
        low, high = (
            value_of(self.face_low, "face hardness"),
            value_of(self.face_high, "face hardness"),
        )
        if low is not None or high is not None:
            bounds["face_hardness_hv"] = (low, high)
        least = value_of(self.hosel_low, "hosel bend")
        if least is not None:
            bounds["hosel_allowed_deg"] = (least, None)
        self._limits, self._made = self._forgeprops.Limits(**bounds), []
        self._route, self._shop, self._chance = (
            self.settings.route,
            self.settings.shop,
            self.chance.value / 100.0,
        )
        found = self.file.read(self._forgeprops.read_certificates)
        if not found:
            raise InputError("no certificate is given; choose a file or write its path.")
        return found

    def step(self, item) -> None:
        from ...study.shop.heat_acceptance import Judgements

        judged = self._forgeprops.judge_heat(
            item, self.head.value, self._route, self._limits, self._shop, chance=self._chance
        )
        self._made.append(judged)
        self.result = Judgements(self._made)
        self.show()

    def show(self) -> None:
        """Show the heats judged so far."""
        self.draw(draw.draw_heats, self.result)
        self.tell("\n".join(j.words() for j in self.result))
        self.table.value = (
            self.result.table()
            .drop(columns="reason")
            .round(2)
            .to_html(index=False, border=0, na_rep="")
        )


class FitPanel(FilePanel):
    """Runs, certificates, traces and hardness in; the shop's own numbers out, to be saved."""

    kind, go_words, size = "fit", "Fit the shop", (1060, 680)
    shows = "the fit: traces, what it leaves, hardness, and the numbers found"

    def __init__(self, display_units: Units | None = None):
        import ipywidgets as w

        self.files = {
            label: FileChoice(label, name)
            for label, name in (
                ("runs", "runs.csv"),
                ("certificates", "certificates.csv"),
                ("traces", "traces.csv"),
                ("channels", "channels.csv"),
                ("hardness", "hardness.csv"),
            )
        }
        super().__init__([f.widget for f in self.files.values()], display_units, self.files)
        self.widget.add_class("fp-fit")
        self.head = w.Dropdown(
            options=[], description="traces of head", style={"description_width": "110px"}
        )
        self.head.observe(lambda _: self._draw(), names="value")
        self.file = w.Text(
            value="my.shop.json", description="shop file", style={"description_width": "90px"}
        )
        self.file.add_class("fp-save-as")
        self.save = w.Button(
            description="Save the shop",
            icon="save",
            tooltip="write the shop found to the file",
            layout={"width": "140px"},
        )
        self.save.add_class("fp-save-shop")
        self.save.on_click(lambda _: self._save())
        self.said = w.HTML()
        self.table = w.HTML()
        self.below.children = [self.head, self.table, w.HBox([self.file, self.save, self.said])]

    def compute(self):
        fp, files = self._forgeprops, self.files
        runs = files["runs"].read(fp.read_runs)
        steels = files["certificates"].read(fp.read_certificates)
        if runs is None or steels is None:
            raise InputError("runs and certificates are needed: they say what was measured.")
        traces = files["traces"].read(fp.read_traces, files["channels"].source)
        names = tuple(f.name for f in files.values() if f.source is not None)
        return fp.fit(
            traces,
            files["hardness"].read(fp.read_hardness),
            "mid-iron",
            steels,
            runs,
            data_files=names,
        )

    def show(self) -> None:
        """Show the fit."""
        self.tell(self.result.report())
        self.table.value = self.result.table().round(3).to_html(index=False, border=0)
        heads = list(dict.fromkeys(self.result.traces["head_id"]))
        self.head.options = heads
        self._draw()

    def _draw(self) -> None:
        if self.result is not None:
            self.draw(draw.draw_fit, self.result, self.head.value)

    def _save(self) -> None:
        if self.result is None:
            self.said.value = note("fit first; there is nothing to save yet")
            return
        try:
            self.result.shop.save(self.file.value)
            self.said.value = note(f"saved as {self.file.value}", bad=False)
        except InputError as error:
            self.said.value = note(str(error))


class TrackingPanel(FilePanel):
    """The shop's log in; control chart and drift alarm out."""

    go_words, size = "Chart the log", (1000, 460)
    shows = "control chart and cumulative sum of the log"

    def __init__(self, display_units: Units | None = None):
        self.file = FileChoice("log", "log.csv")
        super().__init__([self.file.widget], display_units)
        self.widget.add_class("fp-tracking")

    def compute(self):
        from ...study.shop.tracking import read_log, track

        log = self.file.read(read_log)
        if log is None:
            raise InputError("no log is given; choose a file or write its path.")
        return track(log)

    def show(self) -> None:
        """Show the chart."""
        self.draw(draw.draw_tracking, self.result)
        self.tell(self.result.summary())


class CausePanel(FilePanel):
    """Hardness that is off in; ranked causes and the check that parts them out."""

    kind, go_words = "cause", "Find the cause"
    shows = "readings that are off, and the chance of every cause"

    def __init__(self, display_units: Units | None = None):
        import ipywidgets as w

        import forgeprops

        self.grade = Choice("cause-grade", "steel grade", forgeprops.grades(), "4130")
        self.head = Choice("cause-head", "head", forgeprops.heads(), "mid-iron")
        self.settings = ShopSettings(display_units or units())
        first = {"face": "322 315 328", "hosel": "236 231 240"}
        self.measured = {
            z: w.Text(
                value=first.get(z, ""),
                description=f"{z}, HV",
                style={"description_width": "80px"},
                layout={"width": "300px"},
            )
            for z in style.ZONES
        }
        self.usual = {z: number_field(f"usual {z}, HV", None) for z in style.ZONES}
        for zone in style.ZONES:
            self.measured[zone].add_class(f"fp-measured-{zone}")
            self.usual[zone].add_class(f"fp-usual-{zone}")
        rows = [w.HBox([self.measured[z], self.usual[z]]) for z in style.ZONES]
        super().__init__(
            [
                w.HBox([self.grade.row, self.head.row], layout={"flex_flow": "row wrap"}),
                *self.settings.rows,
                w.HTML(
                    "Readings of each zone (one or several, with blanks between), and what "
                    "they usually "
                    "measure where that is known:"
                ),
                *rows,
            ],
            display_units,
            {
                "grade": self.grade,
                "head": self.head,
                **self.settings.keep,
                **{f"{z}_hv": field for z, field in self.measured.items()},
                **{f"usual_{z}_hv": field for z, field in self.usual.items()},
            },
        )
        self.widget.add_class("fp-cause")

    def compute(self):
        fp = self._forgeprops
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
        usual = {z: value_of(self.usual[z], f"usual {z}") for z in measured}
        known = (
            None
            if all(v is None for v in usual.values())
            else {z: v for z, v in usual.items() if v is not None}
        )
        settings = self.settings
        return fp.find_cause(
            measured, self.grade.value, self.head.value, settings.route, settings.shop, usual=known
        )

    def show(self) -> None:
        """Show the ranking."""
        self.draw(draw.draw_causes, self.result)
        self.tell(self.result.report())


class SprayCurvePanel(FilePanel):
    """A plate's thermocouple under the spray in; the spray's own heat transfer out."""

    kind, go_words = "spray_curve", "Work out the curve"
    shows = "heat transfer of the spray, and the trace it comes from"

    def __init__(self, display_units: Units | None = None):
        import ipywidgets as w

        self.file = FileChoice("plate trace", "plate.csv")
        self.channel = w.Text(
            value="P1",
            description="channel",
            style={"description_width": "80px"},
            layout={"width": "170px"},
        )
        self.thickness, self.depth = (
            number_field("plate, mm", 10.0),
            number_field("thermocouple at, mm", 1.0),
        )
        self.water, self.flux = (
            number_field("water, °C", 25.0),
            number_field("water, kg/(m² s)", 12.0),
        )
        super().__init__(
            [
                self.file.widget,
                w.HBox(
                    [self.channel, self.thickness, self.depth, self.water, self.flux],
                    layout={"flex_flow": "row wrap"},
                ),
            ],
            display_units,
            {
                "trace": self.file,
                "channel": self.channel,
                "plate_mm": self.thickness,
                "thermocouple_mm": self.depth,
                "water_c": self.water,
                "flux": self.flux,
            },
        )
        self.widget.add_class("fp-spray-curve")

    def _needed(self, field) -> float:
        value = value_of(field, field.description)
        if value is None:
            raise InputError(f"{field.description} is empty; needed is a number.")
        return value

    def compute(self):
        from ...study.spray_plate.conduction import Plate
        from ...study.spray_plate.heat_transfer import cooling_curve

        if self.file.source is None:
            raise InputError("no trace is given; choose a file or write its path.")
        self.flux_used = check_number(self._needed(self.flux), "spray flux", 0.1, 60.0, "kg/(m² s)")
        depth, channel = self._needed(self.depth), self.channel.value.strip()
        traces = self.file.read(self._forgeprops.read_traces, {channel: ("face", depth)})
        return cooling_curve(
            *traces.trace(channel),
            Plate(self._needed(self.thickness), depth),
            self._needed(self.water),
        )

    def show(self) -> None:
        """Show the curve."""
        self.draw(draw.draw_spray_curve, self.result, self.flux_used)
        factor, _ = self.result.multiplier(self.flux_used)
        words = [
            f"The spray multiplier of this shop is about {factor:.2f}: hand it on as "
            f"Shop(spray={factor:.2f}).",
            *(w.text for w in self.result.warnings),
        ]
        self.tell("\n".join(words))


def judge_panel():
    """Return the panel that judges a list of certificates."""
    return JudgePanel().widget


def fit_panel():
    """Return the panel that fits the shop's own numbers."""
    return FitPanel().widget


def tracking_panel():
    """Return the panel that charts the shop's log."""
    return TrackingPanel().widget


def cause_panel():
    """Return the panel that ranks what may have drifted."""
    return CausePanel().widget


def spray_curve_panel():
    """Return the panel that measures the spray on a test plate."""
    return SprayCurvePanel().widget
