"""What ``ventcalc advise`` keeps from hour to hour: the adviser's memory, and each probe's."""

from __future__ import annotations

import json
import math
from collections.abc import Mapping
from dataclasses import fields
from typing import Any

from ventcalc.advice.memory_file import KEPT, memory_from_json, memory_to_dict
from ventcalc.advice.probe_history import PROBES, ProbeHistory, probe_of
from ventcalc.advice.readings import Memory
from ventcalc.errors import BadInput

__all__ = ["kept_from_json", "kept_to_dict"]

_UNKEPT = ("limits", "turns_unit")


def kept_to_dict(
    memory: Memory, bay_name: str, probes: Mapping[str, ProbeHistory]
) -> dict[str, Any]:
    """Write what is to be kept."""
    return {
        **memory_to_dict(memory),
        "bay": bay_name,
        "probes": {name: _plain(probe) for name, probe in probes.items()},
    }


def _plain(probe: ProbeHistory) -> dict[str, Any]:
    """Without what is not known yet."""
    found = {f.name: getattr(probe, f.name) for f in fields(probe) if f.name not in _UNKEPT}
    kind = next(kind for kind, limits in PROBES.items() if limits is probe.limits)
    known = {k: v for k, v in found.items() if isinstance(v, str) or math.isfinite(v)}
    return {"kind": kind, **known}


def kept_from_json(text: str, name: str, bay_name: str) -> tuple[Memory, dict[str, ProbeHistory]]:
    """Read what was kept."""
    memory = memory_from_json(text, name)
    bay, probes = (json.loads(text).get(key) for key in KEPT)
    if bay not in (None, bay_name):
        raise BadInput(f"{name}: belongs to {bay!r}, not to {bay_name!r}; give each bay its own")
    try:
        return memory, {key: _probe(**given) for key, given in (probes or {}).items()}
    except (TypeError, KeyError, AttributeError):
        raise BadInput(f"{name}: probes are damaged; delete the file to start anew") from None


def _probe(kind: str, **given: Any) -> ProbeHistory:
    probe = probe_of(kind)
    for key, value in given.items():
        kept = type(getattr(probe, key))
        if key in _UNKEPT or isinstance(value, bool) or not isinstance(value, (kept, int)):
            raise TypeError(key)
        setattr(probe, key, kept(value))
    return probe
