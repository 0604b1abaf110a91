"""Does a bay's building fit its pile? What cannot be, and what is unlikely."""

from __future__ import annotations

import math
from collections.abc import Callable

from ventcalc.bay.description import Bay, lateral_section
from ventcalc.units import both

__all__ = ["GEOMETRY_PROBLEMS", "alike", "geometry_notes"]

SMALLEST_CEILING, LARGEST_CEILING = 0.5, 3.0
"""Of the pile floor: beyond, an area of other units or of another building; our own. [1]"""
LARGEST_WALLS = 3.0
"""Of four walls around the pile; our own. [1]"""
TALLEST_HEADSPACE = 15.0
"""Mean air above a full pile; our own. [m]"""
UNLIKELY_CEILING, UNLIKELY_WALLS, UNLIKELY_HEADSPACE = 1.6, 1.4, 6.0
"""From where on a remark is made: of the floor, of four walls [1], mean height [m]; our own."""


def alike(one: float, other: float, unit: str) -> bool:
    """Whether two values read the same: then none is told to be less than the other."""
    return both(one, unit) == both(other, unit)


# --- what cannot be ----------------------------------------------------------------------


def _too_full(bay: Bay) -> list[str]:
    pile, mass = bay.pile, bay.mass
    if mass <= pile.capacity or alike(mass, pile.capacity, "kg"):
        return []
    height = math.ceil(100.0 * mass / (pile.floor_area * pile.bulk_density)) / 100.0
    return [
        f"lots: {both(mass, 'kg')} do not fit a full pile of {both(pile.capacity, 'kg')}; "
        f"lower the mass, or raise pile.height to {both(height, 'm')} if the walls allow it"
    ]


def _too_high(bay: Bay) -> list[str]:
    wall, height = bay.envelope.wall_height, bay.pile.height
    if wall is None or height <= wall or alike(height, wall, "m"):
        return []
    return [
        f"envelope.wall_height: {both(wall, 'm')} is below pile.height {both(height, 'm')}; "
        "lower the pile or correct the wall"
    ]


def _ducts(bay: Bay) -> list[str]:
    ducts, pile = bay.ducts, bay.pile
    if ducts is None:
        return []
    along, across = pile.length, pile.width
    if ducts.plenum_along == "width":
        along, across = across, along
    problems = []
    if ducts.lateral_length > across and not alike(ducts.lateral_length, across, "m"):
        problems.append(
            f"ducts.lateral_length: {both(ducts.lateral_length, 'm')} is longer than the bay, "
            f"which is {both(across, 'm')} across the plenum; shorten the laterals, or correct "
            "the pile or plenum_along"
        )
    if ducts.laterals * ducts.lateral_diameter > along * (1 + 1e-6):
        problems.append(
            f"ducts.laterals: {ducts.laterals} of {both(ducts.lateral_diameter, 'm small')} do "
            f"not fit side by side along {both(along, 'm')}; use fewer or smaller ones, or "
            "correct the pile or plenum_along"
        )
    ports, duct = ducts.ports * ducts.port_area, lateral_section(ducts).area
    if ports > duct and not alike(ports, duct, "m2 small"):
        problems.append(
            f"ducts.ports: {both(ports, 'm2 small')} of ports exceed the lateral's "
            f"{both(duct, 'm2 small')}, so most air would leave at the dead end; use fewer or "
            "smaller ports or a larger lateral"
        )
    return problems


def _plenum(bay: Bay) -> list[str]:
    ducts = bay.ducts
    if ducts is None or ducts.plenum_height <= _inside_height(bay):
        return []
    return [
        f"ducts.plenum_height: {both(ducts.plenum_height, 'm')} is more than the "
        f"{both(_inside_height(bay), 'm')} from floor to roof; correct it, or "
        "envelope.wall_height and headspace_volume"
    ]


def _inside_height(bay: Bay) -> float:
    """Mean height from floor to roof. [m]"""
    shell, pile = bay.envelope, bay.pile
    return max(shell.wall_height or 0.0, pile.height + shell.headspace_volume / pile.floor_area)


def _four_walls(bay: Bay) -> float:
    """Area of walls all around the pile. [m²]"""
    height = bay.envelope.wall_height or _inside_height(bay)
    return 2.0 * (bay.pile.length + bay.pile.width) * height


def _envelope(bay: Bay) -> list[str]:
    """Areas and volumes that belong to another building, or to another unit."""
    shell, floor, walls = bay.envelope, bay.pile.floor_area, _four_walls(bay)
    problems = []
    if not SMALLEST_CEILING * floor <= shell.ceiling_area <= LARGEST_CEILING * floor:
        problems.append(
            f"envelope.ceiling_area: {both(shell.ceiling_area, 'm2')} cannot be the ceiling over "
            f"a pile floor of {both(floor, 'm2')}; correct it or its unit, or the pile"
        )
    if shell.wall_area > LARGEST_WALLS * walls:
        problems.append(
            f"envelope.wall_area: {both(shell.wall_area, 'm2')} cannot stand around this pile: "
            f"four walls are about {both(walls, 'm2')}; correct it or its unit, or the pile"
        )
    if shell.headspace_volume > TALLEST_HEADSPACE * floor:
        problems.append(
            f"envelope.headspace_volume: {both(shell.headspace_volume, 'm3')} would stand "
            f"{both(shell.headspace_volume / floor, 'm')} high on the pile; give the air above "
            "the full pile alone, or correct its unit"
        )
    return problems


GEOMETRY_PROBLEMS: tuple[tuple[tuple[str, ...], Callable[[Bay], list[str]]], ...] = (
    (("lots", "pile"), _too_full),
    (("envelope", "pile"), _too_high),
    (("envelope", "pile"), _envelope),
    (("ducts", "pile"), _ducts),
    (("ducts", "envelope", "pile"), _plenum),
)
"""Tables that each looks at, and what it finds."""


# --- what is unlikely --------------------------------------------------------------------


def geometry_notes(bay: Bay) -> list[str]:
    """Remark on areas and volumes that are possible but unlikely for the pile."""
    shell, pile, walls = bay.envelope, bay.pile, _four_walls(bay)
    ceiling, floor, air = shell.ceiling_area, pile.floor_area, shell.headspace_volume
    eaves = max((shell.wall_height or pile.height) - pile.height, 0.0) * floor
    notes = []
    if ceiling < 0.95 * floor or ceiling > UNLIKELY_CEILING * floor:
        what = "less than" if ceiling < floor else f"{ceiling / floor:.1f} times"
        notes.append(
            f"envelope.ceiling_area: {both(ceiling, 'm2')} is {what} the pile floor of "
            f"{both(floor, 'm2')}"
        )
    if shell.wall_area > UNLIKELY_WALLS * walls:
        notes.append(
            f"envelope.wall_area: {both(shell.wall_area, 'm2')} is {shell.wall_area / walls:.1f} "
            f"times the {both(walls, 'm2')} of four walls around the pile"
        )
    if air < 0.9 * eaves:
        notes.append(
            f"envelope.headspace_volume: {both(air, 'm3')} is less than the {both(eaves, 'm3')} "
            "between the full pile and the top of the walls"
        )
    elif air > UNLIKELY_HEADSPACE * floor:
        notes.append(
            f"envelope.headspace_volume: {both(air, 'm3')} stands {both(air / floor, 'm')} high "
            "on the full pile; give the air above it alone"
        )
    return notes
