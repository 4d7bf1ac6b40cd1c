"""What a result says of the zones and the hosel: hardness and structure as bars, the bend as a scale of degrees."""

from __future__ import annotations

from ...base.errors import InputError
from .. import style
from ..canvas import Picture
from ..units import Units

_TOP_HV = 700.0
_ROCKWELL = (("HRB", (80,)), ("HRC", (20, 30, 40, 50, 55)))
#: Within a row of height 1: where the words stand and where the bar lies.
_WORDS_UP, _BAR_DOWN, _BAR_HEIGHT = 0.27, 0.21, 0.32


def _rockwell_ticks():
    """Places in HV and words for the Rockwell axis; values a table does not reach are left out."""
    from ...strength.hardness_scales import convert_hardness

    ticks = []
    for scale, values in _ROCKWELL:
        for value in values:
            try:
                place = convert_hardness(value, scale, "HV")
            except InputError:
                continue
            ticks.append((place, f"{value} {scale}" if value == values[0] else f"{value}"))
    return ticks


class HardnessBars(Picture):
    """One bar per zone with its interval and its number; a hollow mark shows the face without water."""

    def __init__(self, ax, zones=style.ZONES, units: Units | None = None):
        self.ax, self.zones, self.units = ax, tuple(zones), units or Units()
        n = len(self.zones)
        ax.set(xlim=(0, _TOP_HV), ylim=(n - 0.45, -0.55), yticks=range(n), yticklabels=self.zones)
        ax.tick_params(axis="y", length=0)
        ax.grid(axis="y", visible=False)
        ax.set_xlabel("hardness, HV")
        style.title(ax, "How hard each zone comes out")
        for label in ax.get_yticklabels():
            label.set_fontweight("bold")
        top = ax.secondary_xaxis("top")
        ticks = _rockwell_ticks()
        top.set_xticks([hv for hv, _ in ticks], [words for _, words in ticks])
        top.tick_params(labelsize=8, labelcolor=style.QUIET)
        self._bars, self._spans, self._words = {}, {}, {}
        for row, zone in enumerate(self.zones):
            middle = row + _BAR_DOWN
            self._bars[zone] = ax.barh(
                middle, 0, height=_BAR_HEIGHT, color=style.zone_look(zone).colour, zorder=2
            )[0]
            self._spans[zone] = ax.plot(
                [0, 0],
                [middle] * 2,
                c=style.INK,
                lw=1.4,
                marker="|",
                ms=7,
                zorder=3,
                path_effects=style.cased(2.6),  # else it is lost on the dark bar of the body
            )[0]
            self._words[zone] = ax.text(8, row - _WORDS_UP, "", va="center", size=9, zorder=4)
        (self._dry,) = ax.plot([0], [0], "o", ms=7, mfc=style.PAPER, mec=style.INK, zorder=5)

    def words(self, zone) -> str:
        """Number of one zone in words: '412 HV (380–440) · 42 HRC'."""
        first = (
            f"{zone.hardness_hv:.0f} HV ({zone.hardness_low_hv:.0f}–{zone.hardness_high_hv:.0f})"
        )
        second = self.units if self.units.hardness == "HB" else Units(hardness="HRC")
        return f"{first} · {second.hardness_text(zone.hardness_hv)}"

    def update(self, result) -> bool:
        """Follow a result; the frame never changes."""
        dry_hv = (result.without_spray or {}).get("face")
        for row, zone in enumerate(self.zones):
            z = result.zones[zone]
            self._bars[zone].set_width(z.hardness_hv)
            self._spans[zone].set_xdata([z.hardness_low_hv, z.hardness_high_hv])
            with_dry = zone == "face" and dry_hv is not None
            self._words[zone].set_text(
                self.words(z) + (f"   (o without water {dry_hv:.0f})" if with_dry else "")
            )
            if with_dry:
                self._dry.set_data([dry_hv], [row + _BAR_DOWN])
        self._dry.set_visible(dry_hv is not None and "face" in self.zones)
        return False

    def describe(self, result) -> str:
        """One sentence with every number in the picture."""
        text = "Hardness: " + ", ".join(
            f"{zone} {self.words(result.zones[zone])}" for zone in self.zones
        )
        dry_hv = (result.without_spray or {}).get("face")
        return text + (
            "." if dry_hv is None else f"; without water the face would be {dry_hv:.0f} HV."
        )


_SHORT = {
    "ferrite": "ferrite",
    "pearlite": "pearlite",
    "bainite": "bainite",
    "martensite": "martensite",
    "austenite": "austenite",
    "untransformed": "unchanged",
}


class StructureBars(Picture):
    """One bar of 100 % per zone, cut into its constituents; wide pieces carry their name."""

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
                    0, row, "", ha="center", va="center", size=8.5, c=ink, zorder=3
                )

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


class BendGauge(Picture):
    """Scale of degrees, marked with what they are good for; a pointer and a bar show the answer."""

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
            ax.text((low + high) / 2, 0.21, words, ha="center", va="center", size=8, zorder=2)
        colour = style.zone_look("hosel").colour
        (self._span,) = ax.plot(
            [0, 0], [0.52, 0.52], c=style.INK, lw=1.4, marker="|", ms=11, zorder=4
        )
        (self._pointer,) = ax.plot(
            [0], [0.52], marker="v", ms=15, c=colour, ls="none", zorder=5, mec=style.PAPER
        )
        self._words = ax.text(
            0, 0.72, "", ha="center", va="bottom", size=11, weight="bold", c=colour, zorder=5
        )

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
