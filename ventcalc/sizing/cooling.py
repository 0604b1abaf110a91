"""Refrigeration for the warm days of a season, without any help from outside air."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Any

from ventcalc import air
from ventcalc.bay.description import Bay
from ventcalc.check.cold_load import RUNNING_SHARE, WarmDay, cold_load, crop_water
from ventcalc.check.crop_state import CropState
from ventcalc.equipment import coil, refrigerant_cycle, refrigerant_map
from ventcalc.equipment.defrost import defrost
from ventcalc.equipment.plant import AUXILIARIES
from ventcalc.equipment.refrigeration import Load
from ventcalc.errors import VentcalcError
from ventcalc.pile.crop import crop_for
from ventcalc.sizing.air import AirDesign, holding_speed
from ventcalc.sizing.shell import ShellDesign
from ventcalc.sizing.water import dry_air_flow
from ventcalc.sizing.weather import DesignDay, DesignStates

__all__ = [
    "REFERENCE_REFRIGERANT",
    "CoolingCase",
    "CoolingDesign",
    "design_cooling",
    "plant_performance",
]

RESERVE = 0.10
"""On the capacity (common practice, no source). [1]"""
MOTOR_EFFICIENCY = 0.90
"""Of the compressor's drive (common practice, no source). [0-1]"""
REFERENCE_REFRIGERANT = "R717"
"""For one figure of performance; the others are listed beside it."""
DEFROSTS_ANEW = 86400.0
"""A day's frost is melted at once. [s]"""


@dataclass(frozen=True, kw_only=True, slots=True, eq=False)
class CoolingCase:
    """One warm day of the season with its crop."""

    stage: str
    day: DesignDay
    crop: CropState
    load: Load
    evaporation: float
    """Water that the crop loses. [kg/s]"""
    coil_temperature_difference: float
    """Entering air less coil surface at full capacity. [K]"""
    surface_temperature: float
    """Of the coil. [°C]"""
    condensate: float
    """Water or frost that the coil takes, at full capacity. [kg/s]"""
    leaving_relative_humidity: float
    """Of the air behind the coil. [0-1]"""
    frosts: bool
    """Whether the surface is below freezing."""


@dataclass(frozen=True, kw_only=True, slots=True, eq=False)
class CoolingDesign:
    """A cooling plant; power is electrical, compressor and condenser."""

    capacity: float
    """To be installed. [W]"""
    stage: str
    """The case that asks most."""
    cases: Mapping[str, CoolingCase]
    evaporating_temperature: float
    """At full capacity in the case that asks most. [°C]"""
    condensing_temperature: float
    """In the warmest hour of that day. [°C]"""
    performances: Mapping[str, float]
    """Cooling per electrical power by refrigerant, those that work at these temperatures. [1]"""
    left_out: Mapping[str, str]
    """Refrigerants that do not work there, and why."""
    performance: float
    """Of the reference refrigerant. [1]"""
    power: float
    """At full capacity. [W]"""


def design_cooling(
    bay: Bay,
    states: DesignStates,
    design: AirDesign,
    shell: ShellDesign,
    crops: Mapping[str, CropState],
) -> CoolingDesign:
    """
    Size refrigeration that could do without outside air: the greatest of the cases.

    20 h of compressor a day: National Horticulture Board (India), standard NHB-CS-Type 01-2010.
    """
    cases = {
        name: _case(bay, states, design, shell, crops[name], day)
        for name, day in states.days.items()
    }
    worst = max(cases.values(), key=lambda case: float(case.load.capacity))
    evaporating = refrigerant_cycle.evaporating_temperature(worst.surface_temperature)
    condensing = refrigerant_cycle.condensing_temperature(worst.day.highest_temperature)
    performances, left_out = _performances(float(evaporating), float(condensing))
    capacity = max(float(worst.load.capacity), 0.0)  # none where even warm days cool
    performance = performances[REFERENCE_REFRIGERANT]
    return CoolingDesign(
        capacity=capacity,
        stage=worst.stage,
        cases=cases,
        evaporating_temperature=float(evaporating),
        condensing_temperature=float(condensing),
        performances=performances,
        left_out=left_out,
        performance=performance,
        power=capacity / performance,
    )


def plant_performance(cycle_performance: Any) -> Any:
    """Cooling per electrical power of a plant, with the drive's losses and condenser fans. [1]"""
    return 1.0 / (1.0 / (cycle_performance * MOTOR_EFFICIENCY) + AUXILIARIES)


def _case(
    bay: Bay,
    states: DesignStates,
    design: AirDesign,
    shell: ShellDesign,
    crop: CropState,
    day: DesignDay,
) -> CoolingCase:
    water = crop_water(bay, crop, bay.pile.capacity, skin_open=day.stage == "filling")
    need = max(holding_speed(bay, design, crop), bay.fans.minimum_speed)
    speed = min(need, 1.0) if day.stage == "holding" else 1.0
    walls = replace(bay.envelope, wall_u=shell.wall_u, ceiling_u=shell.ceiling_u)
    outside = WarmDay(
        temperature=day.mean_temperature,
        humidity_ratio=day.humidity_ratio,
        roof_temperature=day.roof_temperature,
    )

    def asked(melting: float) -> Load:
        return cold_load(
            replace(bay, envelope=walls),
            crop,
            outside,
            mass=bay.pile.capacity,
            airflow=design.airflow,
            fan_power=design.power,
            fan_speed=speed,
            water=water,
            pressure=states.pressure,
            melting=melting,
            reserve=RESERVE,
        )

    load = asked(_defrost_heat(_at_coil(bay, states, design, crop, asked(0.0))))
    made = _at_coil(bay, states, design, crop, load)
    return CoolingCase(
        stage=day.stage,
        day=day,
        crop=crop,
        load=load,
        evaporation=water,
        coil_temperature_difference=crop.temperature - float(made.surface_temperature),
        surface_temperature=float(made.surface_temperature),
        condensate=float(made.condensate),
        leaving_relative_humidity=float(made.relative_humidity),
        frosts=bool(made.surface_temperature < air.FREEZING),
    )


def _at_coil(
    bay: Bay, states: DesignStates, design: AirDesign, crop: CropState, load: Load
) -> coil.CoilAir:
    """The coil at full capacity in return air that has been through the pile."""
    kind = crop_for(bay.use)
    entering = {
        "temperature": crop.temperature,
        "humidity_ratio": float(
            kind.water_activity * air.saturation_humidity_ratio(crop.temperature, states.pressure)
        ),
        "pressure": states.pressure,
        "mass_flow": dry_air_flow(design, states.pressure),
    }
    surface = float(coil.coil_surface(heat=max(float(load.capacity), 0.0), **entering))
    return coil.coil(temperature_difference=crop.temperature - surface, **entering)


def _defrost_heat(made: coil.CoilAir) -> float:
    """Heat that melting a day's frost leaves in the store, as a mean. [W]"""
    if made.surface_temperature >= air.FREEZING:
        return 0.0
    frost = float(made.frost) * RUNNING_SHARE * DEFROSTS_ANEW
    one = defrost(frost, surface_temperature=float(made.surface_temperature))
    return float(one.heat_to_store) / DEFROSTS_ANEW


def _performances(evaporating: float, condensing: float) -> tuple[dict[str, float], dict[str, str]]:
    found: dict[str, float] = {}
    left_out: dict[str, str] = {}
    for name in refrigerant_cycle.REFRIGERANTS:
        try:
            made = refrigerant_map.usual_performance(name, evaporating, condensing)
        except VentcalcError as error:
            left_out[name] = str(error)
        else:
            found[name] = plant_performance(made)
    return found, left_out
