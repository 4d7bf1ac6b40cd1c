"""The page: one job, its answer, and every question about it."""

from .desk import Desk
from .page import Page, page

__all__ = ["Desk", "Page", "page"]
