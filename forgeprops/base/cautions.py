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

#: What must stand beside every bend allowance.
BENCH = (
    "A hard or notched hosel can snap without warning and the bar flies on: wear eye protection, stand to "
    "the side and keep others away.",
    "Clamp the head close to the neck on a full, padded seat; a head that shifts bends where it should not.",
    "Bend slowly and unload to measure; stop at the first crack, wrinkle or sudden give.",
    f"Above {STEADY_PULL_N:.0f} N use a screw bender or a longer bar.",
    "These numbers are for bare forged steel in one piece; never bend plated, cast, welded, repaired, shafted "
    "or bonded heads by them.",
    "An estimate never replaces a trial bend on a head of the same heat and route.",
)

#: (danger, what to do), in the order of the shop.
CAUTIONS = tuple(
    (row["danger"], row["text"].format(steady_n=STEADY_PULL_N))
    for row in read_rows("library/cautions.csv")
)


def beside(bend: bool = True) -> list[str]:
    """Cautions as sentences, for JSON and for lists on a page; with `bend` those beside every bend allowance."""
    return [*(f"{danger}: {text}" for danger, text in CAUTIONS), *(BENCH if bend else ())]


def note_html() -> str:
    """The short caution under a table of a notebook."""
    return f"<p><small>{SHORT}</small></p>"
