"""Which lot into which bay, in which order, and why: a proposal."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

from ventcalc.bay.description import Bay
from ventcalc.logbook.folder import Logbook
from ventcalc.logbook.lots import LotState, lots_of
from ventcalc.logbook.seed_rules import inhibited, unclean

__all__ = ["HOW_LONG", "Placing", "allot"]

HOW_LONG = {
    "first out": "weeks: sell it first",
    "mid season": "not to the end of the season",
    "long": "as long as it stays dormant",
}
"""What the term of a lot means where it names no date (common practice, no source)."""
LEAST = 1000.0
"""Less room than this is none (common practice, no source). [kg]"""


@dataclass(frozen=True, kw_only=True, slots=True)
class Placing:
    """A lot, or a part of one, and its bay."""

    lot: str
    bay: str
    """Empty where no bay may or can take it."""
    mass: float
    """[kg]"""
    order: int
    """1 goes in first, to the back wall."""
    until: str
    """A date, or how long in words."""
    reasons: tuple[str, ...]


@dataclass(kw_only=True, slots=True)
class _Room:
    """What a bay can still take while lots are being placed."""

    name: str
    bay: Bay
    book: Logbook
    free: float
    there: list[LotState]
    placed: list[tuple[LotState, float, list[str]]] = field(default_factory=list)

    @property
    def neighbours(self) -> list[LotState]:
        """Lots that lie there, or will."""
        return [*self.there, *(lot for lot, _, _ in self.placed)]


def allot(bays: Mapping[str, tuple[Bay, Logbook]]) -> tuple[Placing, ...]:
    """
    Propose a bay for every lot that is announced with its mass and not in yet.

    Large lots are placed first, each where it fits whole, lies with lots that leave at about the
    same time and, for seed, of the same variety and class, and fills the bay best. In a bay the lot
    that leaves last goes to the back wall.
    """
    rooms = []
    known: dict[str, LotState] = {}
    loaded: dict[str, float] = {}
    for name, (bay, book) in bays.items():
        states = lots_of(bay, book)
        content = sum(state.content for state in states)
        there = [state for state in states if state.content > 0.0]
        free = max(bay.pile.capacity - content, 0.0)
        rooms.append(_Room(name=name, bay=bay, book=book, free=free, there=there))
        for state in states:
            lot = state.entry.lot
            loaded[lot] = loaded.get(lot, 0.0) + state.loaded
            if lot not in known or state.entry.mass is not None:
                known[lot] = state
    left: list[Placing] = []
    for state in sorted(known.values(), key=lambda s: -(s.entry.mass or 0.0)):
        rest = (state.entry.mass or 0.0) - loaded[state.entry.lot]
        if rest > LEAST:
            left += _place(state, rest, rooms)
    return (*(placing for room in rooms for placing in _in_order(room)), *left)


def _place(state: LotState, mass: float, rooms: Sequence[_Room]) -> list[Placing]:
    """Put a lot into the best bays; what nobody takes comes back."""
    split: list[str] = []
    why_not = {room.name: _forbidden(state, room) for room in rooms}
    while mass > LEAST:
        open_rooms = [r for r in rooms if not why_not[r.name] and r.free > LEAST]
        if not open_rooms:
            full = [r.name for r in rooms if not why_not[r.name]]
            told = [f"{name}: {why}" for name, why in why_not.items() if why]
            told += [f"{name}: full" for name in full]
            until = state.entry.keep_until or HOW_LONG[state.term]
            return [
                Placing(lot=state.entry.lot, bay="", mass=mass, order=0, until=until,
                        reasons=tuple(told))
            ]  # fmt: skip
        best = min(open_rooms, key=lambda room: _cost(state, mass, room))
        taken = min(mass, best.free)
        if taken < mass:
            split = ["no bay holds it whole"]
        best.placed.append((state, taken, [*_for(state, best), *split]))
        best.free -= taken
        mass -= taken
    return []


def _forbidden(state: LotState, room: _Room) -> str:
    use = state.entry.use or room.bay.use
    neighbours = room.neighbours
    if use != room.bay.use:
        return f"is kept for {room.bay.use}, the lot is {use}"
    if use == "seed" and inhibited(room.book):
        return "sprout inhibitor was used there, no place for seed"
    if use == "seed" and unclean(state.entry) and neighbours:
        return "other seed lies there, and the lot bears a disease that seed must not lie with"
    if use == "seed" and any(unclean(other.entry) for other in neighbours):
        return "a lot lies there that bears a disease which seed must not lie with"
    if use == "seed" and state.entry.inspected == "no" and neighbours:
        return "inspected seed lies there, and the lot is not inspected"
    return ""


def _cost(state: LotState, mass: float, room: _Room) -> tuple[int, int, int, float]:
    neighbours = room.neighbours
    seed = room.bay.use == "seed"
    return (
        int(mass > room.free),
        sum(other.term != state.term for other in neighbours),
        sum(seed and _kind(other) != _kind(state) for other in neighbours),
        abs(room.free - mass),
    )


def _kind(state: LotState) -> tuple[str | None, str | None]:
    return state.entry.variety, state.entry.seed_class


def _for(state: LotState, room: _Room) -> list[str]:
    neighbours = room.neighbours
    reasons = []
    if not neighbours:
        reasons.append("the bay is empty")
    elif all(other.term == state.term for other in neighbours):
        reasons.append("lies with lots that leave at about the same time")
    else:
        reasons.append("no bay with lots of its own time has room")
    if state.against:
        reasons.append(f"against a long stay: {', '.join(state.against)}")
    if room.bay.use == "seed" and any(_kind(other) != _kind(state) for other in neighbours):
        reasons.append("keep it visibly apart: another variety or class lies there")
    return reasons


def _in_order(room: _Room) -> list[Placing]:
    """The lot that leaves last goes in first."""
    rows = sorted(room.placed, key=lambda row: row[0].urgency, reverse=True)
    found = []
    for order, (state, mass, reasons) in enumerate(rows, start=1):
        where = "leaves last, so first in" if order == 1 and len(rows) > 1 else ""
        where = "leaves first, so last in, by the door" if 1 < order == len(rows) else where
        found.append(
            Placing(
                lot=state.entry.lot,
                bay=room.name,
                mass=mass,
                order=order,
                until=state.entry.keep_until or HOW_LONG[state.term],
                reasons=tuple([*reasons, where] if where else reasons),
            )
        )
    return found
