"""What a pile of a given height weighs and needs: room, floor, walls, the tubers below."""

from __future__ import annotations

from typing import Any

import numpy as np

from ventcalc.bay.description import Bay, lateral_volume
from ventcalc.check.record import Aside, Check, check_above, check_below
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
        key="lots",
        name="crop against capacity",
        unit="kg",
        formula="length x width x height x bulk density holds the sum of the lots",
        source="bulk density 40-43 lb/ft3: Olsen and Teixeira, Univ. of Idaho",
        asides=(
            Aside(key="capacity", name="capacity, level pile", value=mass, unit="kg"),
            Aside(
                key="capacity_open_face",
                name="capacity with one open face at the angle of repose",
                value=sloped.mass,
                unit="kg",
            ),
            Aside(
                key="laterals",
                name="crop whose room the laterals take, counted in none of these",
                value=lateral_volume(bay.ducts) * floor.bulk_density + 0.0 * mass,
                unit="kg",
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
        key="headspace",
        name="mean headspace above the pile",
        unit="m",
        formula="air above the pile over the area of the ceiling",
        source="1 m for the air's way back and for people: common practice, no source",
    )


def _eave(bay: Bay, height: Any) -> Check:
    wall = bay.envelope.wall_height
    return check_below(
        height,
        np.nan if wall is None else wall,
        0.15,
        key="wall_height",
        name="pile against the height of the wall",
        unit="m",
        formula="depth of the pile below the eave",
        source="geometry",
        note="" if wall else "Give envelope.wall_height to judge this.",
    )


def _bruise(height: Any) -> Check:
    flat = flattening(height)
    beyond = f", beyond the trial's {TRIAL_HEIGHTS[1]:g} m: extrapolated"
    return check_below(
        height,
        DEEPEST_USUAL,
        # Bruise may begin higher up than the limit, not further down.
        np.where(height <= DEEPEST_USUAL * (1.0 + 1e-9), DEEPEST_USUAL - BRUISE_THRESHOLD, 0.0),
        one_sided=True,
        key="bruise",
        name="depth against pressure bruise (indication)",
        unit="m",
        formula="depth against the 5.5 m (18 ft) of processing stores; marginal from 3.5 m (11 ft) "
        "on, where stacking can cause it; deeper is never better",
        source="Bethke, The Potato, ch. 15 (5-5.5 m); INRA ephytia C/23700 (from 3.5 m); flats: "
        "Czerko, IHAR, 328 and 413 mm2 at 2.5 and 5 m, power law between",
        asides=(
            Aside(
                key="flat_area",
                name="mean area of the largest flat, 7 months at 4 °C"
                + (beyond if np.any(height > TRIAL_HEIGHTS[1]) else ""),
                value=flat.area,
                unit="m2 small",
            ),
        ),
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
    factor = Aside(
        key="factor",
        name="factor between silo ratio and Rankine",
        value=walls.spread + 0.0 * walls.silo.thrust,
        unit="1",
    )
    source = (
        "Rankine 1857, Jaky 1944, Janssen 1895; pile.internal_friction and envelope.wall_friction: "
        "yours, else 34 degrees (range 30-40) and 0.38 (0.3-0.6), as the ratios by EN 1991-4 "
        "Annex E, from memory; ranges: common practice, no source"
    )

    def row(key: str, name: str, unit: str, formula: str) -> Check:
        part = "thrust" if key == "wall_thrust" else "moment"
        return check_below(
            np.maximum.reduce([getattr(load, part) for _, _, load in methods]),
            np.nan,
            key=key,
            name=name,
            unit=unit,
            formula=formula,
            source=source,
            asides=(
                *(
                    Aside(key=short, name=words, value=getattr(load, part), unit=unit)
                    for short, words, load in methods
                ),
                factor,
            ),
            note=ENGINEER,
        )

    return (
        row(
            "wall_thrust",
            "thrust on the wall, greatest of five methods",
            "N/m",
            "ratio x unit weight x height squared / 2",
        ),
        row(
            "wall_moment",
            "moment at the foot of the wall, greatest of five",
            "N m/m",
            "ratio x unit weight x height cubed / 6",
        ),
    )


def _floor(bay: Bay, height: Any) -> Check:
    load = floor_pressure(height, bulk_density=bay.pile.bulk_density)
    allowed = bay.limits.floor_load
    return check_below(
        load,
        np.nan if allowed is None else allowed,
        DENSITY_DOUBT * load,
        key="floor_load",
        name="load on floor and ducts",
        unit="Pa load",
        formula="bulk density x gravity x height",
        source="bulk density 40-43 lb/ft3: Olsen and Teixeira, Univ. of Idaho",
        note="" if allowed else "Give limits.floor_load, from whoever designed floor and ducts.",
    )
