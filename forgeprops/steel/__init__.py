"""What the head is made of."""

from .composition import DEFAULT_RESIDUALS, ELEMENTS, Steel
from .grades import FAMILIES, family, grade, grades

__all__ = ["DEFAULT_RESIDUALS", "ELEMENTS", "FAMILIES", "Steel", "family", "grade", "grades"]
