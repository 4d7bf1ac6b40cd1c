"""Moment against angle of a bend, and how far hosels bend by their hardness."""

from __future__ import annotations

import numpy as np

from ...hosel.bench import LIMITS
from ...hosel.result import EASE
from .. import style
from ..canvas import Picture

__all__ = ["AllowanceByHardness", "MomentAngle", "limit_look"]

#: Greatest hand forces, N, and one word for each.
_HANDS = tuple((force, words.split(":")[0]) for force, words in EASE[:-1])


def ladder(value: float, steps) -> float:
    """Smallest step that holds a value; the last if none does."""
    return next((s for s in steps if value <= s), steps[-1])


class MomentAngle(Picture):
    """Moment against angle: loading, the wanted change, springing back, where to stop, and what a hand does."""

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
            Rectangle((0, 0), 1, 1, transform=across, fc=shade, lw=0, zorder=0.5)
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
                size=8.5,
                c=style.QUIET,
                zorder=1,
                transform=across,
                clip_on=True,
            )
            for _ in range(len(_HANDS) + 1)
        ]
        hosel = style.zone_look("hosel").colour
        (self._curve,) = ax.plot([], [], c=hosel, lw=2.4, zorder=4)
        (self._over,) = ax.plot([], [], c=hosel, lw=1.4, dashes=(1.5, 1.8), zorder=3.5)
        (self._back,) = ax.plot([], [], c=style.ACCENT, lw=1.6, dashes=(5, 1.5), zorder=4)
        (self._peak,) = ax.plot([], [], "o", c=hosel, ms=8, mec=style.PAPER, zorder=6)
        (self._stays,) = ax.plot(
            [], [], "D", c=style.ACCENT, ms=9, mec=style.PAPER, zorder=7, clip_on=False
        )
        (self._stop,) = ax.plot([], [], "X", c=style.CAUTION, ms=10, mec=style.PAPER, zorder=6)
        self._peak_words = ax.text(0, 0, "", size=9.5, zorder=8, bbox=style.BOX)
        self._stay_words = ax.text(
            0, 0, "", va="bottom", size=9.5, weight="bold", c=style.ACCENT, zorder=8, bbox=style.BOX
        )
        self._stop_words = ax.text(0, 0, "", size=9.5, c=style.CAUTION, zorder=8, bbox=style.BOX)

    def update(self, bend, curve) -> bool:
        """Follow a bend; True if the frame had to change."""
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


#: One look for each limit, in the order of `hosel.bench.LIMITS`; dashes and markers tell them in grey.
_LIMIT_LOOKS = {"wall": style.SERIES[3], "crack": style.SERIES[2], "re-bends": style.SERIES[0]}


def limit_look(limit: str) -> style.Look:
    """Look of a limit: one colour, dash and marker in every picture."""
    return _LIMIT_LOOKS[limit]


class AllowanceByHardness(Picture):
    """Allowed degrees against hardness: two kinds of structure as lines, grades as marks, this hosel on top."""

    _TOPS = (6.0, 9.0, 14.0, 20.0)
    LOW_HV, HIGH_HV = 100.0, 480.0

    def __init__(self, ax):
        self.ax = ax
        style.title(ax, "What a hosel allows, by its hardness")
        ax.set(
            xlabel="hardness of the hosel, HV",
            ylabel="bend allowed, degrees",
            ylim=(0, self._TOPS[0]),
            xlim=(self.LOW_HV, self.HIGH_HV),
        )
        self._lines = {
            (kind, limit): ax.plot([], [], c=look.colour, ls=look.dash, lw=2.0, zorder=3)[0]
            for kind in ("soft", "hard")
            for limit, look in _LIMIT_LOOKS.items()
        }
        self._dots = {
            limit: ax.plot(
                [], [], look.marker, c=look.colour, ms=6, mec=style.PAPER, ls="none", zorder=5
            )[0]
            for limit, look in _LIMIT_LOOKS.items()
        }
        hosel = style.zone_look("hosel")
        (self._span,) = ax.plot([], [], c=style.INK, lw=1.6, marker="_", ms=11, zorder=6)
        (self._here,) = ax.plot([], [], "*", c=hosel.colour, ms=17, mec=style.PAPER, zorder=7)
        self._here_words = ax.text(
            0, 0, "", size=9.5, weight="bold", c=hosel.colour, zorder=8, va="center", bbox=style.BOX
        )
        self._ends = [
            ax.text(0, 0, "", size=8.5, ha="center", va=va, zorder=8) for va in ("top", "bottom")
        ]
        self._names = [
            ax.text(0, 0, "", size=8, ha="center", va="bottom", c=style.INK, zorder=6)
            for _ in range(12)
        ]
        for y, words in (
            (0.115, "left line: ferrite and pearlite"),
            (0.05, "right line: bainite and martensite"),
        ):
            ax.text(0.02, y, words, transform=ax.transAxes, size=8.5, c=style.QUIET, zorder=2)
        # what the looks mean: a small key, since the lines change places
        for i, (limit, look) in enumerate(_LIMIT_LOOKS.items()):
            y = 0.955 - 0.075 * i
            ax.plot(
                [0.66, 0.72],
                [y, y],
                transform=ax.transAxes,
                c=look.colour,
                ls=look.dash,
                lw=2.0,
                marker=look.marker,
                ms=5,
                markevery=[1],
                zorder=4,
            )
            ax.text(
                0.74,
                y,
                f"ended by {limit}",
                transform=ax.transAxes,
                size=8.5,
                va="center",
                c=look.colour,
            )

    def update(self, bend, curves, grades, allowed) -> bool:
        """Follow a bend; True if the frame had to change."""
        highest = max(
            [
                bend.allowed_deg,
                *bend.for_length.values(),
                float(allowed["allowed_deg"].max()),
                *(float(answer["allowed_deg"].max()) for _, answer in curves.values()),
            ]
        )
        top = ladder(1.12 * highest, self._TOPS)
        changed = top != self.ax.get_ylim()[1]
        if changed:
            self.ax.set_ylim(0, top)
        for kind, (hv, answer) in curves.items():
            for i, limit in enumerate(LIMITS):
                mine = answer["governed_by"] == i
                mine[1:] |= mine[:-1]  # so that pieces touch
                self._lines[kind, limit].set_data(hv, np.where(mine, answer["allowed_deg"], np.nan))
        for i, limit in enumerate(LIMITS):
            mine = allowed["governed_by"] == i
            self._dots[limit].set_data(grades.hardness_hv[mine], allowed["allowed_deg"][mine])
        hv = bend.hardness_hv
        self._here.set_data([hv], [bend.allowed_deg])
        short, long = (bend.for_length[x] for x in sorted(bend.for_length))
        self._span.set_data([hv, hv], [short, long])
        gap = 0.02 * top
        apart = long - short > 0.12 * top
        for words, y, text in (
            (self._ends[0], short - gap, "if 10 mm bend"),
            (self._ends[1], long + gap, "if 20 mm bend"),
        ):
            words.set_position((min(max(hv, self.LOW_HV + 37), self.HIGH_HV - 37), max(y, 0.0)))
            words.set_text(text if apart else "")
        right = hv < 0.5 * (self.LOW_HV + self.HIGH_HV)
        lift = 0.02 if apart else 0.07
        if apart and long - bend.allowed_deg < 0.08 * top:
            lift = -0.05  # clear of the end of the span
        if bend.allowed_deg < 0.16 * top and hv < 400.0:
            right, lift = True, 0.17  # clear of the names of the two lines and of the grades
        self._here_words.set_position((hv + (9 if right else -9), bend.allowed_deg + lift * top))
        self._here_words.set_ha("left" if right else "right")
        self._here_words.set_text(f"this hosel {bend.allowed_deg:.1f}°")
        self._write_names(bend, grades, allowed, top)
        return changed

    def _write_names(self, bend, grades, allowed, top) -> None:
        """Name the marks that have room, hardest first."""
        hv, deg, degrees = bend.hardness_hv, bend.allowed_deg, allowed["allowed_deg"]
        taken = [(hv, y, 62.0) for y in (deg, *bend.for_length.values())]
        free = iter(self._names)
        order = np.argsort(-grades.hardness_hv)
        for i in order:
            x, y = float(grades.hardness_hv[i]), float(degrees[i])
            crowded = (
                (np.abs(grades.hardness_hv - x) < 22.0) & (degrees > y) & (degrees < y + 0.1 * top)
            )
            on_key = y < 0.16 * top and x < 300.0  # the names of the two lines stand there
            near = any(abs(x - a) < w and abs(y - b) < 0.09 * top for a, b, w in taken)
            if on_key or near or crowded.any():
                continue
            words = next(free, None)
            if words is None:
                break
            taken.append((x, y, 34.0))
            words.set_position((x, y + 0.022 * top))
            words.set_text(grades.grades[i])
        for words in free:
            words.set_text("")

    def describe(self, bend, grades, allowed) -> str:
        """The picture in words: how many grades each limit ends, and the ends of the list."""
        degrees = allowed["allowed_deg"]
        best, worst = int(np.argmax(degrees)), int(np.argmin(degrees))
        counts = [
            f"{limit} {int(np.sum(allowed['governed_by'] == i))}" for i, limit in enumerate(LIMITS)
        ]
        return (
            f"Allowance against hardness: of {len(grades.grades)} grades on this head and bench the limits "
            f"end {', '.join(counts)}; most allows {grades.grades[best]} ({degrees[best]:.1f}° at "
            f"{grades.hardness_hv[best]:.0f} HV), least {grades.grades[worst]} ({degrees[worst]:.1f}° at "
            f"{grades.hardness_hv[worst]:.0f} HV)."
        )
