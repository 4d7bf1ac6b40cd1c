# ruff: noqa: F401  (public names)
"""Pages of the notebooks: one function each, called in one line.

A page is a controller: controls by name → inputs → model → pictures and words (`controls.panel`).
"""

from ..controls.units_panel import UnitsPanel, units_panel
from .compare import ComparePanel, compare_panel
from .estimate import EstimatePanel, estimate_panel
from .film import FilmPanel, film_panel
from .forging_temperature import ForgingTemperaturePanel, forging_temperature_panel
from .grade_map import GradeMapPanel, grade_map_panel
from .hosel_bench import HoselBenchPanel, hosel_bench_panel
from .lesson import Lesson
from .scatter import ChoosePanel, ScatterPanel, choose_panel, scatter_panel
from .settings import SettingsCase, WindowPanel, settings_case, window_panel
from .shop_data import (
    CausePanel,
    FitPanel,
    JudgePanel,
    SprayCurvePanel,
    TrackingPanel,
    cause_panel,
    fit_panel,
    judge_panel,
    spray_curve_panel,
    tracking_panel,
)
from .task import TaskPanel, task_panel
from .trust import (
    BandPanel,
    band_panel,
    coverage_panel,
    formula_panel,
    goals_panel,
    parity_panel,
    remembered_panel,
)
