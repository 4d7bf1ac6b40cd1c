"""Cautions that stand wherever a number leaves the package: text, JSON, sheet, pages, tables; the one list of them."""

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
CAUTIONS = (
    (
        "Estimate",
        "It is not a test: try one head on the hardness tester and the bending bench before a batch, and "
        "release no part on it whose failure could injure anybody.",
    ),
    (
        "Furnace",
        "Purge before lighting, keep the flame guard working, watch for carbon monoxide, never reach in; "
        "dust of fibre lining and sleeves harms the lungs: mask and gloves.",
    ),
    (
        "Protective gas",
        "It explodes when air meets it below its safe temperature, and it suffocates: purge, burn off and "
        "shut down by the furnace maker's instructions.",
    ),
    (
        "Induction",
        "Nobody with a pacemaker or other implant near the coil; no rings or watches; guard the coil and its water.",
    ),
    (
        "Hot work",
        "A black-hot head at 500 °C looks cold and burns to the bone: tongs, face shield, marked places to "
        "cool, out of reach.",
    ),
    (
        "Blind bore",
        "Never heat or spray a head with water or oil shut in its bore: it bursts. Dry it and leave the bore open.",
    ),
    (
        "Press",
        "Guards and two-hand control on; lock out, tag out and block the ram before you reach in; no tongs in "
        "the closing die; flying scale, noise, burning lubricant: shield, hearing protection, extraction.",
    ),
    (
        "Water",
        "On hot steel it throws steam and scalding drops, trapped under a head in the die it bursts out, on "
        "hot tooling it cracks dies: drain and shield the spray, keep it off dies, hot oil and electrics.",
    ),
    (
        "Oil and polymer",
        "A head held half in oil flashes it into fire, water in oil boils over, polymer fumes: plunge whole "
        "heads, lid and extinguisher at hand, extraction.",
    ),
    (
        "Hard heads",
        "Above 50 HRC a quenched head can crack hours later and throw pieces: temper at once, keep it in a "
        "closed box until then.",
    ),
    (
        "Local heat",
        "No torch on plated, leaded or painted steel (poisonous fume) nor on a head with its shaft or "
        "adhesive in place (it bursts); steam rises off the cloth, and the hosel stays hot: gloves, eye "
        "protection, nobody beside it.",
    ),
    (
        "Acid and plating",
        "Acid goes into water, never water into acid; gloves, goggles, ventilation, the supplier's safety "
        "sheet. Pickled or plated hard steel takes up hydrogen and cracks later: blast instead, or bake at once.",
    ),
    (
        "Blasting and grinding",
        "No silica sand; closed, interlocked cabinet, dust drawn off, wheel guards on, eyes, ears and lungs protected.",
    ),
    (
        "Bending",
        "A hard or notched hosel can snap without warning: eye protection, stand to the side, bend slowly; "
        f"bare forged heads only; above {STEADY_PULL_N:.0f} N a screw bender or a longer bar.",
    ),
    (
        "Rules",
        "Local codes, the equipment makers' instructions, your shop's rules and licensed practice go before "
        "anything printed here.",
    ),
)


def beside(bend: bool = True) -> list[str]:
    """Cautions as sentences, for JSON and for lists on a page.

    Parameters
    ----------
    bend : bool
        With those that stand beside every bend allowance.
    """
    return [*(f"{danger}: {text}" for danger, text in CAUTIONS), *(BENCH if bend else ())]


def note_html() -> str:
    """The short caution under a table of a notebook."""
    return f"<p><small>{SHORT}</small></p>"
