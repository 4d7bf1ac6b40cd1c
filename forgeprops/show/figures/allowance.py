"""How far hosels bend by their hardness, which limit ends it, and where the grades stand."""

from __future__ import annotations

import numpy as np

from ...hosel.bench import LIMITS
from .. import style
from .moment_angle import ladder

__all__ = ["AllowanceByHardness", "limit_look"]

#: One look for each limit, in the order of `hosel.bench.LIMITS`; dashes and markers tell them in grey.
_LIMIT_LOOKS = {
    "strain": style.SERIES[2],
    "bar force": style.SERIES[1],
    "re-bends": style.SERIES[0],
    "wall": style.SERIES[3],
}


def limit_look(limit: str) -> style.Look:
    """Look of a limit: one colour, dash and marker in every picture."""
    return _LIMIT_LOOKS[limit]


class AllowanceByHardness:
    """Allowed degrees against hardness: two kinds of structure as lines, grades as marks, this hosel on top.

    Parameters
    ----------
    ax : matplotlib.axes.Axes
    """

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
            (kind, limit): ax.plot(
                [], [], color=look.colour, linestyle=look.dash, linewidth=2.0, zorder=3
            )[0]
            for kind in ("soft", "hard")
            for limit, look in _LIMIT_LOOKS.items()
        }
        self._dots = {
            limit: ax.plot(
                [],
                [],
                look.marker,
                color=look.colour,
                markersize=6,
                markeredgecolor=style.PAPER,
                linestyle="none",
                zorder=5,
            )[0]
            for limit, look in _LIMIT_LOOKS.items()
        }
        hosel = style.zone_look("hosel")
        (self._span,) = ax.plot(
            [], [], color=style.INK, linewidth=1.6, marker="_", markersize=11, zorder=6
        )
        (self._here,) = ax.plot(
            [], [], "*", color=hosel.colour, markersize=17, markeredgecolor=style.PAPER, zorder=7
        )
        box = {"facecolor": style.PAPER, "edgecolor": "none", "alpha": 0.8, "pad": 0.6}
        self._here_words = ax.text(
            0,
            0,
            "",
            fontsize=9.5,
            fontweight="bold",
            color=hosel.colour,
            zorder=8,
            va="center",
            bbox=box,
        )
        self._ends = [
            ax.text(0, 0, "", fontsize=8.5, ha="center", va=va, zorder=8)
            for va in ("top", "bottom")
        ]
        self._names = [
            ax.text(0, 0, "", fontsize=8, ha="center", va="bottom", color=style.INK, zorder=6)
            for _ in range(12)
        ]
        for y, words in (
            (0.115, "left line: ferrite and pearlite"),
            (0.05, "right line: bainite and martensite"),
        ):
            ax.text(
                0.02, y, words, transform=ax.transAxes, fontsize=8.5, color=style.QUIET, zorder=2
            )
        # what the looks mean: a small key, since the lines change places
        for i, (limit, look) in enumerate(_LIMIT_LOOKS.items()):
            y = 0.955 - 0.075 * i
            ax.plot(
                [0.66, 0.72],
                [y, y],
                transform=ax.transAxes,
                color=look.colour,
                linestyle=look.dash,
                linewidth=2.0,
                marker=look.marker,
                markersize=5,
                markevery=[1],
                zorder=4,
            )
            ax.text(
                0.74,
                y,
                f"ended by {limit}",
                transform=ax.transAxes,
                fontsize=8.5,
                va="center",
                color=look.colour,
            )

    @property
    def artists(self) -> tuple:
        """Everything that moves with the bench."""
        return (
            *self._lines.values(),
            *self._dots.values(),
            self._span,
            self._here,
            self._here_words,
            *self._ends,
            *self._names,
        )

    def update(self, bend, curves, grades, allowed) -> bool:
        """Follow a bend; True if the frame had to change.

        Parameters
        ----------
        bend : HoselBend
        curves : dict of str to (array, dict)
            "soft" and "hard": hardness and `study.hosel_bench.allowance_curve` there.
        grades : GradeHosels
        allowed : dict
            ``grades.allowed(...)`` on this bench.
        """
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
