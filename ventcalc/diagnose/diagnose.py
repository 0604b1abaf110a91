"""Every rule over a log: what is wrong, the worst first, and what could not be looked at."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np

from ventcalc.bay.description import Bay
from ventcalc.diagnose.air_rules import air_signals
from ventcalc.diagnose.findings import Episode, Finding, Signal, episodes, stamp, sureness
from ventcalc.diagnose.hours import HOUR, hours_of
from ventcalc.diagnose.log import Log
from ventcalc.diagnose.machine_rules import machine_signals
from ventcalc.diagnose.offsets import SensorOffsets, offset_findings, offsets_of
from ventcalc.diagnose.pile_rules import pile_signals
from ventcalc.diagnose.scene import scene_of
from ventcalc.units import UnitSystem, show

__all__ = ["FINDING_IDS", "UNSEEN", "Diagnosis", "diagnose", "evidence_of", "told"]

FINDING_IDS = (
    "hot_spot", "fans_no_air", "airflow_low", "lateral_blocked", "fans_weak", "door_stuck",
    "coil_weak", "humidity_low", "plenum_probe", "probes_swapped", "humidity_probe_return",
    "humidity_probe_plenum", "humidity_probes_differ", "outside_probe", "sensor_offset",
    "pile_uneven", "co2_stays", "hunting", "energy_high", "coil_not_needed",
)  # fmt: skip
"""Names of all findings; those that ``advice.alarms`` has too mean the same."""

UNSEEN = (
    "pulp and plenum probes that are off by the same amount",
    "a plenum humidity probe that is 3 % off or less, or 6 % before its offset can be told",
    "a plenum probe that reads warm, while the supply is cooled by more than that",
    "weak airflow or a blocked lateral in a pile that hardly wants cooling, or since the log began",
    "what happens while the bay is filled or emptied, and in the first half hour of a run",
)
"""What no log of this kind shows."""


@dataclass(frozen=True, kw_only=True, eq=False)
class Diagnosis:
    """What a log says of its bay."""

    findings: tuple[Finding, ...]
    """The worst first, then by the time they began."""
    looked: dict[str, float]
    """Hours in which each finding could have shown, by its name. [h]"""
    offsets: SensorOffsets
    """Of the probes, as far as the log shows them."""
    remarks: tuple[str, ...]
    """What of the log was left out."""
    first: str
    """Begin of the log, ISO 8601, UTC."""
    last: str
    rows: int
    """In the file."""


class Evidence(NamedTuple):
    """What the rules see in a log."""

    log: Log
    signals: tuple[Signal, ...]
    offsets: SensorOffsets


def diagnose(bay: Bay, log: Log, units: UnitSystem = "metric") -> Diagnosis:
    """
    Look for what is wrong with a bay in its log.

    Parameters
    ----------
    bay : Bay
        As installed: with its fans at their operating point.
    log : Log
        Readings and positions.
    units : {"metric", "us"}
        Units in the sentences.

    Returns
    -------
    Diagnosis
        Findings, and how long each rule had conditions in which its fault would show.

    Raises
    ------
    BadInput
        If the rows of the log are too far apart.
    """
    return told(evidence_of(bay, log), units)


def evidence_of(bay: Bay, log: Log) -> Evidence:
    """What every rule sees, not yet in words."""
    hours = hours_of(log)
    scene = scene_of(bay, hours)
    signals = (
        *air_signals(scene),
        *pile_signals(bay, scene, log.heights),
        *machine_signals(scene),
    )
    return Evidence(log=log, signals=signals, offsets=offsets_of(scene, bay, log))


def told(evidence: Evidence, units: UnitSystem) -> Diagnosis:
    """The same in words."""
    log = evidence.log
    findings: list[Finding] = []
    looked: dict[str, float] = {}
    for signal in evidence.signals:
        able = float(np.count_nonzero(signal.able)) * signal.hours
        looked[signal.id] = max(looked.get(signal.id, 0.0), able)
        findings += [_told(signal, one, units) for one in episodes(signal)]
    findings += offset_findings(evidence.offsets, units)
    findings.sort(key=lambda finding: (finding.level, finding.since))
    return Diagnosis(
        findings=tuple(findings),
        looked=looked,
        offsets=evidence.offsets,
        remarks=log.remarks,
        first=stamp(float(log.time[0])),
        last=stamp(float(log.time[-1])),
        rows=log.rows or len(log.time),
    )


def _told(signal: Signal, one: Episode, units: UnitSystem) -> Finding:
    """An episode in words, with the middle of the sizes that it showed."""
    part = slice(one.start, one.last + 1)
    sizes = signal.size[part][signal.able[part] & signal.shows[part]]
    size = show(float(np.nanmedian(sizes)), signal.unit, units, signal.digits)
    end = signal.hours * HOUR
    place = signal.place
    if not math.isnan(signal.height):
        place += f", {show(signal.height, 'm', units, 1)} above the floor"
    return Finding(
        id=signal.id,
        rule=signal.rule,
        level=signal.level,
        place=place,
        since=stamp(float(signal.time[one.start])),
        found=stamp(float(signal.time[one.raised]) + end),
        until=stamp(float(signal.time[one.last]) + end),
        stands=one.stands,
        sure=sureness(signal, one),
        shown_hours=one.shown * signal.hours,
        able_hours=one.able * signal.hours,
        text=signal.text.format(size=size),
        first=signal.first,
    )
