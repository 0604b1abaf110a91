"""Outside air against refrigeration as records of a sizing."""

from __future__ import annotations

from ventcalc.bay.description import Bay
from ventcalc.sizing.cost import AutumnCost, WayOfCooling
from ventcalc.sizing.outside import MEAN_LAG, OutsideAir
from ventcalc.sizing.record import Size, row

__all__ = ["outside_air_rows"]

HOUR = 3600.0


def outside_air_rows(bay: Bay, alone: OutsideAir, cost: AutumnCost) -> tuple[Size, ...]:
    """Outside air against refrigeration: hours, lag, and cost per cooling."""
    band = bay.limits.band + MEAN_LAG
    return (
        row("autumn_time", alone.autumn_hours * HOUR),
        row(
            "autumn_time_below_target",
            alone.hours_below_target * HOUR,
            ("offset", bay.control.outside_offset, "delta_degC"),
        ),
        row("autumn_fan_time", alone.fan_hours * HOUR, ("heat taken out", alone.cooling, "J")),
        row(
            "largest_lag",
            alone.largest_lag,
            ("band and a day of the ramp", band, "delta_degC"),
            margin=band - alone.largest_lag,
        ),
        row(
            "late_time",
            alone.late_hours * HOUR,
            ("hours counted", alone.counted_hours * HOUR, "s"),
            verdict=alone.verdict,
        ),
        *(
            row(
                "late_time_{stage}",
                late * HOUR,
                ("hours counted", counted * HOUR, "s"),
                stage=stage,
                told=stage.replace("_", "-"),
            )
            for stage, (late, counted) in alone.too_warm.items()
        ),
        *_cost_rows("outside_air", "by outside air", cost.outside_air),
        *_cost_rows("refrigeration", "by refrigeration", cost.refrigeration),
    )


def _cost_rows(key: str, words: str, way: WayOfCooling) -> tuple[Size, ...]:
    state = (
        ("cooling at full speed", way.cooling, "W refrigeration"),
        ("electrical power", way.power, "W electrical"),
        ("hours counted", way.hours * HOUR, "s"),
    )
    return (
        row("{key}_energy_cost", way.energy_cost, *state, key=key, words=words),
        row("{key}_water_cost", way.water_cost, *state, key=key, words=words),
    )
