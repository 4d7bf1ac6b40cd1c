# ruff: noqa: F401  (public names)
"""Pages of the notebooks: one function each, called in one line.

A page is a controller: controls by name → inputs → model → pictures and words (`controls.panel`).
"""

from .film import FilmPanel, film_panel
from .lesson import Lesson
from .task import TaskPanel, task_panel
