"""Every warning in one list, those of the hosel on the bench last; of one case in words, of many as codes."""

import itertools
from collections.abc import Iterable, Iterator

import numpy as np

from ...base.ranges import Warn, beyond
from ...hosel.limits import NOTES
from ...inputs.limits import Limits
from ...strength.tensile import RANGE_OF, branches_of
from .furnace import furnace, inputs, press
from .later_heats import later
from .rule import HOSEL, NECK, Rule, listed, sentences
from .spray import baths, spray

#: Degrees that are hardly a bend (our choice).
STIFF_HOSEL_DEG = 1.0


def _branch(name: str, id: str) -> Rule:
    """Hardness of hosel or neck outside the range of a branch of the strength that counts there."""

    def where(e):
        there = branches_of(np.maximum(e.shares[:, :, [NECK, HOSEL]], 0.0))[name]
        return (there & beyond(id, e.strength["hardness_hv"][:, [NECK, HOSEL]])).any(axis=1)

    return Rule(f"range:{id}", "note", where, lambda e, i: "", "hosel", once=True)


def hosel() -> Iterator[Rule]:
    """What a bend in full says with its own numbers, so that no sentence is needed here."""
    yield listed("hosel-hard", lambda e: e.hosel["allowed_deg"] < STIFF_HOSEL_DEG, needs="hosel")
    for name, id in RANGE_OF.items():
        yield _branch(name, id)
    for code, (rank, holds) in NOTES.items():
        bent = (lambda e, holds=holds: holds(e.hosel)), lambda e, i: ""
        yield Rule(code, rank, *bent, "hosel", once=True)


#: Every warning of an estimate, in the order of the shop floor.
RULES = (*inputs(), *furnace(), *press(), *spray(), *baths(), *later(), *hosel())

#: What the furnace alone gives to warn of.
FURNACE_CODES = frozenset(rule.code for rule in furnace())

#: Codes of the warnings that say stop: no remedy and no ranking may hold one.
STOP_CODES = frozenset(rule.code for rule in RULES if rule.rank == "stop")


def brief(code: str) -> str:
    """What a warning means, in a few words."""
    if code == "hosel:overbent":
        return "the hosel does not take the required change"
    return sentences().get(code, {}).get("brief", "") or code.replace("-", " ")


#: Quantity of a warning that says stop: where a limit is set on it, that limit decides.
_LIMITED = {
    "quench-crack": "crack_index",
    "hosel:overbent": "hosel_allowed_deg",
    "too-cold-to-press": "forging_low_c",
}


def stops_of(codes: Iterable[str], limits: Limits) -> list[str]:
    """Those of the codes that say stop, less those that a limit decides."""
    return [c for c in codes if c in STOP_CODES and _LIMITED.get(c) not in limits.bounds]


def of_case(e, case: int, bend=None) -> tuple[Warn, ...]:
    """Warnings of one case, in words, in the order of `RULES`.

    `bend` is the hosel on its own bench, which gives its own warnings; without it those of the hosel are
    left out.

    .. [1] ASTM 5 divides fine from coarse grain: ASTM A29 (common practice).
    .. [2] Marks from which scale, lost carbon, carbides and the like are worth a warning (our choice).
    """
    found: dict[str, Warn] = {}
    for rule in RULES:
        if rule.needs == "hosel" or not rule.applies(e):
            continue
        if rule.where(e)[case] and not (rule.once and rule.code in found):
            warn = Warn(rule.code, rule.text(e, case), rule.rank)
            found[rule.code if rule.once else warn.text] = warn
    if bend is None:
        return tuple(found.values())
    row = sentences()["hosel-hard"]
    hard = Warn(row["code"], row["text"].format_map(vars(bend)), row["rank"])
    return (*found.values(), *[hard] * (bend.allowed_deg < STIFF_HOSEL_DEG), *bend.warnings)


def codes_of(e) -> np.ndarray:
    """Codes of the warnings of every case joined by "; ", array of text."""
    rules = [rule for rule in RULES if rule.applies(e)]
    column = {code: i for i, code in enumerate(dict.fromkeys(rule.code for rule in rules))}
    there = np.zeros((len(e), len(column)), bool)
    for rule in rules:
        there[:, column[rule.code]] |= rule.where(e)
    kinds = [row.tobytes() for row in there]  # most cases share theirs with others
    words = {kind: "; ".join(itertools.compress(column, kind)) for kind in set(kinds)}
    return np.array([words[kind] for kind in kinds], dtype=object)
