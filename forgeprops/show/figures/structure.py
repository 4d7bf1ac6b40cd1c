"""What each zone is made of: shares of ferrite, pearlite, bainite, martensite, retained austenite."""

from __future__ import annotations

from .. import style

__all__ = ["StructureBars"]

_SHORT = {
    "ferrite": "ferrite",
    "pearlite": "pearlite",
    "bainite": "bainite",
    "martensite": "martensite",
    "austenite": "austenite",
    "untransformed": "unchanged",
}


class StructureBars:
    """One bar of 100 % per zone, cut into its constituents; wide pieces carry their name.

    Parameters
    ----------
    ax : matplotlib.axes.Axes
    zones : tuple of str
    show_names : bool
        Write the zone names at the left; not needed beside `HardnessBars` of the same zones.
    """

    def __init__(self, ax, zones=style.ZONES, show_names: bool = True):
        self.ax, self.zones = ax, tuple(zones)
        ax.set(
            xlim=(0, 100),
            ylim=(len(self.zones) - 0.45, -0.55),
            yticks=list(range(len(self.zones))),
            yticklabels=self.zones if show_names else [],
            xlabel="share of the structure, %",
        )
        ax.tick_params(axis="y", length=0)
        ax.grid(visible=False)
        style.title(ax, "What it is made of")
        for label in ax.get_yticklabels():
            label.set_fontweight("bold")
        self._pieces, self._words = {}, {}
        for row, zone in enumerate(self.zones):
            for phase in style.PHASES:
                colour = style.phase_look(phase).colour
                self._pieces[zone, phase] = ax.barh(
                    row, 0, height=0.7, color=colour, edgecolor=style.PAPER, linewidth=0.8, zorder=2
                )[0]
                ink = style.PAPER if style.grey_lightness(colour) < 60 else style.INK
                self._words[zone, phase] = ax.text(
                    0, row, "", ha="center", va="center", fontsize=8.5, color=ink, zorder=3
                )

    @property
    def artists(self) -> tuple:
        """Everything that moves with the result."""
        return (*self._pieces.values(), *self._words.values())

    def update(self, result) -> bool:
        """Follow a result; the frame never changes."""
        for zone in self.zones:
            start = 0.0
            for phase in style.PHASES:
                share = 100.0 * float(result.zones[zone].fractions.get(phase, 0.0))
                piece, words = self._pieces[zone, phase], self._words[zone, phase]
                piece.set_visible(share > 0.05)
                piece.set_x(start)
                piece.set_width(share)
                name = (
                    f"{_SHORT[phase]} {share:.0f}"
                    if share >= 28
                    else f"{share:.0f}"
                    if share >= 7
                    else ""
                )
                words.set_text(name)
                words.set_visible(bool(name))
                words.set_x(start + share / 2)
                start += share
        return False

    def describe(self, result) -> str:
        """One sentence with the main constituents of every zone."""
        parts = []
        for zone in self.zones:
            shares = sorted(
                ((float(s), p) for p, s in result.zones[zone].fractions.items() if s >= 0.05),
                reverse=True,
            )
            parts.append(
                f"{zone} "
                + " and ".join(f"{100 * s:.0f} % {_SHORT.get(p, p)}" for s, p in shares[:3])
            )
        return "Structure: " + "; ".join(parts) + "."
