"""What is kept of every step of a season, for its results and its traces."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from ventcalc.pile import bed
from ventcalc.season.bay_model import BayState, Hour

__all__ = ["POSITIONS", "POWERS", "Kept", "kept_of"]

POWERS = ("fan_power", "coil_power", "heater_power", "humidifier_power")
POSITIONS = ("fan_speed", "door_opening", "humidity_wanted", "refrigeration", "heater")


@dataclass(frozen=True, kw_only=True, slots=True, eq=False)
class Kept:
    """
    One step, or, with the steps as the first axis, many.

    Bays have the last axis; ``pulp`` has the layers in between.
    """

    now: Any
    """Since the first load. [s]"""
    target: Any
    """[°C]"""
    stage: Any
    """Code of the stage."""
    pulp_mean: Any
    """At the start of the step. [°C]"""
    pulp_coldest: Any
    """At the start of the step. [°C]"""
    action: Any
    """Code of what the policy did."""
    fan_speed: Any
    """[0-1]"""
    door_opening: Any
    """[0-1]"""
    humidity_wanted: Any
    """[0-1]"""
    refrigeration: Any
    """[0-1]"""
    heater: Any
    """[0-1]"""
    pulp: Any
    """Every layer after the step. [°C]"""
    film: Any
    """Mean of the layers after the step. [kg/kg crop]"""
    wettest: Any
    """Film of the wettest layer. [kg/kg crop]"""
    water_loss: Any
    """[kg/kg crop]"""
    dry_matter_loss: Any
    """[kg/kg crop]"""
    condensed: Any
    """Water that lay down on the tubers. [kg/(m² s)]"""
    share: Any
    """Part of the floor that carries crop. [1]"""
    return_temperature: Any
    """[°C]"""
    return_humidity_ratio: Any
    """[kg/kg dry air]"""
    co2: Any
    """Volume fraction. [1]"""
    runs: Any
    """Whether the fans ran."""
    plenum_temperature: Any
    """[°C]"""
    plenum_humidity_ratio: Any
    """[kg/kg dry air]"""
    fog: Any
    """[kg/s]"""
    fan_power: Any
    """[W]"""
    coil_power: Any
    """[W]"""
    heater_power: Any
    """[W]"""
    humidifier_power: Any
    """[W]"""
    water_added: Any
    """[kg/s]"""
    ceiling_temperature: Any
    """[°C]"""
    drip: Any
    """[kg/s]"""


def kept_of(
    now: Any,
    readings: Any,
    positions: Any,
    state: BayState,
    hour: Hour,
    target: Any,
    stage: Any,
) -> Kept:
    """
    What is kept of one step.

    Parameters
    ----------
    now : array-like
        Its start, since the first load. [s]
    readings : Readings
        At its start.
    positions : object
        What the policy decided.
    state : BayState
        After it.
    hour : Hour
        Its means.
    target : array-like
        Pulp temperature wanted. [°C]
    stage : array-like of int
        Code of the stage.

    Returns
    -------
    Kept
        Without an axis for the steps.
    """
    pile = state.bed
    return Kept(
        now=now,
        target=target,
        stage=stage,
        pulp_mean=readings.pulp_mean,
        pulp_coldest=readings.pulp_coldest,
        action=positions.action,
        fan_speed=positions.fan_speed,
        door_opening=positions.door_opening,
        humidity_wanted=positions.humidity_wanted,
        refrigeration=positions.refrigeration,
        heater=positions.heater,
        pulp=pile.temperature,
        film=0.0 if pile.wet is False else bed.layer_mean(pile.film),
        wettest=0.0 if pile.wet is False else bed.layer_greatest(pile.film),
        water_loss=bed.layer_mean(pile.water_loss),
        dry_matter_loss=bed.layer_mean(pile.dry_matter_loss),
        condensed=hour.step.condensed,
        share=state.share,
        return_temperature=state.return_temperature,
        return_humidity_ratio=state.return_humidity_ratio,
        co2=state.co2,
        runs=hour.runs,
        plenum_temperature=hour.plenum_temperature,
        plenum_humidity_ratio=hour.plenum_humidity_ratio,
        fog=hour.fog,
        fan_power=hour.fan_power,
        coil_power=hour.coil_power,
        heater_power=hour.heater_power,
        humidifier_power=hour.humidifier_power,
        water_added=hour.water_added,
        ceiling_temperature=hour.ceiling_temperature,
        drip=hour.drip,
    )
