"""What an hour's advice can be about, what it rests on, and the advice itself."""

from __future__ import annotations

from enum import IntEnum
from typing import NamedTuple

from ventcalc.advice.outside_air import OutsideAir
from ventcalc.advice.situation import Situation

__all__ = [
    "CHOSEN",
    "COOL_BY_COIL",
    "COOL_BY_OUTSIDE",
    "DRY_CEILING",
    "EVEN_OUT",
    "FINISH_RUN",
    "FRESH_AIR",
    "HANDS_OFF",
    "PEOPLE_INSIDE",
    "PROTECT",
    "REST",
    "TAIL",
    "WAIT",
    "WARM_BY_HEATER",
    "WARM_BY_OUTSIDE",
    "Action",
    "Advice",
    "Needs",
    "Run",
    "Way",
    "Ways",
]


class Action(IntEnum):
    """What the advice is about, from least to most urgent."""

    HANDS_OFF = 0
    REST = 1
    WAIT = 2
    FINISH_RUN = 3
    EVEN_OUT = 4
    DRY_CEILING = 5
    TAIL = 6
    FRESH_AIR = 7
    WARM_BY_HEATER = 8
    WARM_BY_OUTSIDE = 9
    COOL_BY_COIL = 10
    COOL_BY_OUTSIDE = 11
    PROTECT = 12
    PEOPLE_INSIDE = 13
    CHOSEN = 14


# Plain integers: looking a member up in its class costs more than comparing it.
(
    HANDS_OFF,
    REST,
    WAIT,
    FINISH_RUN,
    EVEN_OUT,
    DRY_CEILING,
    TAIL,
    FRESH_AIR,
    WARM_BY_HEATER,
    WARM_BY_OUTSIDE,
    COOL_BY_COIL,
    COOL_BY_OUTSIDE,
    PROTECT,
    PEOPLE_INSIDE,
    CHOSEN,
) = map(int, Action)


class Needs(NamedTuple):
    """What the bay asks for, before anything says whether it can be had."""

    cool: bool
    warm: bool
    purge: bool
    even: bool
    drip: bool
    tail: bool
    refresh: bool
    """Fresh air early, where it does no harm."""
    recirculation_wets: bool


class Way(NamedTuple):
    """One way to run the fans."""

    open: bool
    """Whether it does now what it should, and no harm."""
    fresh_fraction: float
    """[0-1]"""
    coil_heat: float
    """[W]"""
    heater_heat: float
    """[W]"""


class Ways(NamedTuple):
    """All of them; one that is not asked for is not open."""

    outside: Way
    """Outside air that cools, or else evens the pile."""
    coil: Way
    """Cooled by the refrigeration, fresh air beside it where CO2 asks for it."""
    warm_air: Way
    """Warmed by outside air."""
    heater: Way
    fresh: Way
    """Fresh air for CO2 over its limit."""
    gentle: Way
    """Fresh air for CO2 below its limit."""
    even: Way
    """Dried and evened with heated fresh air."""


class Run(NamedTuple):
    """Settings before the envelope has looked at them."""

    action: int
    """Code of ``Action``."""
    fan_speed: float
    """[0-1]"""
    fresh_fraction: float
    """[0-1]"""
    coil_heat: float
    """[W]"""
    heater_heat: float
    """[W]"""
    humidity_wanted: float
    """[0-1]"""


class Advice(NamedTuple):
    """Positions 0-1 for the next ``valid_for`` seconds; NaN positions mean hands off."""

    action: int
    """Code of ``Action``."""
    fan_speed: float
    """[0-1]"""
    door_opening: float
    """[0-1]"""
    humidifier: float
    """Share of its capacity. [0-1]"""
    refrigeration: float
    """Share of its capacity. [0-1]"""
    heater: float
    """Share of its capacity. [0-1]"""
    plenum_temperature: float
    """Expected supply air, the set point for the door's own loop. [°C]"""
    plenum_relative_humidity: float
    """Expected supply air. [0-1]"""
    plenum_dew_point: float
    """[°C]"""
    humidity_wanted: float
    """Set point of the humidifier; 0 for off. [0-1]"""
    stopped_by: int
    """Code of ``Binding``: a run that was wanted but would have frozen or wetted the crop."""
    freeze_stage: int
    """Code of the stage of freeze protection, 0 none to 3 latched."""
    pulp_cold: bool
    """Whether the pulp itself is near freezing injury."""
    fan_since: float
    """Since the fans last started or stopped, before this advice. [s]"""
    outside: OutsideAir
    """The outside-air verdict, for cooling or for equalizing the pile."""
    needs: Needs
    situation: Situation
    valid_for: float
    """[s]"""
