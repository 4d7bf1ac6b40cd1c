"""The few pieces of HTML that pages are made of; every text is escaped here."""

from __future__ import annotations

import html as _html
from collections.abc import Iterable

from . import style


def text(words) -> str:
    """Words of any kind, escaped."""
    return _html.escape(str(words))


def line(words) -> str:
    """A quiet paragraph."""
    return f'<p style="max-width:950px;color:{style.QUIET}">{text(words)}</p>'


def note(sentence: str = "", bad: bool = True) -> str:
    """One sentence beside a control; empty for none."""
    if not sentence:
        return ""
    colour = style.CAUTION if bad else style.QUIET
    return (
        f'<span role="{"alert" if bad else "status"}" style="color:{colour};line-height:1.25;'
        f'display:inline-block;max-width:420px;white-space:normal">{text(sentence)}</span>'
    )


def status(*parts: str, least_px: int = 0) -> str:
    """The answer of a page, of pieces of HTML; it keeps its height so that the page does not jump."""
    return (
        f'<div role="status" style="font-size:15px;line-height:1.4;max-width:1000px;'
        f'margin:4px 0 2px 8px;min-height:{least_px}px">{" ".join(filter(None, parts))}</div>'
    )


def bullets(lines: Iterable, title: str = "", caution: bool = False) -> str:
    """A list with a title; nothing for no lines."""
    items = "".join(f"<li>{text(one)}</li>" for one in lines)
    if not items:
        return ""
    colour = style.CAUTION if caution else style.INK
    head = f'<b style="color:{colour}">{text(title)}</b>' if title else ""
    return f'{head}<ul style="max-width:950px;line-height:1.4;margin:0 0 4px 18px">{items}</ul>'


def folded(summary: str, inside: str, opened: bool = False) -> str:
    """A part that opens on a click; `inside` is HTML."""
    return (
        f"<details{' open' if opened else ''}><summary style='cursor:pointer'>{text(summary)}</summary>"
        f"{inside}</details>"
    )


def table(head: Iterable, rows: Iterable[Iterable], shades=None) -> str:
    """A table of texts.

    Parameters
    ----------
    head : sequence
    rows : sequence of sequences
    shades : callable, optional
        ``shades(row, column) -> "#RRGGBB"`` or None: fill of a field; its letters stay legible.
    """

    def cell(i: int, j: int, words) -> str:
        look, shade = f"padding:2px 10px 2px 3px;border-top:1px solid {style.GRID};", None
        if shades is not None:
            shade = shades(i, j)
        if shade:
            dark = style.grey_lightness(shade) < 55
            look += f"background:{shade};color:{style.PAPER if dark else style.INK};"
        return f"<td style='{look}vertical-align:top'>{text(words)}</td>"

    titles = "".join(f"<th style='text-align:left;padding-right:10px'>{text(h)}</th>" for h in head)
    body = "".join(
        f"<tr>{''.join(cell(i, j, c) for j, c in enumerate(row))}</tr>"
        for i, row in enumerate(rows)
    )
    return f"<table style='border-collapse:collapse'><tr>{titles}</tr>{body}</table>"
