"""What must be said beside the numbers, once and short: README, first notebook, setting sheet.

What stands beside every bend allowance is told where it is computed, `hosel.bend.CAUTIONS`.
"""

from __future__ import annotations

__all__ = ["CAUTIONS", "SHORT"]

#: Under every answer.
SHORT = (
    "An estimate, not a test: check a trial head on the hardness tester and the bending bench "
    "before you set a batch. Hot steel, water, presses and a hosel under a bar hurt: follow "
    "your shop's rules and local codes."
)

#: (what it is about, what to mind), in the order of the shop.
CAUTIONS = (
    (
        "Estimate",
        "It is not a test: try one head on the hardness tester and the bending bench before "
        "a batch, and release no part on it whose failure could injure anybody.",
    ),
    (
        "Furnace",
        "Light, vent and shut it down by its own instructions; watch for gas and for fumes of oil "
        "on the steel.",
    ),
    (
        "Hot work",
        "A head at 500 °C looks cold and burns to the bone: tongs, face shield, and a place to "
        "cool out of reach.",
    ),
    (
        "Blind bore",
        "Never heat or spray a head with water or oil shut in its bore: it bursts. Dry it and "
        "leave the bore open.",
    ),
    (
        "Press",
        "Hands stay out of the die: guards and two-hand control on, ram blocked before you reach "
        "in.",
    ),
    (
        "Water",
        "On hot steel it throws steam and scalding drops, on hot tooling it cracks dies: shield "
        "the spray, keep it off the die and away from electrics.",
    ),
    ("Blasting", "Closed cabinet, dust drawn off, eyes, ears and lungs protected."),
    (
        "Bending",
        "A hard or notched hosel can snap without warning: eye protection, stand to the side, "
        "bend slowly.",
    ),
    (
        "Rules",
        "Local codes, your shop's rules and licensed practice go before anything printed here.",
    ),
)
