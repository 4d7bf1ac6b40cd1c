"""Panels of the notebooks: one function each, called in one line.

A panel is a controller: widgets → frozen inputs → model → pictures and words.  Only the controller knows both
sides; inputs can be saved and loaded, and everything runs without a kernel in ordinary tests.
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

__all__ = [
    "BandPanel",
    "CausePanel",
    "ChoosePanel",
    "ComparePanel",
    "EstimatePanel",
    "FilmPanel",
    "FitPanel",
    "ForgingTemperaturePanel",
    "GradeMapPanel",
    "HoselBenchPanel",
    "JudgePanel",
    "Lesson",
    "ScatterPanel",
    "SettingsCase",
    "SprayCurvePanel",
    "TaskPanel",
    "TrackingPanel",
    "UnitsPanel",
    "WindowPanel",
    "band_panel",
    "cause_panel",
    "choose_panel",
    "compare_panel",
    "coverage_panel",
    "estimate_panel",
    "film_panel",
    "fit_panel",
    "forging_temperature_panel",
    "formula_panel",
    "goals_panel",
    "grade_map_panel",
    "hosel_bench_panel",
    "judge_panel",
    "parity_panel",
    "remembered_panel",
    "scatter_panel",
    "settings_case",
    "spray_curve_panel",
    "task_panel",
    "tracking_panel",
    "units_panel",
    "window_panel",
]
