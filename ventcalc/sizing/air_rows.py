"""Weather and fans of a sizing as records: what, how, from what, how much to spare."""

from __future__ import annotations

from collections.abc import Mapping
from functools import partial

from ventcalc.air.plain import AIR_HEAT
from ventcalc.bay.description import Bay
from ventcalc.check.crop_state import CropState
from ventcalc.sizing import air as sizing_air
from ventcalc.sizing.air import HORSEPOWER, AirDesign, holding_speed
from ventcalc.sizing.record import PRACTICE, Size, given, size
from ventcalc.sizing.weather import COLD_PERCENTILE, WARM_PERCENTILE, DesignStates

__all__ = ["fan_rows", "weather_rows"]


def weather_rows(states: DesignStates) -> tuple[Size, ...]:
    """The states that the sizes are for."""
    row = partial(size, "weather")
    winter = "ASHRAE Handbook of Fundamentals: 99.6 % heating temperature; here of the file's hours"
    share = given(("percentile", COLD_PERCENTILE / 100.0, "1 percent"))
    rows = [
        row(
            "winter_temperature",
            "winter, outside air",
            states.winter_temperature,
            "degC",
            "colder in 0.4 % of all hours of the file",
            share,
            winter,
        ),
        row(
            "winter_roof_temperature",
            "winter, roof under a clear night sky",
            states.winter_roof_temperature,
            "degC",
            "sol-air temperature without sun, colder in 0.4 % of all hours",
            share,
            "sky: Berdahl and Martin 1984; sol-air: ASHRAE Handbook of Fundamentals",
        ),
    ]
    days = [("", "warm", "dry-bulb", day) for day in states.days.values()]
    days += [("humid_", "humid", "enthalpy", day) for day in states.enthalpy_days.values()]
    for key, kind, ranked, day in days:
        rows.append(
            row(
                f"{day.stage}_{key}day_temperature",
                f"{kind} day of {day.stage.replace('_', '-')} ({day.date}), mean",
                day.mean_temperature,
                "degC",
                f"real day whose mean {ranked} is at the percentile of the daily means of that "
                "stage",
                given(
                    ("percentile", WARM_PERCENTILE / 100.0, "1 percent"),
                    ("warmest hour", day.highest_temperature, "degC"),
                    ("humidity ratio", day.humidity_ratio, "kg/kg"),
                    ("roof in the sun", day.roof_temperature, "degC"),
                ),
                PRACTICE,
            )
        )
    return tuple(rows)


def fan_rows(bay: Bay, design: AirDesign, crops: Mapping[str, CropState]) -> tuple[Size, ...]:
    """Airflow, count, pressure, power, motor and speed of the fans."""
    row, mass = partial(size, "fans"), bay.pile.capacity
    one = design.airflow / design.fans
    need = holding_speed(bay, design, crops["holding"])
    slow = max(need, bay.fans.minimum_speed)
    parts = given(*((name, value, "Pa") for name, value in design.pressure_parts.items()))
    return (
        row(
            "fans_airflow",
            "airflow of all fans",
            design.airflow,
            "m3/s",
            "target times crop in a full pile",
            given(("target", design.airflow_per_tonne, "m3/(s t)"), ("full pile", mass, "kg")),
            "target as given; Univ. of Nebraska CropWatch: 10-30 cfm/ton while healing",
            present=bay.fans.airflow,
        ),
        row(
            "fans_count",
            "number of fans",
            design.fans,
            "1",
            "airflow over the most of one fan, rounded up; at least two, for the day one fails",
            given(("most of one fan", sizing_air.FAN_AIRFLOW, "m3/s")),
            PRACTICE,
            margin=design.fans - design.airflow / sizing_air.FAN_AIRFLOW,
            present=bay.fans.count,
        ),
        row(
            "fan_airflow",
            "airflow of one fan",
            one,
            "m3/s",
            "airflow over number of fans",
            given(("airflow of all fans", design.airflow, "m3/s")),
            "identity",
            margin=sizing_air.FAN_AIRFLOW - one,
            present=bay.fans.airflow / bay.fans.count,
        ),
        row(
            "fans_static_pressure",
            "static pressure of the fans",
            design.static_pressure,
            "Pa",
            "sum of the parts on the way of the air, at the bay's air density",
            (*parts, *given(("air density", design.density, "kg/m3 air"))),
            "ports, laterals: momentum and friction (Colebrook); pile: Ergun 1952 and soil; "
            "doors: sharp-edged openings; pad, coil, reserve: " + PRACTICE,
            margin=design.pressure_parts["reserve"],
            present=bay.fans.static_pressure,
        ),
        row(
            "fans_static_pressure_standard",
            "the same in air of 1.2 kg/m3, as makers' curves are drawn",
            design.standard_pressure,
            "Pa",
            "static pressure times 1.2 kg/m3 over the air density",
            given(("air density", design.density, "kg/m3 air")),
            "fan laws",
        ),
        row(
            "fans_power",
            "electrical power of all fans, full speed",
            design.power,
            "W electrical",
            "airflow times static pressure over efficiency of fan and motor",
            given(
                ("efficiency", bay.fans.efficiency, "1"),
                ("per mass of a full pile", design.power / mass, "W/kg"),
            ),
            "identity",
            present=bay.fans.airflow * bay.fans.static_pressure / bay.fans.efficiency,
        ),
        row(
            "fan_shaft_power",
            "shaft power of one fan",
            design.shaft_power_per_fan,
            "W shaft",
            "airflow times static pressure over fan efficiency, in the air of the site",
            given(("in air of 1.2 kg/m3", design.standard_shaft_power, "W shaft")),
            "identity; motor and drive 0.9: " + PRACTICE,
        ),
        row(
            "fan_motor_rating",
            "motor of one fan, rated shaft power",
            design.motor_rating,
            "W electrical",
            "next rated size above shaft power and reserve",
            given(
                ("shaft power", design.shaft_power_per_fan, "W shaft"),
                ("reserve", sizing_air.MOTOR_RESERVE, "1 percent"),
            ),
            "IEC 60072-1 sizes (from memory); reserve: " + PRACTICE,
            margin=design.motor_rating - design.shaft_power_per_fan,
            present=bay.fans.motor_power,
        ),
        row(
            "fan_motor_horsepower",
            "or motor of one fan in horsepower",
            design.motor_horsepower,
            "1 hp",
            "next rated size above shaft power and reserve",
            given(("shaft power", design.shaft_power_per_fan / HORSEPOWER, "1 hp")),
            "NEMA MG 1 sizes (from memory); reserve: " + PRACTICE,
            margin=design.motor_horsepower - design.shaft_power_per_fan / HORSEPOWER,
        ),
        row(
            "fan_speed_holding",
            "fan speed that holds the settled crop",
            slow,
            "1 percent",
            "heat of respiration over (air density x 1006 J/(kg K) x airflow x spread), without "
            "evaporation; not below the lowest speed",
            given(
                ("heat of respiration", crops["holding"].heat, "W"),
                ("spread", bay.limits.spread, "delta_degC"),
                ("lowest speed", bay.fans.minimum_speed, "1 percent"),
            ),
            "heat balance of the air; spread: the bay's limit",
            margin=1.0 - need,
        ),
        row(
            "fans_power_holding",
            "electrical power of all fans at that speed",
            design.power * slow**3,
            "W electrical",
            "power at full speed times speed cubed",
            given(("full speed", design.power, "W electrical")),
            "fan laws; drives lose a little more at low speed",
        ),
        row(
            "fill_temperature_rise",
            "pile top above bottom when the last load is in, dry",
            crops["filling"].heat / (design.density * AIR_HEAT * design.airflow),
            "delta_degC",
            "heat of respiration over (air density x 1006 J/(kg K) x airflow): evaporation cuts "
            "it to about half (derived, no source)",
            given(("heat of respiration", crops["filling"].respiration_heat, "W/kg")),
            "heat balance; Bethke, The Potato, ch. 15: 0.6-0.8 K works well",
            margin=bay.limits.spread
            - crops["filling"].heat / (design.density * AIR_HEAT * design.airflow),
        ),
    )
