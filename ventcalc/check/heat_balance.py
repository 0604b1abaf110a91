"""Where the heat of a bay comes from and goes to at its design states."""

from __future__ import annotations

from dataclasses import dataclass

from ventcalc import air
from ventcalc.air.plain import EVAPORATION
from ventcalc.building.envelope import heat_gain
from ventcalc.check.check import PileCheck
from ventcalc.check.pile_heat import State
from ventcalc.equipment.refrigeration import air_load

__all__ = ["HeatBalance", "heat_balances"]


@dataclass(frozen=True, kw_only=True, slots=True)
class HeatBalance:
    """Sensible heat into the air of a bay; what cools it is negative."""

    name: str
    respiration: float
    """[W]"""
    fans: float
    """At full speed. [W]"""
    field: float
    """Heat that the crop gives off while it is cooled as planned. [W]"""
    envelope: float
    """Walls and ceiling. [W]"""
    leakage: float
    """Sensible. [W]"""
    evaporation: float
    """Of water from the crop, at full airflow. [W]"""

    @property
    def parts(self) -> dict[str, float]:
        """Each part by its name for people. [W]"""
        return {
            "respiration": self.respiration,
            "fans": self.fans,
            "field heat": self.field,
            "walls and ceiling": self.envelope,
            "leaks": self.leakage,
            "evaporation": self.evaporation,
        }

    @property
    def total(self) -> float:
        """What outside air or refrigeration must carry off. [W]"""
        return sum(self.parts.values())


def heat_balances(result: PileCheck) -> tuple[HeatBalance, ...]:
    """
    Heat balances of a bay of one height: fill, wound healing and holding.

    The field heat of fill is that of the loads; the ramp's is counted with wound healing, when it
    begins.
    """
    fields = [float(result.crops[key].field_heat) for key in ("filling", "cool_down", "holding")]
    return tuple(
        _balance(result, state, float(through.water), field)
        for state, through, field in zip(result.states, result.passages, fields, strict=True)
    )


def _balance(result: PileCheck, state: State, water: float, field: float) -> HeatBalance:
    shell, inside, outside = result.bay.envelope, state.pulp_temperature, state.outside_temperature
    conductance = shell.wall_area * shell.wall_u + shell.ceiling_area * shell.ceiling_u
    pressure = result.pressure
    humid = float(air.humidity_ratio(inside, 0.95, pressure))
    leak = air_load(
        mass_flow=shell.leakage
        * shell.headspace_volume
        / float(air.specific_volume(inside, humid, pressure)),
        outside_temperature=outside,
        outside_humidity_ratio=float(
            air.humidity_ratio(outside, state.outside_relative_humidity, pressure)
        ),
        inside_temperature=inside,
        inside_humidity_ratio=humid,
        pressure=pressure,
    )
    return HeatBalance(
        name=state.name,
        respiration=state.respiration_heat * float(result.mass),
        fans=float(result.system.electrical_power),
        field=field,
        envelope=float(heat_gain(conductance, outside, inside)),
        leakage=float(leak.sensible),
        evaporation=-EVAPORATION * water,
    )
