"""The hosel on the bending bench: strain of its metal in colour, and where to pull."""

from __future__ import annotations

import numpy as np

from .. import style
from ..canvas import Picture

__all__ = ["HoselOnBench", "PullDirection"]

#: Outer-fibre strain at the dark end of the colour scale, %.
_TOP_STRAIN = 4.0
_STRAIN_MAP = "YlOrBr"


class HoselOnBench(Picture):
    """Longitudinal section of the hosel under the bar, to scale, coloured by how much the metal is strained."""

    _SLICES, _BANDS = 36, 5
    _JAW_MM, _BAR_MM, _BAR_WALL_MM = 22.0, 56.0, 3.0

    def __init__(self, ax):
        import matplotlib as mpl
        from matplotlib.cm import ScalarMappable
        from matplotlib.collections import PolyCollection
        from matplotlib.patches import Polygon, Rectangle

        self.ax = ax
        style.tidy(ax, "The hosel under the bar, strain of the metal in colour")
        ax.set(xlim=(-25, 84), ylim=(-25, 27), aspect="equal", anchor="NW")
        self._norm = mpl.colors.Normalize(0.0, _TOP_STRAIN)
        self._metal = PolyCollection(
            [], cmap=_STRAIN_MAP, norm=self._norm, linewidths=0.6, edgecolors="face", zorder=3
        )
        ax.add_collection(self._metal)
        self._jaws = [
            Rectangle(
                (-self._JAW_MM, 0),
                self._JAW_MM,
                8.0,
                fc="#D9D9D9",
                hatch="///",
                ec=style.QUIET,
                lw=0.8,
                zorder=4,
            )
            for _ in range(2)
        ]
        self._neck = Polygon([[0, 0]], fc="#F3EBD5", ec=style.INK, lw=0.9, zorder=2)
        self._bar = Polygon([[0, 0]], fc="#C9CDD3", ec=style.INK, lw=0.9, zorder=5)
        for patch in (*self._jaws, self._neck, self._bar):
            ax.add_patch(patch)
        self._edges = [ax.plot([], [], c=style.INK, lw=1.1, zorder=6)[0] for _ in range(4)]
        (self._ghost,) = ax.plot([], [], c=style.QUIET, lw=1.0, dashes=(4, 3), zorder=1.5)
        (self._pull,) = ax.plot([], [], c=style.CAUTION, lw=2.6, solid_capstyle="butt", zorder=7)
        (self._tip,) = ax.plot([], [], "^", c=style.CAUTION, ms=10, zorder=7)
        (self._zone,) = ax.plot([], [], c=style.INK, lw=1.0, marker="|", ms=9, zorder=6)
        self._force = ax.text(
            0, 0, "", ha="right", va="center", size=10, weight="bold", c=style.CAUTION, zorder=8
        )
        self._length = ax.text(0, -16.2, "", ha="center", va="top", size=9, zorder=8)
        self._most = ax.text(0, 0, "", ha="center", va="bottom", size=9, weight="bold", zorder=8)
        self._sides = [
            ax.text(0, 0, "", ha="center", va=va, size=8, c=style.INK, zorder=8)
            for va in ("top", "bottom")
        ]
        self._angle = ax.text(
            83, -14.2, "", ha="right", va="top", size=10, weight="bold", c=style.ACCENT, zorder=8
        )
        self._head = ax.text(
            -self._JAW_MM / 2, 0, "head", ha="center", va="center", size=9, zorder=8
        )
        self._name = ax.text(0, 0, "bar", ha="center", va="center", size=9, zorder=8)
        ax.text(-self._JAW_MM / 2, 17.5, "clamp", ha="center", va="bottom", size=9, c=style.QUIET)
        ax.text(
            83,
            -19.2,
            "dashed: where the bar was before",
            ha="right",
            va="top",
            size=8.5,
            c=style.QUIET,
        )
        bar = ax.inset_axes([0.03, 0.03, 0.30, 0.032])
        self.colourbar = ax.figure.colorbar(
            ScalarMappable(self._norm, _STRAIN_MAP), cax=bar, orientation="horizontal", extend="max"
        )
        self.colourbar.set_ticks([0, 1, 2, 3, 4], labels=["0", "1", "2", "3", "4 %"])
        self.colourbar.ax.tick_params(labelsize=8, length=2)
        self.colourbar.outline.set_linewidth(0.5)
        self.colourbar.ax.set_title(
            "stretched or squeezed by", fontsize=8, fontweight="normal", loc="left", pad=2
        )

    def update(self, bend, along) -> bool:
        """Show a bend under load."""
        length = float(bend.bench.length_mm[0])
        # from the clamp to the bar's mouth
        s = np.linspace(0.0, length, self._SLICES + 1)
        from_mouth = length - s
        curvature, outside, bore = (
            np.interp(from_mouth, along["s_mm"], along[name])
            for name in ("curvature_per_mm", "outside_mm", "bore_mm")
        )
        turn = np.concatenate(
            [[0.0], np.cumsum(0.5 * (curvature[1:] + curvature[:-1]) * np.diff(s))]
        )
        x, y = (
            np.concatenate([[0.0], np.cumsum(0.5 * (f[1:] + f[:-1]) * np.diff(s))])
            for f in (np.cos(turn), np.sin(turn))
        )

        def at(offset):
            """The line at a distance from the middle, upwards."""
            return np.column_stack([x - offset * np.sin(turn), y + offset * np.cos(turn)])

        cells, strains = [], []
        for side in (1.0, -1.0):
            for band in range(self._BANDS):
                low, high = (
                    0.5 * (bore + (outside - bore) * (band + i) / self._BANDS) * side
                    for i in (0, 1)
                )
                a, b = at(low), at(high)
                cells.append(np.stack([a[:-1], a[1:], b[1:], b[:-1]], axis=1))
                middle = 0.5 * np.abs(low + high) * curvature
                strains.append(50.0 * (middle[1:] + middle[:-1]))
        self._metal.set_verts(np.concatenate(cells))
        self._metal.set_array(np.concatenate(strains))
        half, hole = 0.5 * outside, 0.5 * bore
        for line, offset in zip(self._edges, (half, hole, -hole, -half), strict=True):
            line.set_data(*at(offset).T)
        clamp_half = half[0]
        self._jaws[0].set_y(clamp_half)
        self._jaws[1].set_y(-clamp_half - 8.0)
        self._neck.set_xy(
            [
                [-self._JAW_MM - 2, -clamp_half],
                [0, -clamp_half],
                [0, clamp_half],
                [-self._JAW_MM - 2, clamp_half],
            ]
        )
        # the bar over the rest of the hosel
        end = np.array([x[-1], y[-1]])
        forward, up = (
            np.array([np.cos(turn[-1]), np.sin(turn[-1])]),
            np.array([-np.sin(turn[-1]), np.cos(turn[-1])]),
        )
        grip = half[-1] + self._BAR_WALL_MM
        far = end + self._BAR_MM * forward
        break_ = [(1.0, 0.0), (0.35, 1.6), (-0.35, -1.2), (-1.0, 0.4)]  # the bar goes on
        self._bar.set_xy(
            [
                end - grip * up,
                end + grip * up,
                *(far + side * grip * up + ahead * forward for side, ahead in break_),
            ]
        )
        self._ghost.set_data(
            [length + self._BAR_MM, length, length, length + self._BAR_MM],
            [grip, grip, -grip, -grip],
        )
        tail, head = (
            far - 8.0 * forward + (grip + 1.0) * up,
            far - 8.0 * forward + (grip + 8.0) * up,
        )
        self._pull.set_data([tail[0], head[0]], [tail[1], head[1]])
        self._tip.set_data([head[0]], [head[1]])
        self._force.set_position((head[0] - 3.0, head[1] - 1.5))
        self._force.set_text(
            f"pull {bend.bar_force_n:.0f} N, {float(bend.bench.bar_mm[0]):.0f} mm along the bar"
        )
        self._name.set_position(tuple(end + 0.5 * self._BAR_MM * forward))
        self._zone.set_data([0.0, length], [-14.8, -14.8])
        self._length.set_position((0.5 * length, -16.2))
        self._length.set_text(f"{length:.0f} mm bend")
        middle = self._SLICES // 2
        skin, bore_top, bore_foot = at(half)[middle], at(hole)[middle], at(-hole)[middle]
        self._most.set_position((skin[0], skin[1] + 1.2))
        self._most.set_text(f"{100 * float(np.max(curvature * half)):.1f} %")
        wide = length >= 12.0
        for words, text, (px, py), gap in zip(
            self._sides, ("squeezed", "stretched"), (bore_top, bore_foot), (-0.8, 0.8), strict=True
        ):
            words.set_position((px, py + gap))
            words.set_text(text if wide else "")
        fits = bend.target_deg <= bend.allowed_deg
        self._angle.set_text(
            f"go to {bend.overbend_deg:.1f}°, let go: {bend.target_deg:.1f}° stays"
            if fits
            else f"too much: {bend.target_deg:.1f}° where {bend.allowed_deg:.1f}° are allowed"
        )
        self._angle.set_color(style.ACCENT if fits else style.CAUTION)
        return False

    def describe(self, bend, along) -> str:
        """One sentence that says what the picture shows."""
        strain = 100.0 * float(np.max(along["outer_strain"]))
        place = float(along["s_mm"][int(np.argmax(along["outer_strain"]))])
        return (
            f"Section of the hosel, {float(bend.bench.length_mm[0]):.0f} mm free between clamp and bar: bent "
            f"by {bend.overbend_deg:.1f}° under load its skin is strained {strain:.1f} % at most, "
            f"{place:.0f} mm from the bar; {bend.target_deg:.1f}° stay."
        )


class PullDirection(Picture):
    """Where to pull, seen from the hosel's end: wanted lie and loft as one arrow, allowance as a circle."""

    _TOP = 7.0

    def __init__(self, ax):
        from matplotlib.patches import Circle, Polygon, Rectangle

        self.ax, top = ax, self._TOP
        style.title(ax, "Where to pull (from the hosel's end)")
        ax.set(xlim=(-top, top), ylim=(-5.6, 5.6), aspect="equal", anchor="NW")
        ax.grid(visible=False)
        for spine in ax.spines.values():
            spine.set_visible(False)
        ax.set_xticks([])
        ax.set_yticks([])
        self._head = Polygon(
            self._outline(1.0), closed=True, fc="#EEEEEE", ec="#C4C4C4", lw=1.0, zorder=0.6
        )
        ax.add_patch(self._head)
        ax.plot([-top, top], [0, 0], c=style.QUIET, lw=0.7, zorder=1)
        ax.plot([0, 0], [-5.0, 5.0], c=style.QUIET, lw=0.7, zorder=1)
        for degrees in (-4, -2, 2, 4):
            ax.plot([degrees], [0], "|", c=style.QUIET, ms=6, zorder=1)
            ax.plot([0], [degrees], "_", c=style.QUIET, ms=6, zorder=1)
            ax.text(0.2, degrees, f"{abs(degrees)}°", size=8, va="center", c=style.QUIET, zorder=1)
            ax.text(
                degrees,
                0.25,
                f"{abs(degrees)}°",
                size=8,
                ha="center",
                va="bottom",
                c=style.QUIET,
                zorder=1,
            )
        self._ring = Circle(
            (0, 0), 1.0, fc=style.WANTED, ec="#4E7A46", lw=1.6, zorder=0.8, alpha=0.55
        )
        ax.add_patch(self._ring)
        (self._shaft,) = ax.plot([], [], c=style.ACCENT, lw=3.0, solid_capstyle="butt", zorder=4)
        self._tip = Polygon([[0, 0]], closed=True, fc=style.ACCENT, ec=style.ACCENT, zorder=4)
        ax.add_patch(self._tip)
        self._words = ax.text(
            0,
            0,
            "",
            ha="center",
            va="center",
            size=9.5,
            weight="bold",
            c=style.ACCENT,
            zorder=6,
            bbox=style.BOX,
        )
        self._allowed = ax.text(0, 0, "", ha="center", va="top", size=9.5, c="#2F5A28", zorder=5)
        inside = Rectangle((-top, -5.0), 2 * top, 10.0, transform=ax.transData)
        self._ring.set_clip_path(inside)
        self._right = ax.text(
            top, -2.9, "", ha="right", va="center", size=9, zorder=5, bbox=style.BOX
        )
        self._left = ax.text(
            -top, -2.9, "", ha="left", va="center", size=9, zorder=5, bbox=style.BOX
        )
        ax.text(0, 5.1, "face side: weaker loft", ha="center", va="bottom", size=9)
        ax.text(0, -5.1, "back: stronger loft", ha="center", va="top", size=9)

    @staticmethod
    def _outline(side: float):
        """A blade seen from above, toe to the right (side 1) or left (−1); only to tell the sides."""
        return np.array(
            [
                [-0.9 * side, -0.9],
                [-0.9 * side, 0.5],
                [0.4 * side, 0.75],
                [5.6 * side, 0.8],
                [5.8 * side, -0.6],
                [2.5 * side, -1.6],
                [0.0, -1.5],
            ]
        )

    def update(self, bend, lie_deg: float, loft_deg: float) -> bool:
        """Show a wanted change of lie and loft."""
        side = 1.0 if bend.hand == "right" else -1.0
        self._head.set_xy(self._outline(side))
        toe, heel = "toe side: more upright", "heel side: flatter"
        self._right.set_text(toe if side > 0 else heel)
        self._left.set_text(heel if side > 0 else toe)
        for words in (self._right, self._left):
            words.set_y(2.9 if loft_deg < 0.0 else -2.9)  # clear of the arrow
        end = np.array([side * lie_deg, loft_deg])
        size = float(np.hypot(*end))
        fits = size <= bend.allowed_deg
        colour = style.ACCENT if fits else style.CAUTION
        way = end / size if size > 0.0 else np.array([1.0, 0.0])
        across = np.array([-way[1], way[0]])
        base = end - min(0.7, size) * way
        self._shaft.set_data([0.0, base[0]], [0.0, base[1]])
        self._tip.set_xy([end, base + 0.35 * across, base - 0.35 * across])
        self._shaft.set_color(colour)
        self._tip.set_facecolor(colour)
        self._tip.set_edgecolor(colour)
        self._words.set_color(colour)
        self._words.set_text(f"{size:.1f}°" if fits else f"{size:.1f}°: too much")
        place = np.clip(end + 0.9 * way + [0.0, 0.0 if abs(way[1]) > 0.3 else -0.75], -4.9, 4.9)
        self._words.set_position(tuple(place))
        self._ring.set_radius(bend.allowed_deg)
        self._allowed.set_text(f"allowed: {bend.allowed_deg:.1f}°")
        self._allowed.set_position((-side * 3.6, 4.7))
        return False

    def describe(self, bend) -> str:
        """The picture in one sentence."""
        return (
            f"Pull {bend.pull}: a change of {bend.target_deg:.1f}° in all, where {bend.allowed_deg:.1f}° are "
            "allowed in any direction."
        )
