"""Rules for seed in store, as data with their source, held against a season's lines."""

from __future__ import annotations

import csv
import functools
import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from importlib.resources import files
from typing import NamedTuple

from ventcalc.bay.description import Bay
from ventcalc.logbook.folder import Logbook
from ventcalc.logbook.kinds import LotEntry
from ventcalc.logbook.lots import LotState, Stretch, known_use

__all__ = ["BROKEN", "CANNOT_SAY", "KEPT", "RuleFinding", "inhibited", "seed_findings", "unclean"]

KEPT, BROKEN, CANNOT_SAY = "kept", "broken", "cannot say"
BAD_DISEASES = ("ring rot", "ring_rot", "root-knot", "root knot", "ringspot", "ring spot")


@dataclass(frozen=True, kw_only=True, slots=True)
class RuleFinding:
    """One rule against one bay; the authority that certifies decides, not this."""

    key: str
    rule: str
    source: str
    verdict: str
    """``kept``, ``broken`` or ``cannot say``."""
    words: str
    """What was found, or what is not written down."""


class _Facts(NamedTuple):
    """What the rules look at."""

    book: Logbook
    lots: list[LotState]
    seed: list[LotState]
    stretches: Sequence[Stretch]
    first_load: float


Told = tuple[str, str]


def seed_findings(
    bay: Bay, book: Logbook, lots: Sequence[LotState], stretches: Sequence[Stretch]
) -> list[RuleFinding]:
    """
    Hold every rule against a bay with seed; treatments of earlier seasons belong into its season
    too, with their date.
    """
    there = [state for state in lots if state.loaded > 0.0]
    facts = _Facts(
        book=book,
        lots=there,
        seed=[state for state in there if known_use(state, bay) == "seed"],
        stretches=stretches,
        first_load=min((line.time for line in book.lines("loads")), default=math.inf),
    )
    if not facts.seed:
        return []
    found = []
    for row in _rules():
        verdict, words = _LOOK[row["key"]](facts)
        found.append(RuleFinding(**row, verdict=verdict, words=words))
    return found


@functools.cache
def _rules() -> tuple[dict[str, str], ...]:
    text = files("ventcalc").joinpath("data/seed_rules.csv").read_text(encoding="utf-8")
    return tuple(csv.DictReader(text.splitlines()))


def _treated(facts: _Facts, what: str, before: bool) -> list[str]:
    return [
        line.entry.substance or what.replace("_", " ")
        for line in facts.book.lines("treatments")
        if line.entry.what == what and (line.time < facts.first_load) == before
    ]


def inhibited(book: Logbook) -> bool:
    """Whether sprout inhibitor is written down for a bay, whenever that was."""
    return any(entry.what == "sprout_inhibitor" for entry in book.entries("treatments"))


def unclean(entry: LotEntry) -> bool:
    """Whether a lot bears a disease that seed must not lie with."""
    words = (entry.disease or "").lower()
    return any(name in words for name in BAD_DISEASES)


def _inhibitor_before(facts: _Facts) -> Told:
    used = _treated(facts, "sprout_inhibitor", before=True)
    if used:
        return BROKEN, f"used here before the first load: {', '.join(used)}"
    return CANNOT_SAY, "none is written down; make sure of the season before"


def _inhibitor_now(facts: _Facts) -> Told:
    used = _treated(facts, "sprout_inhibitor", before=False)
    return (BROKEN, f"used: {', '.join(used)}") if used else (KEPT, "none is written down")


def _sanitised(facts: _Facts) -> Told:
    used = _treated(facts, "disinfectant", before=True)
    return (KEPT, ", ".join(used)) if used else (CANNOT_SAY, "no disinfectant is written down")


def _identified(facts: _Facts) -> Told:
    nameless = [
        s.entry.lot for s in facts.seed if s.entry.variety is None or s.entry.seed_class is None
    ]
    if nameless:
        return BROKEN, f"variety or class not written down: {', '.join(nameless)}"
    return KEPT, f"{len(facts.seed)} lots with variety and class"


def _not_mixed(facts: _Facts) -> Told:
    parts = [part.lot for part in facts.stretches]
    torn = sorted({lot for lot in parts if parts.count(lot) > 1})
    if torn:
        return BROKEN, f"loaded in turns with another lot: {', '.join(torn)}"
    return KEPT, "each lot lies in one piece; mark where they meet"


def _separate(facts: _Facts) -> Told:
    kinds = {(s.entry.variety, s.entry.seed_class) for s in facts.seed}
    if len(kinds) > 1:
        told = sorted(" ".join(word or "unknown" for word in kind) for kind in kinds)
        return BROKEN, f"in one bay: {', '.join(told)}"
    return KEPT, "one variety and class"


def _inspected(facts: _Facts) -> Told:
    failed = [s.entry.lot for s in facts.lots if s.entry.inspected == "no"]
    unknown = [s.entry.lot for s in facts.lots if s.entry.inspected is None]
    if failed:
        return BROKEN, f"not inspected: {', '.join(failed)}"
    if unknown:
        return CANNOT_SAY, f"not written down: {', '.join(unknown)}"
    return KEPT, "all inspected"


def _disease(facts: _Facts) -> Told:
    told = {s.entry.lot: (s.entry.disease or "").lower() for s in facts.lots}
    bad = [s.entry.lot for s in facts.lots if unclean(s.entry)]
    unknown = [lot for lot, words in told.items() if not words]
    if bad:
        return BROKEN, ", ".join(f"{lot}: {told[lot]}" for lot in bad)
    if unknown:
        return CANNOT_SAY, f"not written down: {', '.join(unknown)}"
    return KEPT, "none of them is written down"


def _moved(facts: _Facts) -> Told:
    seed = {s.entry.lot for s in facts.seed}
    moved = sorted({x.lot for x in facts.book.entries("moves") if x.lot in seed})
    if moved:
        return CANNOT_SAY, f"moved: {', '.join(moved)}; see that notice was given"
    return KEPT, "nothing was moved"


_LOOK: dict[str, Callable[[_Facts], Told]] = {
    "inhibitor_before": _inhibitor_before,
    "inhibitor_now": _inhibitor_now,
    "sanitised": _sanitised,
    "identified": _identified,
    "not_mixed": _not_mixed,
    "separate": _separate,
    "inspected": _inspected,
    "disease": _disease,
    "moved": _moved,
}
