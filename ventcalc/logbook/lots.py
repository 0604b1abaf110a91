"""Lots of a bay: how much of each, how sound, where it lies, and which should leave first."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import NamedTuple

from ventcalc.bay.description import Bay
from ventcalc.logbook.folder import Logbook
from ventcalc.logbook.judge import FROST, ROT, WARMEST
from ventcalc.logbook.kinds import LotEntry

__all__ = ["Blocked", "LotState", "Stretch", "blocked_lots", "face_at", "known_use", "lots_of",
           "stretches_of"]  # fmt: skip

WET = 0.1
"""Part of a lot that came in wet, from which on it is kept in mind (common practice, no source).
[0-1]"""
TERMS = ("first out", "mid season", "long")
"""How long a lot may lie, by what speaks against it."""


@dataclass(frozen=True, kw_only=True, slots=True)
class LotState:
    """A lot as the season's lines tell it."""

    entry: LotEntry
    loaded: float
    """Crop that came in. [kg]"""
    content: float
    """Crop that is still there, before shrink. [kg]"""
    pulp_mean: float
    """Of its loads, by mass; NaN where none was measured. [°C]"""
    rot_share: float
    """Highest seen in a load or in the pile. [0-1]"""
    frost_share: float
    """Highest seen. [0-1]"""
    wet_share: float
    """Part that came in wet. [0-1]"""
    hot_share: float
    """Part that came in too warm. [0-1]"""
    term: str
    """One of ``TERMS``."""
    against: tuple[str, ...]
    """What speaks against a long stay, by name: ``rot``, ``frost``, ``wet``, ``hot``, ``immature``,
    ``disease``."""

    @property
    def urgency(self) -> tuple[int, str, float]:
        """Sorts lots: what must leave first comes first."""
        return TERMS.index(self.term), self.entry.keep_until or "9999", -self.rot_share


class Stretch(NamedTuple):
    """A lot's part of the pile, from the back wall towards the door."""

    lot: str
    start: float
    """Of its middle height. [m]"""
    end: float
    """Of its middle height. [m]"""
    mass: float
    """[kg]"""


class Blocked(NamedTuple):
    """A lot that cannot leave before those between it and the door."""

    lot: str
    behind: tuple[str, ...]


def lots_of(bay: Bay, book: Logbook) -> list[LotState]:
    """
    Every lot that came in or is announced, the most urgent first; the bay file tells maturity where
    ``lots.csv`` does not.
    """
    told = {entry.lot: entry for entry in book.entries("lots")}
    ripe = {lot.name: lot.maturity for lot in bay.lots}
    names = dict.fromkeys([*told, *(x.lot for kind in _WEIGHED for x in book.entries(kind))])
    states = []
    for name in names:
        entry = told.get(name, LotEntry(lot=name))
        if entry.maturity is None:
            entry = replace(entry, maturity=ripe.get(name))
        states.append(_state(book, entry))
    return sorted(states, key=lambda state: state.urgency)


_WEIGHED = ("loads", "moves", "weights_out")


def _state(book: Logbook, entry: LotEntry) -> LotState:
    loads, moves, out, seen = (
        [x for x in book.entries(kind) if x.lot == entry.lot]
        for kind in (*_WEIGHED, "observations")
    )
    loaded = sum(x.net for x in loads)
    moved = sum(x.change for x in moves)
    probed = [(x.net, x.pulp) for x in loads if x.pulp is not None]
    weighed = sum(net for net, _ in probed)

    def highest(field: str, what: str) -> float:
        told = [getattr(x, field) for x in loads] + [x.share for x in seen if x.what == what]
        return max((share for share in told if share is not None), default=0.0)

    def part(masses: Sequence[float]) -> float:
        return sum(masses) / loaded if loaded > 0.0 else 0.0

    state = LotState(
        entry=entry,
        loaded=loaded,
        content=max(loaded + moved - sum(x.net for x in out), 0.0),
        pulp_mean=sum(m * pulp for m, pulp in probed) / weighed if weighed else math.nan,
        rot_share=highest("rot_share", "rot"),
        frost_share=highest("frost_share", "frost"),
        wet_share=part([x.net for x in loads if x.wet == "yes"]),
        hot_share=part([m for m, pulp in probed if pulp > WARMEST]),
        term=TERMS[2],
        against=(),
    )
    against = _against(state)
    grave = state.rot_share > ROT[1] or state.frost_share > FROST[1]
    return replace(state, against=against, term=TERMS[0 if grave else 1 if against else 2])


def _against(state: LotState) -> tuple[str, ...]:
    disease = (state.entry.disease or "none").lower()
    signs = {
        "rot": state.rot_share > ROT[0],
        "frost": state.frost_share > FROST[0],
        "wet": state.wet_share > WET,
        "hot": state.hot_share > WET,
        "immature": state.entry.maturity == "immature",
        "disease": disease not in ("none", "no"),
    }
    return tuple(name for name, there in signs.items() if there)


# --- where it lies -----------------------------------------------------------------------


def stretches_of(bay: Bay, book: Logbook) -> list[Stretch]:
    """
    Where each lot lies, from the back wall to the door: loads fill from the back in order of time
    unless they tell their place, trucks out take a lot's crop from the side of the door.
    """
    per_metre = bay.pile.width * bay.pile.height * bay.pile.bulk_density
    found: list[Stretch] = []
    end = 0.0
    for lot, masses, places in _runs(book):
        mass = sum(masses)
        length = mass / per_metre
        start = sum(places) / len(places) - length / 2.0 if places else end
        start = max(min(start, bay.pile.length - length), 0.0) if places else start
        found.append(Stretch(lot, start, start + length, mass))
        end = max(end, start + length)
    found.sort(key=lambda part: part.start)
    gone = [(x.lot, x.net) for x in book.entries("weights_out")]
    gone += [(x.lot, x.mass) for x in book.entries("moves") if x.away_to is not None]
    for lot, mass in gone:
        found = _taken(found, lot, mass)
    return found


def _runs(book: Logbook) -> list[tuple[str, list[float], list[float]]]:
    """Loads one after the other of the same lot: lot, masses, places told."""
    came: list[tuple[float, str, float, float | None]] = [
        (x.time, x.entry.lot, x.entry.net, x.entry.place) for x in book.lines("loads")
    ]
    came += [
        (x.time, x.entry.lot, x.entry.mass, None)
        for x in book.lines("moves")
        if x.entry.here_from is not None
    ]
    runs: list[tuple[str, list[float], list[float]]] = []
    for _, lot, mass, place in sorted(came, key=lambda load: load[0]):
        if not runs or runs[-1][0] != lot:
            runs.append((lot, [], []))
        runs[-1][1].append(mass)
        if place is not None:
            runs[-1][2].append(place)
    return runs


def _taken(stretches: list[Stretch], lot: str, mass: float) -> list[Stretch]:
    """What is left when so much of a lot left by the door."""
    left: list[Stretch] = []
    for part in reversed(stretches):
        take = min(mass, part.mass) if part.lot == lot else 0.0
        mass -= take
        rest = part.mass - take
        if rest > 1e-6 * part.mass:
            share = rest / part.mass
            left.append(Stretch(lot=part.lot, start=part.start, mass=rest,
                                end=part.start + share * (part.end - part.start)))  # fmt: skip
    return left[::-1]


def blocked_lots(stretches: Sequence[Stretch], lots: Sequence[LotState]) -> list[Blocked]:
    """Lots that should leave before others which lie between them and the door."""
    urgency = {state.entry.lot: state.urgency for state in lots}
    found = []
    for state in lots:
        mine = [part for part in stretches if part.lot == state.entry.lot]
        if not mine:
            continue
        before = dict.fromkeys(
            part.lot
            for part in stretches
            if part.start > mine[0].start and urgency[part.lot] > state.urgency
        )
        if before:
            found.append(Blocked(state.entry.lot, tuple(before)))
    return found


def face_at(bay: Bay, place: float) -> tuple[tuple[float, float], tuple[float, float]]:
    """
    Foot and upper edge of the face of a pile that holds as much as a level one up to a place, each
    from the back wall and above the floor; at either wall a wedge of that content. [m]
    """
    length, height = bay.pile.length, bay.pile.height
    run = 1.0 / math.tan(math.radians(bay.pile.angle_of_repose))
    half = 0.5 * height * run
    if place < half:
        foot = math.sqrt(2.0 * max(place, 0.0) * height * run)
        return (foot, 0.0), (0.0, foot / run)
    if place > length - half:
        back = math.sqrt(2.0 * max(length - place, 0.0) * height * run)
        return (length, height - back / run), (length - back, height)
    return (place + half, 0.0), (place - half, height)


def known_use(state: LotState, bay: Bay) -> str:
    """What a lot is for: as it says itself, or as its bay does."""
    return state.entry.use or bay.use
