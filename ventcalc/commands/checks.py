"""Checks of the probes that lie in a bay's season folder."""

from __future__ import annotations

import sys
from collections.abc import Sequence

from ventcalc.bay.description import Bay
from ventcalc.errors import BadInput
from ventcalc.logbook.folder import read_logbook, season_folder
from ventcalc.logbook.kinds import Line, SensorCheck

__all__ = ["sensor_checks"]


def sensor_checks(bay_file: str, bay: Bay) -> Sequence[Line[SensorCheck]]:
    """None without a folder; nobody waits for one that is broken."""
    folder = season_folder(bay_file)
    if not folder.is_dir():
        return ()
    try:
        return read_logbook(folder, bay).lines("sensor_checks")
    except BadInput as error:
        sys.stderr.write(f"ventcalc: {error.problems[0]}; checks of sensors do not count\n")
        return ()
