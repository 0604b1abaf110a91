"""Whether walls and ceiling stay dry in the design winter, and whether a heater makes up for it."""

from __future__ import annotations

from typing import Any

import numpy as np

from ventcalc import air
from ventcalc.bay.description import Bay, capacity_of
from ventcalc.building import ceiling, sky
from ventcalc.building.ceiling import Ceiling
from ventcalc.building.condensation import Uncertainty
from ventcalc.building.envelope import SURFACE_RESISTANCE
from ventcalc.check.pile_heat import WINTER_RELATIVE_HUMIDITY
from ventcalc.check.record import Aside, Check, air_text, check_above
from ventcalc.check.roof_space import ROOF_SPACE_ABOVE, roof_space_loss

__all__ = ["shell_checks"]

COLDEST_DEW_POINT = -40.0
"""Where the formula of the clear sky ends. [°C]"""
SOURCE = (
    "ISO 13788 temperature factor, ISO 6946 surface resistances; sky: Berdahl and Martin 1984; "
    "uncertainty: JCGM 100, U 15 % and surface resistance 20 %, common practice, no source"
)
INDICATIVE = (
    "Steady and without air that leaks through joints: an indication. Look at purlins, corners "
    "and door frames in frost."
)


def shell_checks(
    bay: Bay, mass: Any, *, winter_temperature: float, pressure: float
) -> tuple[Check, ...]:
    """
    Checks of walls and ceiling against condensation; of ``mass`` only its shape counts.

    Walls by the outside air, the ceiling's worst joint by a roof under a clear night sky, the roof
    space heated as far as the heater can.
    """
    shell = bay.envelope
    walls = Ceiling(u=shell.wall_u, surface_resistance=SURFACE_RESISTANCE["horizontal"])
    most = 1.0 / (shell.ceiling_u * SURFACE_RESISTANCE["up"])
    worst = Ceiling(u=shell.ceiling_u, bridge_factor=min(shell.bridge_factor, most))
    humid = float(air.humidity_ratio(winter_temperature, WINTER_RELATIVE_HUMIDITY, pressure))
    dew_point = max(float(air.dew_point(humid, pressure)), COLDEST_DEW_POINT)
    clear = sky.sky_temperature(winter_temperature, dew_point, pressure=pressure)
    roof = float(sky.sol_air_temperature(winter_temperature, sky_temperature=clear))
    warmer = _warmer(bay, winter_temperature, humid, roof, pressure)
    outside = air_text(winter_temperature, WINTER_RELATIVE_HUMIDITY)
    return (
        _row(bay, mass, walls, winter_temperature, 0.0, pressure, {
            "key": "walls",
            "name": "walls above the dew point, design winter",
            "formula": f"air less U x surface resistance x difference; outside {outside}",
        }),
        _row(bay, mass, worst, roof, warmer, pressure, {
            "key": "ceiling",
            "name": "worst joint of the ceiling above the dew point, clear winter night",
            "formula": "as the walls, U times envelope.bridge_factor; roof by sol-air temperature "
            f"without sun, outside {outside}; heater of the bay warming the roof space by at most "
            f"{ROOF_SPACE_ABOVE:g} K",
        }),
    )  # fmt: skip


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
    place: Ceiling,
    outside: float,
    warmer: float,
    pressure: float,
    words: dict[str, Any],
) -> Check:
    inside, humidity = bay.schedule.holding_temperature, bay.limits.plenum_humidity
    # Heated air keeps its water and so its dew point.
    water = air.humidity_ratio(inside, humidity, pressure)
    found = ceiling.ceiling_check(
        place,
        inside_temperature=inside + warmer,
        relative_humidity=float(air.relative_humidity(inside + warmer, water, pressure)),
        outside_temperature=outside,
        pressure=pressure,
        uncertainty=Uncertainty(
            temperature=bay.sensors.temperature, relative_humidity=bay.sensors.humidity
        ),
    )
    flat = 0.0 * np.asarray(mass, float)
    asides = [
        ("surface_temperature", "surface", found.surface_temperature, "degC"),
        ("dew_point", "dew point of the air", found.dew_point, "degC"),
        ("outside_temperature", "outside, as the surface feels it", outside, "degC"),
    ]
    if warmer > 0.0:
        asides.append(("roof_space_above", "roof space warmer by the heater", warmer, "delta_degC"))
    return check_above(
        found.margin + flat,
        0.0,
        bay.control.confidence * found.standard_uncertainty,
        unit="delta_degC",
        source=SOURCE,
        asides=tuple(
            Aside(key=key, name=name, value=value + flat, unit=unit)
            for key, name, value, unit in asides
        ),
        note=INDICATIVE,
        by_height=False,
        **words,
    )
