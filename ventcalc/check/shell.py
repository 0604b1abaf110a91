"""Whether walls and ceiling stay dry in the design winter, and whether a heater makes up for it."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import numpy as np

from ventcalc import air
from ventcalc.bay.description import Bay, capacity_of
from ventcalc.building import ceiling, sky
from ventcalc.building.ceiling import Ceiling
from ventcalc.building.condensation import Uncertainty
from ventcalc.building.envelope import SURFACE_RESISTANCE
from ventcalc.check.pile_heat import Outside
from ventcalc.check.record import Check, air_text, check_above, words
from ventcalc.check.roof_space import ROOF_SPACE_ABOVE, roof_space_loss

__all__ = ["STILL_CORNER", "shell_checks"]

STILL_CORNER = 0.25
"""Inside surface resistance for opaque surfaces at their worst place, corners included, so that no
bridge factor comes on top: ISO 13788. [m² K/W]"""
COLDEST_DEW_POINT = -40.0
"""Where the formula of the clear sky ends. [°C]"""
INDICATIVE = (
    "Steady and without air that leaks through joints: an indication. Look at purlins, corners "
    "and door frames in frost."
)


def shell_checks(bay: Bay, mass: Any, outside: Outside, pressure: float) -> tuple[Check, ...]:
    """
    Checks of walls and ceiling against condensation; of ``mass`` only its shape counts.

    Walls by the outside air, the ceiling's worst joint by a roof under a clear night sky, the roof
    space heated as far as the heater can.
    """
    shell = bay.envelope
    walls = _places(shell.wall_u, SURFACE_RESISTANCE["horizontal"], 1.0)
    worst = _places(shell.ceiling_u, SURFACE_RESISTANCE["up"], shell.bridge_factor)
    cold = outside.winter_temperature
    humid = float(air.humidity_ratio(cold, outside.winter_humidity, pressure))
    dew_point = max(float(air.dew_point(humid, pressure)), COLDEST_DEW_POINT)
    clear = sky.sky_temperature(cold, dew_point, pressure=pressure)
    roof = float(sky.sol_air_temperature(cold, sky_temperature=clear))
    warmer = _warmer(bay, cold, humid, roof, pressure)
    told = {
        "outside": air_text(cold, outside.winter_humidity),
        "still": STILL_CORNER,
        "above": ROOF_SPACE_ABOVE,
    }
    return (
        _row(bay, mass, walls, cold, 0.0, pressure, words("walls", **told)),
        _row(bay, mass, worst, roof, warmer, pressure, words("ceiling", **told)),
    )


def _places(u: float, surface_resistance: float, bridge_factor: float) -> dict[str, Ceiling]:
    """Where it may drip: the plain film at the worst bridge, and a still corner of plain U."""
    # A surface cannot be colder than the air behind it.
    return {
        "plain": Ceiling(
            u=u,
            surface_resistance=surface_resistance,
            bridge_factor=max(min(bridge_factor, 1.0 / (u * surface_resistance)), 1.0),
        ),
        "still": Ceiling(u=u, surface_resistance=min(STILL_CORNER, 1.0 / u)),
    }


def _warmer(bay: Bay, cold: float, humid: float, roof: float, pressure: float) -> float:
    """How far the bay's heater lifts the roof space above the crop, at most 1 K. [K]"""
    heater = float(capacity_of(bay.heater))
    if heater <= 0.0:
        return 0.0
    loss = [
        roof_space_loss(
            bay,
            rise=rise,
            outside_temperature=cold,
            outside_humidity_ratio=humid,
            roof_temperature=roof,
            pressure=pressure,
        )
        for rise in (0.0, ROOF_SPACE_ABOVE)
    ]
    share = (heater - loss[0]) / (loss[1] - loss[0])
    return ROOF_SPACE_ABOVE * min(max(share, 0.0), 1.0)


def _row(
    bay: Bay,
    mass: Any,
    places: Mapping[str, Ceiling],
    outside: float,
    warmer: float,
    pressure: float,
    told: dict[str, str],
) -> Check:
    inside, humidity = bay.schedule.holding_temperature, bay.limits.plenum_humidity
    # Heated air keeps its water and so its dew point.
    water = air.humidity_ratio(inside, humidity, pressure)
    both = {
        name: ceiling.ceiling_check(
            place,
            inside_temperature=inside + warmer,
            relative_humidity=float(air.relative_humidity(inside + warmer, water, pressure)),
            outside_temperature=outside,
            pressure=pressure,
            uncertainty=Uncertainty(
                temperature=bay.sensors.temperature, relative_humidity=bay.sensors.humidity
            ),
        )
        for name, place in places.items()
    }
    found = min(both.values(), key=lambda one: float(one.margin))
    flat = 0.0 * np.asarray(mass, float)
    asides = [
        ("surface_temperature", "surface", found.surface_temperature, "degC"),
        ("dew_point", "dew point of the air", found.dew_point, "degC"),
        ("outside_temperature", "outside, as the surface feels it", outside, "degC"),
        (
            "margin_plain",
            "margin with the plain film, at the worst bridge",
            both["plain"].margin,
            "delta_degC",
        ),
        ("margin_still", "margin in a still corner", both["still"].margin, "delta_degC"),
    ]
    if warmer > 0.0:
        asides.append(("roof_space_above", "roof space warmer by the heater", warmer, "delta_degC"))
    return check_above(
        found.margin + flat,
        0.0,
        bay.control.confidence * found.standard_uncertainty,
        asides=[(key, name, value + flat, unit) for key, name, value, unit in asides],
        note=INDICATIVE,
        by_height=False,
        **told,
    )
