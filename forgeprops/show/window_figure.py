"""The process window as one picture: face hardness and hosel bend over two settings, and where the limits are kept."""

import io

import numpy as np

from ..base.errors import InputError
from ..io.writing import write_bytes


def window_png(window, path: str) -> None:
    """Write the maps of a window to a PNG file that does not exist yet.

    The thick line is the edge of what keeps all limits, the dashed box the largest inside.
    """
    from matplotlib.figure import Figure

    if not str(path).endswith(".png"):
        raise InputError(f"{path} must end in .png.")
    figure, made = Figure(figsize=(11, 4.5), layout="constrained"), io.BytesIO()
    x, y = window.x, window.y
    maps = ("face_hardness_hv", "Face hardness, HV"), ("hosel_allowed_deg", "Hosel bend, °")
    for ax, (name, title) in zip(figure.subplots(1, 2), maps, strict=True):
        drawn = ax.contourf(x.values, y.values, window.maps[name], 16, cmap="viridis")
        figure.colorbar(drawn, ax=ax)
        slack = np.where(np.isfinite(window.slack), window.slack, -1.0)
        if window.meets.any() and not window.meets.all():
            ax.contour(x.values, y.values, slack, [0.0], colors="black", linewidths=2.5)
        if window.box:
            (x0, x1), (y0, y1) = (window.box[a.setting.name] for a in (x, y))
            ax.plot([x0, x1, x1, x0, x0], [y0, y0, y1, y1, y0], "w--", linewidth=1.5)
        ax.set(title=title, xlabel=x.title, ylabel=y.title)
    figure.savefig(made, format="png", dpi=110)
    write_bytes(path, made.getvalue())
