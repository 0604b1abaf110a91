"""All that is known of the lots of one bay, put together once."""

from __future__ import annotations

from typing import NamedTuple

from ventcalc.bay.description import Bay
from ventcalc.logbook.folder import Logbook
from ventcalc.logbook.lots import Blocked, LotState, Stretch, blocked_lots, lots_of, stretches_of
from ventcalc.logbook.seed_rules import RuleFinding, seed_findings
from ventcalc.logbook.weights import Shrink, shrink_of

__all__ = ["BayLots", "bay_lots"]


class BayLots(NamedTuple):
    """What lies in a bay and where, what is in its way, what the rules say, what was lost."""

    bay: Bay
    book: Logbook
    lots: list[LotState]
    stretches: list[Stretch]
    blocked: list[Blocked]
    rules: list[RuleFinding]
    shrinks: list[Shrink]
    """Of the lots that have begun to leave."""


def bay_lots(bay: Bay, book: Logbook) -> BayLots:
    """The lots of a bay by its season folder."""
    lots, stretches = lots_of(bay, book), stretches_of(bay, book)
    leaving = {entry.lot for entry in book.entries("weights_out")}
    return BayLots(
        bay=bay,
        book=book,
        lots=lots,
        stretches=stretches,
        blocked=blocked_lots(stretches, lots),
        rules=seed_findings(bay, book, lots, stretches),
        shrinks=[shrink_of(book, one.entry.lot) for one in lots if one.entry.lot in leaving],
    )
