"""What the fans give a pile, and whether fans and ducts work as they should."""

from __future__ import annotations

from typing import Any

import numpy as np

from ventcalc.bay.description import Bay
from ventcalc.check.air_system import STANDARD_DENSITY, AirSystem
from ventcalc.check.record import Aside, Check, check_above, check_below
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
        key="airflow",
        name="airflow per mass of crop, fans on ducts and pile",
        unit="m3/(s kg)",
        formula="where the fan curve meets ports, laterals, pile and other losses",
        source="10-30 cfm/ton while healing: Univ. of Nebraska CropWatch; pile: Ergun 1952; soil: "
        "1.36 for every 2 %, Hamadan, fooder.areeo.ac.ir 125712; "
        "ports: El Moueddeb et al. 1997",
        asides=(
            Aside(key="airflow_total", name="all fans together", value=system.airflow,
                  unit="m3/s"),
            Aside(key="static_pressure", name="static pressure, air of the site",
                  value=system.point.static_pressure, unit="Pa"),
            Aside(key="static_pressure_standard", name="the same in air of 1.2 kg/m3",
                  value=standard_pressure(system), unit="Pa"),
            Aside(key="pile_pressure", name="of it in the pile", value=system.pile_pressure,
                  unit="Pa"),
            Aside(key="soil_factor", name="soil multiplies that of a clean pile by",
                  value=soil_factor(bay.pile.soil) + 0.0 * system.airflow, unit="1"),
            Aside(key="duct_pressure", name="of it in laterals and ports",
                  value=system.duct_pressure, unit="Pa"),
            Aside(key="electrical_power", name="power of all fans",
                  value=system.electrical_power, unit="W electrical"),
        ),
        note="; ".join((*system.remarks, *assumed)),
    )  # fmt: skip


def _motor(bay: Bay, system: AirSystem) -> Check:
    shaft = system.point.shaft_power / bay.fans.count
    rating = bay.fans.motor_power
    return check_below(
        shaft,
        np.nan if rating is None else rating,
        0.1 * shaft,
        key="motor",
        name="shaft power of one fan against its motor",
        unit="W shaft",
        formula="airflow x pressure / efficiency, constant along the curve, with the air's density",
        source="fan laws; motor and drive 0.9: common practice, no source",
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
            key="port_velocity",
            name="velocity in the ports",
            unit="m/s",
            formula="airflow over the area of all ports",
            source=f"1000 ft/min: {BROOK}",
            by_height=False,
        ),
        check_below(
            duct_share,
            DUCT_SHARE,
            key="duct_velocity",
            name="velocity at the head of laterals over that in ports",
            unit="1",
            formula="area of ports over that of laterals",
            source=f"0.85: {BROOK}",
            by_height=False,
        ),
        check_below(
            chain.plenum_velocity / chain.duct_velocity,
            PLENUM_SHARE,
            key="plenum_velocity",
            name="velocity in the plenum over that in laterals",
            unit="1",
            formula="area of laterals over that of the plenum, all air passing one section",
            source=f"0.85: {BROOK}",
            by_height=False,
        ),
        check_above(
            system.uniformity,
            LEAST_UNIFORMITY,
            0.03,
            key="uniformity",
            name="evenness of the air along a lateral",
            unit="1",
            formula="1 less mean deviation over mean of the ports' airflow (Christiansen)",
            source="march with regain 1, discharge 0.65: El Moueddeb et al. 1997; limit: common "
            "practice, no source",
            by_height=False,
        ),
        check_above(
            system.plenum_uniformity,
            LEAST_UNIFORMITY,
            0.03,
            key="plenum_uniformity",
            name="evenness of the air from lateral to lateral",
            unit="1",
            formula="the plenum marched as a lateral whose ports are the laterals, friction and "
            "regain 1, from each feed",
            source="as along a lateral",
            asides=(
                Aside(
                    key="least_share",
                    name="lateral that gets least, over the mean",
                    value=system.plenum_least_share,
                    unit="1",
                ),
            ),
            by_height=False,
        ),
    )
