"""What the head is made of.  (`grades()` is in the module of that name: forgeprops.steel.grades.)"""

from .composition import DEFAULT_RESIDUALS, ELEMENTS, Steel
from .grades import FAMILIES, family, grade

__all__ = ["DEFAULT_RESIDUALS", "ELEMENTS", "FAMILIES", "Steel", "family", "grade"]
