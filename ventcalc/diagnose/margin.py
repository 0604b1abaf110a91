"""
The margin against wetting by what a log tells of the probes, only where a site asks for it.

A log knows plenum and pulp against each other, not how warm either is: the humidity probe's part of
the margin follows it, that of the thermometers, on which the frost limits rest too, never falls.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np

from ventcalc.advice.setpoints import dew_point_uncertainty, wetting_margin
from ventcalc.bay.description import Bay, Sensors
from ventcalc.bay.hourly import hourly
from ventcalc.diagnose.offsets import WETTING, SensorOffsets
from ventcalc.logbook.checked_sensors import CheckedSensors

__all__ = ["LogMargin", "margin_by_log"]

LATE = 3 * 86400.0
"""End of a log before the readings, from which on it says nothing of them. [s]"""
DAMPEST_TRUST = 0.2
"""Greatest uncertainty of a humidity probe that a bay may have. [0-1]"""
_PROBES = {"pulp": ("pulp probe 1", 1.0), "plenum": ("plenum_temp_c", 1.0),
           "plenum_humidity": ("plenum_rh", 100.0)}  # fmt: skip
"""Of each offset: the probe that a check names, and the factor into the offset's unit."""


@dataclass(frozen=True, kw_only=True)
class LogMargin:
    """What a log does to the margin against wetting."""

    trust: CheckedSensors
    """With the uncertainty that gives the margin."""
    margin: float
    """[K]"""
    usual_margin: float
    """As without the log. [K]"""
    standard_uncertainty: float
    """Of plenum dew point against pulp by the log; NaN where it cannot tell. [K]"""
    difference: float
    """Plenum dew point less pulp, read less true, after the checks; below nothing is unsafe. [K]"""
    why_not: str
    """Why the margin stays as it is; empty where it follows the log."""


def margin_by_log(
    bay: Bay, trust: CheckedSensors, found: SensorOffsets, time: float, pulp_coldest: float
) -> LogMargin:
    """
    Let the margin follow a log; ``time`` of the readings in UTC since 1970-01-01.

    It covers twice the log's own uncertainty and, where the supply is nearer to the pulp than the
    probes say, the whole of that too. It is below the usual one only where the log knows better
    than the probes are trusted, and is the usual one where it cannot tell.
    """
    k = int(np.searchsorted(found.time, time, side="right")) - 1
    usual = _margin(bay, trust.sensors, time, pulp_coldest)
    why = _why_not(found, k, time, pulp_coldest)
    if why:
        return LogMargin(
            trust=trust, margin=usual, usual_margin=usual, standard_uncertainty=math.nan,
            difference=math.nan, why_not=why,
        )  # fmt: skip
    own = float(found.wetting_uncertainty[k])
    off = float(found.wetting_difference[k])
    for name, (key, factor) in _PROBES.items():
        off -= WETTING[name] * factor * trust.offsets.get(key, 0.0)
    sensors = _sensors(bay, trust.sensors, own + max(-off, 0.0) / bay.control.confidence,
                       time, pulp_coldest)  # fmt: skip
    margin = _margin(bay, sensors, time, pulp_coldest)
    if margin > usual and -off <= 2.0 * own:
        sensors, margin, why = trust.sensors, usual, "it is no surer of the probes"
    return LogMargin(
        trust=replace(trust, sensors=sensors),
        margin=margin,
        usual_margin=usual,
        standard_uncertainty=own,
        difference=off,
        why_not=why,
    )


def _why_not(found: SensorOffsets, k: int, time: float, pulp_coldest: float) -> str:
    if found.why_not and not found.offsets:
        return found.why_not
    if k < 0:
        return "the log begins after the readings"
    if time - found.time[k] > LATE:
        return f"the log ends {(time - found.time[k]) / 86400.0:.0f} days before the readings"
    if math.isnan(pulp_coldest):
        return "no pulp is read"
    if not found.tells[k]:
        return found.why_not or "it could not be told at the hour of the readings"
    return ""


def _sensors(bay: Bay, now: Sensors, sigma: float, time: float, pulp_coldest: float) -> Sensors:
    """Thermometers as they are; the humidity probe so that all together have ``sigma`` [K]."""
    probe = Sensors(temperature=0.0, humidity=1.0)
    slope = dew_point_uncertainty(
        hourly(replace(bay, sensors=probe), time), pulp_coldest, bay.limits.plenum_humidity
    )
    rest = max(sigma * sigma - 2.0 * now.temperature**2, 0.0)
    return replace(now, humidity=min(math.sqrt(rest) / slope, DAMPEST_TRUST))


def _margin(bay: Bay, sensors: Sensors, time: float, pulp_coldest: float) -> float:
    """With pulp probes enough; fewer widen it later, as ever. [K]"""
    return wetting_margin(hourly(replace(bay, sensors=sensors), time), pulp_coldest, 0)
