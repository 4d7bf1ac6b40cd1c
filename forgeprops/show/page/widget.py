"""What the pages share as widgets: their scripts and their look."""

from pathlib import Path

import anywidget
import traitlets as t

__all__ = ["Widget"]

_HERE = Path(__file__).parent
#: What every widget's scripts stand on, in the order in which they are joined.
SHARED = ("dom.js", "head.js", "chart.js", "blocks.js")


class Widget(anywidget.AnyWidget):
    """What the pages share: the scripts, joined with a page's own, and the look."""

    scripts: tuple[str, ...] = ()
    _css = (_HERE / "page.css").read_text(encoding="utf-8")
    static = t.Dict().tag(sync=True)  # choices and pictures, once

    def __init_subclass__(cls, **more):
        if "scripts" in cls.__dict__:  # not the classes that traitlets makes of it
            names = (*SHARED, *cls.scripts)
            cls._esm = "\n".join((_HERE / name).read_text(encoding="utf-8") for name in names)
        super().__init_subclass__(**more)
