"""A log less what checks of its probes showed."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

import numpy as np

from ventcalc.diagnose.log import COLUMNS, Log

__all__ = ["less_offsets"]

PULP = "pulp probe "


def less_offsets(log: Log, offsets: Mapping[str, float]) -> Log:
    """Reading less offset of each probe, by the keys of ``checked_sensors``; [K, 0-1]."""
    values, pulp = dict(log.values), log.pulp.copy()
    for key, offset in offsets.items():
        place = int(key.removeprefix(PULP)) - 1 if key.startswith(PULP) else -1
        name = COLUMNS[key][0] if key in COLUMNS else ""
        if 0 <= place < pulp.shape[1]:
            pulp[:, place] -= offset
        elif name in values and key.endswith("_rh"):
            values[name] = np.clip(values[name] - offset, 0.0, 1.0)
        elif name in values:
            values[name] = values[name] - offset
    return replace(log, values=values, pulp=pulp)
