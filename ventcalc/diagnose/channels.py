"""
A log whose columns are named ``kind:channel``, brought to the columns of a log.

So does a controller's own store name what it holds: ``plenum_temperature:t3`` in °C, humidity and
positions from 0 to 1, ``co2`` as volume fraction, pressure in Pa; the time in ``time_utc``.
"""

from __future__ import annotations

import csv
from collections.abc import Sequence

from ventcalc.errors import BadInput

__all__ = ["as_columns"]

_KINDS = {
    "outside_temperature": "outside_temp_c",
    "outside_relative_humidity": "outside_rh",
    "return_temperature": "return_temp_c",
    "return_relative_humidity": "return_rh",
    "plenum_temperature": "plenum_temp_c",
    "plenum_relative_humidity": "plenum_rh",
    "co2": "co2_ppm",
    "pressure": "pressure_pa",
    **{
        name: name
        for name in ("fan_speed", "door_opening", "humidifier", "refrigeration", "heater")
    },
}
PULP = "pulp_temperature"


def as_columns(titles: Sequence[str], body: Sequence[str]) -> tuple[list[str], list[str]]:
    """
    Columns as ``read_log`` wants them, of an export by channels: probes keep their order, of other
    kinds with several channels the mean counts, what no log has is left out.
    """
    if "time_utc" not in titles:
        raise BadInput("columns are named kind:channel, but there is no column time_utc")
    time = titles.index("time_utc")
    kinds: dict[str, list[int]] = {}
    for k, title in enumerate(titles):
        kind = title.partition(":")[0]
        if ":" in title and (kind in _KINDS or kind == PULP):
            kinds.setdefault(kind, []).append(k)
    pulps = kinds.pop(PULP, [])
    names = [_KINDS[kind] for kind in kinds] + [f"pulp_{k}_c" for k in range(1, len(pulps) + 1)]
    places = [*kinds.values(), *([k] for k in pulps)]
    factors = [1e6 if name == "co2_ppm" else 1.0 for name in names]
    rows = []
    for cells in csv.reader(body):
        if len(cells) != len(titles):
            rows.append("")  # told as missing cells, with its number
            continue
        told = (_mean([cells[k] for k in ks], x) for ks, x in zip(places, factors, strict=True))
        rows.append(",".join([cells[time], *told]))
    return ["time", *names], rows


def _mean(cells: Sequence[str], factor: float) -> str:
    known = [cell for cell in cells if cell.strip()]
    if len(known) == 1 and factor == 1.0:
        return known[0]
    try:
        return f"{factor * sum(map(float, known)) / len(known):.9g}" if known else ""
    except ValueError:
        return next(cell for cell in known)
