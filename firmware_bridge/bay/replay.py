"""Recorded readings through adviser and safety gate, the same way as live ones."""

from __future__ import annotations

from collections.abc import Iterable, Iterator

from msgspec.structs import replace

from firmware_bridge.bay.decision import Decision
from firmware_bridge.bay.state import new_bay
from firmware_bridge.config import BayConfig
from firmware_bridge.sensors.sample import Sample
from firmware_bridge.wire.messages import Birth, Channel

__all__ = ["replay"]


def replay(
    config: BayConfig, recorded: Iterable[tuple[float, Sample]]
) -> Iterator[tuple[float, Decision, tuple[str, ...]]]:
    """What would have been advised: wall clock [s], decision and words, sample by sample."""
    bay = new_bay(config, 1)
    for t, sample in recorded:
        if not sample.fresh:
            continue
        if bay.source.birth is None or bay.source.birth.boot != sample.boot:
            channels = tuple(
                Channel(key=key, kind=kind, unit="1") for key, kind in sample.kinds.items()
            )
            bay.source.birth = Birth(boot=sample.boot, channels=channels)
        bay.source.newest, bay.source.online = replace(sample, ignore=bay.source.ignore), True
        bay.recall(t, t)
        decision = bay.decide("", t, t)
        if decision is not None:
            bay.settle(decision, (1, sample.seq), t)
            yield t, decision, bay.words("metric") if decision.targets is not None else ()
