"""How far the hosel bends: a scale of degrees with the answer and its uncertainty on it."""

from __future__ import annotations

from .. import style

__all__ = ["BendGauge", "bend_words"]

_TOP_DEG = 6.0
#: What degrees are good for on a bending bench: 2° each of loft and lie is what clubs are usually asked for,
#: 3° the most quoted for forged low-carbon heads (trade guides, common practice, no measurement).
#: The shades grow lighter the more is allowed, so that the order survives a grey print.
USES = (
    (0.0, 1.0, "hardly", "#D69A92", "do not bend it cold"),
    (1.0, 2.0, "a little", "#E8CF9A", "enough for slight changes only"),
    (2.0, 4.0, "usual loft\nand lie work", style.WANTED, "enough for usual loft and lie work"),
    (4.0, _TOP_DEG, "freely", "#EFF5EA", "more than usual loft and lie work needs"),
)


def bend_words(hosel) -> str:
    """The bend allowance in one plain sentence."""
    good_for = next(
        (words for low, high, *_, words in USES if low <= hosel.allowed_deg < high), USES[-1][-1]
    )
    return (
        f"The hosel takes {hosel.allowed_deg:.1f}° at most ({hosel.allowed_deg_low:.1f}° to "
        f"{hosel.allowed_deg_high:.1f}°), limited by {hosel.governed_by}: {good_for}."
    )


class BendGauge:
    """Scale of degrees, marked with what they are good for; a pointer and a bar show the answer.

    Parameters
    ----------
    ax : matplotlib.axes.Axes
    """

    def __init__(self, ax):
        self.ax = ax
        ax.set(
            xlim=(0, _TOP_DEG), ylim=(0, 1), yticks=[], xlabel="bend allowed at the hosel, degrees"
        )
        ax.grid(visible=False)
        ax.spines["left"].set_visible(False)
        style.title(ax, "How far the hosel bends")
        for low, high, words, colour, _ in USES:
            ax.axvspan(
                low,
                high,
                ymin=0.0,
                ymax=0.42,
                facecolor=colour,
                edgecolor=style.QUIET,
                linewidth=0.8,
                zorder=1,
            )
            ax.text((low + high) / 2, 0.21, words, ha="center", va="center", fontsize=8, zorder=2)
        colour = style.zone_look("hosel").colour
        (self._span,) = ax.plot(
            [0, 0],
            [0.52, 0.52],
            color=style.INK,
            linewidth=1.4,
            marker="|",
            markersize=11,
            zorder=4,
        )
        (self._pointer,) = ax.plot(
            [0],
            [0.52],
            marker="v",
            markersize=15,
            color=colour,
            linestyle="none",
            zorder=5,
            markeredgecolor=style.PAPER,
        )
        self._words = ax.text(
            0,
            0.72,
            "",
            ha="center",
            va="bottom",
            fontsize=11,
            fontweight="bold",
            color=colour,
            zorder=5,
        )

    @property
    def artists(self) -> tuple:
        """Everything that moves with the result."""
        return (self._span, self._pointer, self._words)

    def update(self, result) -> bool:
        """Follow a result; beyond the scale the pointer stands at its end and the words say so."""
        hosel = result.hosel
        value = min(hosel.allowed_deg, _TOP_DEG * 0.985)
        self._pointer.set_xdata([value])
        self._span.set_xdata(
            [min(hosel.allowed_deg_low, _TOP_DEG), min(hosel.allowed_deg_high, _TOP_DEG)]
        )
        self._words.set_x(min(max(value, 1.0), _TOP_DEG - 1.0))
        self._words.set_text(
            f"{hosel.allowed_deg:.1f}°  ({hosel.allowed_deg_low:.1f}–{hosel.allowed_deg_high:.1f})"
        )
        return False

    def describe(self, result) -> str:
        """The bend allowance in words."""
        return bend_words(result.hosel)
