"""A picture that follows a slider: only what moves is redrawn, over a background that is kept.

The figure is a plain `matplotlib.figure.Figure` in an `ipywidgets.Image` of fixed size, so the page neither flickers
nor jumps, and nothing depends on the pyplot backend of the notebook.  (Importing ipympl anywhere would switch that
backend for the whole kernel.)
"""

from __future__ import annotations

from io import BytesIO

import numpy as np

from . import style

__all__ = ["LiveFigure"]


class LiveFigure:
    """Figure whose live artists change often while axes, ticks and titles stay.

    Parameters
    ----------
    width_px, height_px : int
        Size on the page; it never changes.
    alt : str
        What the picture shows, for those who cannot see it; the caption beside it carries the numbers.

    Attributes
    ----------
    figure : matplotlib.figure.Figure
        Add axes to it inside ``with style.look():`` or through `axes`.
    widget : ipywidgets.Image
        What to put on the page.
    """

    def __init__(self, width_px: int = 900, height_px: int = 360, alt: str = ""):
        import ipywidgets
        from matplotlib.backends.backend_agg import FigureCanvasAgg
        from matplotlib.figure import Figure
        dpi = 100
        with style.look():
            self.figure = Figure(figsize=(width_px / dpi, height_px / dpi), dpi=dpi, layout="constrained")
        self.canvas = FigureCanvasAgg(self.figure)
        self.widget = ipywidgets.Image(format="png", width=width_px, height=height_px, tooltip=alt or None,
                                       layout=ipywidgets.Layout(max_width="100%", object_fit="contain"))
        self._live: tuple = ()
        self._background = None

    def set_live(self, *artists) -> None:
        """Name the artists that change; everything else becomes the kept background."""
        self._live = tuple(sorted(artists, key=lambda artist: artist.zorder))
        for artist in self._live:
            artist.set_animated(True)
        self.refresh(static=True)

    def refresh(self, static: bool = False) -> None:
        """Draw and hand the picture to the page; `static` after a change of limits, labels or ticks."""
        from PIL import Image
        if static or self._background is None:
            if self.figure.get_layout_engine() is not None:
                self.figure.draw_without_rendering()
                self.figure.set_layout_engine("none")        # lay out once: afterwards it costs half a draw each time
            self.canvas.draw()
            self._background = self.canvas.copy_from_bbox(self.figure.bbox)
        else:
            self.canvas.restore_region(self._background)
        for artist in self._live:
            artist.axes.draw_artist(artist)
        png = BytesIO()
        pixels = np.asarray(self.canvas.buffer_rgba())[..., :3]
        Image.fromarray(pixels).save(png, "PNG", compress_level=1)
        self.widget.value = png.getvalue()
