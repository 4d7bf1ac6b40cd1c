"""Panels of the notebooks: one function each, called in one line.

A panel is a controller: widgets → frozen inputs → model → pictures and words.  Only the controller knows both
sides; inputs can be saved and loaded, and everything runs without a kernel in ordinary tests.
"""

from .estimate import EstimatePanel, estimate_panel
from .grade_map import GradeMapPanel, grade_map_panel

__all__ = ["EstimatePanel", "GradeMapPanel", "estimate_panel", "grade_map_panel"]
