"""Places that air and cold reach first: the open doorway, crop in its draught, crop at a wall."""

from __future__ import annotations

import math

__all__ = ["doorway_flow", "draught_constant", "wall_share"]

GRAVITY = 9.81
"""[m/s²]"""
KELVIN = 273.15
DOORWAY = 0.221
"""Of an open doorway with steady flow both ways (Gosney and Olama 1975). [1]"""


def doorway_flow(
    width: float, height: float, inside_temperature: float, outside_temperature: float
) -> float:
    """
    Air that changes places through one open doorway by its own weight, without wind. [m³/s]

    0.221 A sqrt(g H) sqrt(1 - r) (2 / (1 + r^(1/3)))^1.5, r the density of the lighter over that of
    the heavier air. Wind and a second opening add to it; a draught curtain takes from it.

    Source: Gosney and Olama, Proc. Inst. Refrigeration 72 (1975), as in ASHRAE Refrigeration,
    refrigerated-facility loads (from memory).
    """
    cold, warm = sorted((inside_temperature + KELVIN, outside_temperature + KELVIN))
    ratio = cold / warm
    spread = (2.0 / (1.0 + ratio ** (1.0 / 3.0))) ** 1.5
    flow: float = DOORWAY * width * height * math.sqrt(GRAVITY * height * (1.0 - ratio)) * spread
    return flow


def wall_share(
    transmittance: float, conductivity: float, density: float, specific_heat: float, time: float
) -> float:
    """
    Part of the way to the air outside that crop against a wall has gone. [1]

    Source: Carslaw and Jaeger, Conduction of Heat in Solids, 2nd ed. 1959, section 2.7: the
    semi-infinite solid that gives heat off to a medium.
    """
    x = transmittance * math.sqrt(max(time, 0.0) / (conductivity * density * specific_heat))
    if x > 20.0:  # exp(x²) would overflow; the first term of the series is within 0.2 %
        return 1.0 - 1.0 / (x * math.sqrt(math.pi))
    return 1.0 - math.exp(x * x) * math.erfc(x)


def draught_constant(diameter: float, density: float, specific_heat: float, film: float) -> float:
    """Time in which a lone tuber goes 63 % of the way to the air that blows on it. [s]"""
    return density * specific_heat * diameter / 6.0 / film
