"""The scatter of a shop: what comes out, what is outside the limits, and which input matters."""

from __future__ import annotations

import numpy as np

from ...inputs.limits import QUANTITIES
from .. import style
from ..units import Units

__all__ = ["input_words", "quantities_shown", "scatter_picture"]

#: What is drawn, left to right; the last only with limits.
_SHOWN = ("face_hardness_hv", "hosel_allowed_deg", "slack")
#: Bars of a distribution, and inputs named below it.
_BARS, _NAMED = 36, 7
#: Ends of a distribution that are drawn, %; what lies beyond is counted, not drawn.
_ENDS = (0.3, 99.7)
_WORDS = {"shop_spray": "how well the water cools", "shop_emissivity": "how well scale radiates"}
_FIRST, _TOTAL = style.ACCENT, "#BCD0EE"


def input_words(one) -> str:
    """Plain words of an input that is drawn."""
    return _WORDS.get(one.name, one.setting.label)


def quantities_shown(limits) -> tuple[str, ...]:
    """What `scatter_picture` draws."""
    return _SHOWN if limits.bounds else (*_SHOWN[:-1], "hosel_hardness_hv")


def scatter_picture(figure, found, units: Units | None = None) -> str:
    """Draw distributions above, and which input matters below each; return it in words.

    Solid bars are inside the limits, white hatched ones outside.  Below: the solid bar is the share of the
    variance that an input makes alone, the pale one what it makes together with the others.
    """
    figure.clear()
    figure.set_layout_engine("constrained")
    names = quantities_shown(found.limits)
    words = {one.name: input_words(one) for one in found.inputs}
    with style.look():
        above, below = figure.subfigures(
            2, 1, height_ratios=(1.1, 1.0)
        )  # each lays out its own columns
        for ax, name in zip(above.subplots(1, len(names)), names, strict=True):
            _distribution(ax, found, name)
        for ax, name in zip(below.subplots(1, len(names)), names, strict=True):
            _matters(ax, found, name, words)
    return _words(found, names, words)


def _title(name: str) -> str:
    if name == "slack":
        return "Room inside all limits, steps"
    q = QUANTITIES[name]
    return f"{q.label.capitalize()}, {q.unit}" if q.unit else q.label.capitalize()


def _bounds(found, name: str):
    return (0.0, None) if name == "slack" else found.limits.bounds.get(name, (None, None))


def _distribution(ax, found, name: str) -> None:
    values = found.samples[name]
    low, high = _bounds(found, name)
    left, right = np.percentile(values, _ENDS)
    room = max(right - left, 1e-6)
    for end in (low, high):  # a limit not far off is drawn too
        if end is not None and left - 0.6 * room < end < right + 0.6 * room:
            left, right = min(left, end - 0.05 * room), max(right, end + 0.05 * room)
    edges = np.linspace(left, right, _BARS + 1)
    inner = [end for end in (low, high) if end is not None and left < end < right]
    edges = np.unique(
        np.concatenate([edges, inner])
    )  # so that no bar stands on both sides of a limit
    count, _ = np.histogram(values, edges)
    wide = np.diff(edges)
    tall = count / len(values) / wide
    middle = 0.5 * (edges[1:] + edges[:-1])
    out = (middle < (-np.inf if low is None else low)) | (
        middle > (np.inf if high is None else high)
    )
    ax.bar(edges[:-1][~out], tall[~out], wide[~out], align="edge", color=style.ACCENT,
           edgecolor=style.PAPER, linewidth=0.4, zorder=3)  # fmt: skip
    ax.bar(edges[:-1][out], tall[out], wide[out], align="edge", color=style.PAPER, hatch="////",
           edgecolor=style.CAUTION, linewidth=0.8, zorder=3)  # fmt: skip
    top = max(float(tall.max()), 1e-12)
    ax.set(
        xlim=(left, right),
        ylim=(0.0, 1.62 * top),
        yticks=[],
        xlabel=_title(name),
        ylabel="how many heads",
    )
    ax.grid(visible=False)
    style.title(ax, _title(name).split(",")[0])
    for end, words, ha in ((low, "at least", "right"), (high, "at most", "left")):
        if end is None or not left <= end <= right:
            continue
        ax.axvline(end, ymax=0.8, c=style.INK, lw=2.2, zorder=5)
        told = "on the limit" if name == "slack" else f"{words} {end:g}"
        ax.annotate(told, (end, 1.24 * top), (-4 if ha == "right" else 4, 0), textcoords="offset points",
                    rotation=90, ha=ha, va="top", size=9, zorder=6,
                    bbox=style.BOX)  # fmt: skip
    ax.text(0.5, 0.98, _verdict(found, name), transform=ax.transAxes, ha="center", va="top", size=9.5,
            linespacing=1.3, zorder=6, in_layout=False)  # fmt: skip


def _share(outside) -> str:
    return f"{100 * outside.share:.2g} % ({100 * outside.low:.2g} to {100 * outside.high:.2g} %)"


def _verdict(found, name: str) -> str:
    """What stands above a distribution."""
    if name == "slack":
        return f"{_share(found.outside)}\nof heads miss a limit"
    d = found.distributions[name]
    unit = QUANTITIES[name].unit
    form = ".0f" if unit == "HV" else ".2f"
    spread = f"{d.mean:{form}} ± {d.sd:{form}} {unit}"
    if name not in found.by_quantity:
        return f"{spread}\nno limit"
    by = found.by_quantity[name]
    c = by.capability
    fit = f"Cpk {c.cpk:.2f}" if c.normal else f"Cpk by percentiles {c.by_percentiles:.2f}"
    return f"{spread}, {fit}\noutside {_share(by)}"


def _matters(ax, found, name: str, words) -> None:
    ax.grid(visible=False, axis="y")
    ax.set_title("What moves it", loc="left", fontweight="bold", fontsize=10)
    if name not in found.indices:
        ax.set_axis_off()
        ax.text(0.5, 0.5, "not worked out yet", transform=ax.transAxes, ha="center", c=style.QUIET)
        return
    top = found.ranking(name).head(_NAMED)
    rows = np.arange(len(top))
    # a small sample may put a share a little outside 0 to 1
    total, first = (np.clip(top[order].to_numpy(float), 0.0, 1.0) for order in ("total", "first"))
    ax.barh(rows, 100 * total, 0.74, color=_TOTAL, edgecolor=style.ACCENT, linewidth=0.9, zorder=2)
    ax.barh(rows, 100 * first, 0.36, color=_FIRST, zorder=3)
    low, high = (
        np.nan_to_num(top[f"total_{end}"].to_numpy(float), nan=0.0) for end in ("low", "high")
    )
    low, high = (
        np.clip(np.minimum(low, total), 0.0, 1.0),
        np.clip(np.maximum(high, total), 0.0, 1.0),
    )
    ax.hlines(rows, 100 * low, 100 * high, color=style.INK, linewidth=1.1, zorder=4)
    ax.set_yticks(rows, [words[i] for i in top["input"]])
    ax.tick_params(axis="y", length=0)
    ax.set(ylim=(len(top) - 0.4, -0.6), xlim=(0.0, 105.0))
    ax.set_xlabel("share of the variance, %")


def _words(found, names, words) -> str:
    """What the picture shows, for those who cannot see it."""
    parts = [f"{found.cases} heads."]
    for name in names:
        parts.append(f"{_title(name)}: {_verdict(found, name)}.".replace("\n", ", "))
        if name in found.indices:
            top = found.ranking(name).head(3)
            shares = ", ".join(
                f"{words[r.input]} {100 * np.clip(r.total, 0.0, 1.0):.0f} %"
                for r in top.itertuples()
            )
            parts.append(f"What moves it most: {shares}.")
    return " ".join(parts)
