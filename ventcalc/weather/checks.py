"""What a weather record may not contain, and which humidity it means."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from ventcalc import air
from ventcalc.errors import BadInput
from ventcalc.weather.record import Array, Record

__all__ = ["humidity", "problems_in", "standard_pressure_for"]

COLD = -5.0
"""Below this the difference between humidity over water and over ice shows. [°C]"""


def standard_pressure_for(record: Record, altitude: float | None) -> Record:
    """The record with the standard atmosphere's pressure where it has none of its own."""
    height = record.altitude if altitude is None else altitude
    pressure = record.values.get("pressure")
    if pressure is not None and not np.isnan(pressure).all():
        return record
    if height is None:
        raise BadInput(
            "there is no pressure; add a column pressure_hpa (station pressure, not reduced to "
            "sea level), or the altitude: altitude=... in m, or a header line '# altitude_m: 1500'"
        )
    standard = float(air.standard_pressure(height))
    note = f"pressure {standard / 100:.1f} hPa assumed throughout from the altitude of {height:g} m"
    values = {**record.values, "pressure": np.full(record.time.shape, standard)}
    return replace(record, values=values, notes=(*record.notes, note))


def problems_in(record: Record, altitude: float | None) -> tuple[str, ...]:
    """Everything that forbids to use the record, one line each."""
    problems = list(record.problems)
    problems += _time_problems(record)
    values = record.values
    limits = (
        ("temperature", -50, 60, "°C", "write °C, or name the column outside_temp_f"),
        ("dew_point", -75, 40, "°C", "write °C, or name the column outside_dew_point_f"),
        # 110 %: the EPW data dictionary's own limit
        ("relative_humidity", 0, 1.1, "", "for percent name the column outside_rh_percent"),
        ("pressure", 60e3, 110e3, "Pa", "name the column by its unit: pressure_pa, _hpa or _kpa"),
        ("wind_speed", 0, 100, "m/s", "leave the cell empty where nothing was measured"),
        ("global_radiation", -20, 1600, "W/m²", "leave the cell empty where nothing was measured"),
        ("sky_temperature", -120, 60, "°C", "write °C"),
    )
    for name, low, high, unit, hint in limits:
        if name in values:
            problems += _limits(record, name, low, high, unit, hint)
    problems += _slips(record, record.altitude if altitude is None else altitude)
    return tuple(problems)


def _time_problems(record: Record) -> list[str]:
    jumps = np.diff(record.time.astype(np.int64))
    problems = []
    for wrong, what in ((jumps == 0, "repeats the time of"), (jumps < 0, "is earlier than")):
        if wrong.any():
            i = int(np.argmax(wrong))
            count = int(wrong.sum())
            problems.append(
                f"{record.row} {record.lines[i + 1]:.0f} {what} {record.row} {record.lines[i]:.0f} "
                f"({record.time[i + 1]} UTC; {count} such row{'s' if count > 1 else ''}); "
                f"sort by time and keep one row for each"
            )
    return problems


def _limits(record: Record, name: str, low: float, high: float, unit: str, hint: str) -> list[str]:
    values = record.values[name]
    wrong = (values < low) | (values > high)
    if not wrong.any():
        return []
    i, count = int(np.argmax(wrong)), int(wrong.sum())
    rows = f"{record.row} {record.lines[i]:.0f}" + (f" and {count - 1} more" if count > 1 else "")
    space = f" {unit}" if unit else ""
    return [
        f"{rows}: {name.replace('_', ' ')} {values[i]:g}{space} is outside {low:g} to {high:g}"
        f"{space}; {hint}"
    ]


def _slips(record: Record, altitude: float | None) -> list[str]:
    """Values each possible alone, but not together."""
    values, problems = record.values, []
    rh = values.get("relative_humidity")
    if rh is not None and not np.isnan(rh).all() and np.nanmax(rh) <= 0.0101:
        problems.append(
            "relative humidity never exceeds 1 %; for fractions name the column outside_rh"
        )
    if "dew_point" in values:
        above = values["dew_point"] - values["temperature"] > 0.6
        if above.any():
            i = int(np.argmax(above))
            place = f"{record.row} {record.lines[i]:.0f}"
            problems.append(
                f"{place}: dew point {values['dew_point'][i]:g} °C is above the "
                f"temperature {values['temperature'][i]:g} °C; are the columns or units swapped?"
            )
    if altitude is not None and not -500 <= altitude <= 5000:
        problems.append(f"altitude {altitude:g} m is outside -500 to 5000 m")
    elif altitude is not None:
        mean, own = float(np.nanmean(values["pressure"])), record.altitude
        if _fits(mean, altitude):
            return problems
        if own is not None and _fits(mean, own):
            problems.append(
                f"this weather is of a place {own:,.0f} m above sea level, the bay stands at "
                f"{altitude:,.0f} m; set site.altitude of the bay file to that of its place, or "
                f"take weather from the bay's height"
            )
        else:
            problems.append(
                f"mean pressure {mean / 100:,.0f} hPa does not fit the altitude of "
                f"{altitude:,.0f} m (about {float(air.standard_pressure(altitude)) / 100:,.0f} "
                f"hPa); give station pressure, not reduced to sea level, or leave the column out"
            )
    return problems


def _fits(mean: float, altitude: float) -> bool:
    """Whether a year's mean pressure [Pa] is that of a height [m]: 4 kPa are about 350 m."""
    return abs(mean - float(air.standard_pressure(altitude))) <= 4000.0


def _water_over_ice(temperature: Array) -> Array:
    """Saturation pressure over (supercooled) water divided by that of the glossary."""
    one = np.ones_like(temperature)
    ratio: Array = np.where(
        temperature < air.FREEZING, air.relative_humidity_over_ice(temperature, one), one
    )
    return ratio


def _dew_over_ice(dew_point: Array) -> Array:
    # the ratio is known down to -50 °C; below that the water itself is under 0.03 g/kg
    return _water_over_ice(np.maximum(dew_point, -50))


def _convention(record: Record) -> tuple[str, tuple[str, ...]]:
    """Whether humidity below 0 °C is over water or over ice."""
    values = record.values
    frost = values["temperature"] < air.FREEZING
    if record.humidity_over is not None or not frost.any():
        return record.humidity_over or "water", ()
    cold = values["temperature"] < COLD
    if "relative_humidity" in values and "dew_point" in values:
        rh, dew_point = values["relative_humidity"], values["dew_point"]
        cold &= ~np.isnan(rh) & ~np.isnan(dew_point)
        if cold.any():
            temperature, dew_point, rh = values["temperature"][cold], dew_point[cold], rh[cold]
            ice = air.saturation_pressure(dew_point) / air.saturation_pressure(temperature)
            water = ice * _dew_over_ice(dew_point) / _water_over_ice(temperature)
            errors = {
                name: float(np.median(np.abs(guess - rh)))
                for name, guess in (("ice", ice), ("water", water))
            }
            over = min(errors, key=errors.__getitem__)
            return over, (f"humidity below 0 °C is over {over}: so dew point and humidity agree",)
    return "water", (
        "humidity below 0 °C taken as over water (WMO-No. 8); "
        "a header line '# humidity_over: ice' says otherwise",
    )


def humidity(record: Record) -> tuple[Array, tuple[str, ...]]:
    """Humidity ratio [kg/kg dry air] of each row, and what was assumed."""
    values = record.values
    over, notes = _convention(record)
    vapour = np.full(record.time.shape, np.nan)
    if "relative_humidity" in values:
        temperature = values["temperature"]
        ratio = _water_over_ice(temperature) if over == "water" else 1.0
        # may exceed saturation over ice, which air.humidity_ratio would refuse
        vapour = values["relative_humidity"] * ratio * _saturated_vapour(record, temperature)
    if "dew_point" in values:
        dew_point = values["dew_point"]
        ratio = _dew_over_ice(dew_point) if over == "water" else 1.0
        dew = ratio * _saturated_vapour(record, dew_point)
        vapour = np.where(np.isnan(vapour), dew, vapour)
    result: Array = air.MASS_RATIO * vapour / (values["pressure"] - vapour)
    return result, notes


def _saturated_vapour(record: Record, temperature: Array) -> Array:
    """Partial pressure of water in saturated air. [Pa]"""
    pressure = record.values["pressure"]
    factor: Array = air.enhancement_factor(temperature, pressure)
    vapour: Array = factor * air.saturation_pressure(temperature)
    return vapour
