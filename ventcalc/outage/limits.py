"""What must not be reached in an outage, and when it is."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import NamedTuple

from ventcalc.advice.alarms import HOT
from ventcalc.advice.fresh_air import CO2_DANGEROUS, PEOPLE_CO2
from ventcalc.outage.start import Start
from ventcalc.season.kpi import WET_FILM

__all__ = ["Limit", "Trace", "hours_to", "limits_of"]

DRIPS = 0.1
"""Water on a ceiling that begins to drip; common practice, no source. [kg/m²]"""


class Trace(NamedTuple):
    """A bay at one time of an outage."""

    hours: float
    """Since the power failed. [h]"""
    pulp_mean: float
    """[°C]"""
    pulp_coldest: float
    """Of the layers, less what the coldest probe is below them. [°C]"""
    warmest_pulp: float
    """[°C]"""
    wall_pulp: float
    """Crop against an outer wall at its worst joint. [°C]"""
    draught_pulp: float
    """A tuber in the open doorway; NaN where it is shut. [°C]"""
    co2: float
    """[1]"""
    ceiling_margin: float
    """Coldest spots of the ceiling above the dew point of the air inside; infinite at first. [K]"""
    film: float
    """Of the wettest layer. [kg/kg crop]"""
    dripped: float
    """Water on the plain ceiling. [kg/m²]"""
    airflow: float
    """Through leaks and the open doorway. [m³/s]"""


@dataclass(frozen=True, kw_only=True)
class Limit:
    """What must not be reached."""

    key: str
    name: str
    value: float
    """[unit]"""
    unit: str
    why: str
    source: str


def limits_of(start: Start) -> tuple[Limit, ...]:
    """Of a bay, in the order in which people read them."""
    bay = start.bay
    return (
        Limit(
            key="freezing", name="First potatoes freeze", unit="degC",
            value=bay.crop.injury_temperature, why="coldest place",
            source="Suslow and Voss, Univ. of California Davis",
        ),
        Limit(
            key="draught", name="Potatoes in the draught of the door freeze", unit="degC",
            value=bay.crop.injury_temperature, why="a lone tuber in the doorway",
            source="Suslow and Voss, Univ. of California Davis",
        ),
        Limit(
            key="co2_people", name="CO2, air mixed: nobody works inside",
            unit="1 ppm", value=PEOPLE_CO2,
            why="limit of a working day", source="OSHA, ACGIH; NIOSH pocket guide",
        ),
        Limit(
            key="co2_dangerous", name="CO2, air mixed: danger to life",
            unit="1 ppm", value=CO2_DANGEROUS,
            why="immediately dangerous", source="NIOSH pocket guide (IDLH)",
        ),
        Limit(
            key="co2_crop", name="CO2, air mixed: limit of the crop",
            unit="1 ppm", value=bay.limits.co2,
            why="limit of the bay file", source="bay file",
        ),
        Limit(
            key="heat", name="Warmest potatoes too warm", unit="degC", value=start.target + HOT,
            why="target and 5 K", source="common practice, no source",
        ),
        Limit(
            key="sweating", name="Ceiling sweats at cold spots", unit="degC", value=math.nan,
            why="dew point of the air inside", source="psychrometrics",
        ),
        Limit(
            key="wet", name="Potatoes get wet", unit="kg/kg", value=WET_FILM,
            why="sweating", source="as of ventcalc season",
        ),
        Limit(
            key="dripping", name="Ceiling drips on the crop", unit="kg/m2", value=DRIPS,
            why="water that no longer clings", source="common practice, no source",
        ),
    )  # fmt: skip


def _margins(limits: Sequence[Limit], trace: Trace) -> tuple[float, ...]:
    """How far each limit is; passed where not positive."""
    value = {limit.key: limit.value for limit in limits}
    shut = math.isnan(trace.draught_pulp)
    return (
        min(trace.pulp_coldest, trace.wall_pulp) - value["freezing"],
        math.inf if shut else trace.draught_pulp - value["draught"],
        value["co2_people"] - trace.co2,
        value["co2_dangerous"] - trace.co2,
        value["co2_crop"] - trace.co2,
        value["heat"] - trace.warmest_pulp,
        trace.ceiling_margin,
        value["wet"] - trace.film,
        value["dripping"] - trace.dripped,
    )


def hours_to(limits: Sequence[Limit], traces: Sequence[Trace]) -> tuple[float, ...]:
    """Hours to each limit, straight between two steps."""
    margins = [_margins(limits, trace) for trace in traces]
    found = []
    for k in range(len(limits)):
        after = next((i for i, row in enumerate(margins) if not row[k] > 0.0), None)
        if after is None:
            found.append(math.nan)
        elif after == 0 or math.isinf(margins[after - 1][k]):  # passed, or nobody knows of before
            found.append(0.0)
        else:
            before, past = margins[after - 1][k], margins[after][k]
            part = before / (before - past)
            found.append(
                traces[after - 1].hours + part * (traces[after].hours - traces[after - 1].hours)
            )
    return tuple(found)
