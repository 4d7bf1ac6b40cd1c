"""Moment against angle of a bend on the bench: loading, springing back, where to stop, what a hand does."""

from __future__ import annotations

import numpy as np

from ...hosel.result import EASE
from .. import style

__all__ = ["MomentAngle", "ladder"]

#: Greatest hand forces, N, and one word for each.
_HANDS = tuple((force, words.split(":")[0]) for force, words in EASE[:-1])


def ladder(value: float, steps) -> float:
    """Smallest step that holds a value; the last if none does."""
    return next((s for s in steps if value <= s), steps[-1])


class MomentAngle:
    """Moment against angle: loading, the wanted change, springing back, where to stop, and what a hand does.

    Parameters
    ----------
    ax : matplotlib.axes.Axes
    """

    _MOMENTS = (150.0, 250.0, 400.0, 650.0, 1000.0, 2000.0, 4000.0)
    _ANGLES = (4.0, 6.0, 9.0, 14.0, 20.0)

    def __init__(self, ax):
        from matplotlib.patches import Rectangle

        self.ax = ax
        style.title(ax, "Moment, angle and springback")
        ax.set(
            xlabel="angle under the bar, degrees",
            ylabel="moment at the clamp, N·m",
            xlim=(0, self._ANGLES[0]),
            ylim=(0, self._MOMENTS[1]),
        )
        ax.grid(visible=False)
        across = ax.get_yaxis_transform()
        self._bands = [
            Rectangle((0, 0), 1, 1, transform=across, facecolor=shade, linewidth=0, zorder=0.5)
            for shade in ("#F6F7F9", "#E8ECF1", "#D8DFE7")
        ]
        for patch in self._bands:
            ax.add_patch(patch)
        self._hands = [
            ax.text(
                0.985,
                0,
                "",
                ha="right",
                va="center",
                fontsize=8.5,
                color=style.QUIET,
                zorder=1,
                transform=across,
                clip_on=True,
            )
            for _ in range(len(_HANDS) + 1)
        ]
        hosel = style.zone_look("hosel").colour
        (self._curve,) = ax.plot([], [], color=hosel, linewidth=2.4, zorder=4)
        (self._over,) = ax.plot([], [], color=hosel, linewidth=1.4, dashes=(1.5, 1.8), zorder=3.5)
        (self._back,) = ax.plot(
            [], [], color=style.ACCENT, linewidth=1.6, dashes=(5, 1.5), zorder=4
        )
        (self._peak,) = ax.plot(
            [], [], "o", color=hosel, markersize=8, markeredgecolor=style.PAPER, zorder=6
        )
        (self._stays,) = ax.plot(
            [],
            [],
            "D",
            color=style.ACCENT,
            markersize=9,
            markeredgecolor=style.PAPER,
            zorder=7,
            clip_on=False,
        )
        (self._stop,) = ax.plot(
            [], [], "X", color=style.CAUTION, markersize=10, markeredgecolor=style.PAPER, zorder=6
        )
        box = {"facecolor": style.PAPER, "edgecolor": "none", "alpha": 0.8, "pad": 0.6}
        self._peak_words = ax.text(0, 0, "", fontsize=9.5, zorder=8, bbox=box)
        self._stay_words = ax.text(
            0,
            0,
            "",
            va="bottom",
            fontsize=9.5,
            fontweight="bold",
            color=style.ACCENT,
            zorder=8,
            bbox=box,
        )
        self._stop_words = ax.text(0, 0, "", fontsize=9.5, color=style.CAUTION, zorder=8, bbox=box)

    @property
    def artists(self) -> tuple:
        """Everything that moves with the bend."""
        return (
            *self._bands,
            *self._hands,
            self._curve,
            self._over,
            self._back,
            self._peak,
            self._stays,
            self._stop,
            self._peak_words,
            self._stay_words,
            self._stop_words,
        )

    def update(self, bend, curve) -> bool:
        """Follow a bend; True if the frame had to change.

        Parameters
        ----------
        bend : HoselBend
        curve : dict of str to array
            `bend.moment_angle(...)`.
        """
        arm = float(bend.bench.bar_mm[0] + bend.bench.length_mm[0]) / 1000.0
        angle, moment, permanent = (
            np.concatenate([[0.0], curve[name]])
            for name in ("angle_deg", "moment_nm", "permanent_deg")
        )
        at_stop = tuple(
            float(np.interp(bend.allowed_deg, permanent, values)) for values in (angle, moment)
        )
        at_peak = (bend.overbend_deg, bend.bar_force_n * arm)
        wide = ladder(1.12 * max(at_peak[0], at_stop[0]), self._ANGLES)
        high = ladder(1.18 * max(at_peak[1], at_stop[1]), self._MOMENTS)
        changed = (wide, high) != (self.ax.get_xlim()[1], self.ax.get_ylim()[1])
        if changed:
            self.ax.set(xlim=(0, wide), ylim=(0, high))
        self._show_hands(arm, high)
        inside = angle <= at_stop[0]
        self._curve.set_data(
            np.append(angle[inside], at_stop[0]), np.append(moment[inside], at_stop[1])
        )
        self._over.set_data(
            np.append(at_stop[0], angle[~inside]), np.append(at_stop[1], moment[~inside])
        )
        self._back.set_data([at_peak[0], bend.target_deg], [at_peak[1], 0.0])
        self._peak.set_data(*([v] for v in at_peak))
        self._stop.set_data(*([v] for v in at_stop))
        self._stays.set_data([bend.target_deg], [0.0])
        self._write(bend, at_peak, at_stop, wide, high)
        return changed

    def _show_hands(self, arm_m: float, high: float) -> None:
        """What forces of a hand are as moments with this bar."""
        edges = [force * arm_m for force, _ in _HANDS]
        low = 0.0
        hands = self._hands[:-1]
        for patch, words, edge, (force, name) in zip(
            self._bands, hands, edges, _HANDS, strict=True
        ):
            patch.set_y(low)
            patch.set_height(edge - low)
            top = min(edge, high)
            words.set_y(0.5 * (low + top))
            words.set_text(f"{name}, to {force:.0f} N" if top - low > 0.07 * high else "")
            low = edge
        self._hands[-1].set_y(0.5 * (low + high))
        self._hands[-1].set_text("beyond the hand" if high - low > 0.07 * high else "")

    def _write(self, bend, peak, stop, wide: float, high: float) -> None:
        """Words beside the marks, on the side where the lines leave room."""

        def put(words, text, x, y, ha, va):
            words.set_text(text)
            words.set_position((x, y))
            words.set_ha(ha)
            words.set_va(va)

        text = f"go to {bend.overbend_deg:.1f}°, {bend.bar_force_n:.0f} N"
        if bend.target_deg > bend.allowed_deg:
            text = f"would need {bend.overbend_deg:.1f}°, {bend.bar_force_n:.0f} N"
        if peak[0] > 0.62 * wide:
            put(
                self._peak_words, text, peak[0] - 0.06 * wide, peak[1] - 0.06 * high, "right", "top"
            )
        else:
            put(self._peak_words, text, peak[0] + 0.02 * wide, peak[1] - 0.13 * high, "left", "top")
        text = f"stop: {bend.allowed_deg:.1f}° at most ({bend.governed_by})"
        if stop[0] > 0.6 * wide:
            put(
                self._stop_words,
                text,
                stop[0] + 0.01 * wide,
                stop[1] + 0.035 * high,
                "right",
                "bottom",
            )
        else:
            put(
                self._stop_words, text, stop[0] + 0.025 * wide, stop[1] - 0.03 * high, "left", "top"
            )
        right = bend.target_deg > 0.47 * wide
        put(
            self._stay_words,
            f"{bend.target_deg:.1f}° stays, {bend.springback_deg:.1f}° springs back",
            bend.target_deg + (-0.02 if right else 0.03) * wide,
            0.035 * high,
            "right" if right else "left",
            "bottom",
        )

    def describe(self, bend) -> str:
        """The picture in one sentence."""
        return (
            f"Moment against angle: {bend.bar_force_n:.0f} N on the bar take it to {bend.overbend_deg:.1f}°, "
            f"from where {bend.springback_deg:.1f}° spring back and {bend.target_deg:.1f}° stay; stop at "
            f"{bend.allowed_deg:.1f}°."
        )
