"""Weather and fans of a sizing as records: what, how, from what, how much to spare."""

from __future__ import annotations

from collections.abc import Mapping

from ventcalc.air.plain import AIR_HEAT
from ventcalc.bay.description import Bay
from ventcalc.check.crop_state import CropState
from ventcalc.sizing import air as sizing_air
from ventcalc.sizing.air import HORSEPOWER, AirDesign, holding_speed
from ventcalc.sizing.record import Size, row
from ventcalc.sizing.weather import COLD_PERCENTILE, WARM_PERCENTILE, DesignStates

__all__ = ["fan_rows", "weather_rows"]


def weather_rows(states: DesignStates) -> tuple[Size, ...]:
    """The states that the sizes are for."""
    share = (("percentile", COLD_PERCENTILE / 100.0, "1 percent"),)
    rows = [
        row("winter_temperature", states.winter_temperature, *share),
        row("winter_roof_temperature", states.winter_roof_temperature, *share),
    ]
    days = [("", "warm", "dry-bulb", day) for day in states.days.values()]
    days += [("humid_", "humid", "enthalpy", day) for day in states.enthalpy_days.values()]
    for key, kind, ranked, day in days:
        rows.append(
            row(
                "{stage}_{key}day_temperature",
                day.mean_temperature,
                ("percentile", WARM_PERCENTILE / 100.0, "1 percent"),
                ("warmest hour", day.highest_temperature, "degC"),
                ("humidity ratio", day.humidity_ratio, "kg/kg"),
                ("roof in the sun", day.roof_temperature, "degC"),
                stage=day.stage,
                key=key,
                kind=kind,
                told=day.stage.replace("_", "-"),
                date=day.date,
                ranked=ranked,
            )
        )
    return tuple(rows)


def fan_rows(bay: Bay, design: AirDesign, crops: Mapping[str, CropState]) -> tuple[Size, ...]:
    """Airflow, count, pressure, power, motor and speed of the fans."""
    mass = bay.pile.capacity
    one = design.airflow / design.fans
    need = holding_speed(bay, design, crops["holding"])
    slow = max(need, bay.fans.minimum_speed)
    parts = [(name, value, "Pa") for name, value in design.pressure_parts.items()]
    return (
        row(
            "fans_airflow",
            design.airflow,
            ("target", design.airflow_per_tonne, "m3/(s t)"),
            ("full pile", mass, "kg"),
            present=bay.fans.airflow,
        ),
        row(
            "fans_count",
            design.fans,
            ("most of one fan", sizing_air.FAN_AIRFLOW, "m3/s"),
            margin=design.fans - design.airflow / sizing_air.FAN_AIRFLOW,
            present=bay.fans.count,
        ),
        row(
            "fan_airflow",
            one,
            ("airflow of all fans", design.airflow, "m3/s"),
            margin=sizing_air.FAN_AIRFLOW - one,
            present=bay.fans.airflow / bay.fans.count,
        ),
        row(
            "fans_static_pressure",
            design.static_pressure,
            *parts,
            ("air density", design.density, "kg/m3 air"),
            margin=design.pressure_parts["reserve"],
            present=bay.fans.static_pressure,
        ),
        row(
            "fans_static_pressure_standard",
            design.standard_pressure,
            ("air density", design.density, "kg/m3 air"),
        ),
        row(
            "fans_power",
            design.power,
            ("efficiency", bay.fans.efficiency, "1"),
            ("per mass of a full pile", design.power / mass, "W/kg"),
            present=bay.fans.airflow * bay.fans.static_pressure / bay.fans.efficiency,
        ),
        row(
            "fan_shaft_power",
            design.shaft_power_per_fan,
            ("in air of 1.2 kg/m3", design.standard_shaft_power, "W shaft"),
        ),
        row(
            "fan_motor_rating",
            design.motor_rating,
            ("shaft power", design.shaft_power_per_fan, "W shaft"),
            ("reserve", sizing_air.MOTOR_RESERVE, "1 percent"),
            margin=design.motor_rating - design.shaft_power_per_fan,
            present=bay.fans.motor_power,
        ),
        row(
            "fan_motor_horsepower",
            design.motor_horsepower,
            ("shaft power", design.shaft_power_per_fan / HORSEPOWER, "1 hp"),
            margin=design.motor_horsepower - design.shaft_power_per_fan / HORSEPOWER,
        ),
        row(
            "fan_speed_holding",
            slow,
            ("heat of respiration", crops["holding"].heat, "W"),
            ("spread", bay.limits.spread, "delta_degC"),
            ("lowest speed", bay.fans.minimum_speed, "1 percent"),
            margin=1.0 - need,
        ),
        row(
            "fans_power_holding",
            design.power * slow**3,
            ("full speed", design.power, "W electrical"),
        ),
        row(
            "fill_temperature_rise",
            crops["filling"].heat / (design.density * AIR_HEAT * design.airflow),
            ("heat of respiration", crops["filling"].respiration_heat, "W/kg"),
            margin=bay.limits.spread
            - crops["filling"].heat / (design.density * AIR_HEAT * design.airflow),
        ),
    )
