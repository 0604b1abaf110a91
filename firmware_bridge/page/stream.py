"""What the stream tells an open page: the texts that have changed."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import asdict

from firmware_bridge.page.view import BayText

__all__ = ["changes", "states_of", "texts_of"]


def texts_of(
    bays: Sequence[BayText], *, brief: bool
) -> tuple[dict[str, str], dict[str, tuple[object, ...]]]:
    """Every text and list of the page by the key that it has in the HTML."""
    texts: dict[str, str] = {}
    lists: dict[str, tuple[object, ...]] = {}
    for bay in bays:
        name = bay.name
        for part in ("badge", "title", "short", "season", "doubted"):
            texts[f"{name}.{part}"] = getattr(bay, part)
        texts[f"{name}.followed"] = bay.followed[1]
        for one in bay.figures:
            texts[f"{name}.figure.{one.key}"] = one.value
            texts[f"{name}.figure.{one.key}.beside"] = one.beside
        lists[f"{name}.alarms"] = tuple(asdict(alarm) for alarm in bay.alarms)
        if brief:
            continue
        texts |= {f"{name}.mode": bay.mode, f"{name}.answer": bay.answer}
        for part in ("words", "outlook", "plan", "diagnosis"):
            lists[f"{name}.{part}"] = getattr(bay, part)
        for target, _, *values in bay.positions:
            for kind, value in zip(("advised", "accepted", "reading"), values, strict=True):
                texts[f"{name}.{target}.{kind}"] = value
        for part in ("pile", "airs", "margins"):
            texts |= _lines(bay, part)
    return texts, lists


def states_of(bays: Sequence[BayText]) -> dict[str, str]:
    """What is shown by shape and colour, too, by the key that it has in the HTML."""
    return {
        key: state
        for bay in bays
        for key, state in ((bay.name, bay.state), (f"{bay.name}.followed", bay.followed[0]))
    }


def _lines(bay: BayText, part: str) -> dict[str, str]:
    found = {}
    for line in getattr(bay, part):
        key = f"{bay.name}.{part}.{line.key}"
        found[key] = line.value
        found[f"{key}.note"] = line.note
    return found


def changes(said: dict[str, object], now: Mapping[str, object]) -> dict[str, object]:
    """What is new since it was last said."""
    found = {key: value for key, value in now.items() if said.get(key) != value}
    said.update(found)
    return found
