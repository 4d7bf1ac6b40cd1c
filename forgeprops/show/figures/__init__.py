"""Pictures of results: each takes an axes once and follows any number of results through `update`."""

from .bend import BendGauge
from .cooling import CoolingCurves
from .diagram import TransformationDiagram
from .forging_temperature import ForgingTemperatureCurves
from .grades import GradeMap, grade_lines
from .hardness import HardnessBars
from .outline import HeadOutline
from .structure import StructureBars

__all__ = [
    "BendGauge",
    "CoolingCurves",
    "ForgingTemperatureCurves",
    "HardnessBars",
    "HeadOutline",
    "StructureBars",
    "TransformationDiagram",
    "grade_lines",
    "GradeMap",
]
