# ruff: noqa: F401  (public names)
"""Pictures of results: each takes an axes once and follows any number of results through `update`."""

from .shop_data import draw_causes, draw_fit, draw_heats, draw_spray_curve, draw_tracking
