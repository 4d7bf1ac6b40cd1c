"""A picture that follows a slider: only what moves is redrawn, over a background that is kept.

The figure is a plain `matplotlib.figure.Figure` in an `ipywidgets.Image` of fixed size, so the page neither
flickers nor jumps, and nothing depends on the pyplot backend of the notebook.  (Importing ipympl would
switch that backend for the whole kernel.)
"""

from __future__ import annotations

import functools
from io import BytesIO

from . import style

#: How far a picture shrinks on a narrow page: its 9 point letters are then 7.5 pixels high, which is the least
#: that can be read; below that the panel scrolls.
_LEAST_SHARE = 0.6


@functools.cache
def _named_image():
    """Image widget whose tooltip reaches the page as ``title``, the name a screen reader takes.

    The page hands a tooltip on only if the widget has a description, which the plain image lacks
    (ipywidgets 8.1: an image with a tooltip alone is not shown at all).
    """
    import ipywidgets
    from traitlets import Unicode

    class NamedImage(ipywidgets.Image):
        description = Unicode("").tag(sync=True)

    return NamedImage


class LiveFigure:
    """Figure whose live artists change often while axes, ticks and titles stay.

    Parameters
    ----------
    width_px, height_px : int
        Size on the page; it never changes.  On a narrow page the picture shrinks until its words are just
        legible, and then the panel scrolls.
    name : str
        What the picture shows, in a few words: its name for a screen reader.

    Attributes
    ----------
    figure : matplotlib.figure.Figure
        Add axes to it inside ``with style.look():`` or through `axes`.
    widget : ipywidgets.Image
        What to put on the page.
    """

    def __init__(self, width_px: int = 900, height_px: int = 360, name: str = "picture"):
        import ipywidgets
        from matplotlib.backends.backend_agg import FigureCanvasAgg
        from matplotlib.figure import Figure

        dpi = 100
        with style.look():
            self.figure = Figure(
                figsize=(width_px / dpi, height_px / dpi), dpi=dpi, layout="constrained"
            )
        self.canvas = FigureCanvasAgg(self.figure)
        self.widget = _named_image()(
            format="png",
            width=width_px,
            height=height_px,
            tooltip=name,
            layout=ipywidgets.Layout(
                max_width="100%", min_width=f"{_LEAST_SHARE * width_px:.0f}px", object_fit="contain"
            ),
        )
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
        from matplotlib.text import Text
        from PIL import Image, ImageDraw

        if static or self._background is None:
            with style.look():  # ticks made at the first drawing take the look too
                if self.figure.get_layout_engine() is not None:
                    self.figure.draw_without_rendering()
                    # lay out once: afterwards it costs half a draw each time
                    self.figure.set_layout_engine("none")
                self.canvas.draw()
            self._background = self.canvas.copy_from_bbox(self.figure.bbox)
        else:
            self.canvas.restore_region(self._background)
        words = []
        for artist in self._live:
            if isinstance(artist, Text):
                words.append(artist)
            else:
                artist.axes.draw_artist(artist)
        size = self.canvas.get_width_height()
        image = Image.frombuffer(
            "RGBA", size, self.canvas.buffer_rgba(), "raw", "RGBA", 0, 1
        ).convert("RGB")
        pen = ImageDraw.Draw(image)
        for text in words:
            _write(pen, text, size[1])
        png = BytesIO()
        image.save(png, "PNG", compress_level=1)
        self.widget.value = png.getvalue()


class Picture:
    """Part of a figure that follows any number of results: its artists move, its axes stay."""

    #: Attributes whose artists belong to the kept background.
    _frame: tuple[str, ...] = ()

    @property
    def artists(self) -> tuple:
        """Everything that moves: what the attributes hold, alone, in lists or by name."""
        from matplotlib.artist import Artist

        found = []
        for name, value in vars(self).items():
            if name[0] == "_" and name not in self._frame:
                values = value.values() if isinstance(value, dict) else value
                for one in (
                    values if isinstance(values, (list, tuple, type({}.values()))) else (value,)
                ):
                    if isinstance(one, Artist):
                        found.append(one)
        return tuple(found)


_ACROSS = {"left": "l", "center": "m", "right": "r"}
_DOWN = {"top": "a", "center": "m", "center_baseline": "m", "baseline": "s", "bottom": "d"}


@functools.lru_cache(maxsize=64)
def _font(name, size_px: float):
    from matplotlib.font_manager import findfont
    from PIL import ImageFont

    return ImageFont.truetype(findfont(name), size_px, layout_engine=ImageFont.Layout.BASIC)


def _write(pen, text, height_px: int) -> None:
    """Write one live text of one line with Pillow: 0.08 ms, where matplotlib takes 1.4 ms (measured)."""
    from matplotlib.colors import to_hex

    words = text.get_text()
    if not words or not text.get_visible():
        return
    x, y = text.get_transform().transform(text.get_unitless_position())
    if text.get_clip_on() and not text.axes.bbox.contains(x, y):
        return
    font = _font(text.get_fontproperties(), text.get_fontsize() * text.get_figure().dpi / 72.0)
    anchor = _ACROSS[text.get_ha()] + _DOWN[text.get_va()]
    place = (round(x), round(height_px - y))
    if text.get_bbox_patch() is not None:  # paper behind the words, so that lines do not cross them
        left, top, right, bottom = pen.textbbox(place, words, font=font, anchor=anchor)
        pen.rectangle((left - 1, top - 1, right + 1, bottom + 1), fill=style.PAPER)
    pen.text(place, words, fill=to_hex(text.get_color()), font=font, anchor=anchor)
