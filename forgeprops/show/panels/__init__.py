# ruff: noqa: F401  (public names)
"""Pages of the notebooks: one function each, called in one line.

A page is a controller: controls by name → inputs → model → pictures and words (`controls.panel`).
"""

from ..controls.units_panel import UnitsPanel, units_panel
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
