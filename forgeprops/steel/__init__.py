"""What the head is made of.  (`grades()` is in the module of that name: forgeprops.steel.grades.)"""

from .composition import DEFAULT_RESIDUALS, ELEMENTS, Steel, check_steel
from .grades import FAMILIES, family, grade

__all__ = ["DEFAULT_RESIDUALS", "ELEMENTS", "FAMILIES", "Steel", "check_steel", "family", "grade"]
