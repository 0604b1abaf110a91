"""
Surface humidity and condensation inside walls, the way ISO 13788 reckons them.

The standard has its own saturation formula. It differs a little from that of
`ventcalc.air.moist` and is kept apart, because worked examples print its digits.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt

from ventcalc.building.envelope import OUTSIDE_RESISTANCE, SURFACE_RESISTANCE, Layer
from ventcalc.errors import check_range

__all__ = [
    "SCOPE",
    "STILL_AIR_PERMEABILITY",
    "Interstitial",
    "interstitial",
    "iso13788_saturation_pressure",
    "temperature_factor",
]

Array = npt.NDArray[np.float64]

STILL_AIR_PERMEABILITY = 2e-10
"""Vapour permeability of still air, ISO 13788. [kg/(m s Pa)]"""

SCOPE = (
    "Indicative only: steady vapour diffusion by ISO 13788, which leaves out air moving through "
    "cracks, latent heat, capillary suction and stored moisture. A wet store with leaky panels "
    "lies outside its scope; leaks often carry more water than diffusion does."
)
"""To be said with every interstitial result."""


def iso13788_saturation_pressure(temperature: Any) -> Any:
    """
    Saturation vapour pressure by the formula of ISO 13788. [Pa]

    Source: ISO 13788, annex on properties of humid air.
    """
    check_range("temperature", temperature, -60.0, 80.0, "°C", "kelvin or °F?")
    water = 17.269 * temperature / (237.3 + temperature)
    ice = 21.875 * temperature / (265.5 + temperature)
    return 610.5 * np.exp(np.where(temperature >= 0.0, water, ice))


def temperature_factor(u: Any, *, surface_resistance: Any = 0.25) -> Any:
    """
    Temperature factor at the inside surface, f_Rsi, of a plain wall or roof. [1]

    Source: ISO 13788, temperature factor at the internal surface.
    """
    share = u * surface_resistance
    check_range("u * surface_resistance", share, 0.0, 1.0, "", "a resistance in place of U?")
    return 1.0 - share


@dataclass(frozen=True, kw_only=True, slots=True, eq=False)
class Interstitial:
    """
    Temperature and vapour through a wall, and where water may settle; indicative only.

    The last axis of the arrays runs through the planes from outside to inside: outside air,
    outer surface, the interfaces, inner surface, inside air.
    """

    temperature: Array
    """[°C]"""
    vapour_pressure: Array
    """[Pa]"""
    saturation_pressure: Array
    """[Pa]"""
    condensation: Array
    """Water that settles at each plane, per area of wall; 0 where none. [kg/(m² s)]"""
    surface_wet: Array
    """Whether inside air is past saturation at the inner surface itself."""
    scope: str = SCOPE
    """What the method leaves out; to be shown with the result."""

    @property
    def total(self) -> Array:
        """Water that settles in the whole wall, per area of wall. [kg/(m² s)]"""
        total: Array = np.sum(self.condensation, axis=-1)
        return total


def interstitial(
    layers: Sequence[Layer],
    *,
    outside_temperature: Any,
    outside_humidity: Any,
    inside_temperature: Any,
    inside_humidity: Any,
    inside_resistance: float = SURFACE_RESISTANCE["horizontal"],
    outside_resistance: float = OUTSIDE_RESISTANCE,
) -> Interstitial:
    """
    Condensation inside a wall by steady diffusion; indicative, see `SCOPE`.

    The vapour pressure is the lower hull of the saturation pressures at the interfaces and the
    pressures of the air on both sides: a taut string under the saturation curve. Water settles
    where the string touches. It finds what settles in a dry wall; drying out of water that is there
    already is not reckoned.

    Source: ISO 13788, interstitial condensation.
    """
    for name, share in (
        ("outside_humidity", outside_humidity),
        ("inside_humidity", inside_humidity),
    ):
        check_range(name, share, 0.0, 1.0, "", "a percentage?")
    thicknesses = [part.vapour_thickness for part in layers]
    check_range("vapour_thickness", thicknesses, 1e-6, 1e6, "m", "every layer needs one")
    resistances = [outside_resistance, *(part.resistance for part in layers), inside_resistance]
    depth = np.concatenate([[0.0], np.cumsum(resistances)])
    outside, inside, dry, moist = np.broadcast_arrays(
        outside_temperature, inside_temperature, outside_humidity, inside_humidity
    )
    outside, inside = outside[..., None], inside[..., None]
    temperature = outside + (inside - outside) * (depth / depth[-1])
    saturation = iso13788_saturation_pressure(temperature)
    low = dry[..., None] * saturation[..., :1]
    high = moist[..., None] * saturation[..., -1:]
    string, settled = _taut_string(
        np.concatenate([[0.0], np.cumsum(thicknesses)]), saturation[..., 1:-1], low, high
    )
    still = np.zeros_like(low)
    return Interstitial(
        temperature=temperature,
        vapour_pressure=np.concatenate([low, string, high], axis=-1),
        saturation_pressure=saturation,
        condensation=np.concatenate([still, still, settled, still, still], axis=-1),
        surface_wet=high[..., 0] > saturation[..., -2],
    )


def _taut_string(
    thickness: Array, saturation: Array, low: Array, high: Array
) -> tuple[Array, Array]:
    """Vapour pressure from surface to surface [Pa], and water settling between [kg/(m² s)]."""
    ends = np.minimum(low, saturation[..., :1]), np.minimum(high, saturation[..., -1:])
    limit = np.concatenate([ends[0], saturation[..., 1:-1], ends[1]], axis=-1)
    string = limit.copy()
    for left in range(len(thickness) - 2):
        for right in range(left + 2, len(thickness)):
            between = slice(left + 1, right)
            span = thickness[right] - thickness[left]
            share = (thickness[between] - thickness[left]) / span
            chord = limit[..., [left]] * (1.0 - share) + limit[..., [right]] * share
            string[..., between] = np.minimum(string[..., between], chord)
    flow = STILL_AIR_PERMEABILITY * np.diff(string, axis=-1) / np.diff(thickness)
    # Off the saturation curve the string is straight but for rounding; np.where with a
    # multiplication instead of a constant keeps NaN.
    settled = np.diff(flow, axis=-1)
    touching = string[..., 1:-1] >= saturation[..., 1:-1]
    return string, np.where(touching, settled, 0.0 * settled)
