"""What a pile of a given height weighs and needs: room, floor, walls, the tubers below."""

from __future__ import annotations

from typing import Any

import numpy as np

from ventcalc.bay.description import Bay, lateral_volume
from ventcalc.check.record import Check, check_above, check_below, words
from ventcalc.pile.loads import (
    BRUISE_THRESHOLD,
    SILO_RATIO,
    TRIAL_HEIGHTS,
    WallLoad,
    WallLoads,
    flattening,
    floor_pressure,
)
from ventcalc.pile.pile import pile_shape

__all__ = ["load_checks", "wall_methods"]

DENSITY_DOUBT = 0.036
"""Half the published range of bulk density over its middle, 40-43 lb/ft³. [1]"""
LEAST_HEADSPACE = 1.0
"""Mean room above the pile (common practice, no source). [m]"""
DEEPEST_USUAL = 5.5
"""Uniform depth in processing stores, Bethke. [m]"""
ENGINEER = "An indication, no check of the wall: a licensed structural engineer must check it."


def load_checks(bay: Bay, height: Any, mass: Any, walls: WallLoads) -> tuple[Check, ...]:
    """Checks of room and weight, in the order in which they are read."""
    return (
        _lots(bay, height, mass),
        _headspace(bay, height),
        _eave(bay, height),
        _bruise(height),
        *_walls(bay, walls),
        _floor(bay, height),
    )


def _lots(bay: Bay, height: Any, mass: Any) -> Check:
    floor = bay.pile
    sloped = pile_shape(
        toe=floor.length,
        width=floor.width,
        height=height,
        bulk_density=floor.bulk_density,
        face_angle=floor.angle_of_repose,
    )
    return check_below(
        bay.mass + 0.0 * height,
        mass,
        DENSITY_DOUBT * mass,
        **words("lots"),
        asides=(
            ("capacity", "capacity, level pile", mass, "kg"),
            (
                "capacity_open_face",
                "capacity with one open face at the angle of repose",
                sloped.mass,
                "kg",
            ),
            (
                "laterals",
                "crop whose room the laterals take, counted in none of these",
                lateral_volume(bay.ducts) * floor.bulk_density + 0.0 * mass,
                "kg",
            ),
        ),
        by_height=False,
    )


def _headspace(bay: Bay, height: Any) -> Check:
    shell, floor = bay.envelope, bay.pile
    room = (shell.headspace_volume + (floor.height - height) * floor.floor_area) / max(
        shell.ceiling_area, floor.floor_area
    )
    return check_above(
        room,
        LEAST_HEADSPACE,
        0.2,
        **words("headspace"),
    )


def _eave(bay: Bay, height: Any) -> Check:
    wall = bay.envelope.wall_height
    return check_below(
        height,
        np.nan if wall is None else wall,
        0.15,
        **words("wall_height"),
        note="" if wall else "Give envelope.wall_height to judge this.",
    )


def _bruise(height: Any) -> Check:
    flat = flattening(height)
    name = "mean area of the largest flat, 7 months at 4 °C"
    if np.any(height > TRIAL_HEIGHTS[1]):
        name += f", beyond the trial's {TRIAL_HEIGHTS[1]:g} m: extrapolated"
    return check_below(
        height,
        DEEPEST_USUAL,
        # Bruise may begin higher up than the limit, not further down.
        np.where(height <= DEEPEST_USUAL * (1.0 + 1e-9), DEEPEST_USUAL - BRUISE_THRESHOLD, 0.0),
        one_sided=True,
        **words("bruise"),
        asides=[("flat_area", name, flat.area, "m2 small")],
        note="Water lost early, cultivar and months in store count for more than depth.",
    )


def wall_methods(bay: Bay, walls: WallLoads) -> tuple[tuple[str, str, WallLoad], ...]:
    """Key, name with the angle or friction it holds for, and load by each method."""
    angle, friction = bay.pile.internal_friction, bay.envelope.wall_friction
    return (
        ("rankine", f"Rankine, wall that yields, {angle:g} degrees", walls.active),
        ("at_rest", f"Jaky, wall that stands still, {angle:g} degrees", walls.at_rest),
        ("silo", f"silo ratio {SILO_RATIO:g}", walls.silo),
        ("silo_upper", "silo ratio, upper value", walls.silo_upper),
        ("janssen", f"silo ratio, friction {friction:g} on both walls (Janssen)", walls.janssen),
    )


def _walls(bay: Bay, walls: WallLoads) -> tuple[Check, Check]:
    methods = wall_methods(bay, walls)
    factor = walls.spread + 0.0 * walls.silo.thrust

    def greatest(part: str, unit: str) -> Check:
        each = [(key, name, getattr(load, part), unit) for key, name, load in methods]
        return check_below(
            np.maximum.reduce([load for _, _, load, _ in each]),
            np.nan,
            **words(f"wall_{part}"),
            asides=(*each, ("factor", "factor between silo ratio and Rankine", factor, "1")),
            note=ENGINEER,
        )

    return greatest("thrust", "N/m"), greatest("moment", "N m/m")


def _floor(bay: Bay, height: Any) -> Check:
    load = floor_pressure(height, bulk_density=bay.pile.bulk_density)
    allowed = bay.limits.floor_load
    return check_below(
        load,
        np.nan if allowed is None else allowed,
        DENSITY_DOUBT * load,
        **words("floor_load"),
        note="" if allowed else "Give limits.floor_load, from whoever designed floor and ducts.",
    )
