"""What the head is made of."""

from .composition import DEFAULT_RESIDUALS, ELEMENTS, Steel

__all__ = ["DEFAULT_RESIDUALS", "ELEMENTS", "Steel"]
