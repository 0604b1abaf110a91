"""
The vapour-compression cycle of a cooling plant, on real refrigerants.

This is arithmetic on properties, not a design. Refrigerants can kill: ammonia is toxic,
hydrocarbons and the A2L fluids burn, carbon dioxide stands under high pressure and
suffocates. Plant is designed, opened and charged by licensed technicians under the local
code; see ``Refrigerant.caution``.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np

from ventcalc.air import coolprop as _coolprop
from ventcalc.errors import BadInput, check_range

__all__ = [
    "REFRIGERANTS",
    "Cycle",
    "Refrigerant",
    "condensing_temperature",
    "cycle",
    "evaporating_temperature",
    "refrigerant_for",
]

KELVIN = 273.15


@dataclass(frozen=True, kw_only=True)
class Refrigerant:
    """A refrigerant under its ASHRAE 34 number, with its safety group."""

    name: str
    fluid: str
    """Name of its equation of state in CoolProp."""
    safety_group: str
    """ANSI/ASHRAE 34: toxicity A or B, flammability 1, 2L or 3 (from memory)."""
    caution: str


R744_CRITICAL = 30.978
"""Critical temperature, 304.1282 K: Span and Wagner, J. Phys. Chem. Ref. Data 25 (1996). [°C]"""
BELOW_CRITICAL = 0.5
"""Nearer to it nothing is computed. [K]"""
GAS_COOLER = "at or above the critical point: give high_pressure of the gas cooler"

_LAW = "local codes apply; licensed technicians only"
_TOXIC = f"toxic, burns within limits, attacks copper, harms the crop; {_LAW}"
_FLAMMABLE = f"highly flammable: charge limits, leak detection, no ignition sources; {_LAW}"
_MILD = f"mildly flammable: charge limits and ventilation; {_LAW}"
_PRESSURE = f"pressures above 100 bar and suffocating; leaks raise store CO2; {_LAW}"
_PLAIN = f"displaces air in closed rooms; strong greenhouse gas; {_LAW}"

REFRIGERANTS = {
    name: Refrigerant(name=name, fluid=fluid, safety_group=group, caution=caution)
    for name, fluid, group, caution in (
        ("R717", "Ammonia", "B2L", _TOXIC),
        ("R290", "Propane", "A3", _FLAMMABLE),
        ("R1270", "Propylene", "A3", _FLAMMABLE),
        ("R744", "CarbonDioxide", "A1", _PRESSURE),
        ("R134a", "R134a", "A1", _PLAIN),
        ("R32", "R32", "A2L", _MILD),
        ("R1234yf", "R1234yf", "A2L", _MILD),
        ("R1234ze(E)", "R1234ze(E)", "A2L", _MILD),
        ("R404A", "R404A", "A1", _PLAIN),
        ("R407C", "R407C", "A1", _PLAIN),
        ("R410A", "R410A", "A1", _PLAIN),
        ("R507A", "R507A", "A1", _PLAIN),
    )
}
"""
Refrigerants offered; all compute from -15/15 to 10/55 °C, R744 below its critical point or with
a gas cooler. R404A, R407C, R410A and R507A are pseudo-pure: their equations hold for the blend
as charged. Blends that CoolProp has only as mixtures are left out: R513A takes 0.26, R454C 0.36
and R448A 1.2 s a cycle there, and a plain R448A or R449A is unknown to it (measured, 8.0.0).
"""


def refrigerant_for(name: str) -> Refrigerant:
    """The refrigerant of an ASHRAE number."""
    if name not in REFRIGERANTS:
        raise BadInput(f"refrigerant = {name!r}: unknown; write one of {', '.join(REFRIGERANTS)}")
    return REFRIGERANTS[name]


@dataclass(frozen=True, kw_only=True, slots=True, eq=False)
class Cycle:
    """One state of the cycle per element; per kg of refrigerant, or per the cooling asked."""

    refrigerant: str
    evaporating_pressure: Any
    """[Pa]"""
    condensing_pressure: Any
    """High side, also in a gas cooler. [Pa]"""
    discharge_temperature: Any
    """Leaving the compressor; oil suffers above about 130 (common practice, no source). [°C]"""
    refrigerating_effect: Any
    """Heat taken up by the evaporator. [J/kg refrigerant]"""
    work: Any
    """Compressor input. [J/kg refrigerant]"""
    performance: Any
    """Cooling per compressor input (COP). [1]"""
    volumetric_cooling: Any
    """Cooling per volume drawn in at the suction. [J/m³]"""
    mass_flow: Any
    """Refrigerant for the cooling asked. [kg/s]"""
    power: Any
    """Compressor input for the cooling asked. [W]"""
    rejected_heat: Any
    """Heat to the outside for the cooling asked. [W]"""


def cycle(
    refrigerant: str,
    *,
    evaporating_temperature: Any,
    condensing_temperature: Any,
    superheat: float = 5.0,
    subcooling: float = 3.0,
    isentropic_efficiency: float = 0.7,
    cooling: Any = 1.0,
    high_pressure: float | None = None,
) -> Cycle:
    """
    One-stage vapour-compression cycle with a throttle, no pressure losses.

    Properties from CoolProp's Helmholtz equations with one reused state. Its tabular backends are
    not used: they can be wrong without a word.
    """
    fluid = refrigerant_for(refrigerant).fluid
    _check(evaporating_temperature, condensing_temperature, isentropic_efficiency)
    check_range("superheat", superheat, 0.0, 40.0, "K")
    check_range("subcooling", subcooling, 0.0, 30.0, "K")
    if refrigerant == "R744" and high_pressure is None:  # nothing to load CoolProp for
        highest = R744_CRITICAL - BELOW_CRITICAL
        check_range(
            "condensing_temperature", condensing_temperature, 0.0, highest, "°C", GAS_COOLER
        )
    plant = _Plant(fluid, superheat, subcooling, isentropic_efficiency, high_pressure)
    pairs = np.broadcast(evaporating_temperature, condensing_temperature)
    columns = np.array([plant.point(*pair) for pair in pairs]).reshape(*pairs.shape, 6)
    low, high, discharge, effect, work, density = np.moveaxis(columns, -1, 0)
    return Cycle(
        refrigerant=refrigerant,
        evaporating_pressure=low,
        condensing_pressure=high,
        discharge_temperature=discharge,
        refrigerating_effect=effect,
        work=work,
        performance=effect / work,
        volumetric_cooling=effect * density,
        mass_flow=cooling / effect,
        power=cooling * work / effect,
        rejected_heat=cooling * (1.0 + work / effect),
    )


def _check(evaporating: Any, condensing: Any, efficiency: float) -> None:
    check_range("evaporating_temperature", evaporating, -40.0, 25.0, "°C", "K or °F?")
    check_range("condensing_temperature", condensing, 0.0, 70.0, "°C", "K or °F?")
    check_range("isentropic_efficiency", efficiency, 0.2, 1.0, "", "percent?")
    lift = np.subtract(condensing, evaporating)
    check_range(
        "condensing less evaporating temperature", lift, 1.0, 120.0, "K",
        "keep a floor on the condensing temperature",
    )  # fmt: skip


class _Plant:
    """A plant's settings and the one property state that its points are computed with."""

    def __init__(
        self, fluid: str, superheat: float, subcooling: float, efficiency: float,
        high_pressure: float | None = None,
    ) -> None:  # fmt: skip
        self.coolprop = _coolprop.load()
        self.state = self.coolprop.AbstractState("HEOS", fluid)
        self.critical = float(self.state.T_critical()) - KELVIN
        self.superheat, self.subcooling = superheat, subcooling
        self.efficiency, self.high_pressure = efficiency, high_pressure
        if high_pressure is not None:
            low = float(self.state.p_critical())
            check_range("high_pressure", high_pressure, low, 2e7, "Pa", "bar or psi?")

    def point(self, evaporating: float, condensing: float) -> tuple[float, ...]:
        """Pressures, discharge temperature, effect, work, suction density; NaN in, NaN out."""
        if evaporating != evaporating or condensing != condensing:
            return (float("nan"),) * 6
        state, pairs = self.state, self.coolprop
        low, suction, entropy, density = self._suction(evaporating)
        high, liquid = self._liquid(condensing)
        state.update(pairs.PSmass_INPUTS, high, entropy)
        work = (state.hmass() - suction) / self.efficiency
        state.update(pairs.HmassP_INPUTS, suction + work, high)
        return low, high, state.T() - KELVIN, suction - liquid, work, density

    def _suction(self, evaporating: float) -> tuple[float, float, float, float]:
        state, pairs = self.state, self.coolprop
        state.update(pairs.QT_INPUTS, 1.0, evaporating + KELVIN)
        low = state.p()
        if self.superheat > 0.0:
            state.update(pairs.PT_INPUTS, low, evaporating + self.superheat + KELVIN)
        return low, state.hmass(), state.smass(), state.rhomass()

    def _liquid(self, condensing: float) -> tuple[float, float]:
        state, pairs = self.state, self.coolprop
        if self.high_pressure is not None:
            state.update(pairs.PT_INPUTS, self.high_pressure, condensing + KELVIN)
            return self.high_pressure, state.hmass()
        highest = self.critical - BELOW_CRITICAL
        check_range("condensing_temperature", condensing, 0.0, highest, "°C", GAS_COOLER)
        state.update(pairs.QT_INPUTS, 1.0, condensing + KELVIN)
        high = state.p()
        state.update(pairs.PQ_INPUTS, high, 0.0)
        if self.subcooling > 0.0:
            state.update(pairs.PT_INPUTS, high, state.T() - self.subcooling)
        return high, state.hmass()


def condensing_temperature(
    outside_temperature: Any, *, approach: Any = 12.0, floor: Any = 20.0
) -> Any:
    """Condensing temperature on a day. [°C]"""
    check_range("approach", approach, 1.0, 30.0, "K")
    return np.maximum(outside_temperature + approach, floor)


def evaporating_temperature(surface_temperature: Any, *, wall_difference: Any = 2.0) -> Any:
    """Evaporating temperature behind a coil surface. [°C]"""
    check_range("wall_difference", wall_difference, 0.0, 15.0, "K")
    return surface_temperature - wall_difference
