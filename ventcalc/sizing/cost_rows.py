"""Outside air against refrigeration as records of a sizing."""

from __future__ import annotations

from collections.abc import Callable
from functools import partial

from ventcalc.bay.description import Bay
from ventcalc.sizing.cost import AutumnCost, WayOfCooling
from ventcalc.sizing.outside import MEAN_LAG, OutsideAir
from ventcalc.sizing.record import PRACTICE, Size, given, size

__all__ = ["outside_air_rows"]

HOUR = 3600.0


def outside_air_rows(bay: Bay, alone: OutsideAir, cost: AutumnCost) -> tuple[Size, ...]:
    """Outside air against refrigeration: hours, lag, and cost per cooling."""
    row = partial(size, "outside air")
    band = bay.limits.band + MEAN_LAG
    model = "pile of one temperature, fans at full speed, hour by hour: an indication"
    return (
        row(
            "autumn_time",
            "autumn, from first load to end of cool-down",
            alone.autumn_hours * HOUR,
            "s",
            "by the bay's calendar",
            (),
            "calendar",
        ),
        row(
            "autumn_time_below_target",
            "autumn hours with outside air below the planned pulp",
            alone.hours_below_target * HOUR,
            "s",
            "hours colder than the planned temperature less the offset that makes it worth it",
            given(("offset", bay.control.outside_offset, "delta_degC")),
            "weather file",
        ),
        row(
            "autumn_fan_time",
            "autumn hours of fans at full speed that cooling takes",
            alone.fan_hours * HOUR,
            "s",
            "heat to take out over what the air can carry",
            given(("heat taken out", alone.cooling, "J")),
            model,
        ),
        row(
            "largest_lag",
            "pile above its plan at the worst hour up to holding",
            alone.largest_lag,
            "delta_degC",
            "pile by outside air alone, less plan",
            given(("band and a day of the ramp", band, "delta_degC")),
            model,
            margin=band - alone.largest_lag,
        ),
        row(
            "late_time",
            "hours too warm, first load to end of holding",
            alone.late_hours * HOUR,
            "s",
            "hours with the pile warmer than its band; up to 1 % outside air is enough, up to 5 % "
            f"nearly: {alone.verdict}",
            given(("hours counted", alone.counted_hours * HOUR, "s")),
            model + "; shares: " + PRACTICE,
        ),
        *(
            row(
                f"late_time_{stage}",
                f"of them in {stage.replace('_', '-')}",
                late * HOUR,
                "s",
                "the same for this stage alone",
                given(("hours counted", counted * HOUR, "s")),
                model,
            )
            for stage, (late, counted) in alone.too_warm.items()
        ),
        *_cost_rows(row, "outside_air", "by outside air", cost.outside_air),
        *_cost_rows(row, "refrigeration", "by refrigeration", cost.refrigeration),
    )


def _cost_rows(
    row: Callable[..., Size], key: str, words: str, way: WayOfCooling
) -> tuple[Size, ...]:
    state = given(
        ("cooling at full speed", way.cooling, "W refrigeration"),
        ("electrical power", way.power, "W electrical"),
        ("hours counted", way.hours * HOUR, "s"),
    )
    source = "heat taken from the crop by the air's enthalpy; prices of the bay file; running cost"
    return (
        row(
            f"{key}_energy_cost",
            f"electricity per kWh of cooling, {words}",
            way.energy_cost,
            "money/J",
            "power times price over heat taken from the crop, mean of the autumn",
            state,
            source,
        ),
        row(
            f"{key}_water_cost",
            f"crop evaporated per kWh of cooling, {words}",
            way.water_cost,
            "money/J",
            "water lost times price of the crop over heat taken from it",
            state,
            source,
        ),
    )
