"""Cautions that stand wherever a number leaves the package: text, JSON, sheet, pages, tables; the one list of them."""

from .tables import read_rows

#: Steady pull above which daily work needs a screw bender or a longer bar, N: recommended upper limit of a
#: standing push or pull with the whole body (see `hosel.result.EASE`).
STEADY_PULL_N = 225.0

#: Under every text and table.
SHORT = (
    "An estimate, not a test: check a trial head on hardness tester and bending bench first. A hosel can snap: "
    "eye protection, stand aside, bend slowly; never plated, cast, welded, shafted or bonded heads. Local codes, "
    "makers' instructions and licensed practice go before these numbers."
)


def _rows(name: str) -> list[tuple[str, ...]]:
    rows = (row.values() for row in read_rows(f"library/{name}.csv"))
    return [tuple(text.format(steady_n=STEADY_PULL_N) for text in row) for row in rows]


#: What must stand beside every bend allowance.
BENCH = tuple(text for (text,) in _rows("bench_cautions"))
#: What must stand beside every margin of a face.
FACE = tuple(text for (text,) in _rows("face_cautions"))
#: (danger, what to do), in the order of the shop.
CAUTIONS = tuple(_rows("cautions"))


def beside() -> list[str]:
    """Cautions as sentences, for JSON and for lists on a page."""
    return [*(f"{danger}: {text}" for danger, text in CAUTIONS), *BENCH]
