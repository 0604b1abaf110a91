"""What the fans give a pile, and whether fans and ducts work as they should."""

from __future__ import annotations

from typing import Any

import numpy as np

from ventcalc.bay.description import Bay
from ventcalc.check.air_system import STANDARD_DENSITY, AirSystem
from ventcalc.check.record import Check, check_above, check_below, words
from ventcalc.equipment.duct import DUCT_SHARE, OUTLET_VELOCITY, PLENUM_SHARE
from ventcalc.pile.pile import soil_factor

__all__ = ["air_checks", "airflow_doubt", "standard_pressure"]

LEAST_AIRFLOW = 5.2021e-6
"""10 cfm per short ton, Univ. of Nebraska. [m³/(s kg)]"""
LEAST_UNIFORMITY = 0.85
"""Of the ports of a lateral, Christiansen (common practice, no source). [1]"""
BROOK = "R. Brook, Michigan State Univ., 2001"


def airflow_doubt(system: AirSystem) -> float:
    """Less where curve and ducts are given (common practice, no source). [1]"""
    return 0.15 if system.curve_assumed or system.ducts_assumed else 0.10


def standard_pressure(system: AirSystem) -> Any:
    """Static pressure that the same fans give in air of 1.2 kg/m³, for their curves. [Pa]"""
    return system.point.static_pressure * STANDARD_DENSITY / system.density


def air_checks(bay: Bay, system: AirSystem, mass: Any) -> tuple[Check, ...]:
    """Checks of fans and, where the bay has them, of ducts, in the order in which they are read."""
    return _airflow(bay, system, mass), _motor(bay, system), *_ducts(system)


def _airflow(bay: Bay, system: AirSystem, mass: Any) -> Check:
    value = system.airflow / mass
    assumed = [
        words
        for words, flag in (
            ("no fan curve given: one is assumed about the rated point", system.curve_assumed),
            ("no [ducts]: the rated pressure at the rated airflow stands for them",
             system.ducts_assumed),
        )
        if flag
    ]  # fmt: skip
    return check_above(
        value,
        LEAST_AIRFLOW,
        airflow_doubt(system) * value,
        **words("airflow"),
        asides=(
            ("airflow_total", "all fans together", system.airflow, "m3/s"),
            (
                "static_pressure",
                "static pressure, air of the site",
                system.point.static_pressure,
                "Pa",
            ),
            (
                "static_pressure_standard",
                "the same in air of 1.2 kg/m3",
                standard_pressure(system),
                "Pa",
            ),
            ("pile_pressure", "of it in the pile", system.pile_pressure, "Pa"),
            (
                "soil_factor",
                "soil multiplies that of a clean pile by",
                soil_factor(bay.pile.soil) + 0.0 * system.airflow,
                "1",
            ),
            ("duct_pressure", "of it in laterals and ports", system.duct_pressure, "Pa"),
            ("electrical_power", "power of all fans", system.electrical_power, "W electrical"),
        ),
        note="; ".join((*system.remarks, *assumed)),
    )


def _motor(bay: Bay, system: AirSystem) -> Check:
    shaft = system.point.shaft_power / bay.fans.count
    rating = bay.fans.motor_power
    return check_below(
        shaft,
        np.nan if rating is None else rating,
        0.1 * shaft,
        **words("motor"),
        note="" if rating else "Give fans.motor_power to judge this.",
        by_height=False,
    )


def _ducts(system: AirSystem) -> tuple[Check, ...]:
    chain = system.chain
    if chain is None:
        return ()
    duct_share = chain.duct_velocity / chain.outlet_velocity
    return (
        check_below(
            chain.outlet_velocity,
            OUTLET_VELOCITY,
            **words("port_velocity"),
            by_height=False,
        ),
        check_below(
            duct_share,
            DUCT_SHARE,
            **words("duct_velocity"),
            by_height=False,
        ),
        check_below(
            chain.plenum_velocity / chain.duct_velocity,
            PLENUM_SHARE,
            **words("plenum_velocity"),
            by_height=False,
        ),
        check_above(
            system.uniformity,
            LEAST_UNIFORMITY,
            0.03,
            **words("uniformity"),
            by_height=False,
        ),
        check_above(
            system.plenum_uniformity,
            LEAST_UNIFORMITY,
            0.03,
            **words("plenum_uniformity"),
            asides=(
                (
                    "least_share",
                    "lateral that gets least, over the mean",
                    system.plenum_least_share,
                    "1",
                ),
            ),
            by_height=False,
        ),
    )
