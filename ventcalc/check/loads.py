"""What a pile of a given height weighs and needs: room, floor, walls, the tubers below."""

from __future__ import annotations

from typing import Any

import numpy as np

from ventcalc.bay.description import Bay
from ventcalc.check.record import Aside, Check, check_above, check_below
from ventcalc.pile.loads import BRUISE_THRESHOLD, WallLoads, flattening, floor_pressure
from ventcalc.pile.pile import PACKING_LIMIT, SOIL_FACTOR_MARFONA, pile_shape, soil_factor

__all__ = ["load_checks"]

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
        *_walls(walls),
        _floor(bay, height),
        _soil(bay, height),
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
    return check_below(
        height,
        DEEPEST_USUAL,
        DEEPEST_USUAL - BRUISE_THRESHOLD,
        key="bruise",
        name="depth against pressure bruise (indication)",
        unit="m",
        formula="depth against the 5.5 m (18 ft) of processing stores; marginal from 3.5 m (11 ft) "
        "on",
        source="Bethke, The Potato, ch. 15 (5-5.5 m); INRA ephytia C/23700 (from 3.5 m); flats: "
        "Czerko, IHAR, 328 and 413 mm2 at 2.5 and 5 m, power law between",
        asides=(
            Aside(
                key="flat_area",
                name="mean area of the largest flat, 7 months at 4 °C",
                value=flat.area,
                unit="m2 small",
            ),
        ),
        note="Water lost early, cultivar and months in store count for more than depth.",
    )


def _walls(walls: WallLoads) -> tuple[Check, Check]:
    methods = (
        ("rankine", "Rankine, wall that yields, 34 degrees", walls.active),
        ("at_rest", "Jaky, wall that stands still, 34 degrees", walls.at_rest),
        ("silo", "silo ratio 0.54", walls.silo),
        ("silo_upper", "silo ratio, upper value", walls.silo_upper),
        ("janssen", "silo ratio with friction on both walls (Janssen)", walls.janssen),
    )
    factor = Aside(
        key="factor",
        name="factor between silo ratio and Rankine",
        value=walls.spread + 0.0 * walls.silo.thrust,
        unit="1",
    )
    source = (
        "Rankine 1857, Jaky 1944, Janssen 1895; angle and ratios: EN 1991-4 Annex E, from memory"
    )

    def row(key: str, name: str, unit: str, formula: str) -> Check:
        part = "thrust" if key == "wall_thrust" else "moment"
        return check_below(
            getattr(walls.silo_upper, part),
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


def _soil(bay: Bay, height: Any) -> Check:
    factor = soil_factor(bay.pile.soil)
    low = soil_factor(bay.pile.soil, per_two_percent=SOIL_FACTOR_MARFONA)
    return check_below(
        factor + 0.0 * height,
        PACKING_LIMIT,
        0.2 * factor + (factor - low),
        key="soil",
        name="resistance of the pile, with soil over clean",
        unit="1",
        formula="1.36 for every 2 % of soil and trash, compounded",
        source="Hamadan, fooder.areeo.ac.ir 125712; limit: what packing alone may add, ASAE D272, "
        "said of grain",
        note="Soil in a cone under the loader does far more harm than the same soil spread out.",
        by_height=False,
    )
