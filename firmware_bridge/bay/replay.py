"""Recorded readings through adviser and safety gate, the same way as live ones."""

from __future__ import annotations

from collections.abc import Iterable, Iterator

from firmware_bridge.bay.state import Decision, desk_for
from firmware_bridge.config import BayConfig
from firmware_bridge.sensors.sample import Sample
from firmware_bridge.wire.messages import Birth, Channel

__all__ = ["replay"]


def replay(
    config: BayConfig, recorded: Iterable[tuple[float, Sample]]
) -> Iterator[tuple[float, Decision, tuple[str, ...]]]:
    """
    What would have been advised.

    Parameters
    ----------
    config : BayConfig
        The bay; its rate limit and envelope hold here too.
    recorded : iterable of tuple
        Wall clock UTC [s] and sample, in the order of time.

    Yields
    ------
    tuple
        Wall clock [s], decision, and the adviser's words.
    """
    desk = desk_for(config, 1)
    for t, sample in recorded:
        if not sample.fresh:
            continue
        if desk.source.birth is None or desk.source.birth.boot != sample.boot:
            channels = tuple(
                Channel(key=key, kind=kind, unit="1") for key, kind in sample.kinds.items()
            )
            desk.source.birth = Birth(boot=sample.boot, channels=channels)
        desk.source.newest, desk.source.online = sample, True
        decision = desk.decide("", t, t)
        if decision is not None:
            desk.settle(decision, (1, sample.seq), t)
            yield t, decision, desk.words("metric") if decision.targets is not None else ()
