# ruff: noqa: F401  (public names)
"""Pictures of results: each takes an axes once and follows any number of results through `update`."""

from .cooling import CoolingCurves
from .diagram import TransformationDiagram
from .outline import HeadOutline
from .zone_bars import BendGauge, HardnessBars, StructureBars
