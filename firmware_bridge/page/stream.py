"""What the stream tells an open page: the texts that have changed."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from firmware_bridge.page.view import BayText

__all__ = ["changes", "texts_of"]


def texts_of(
    bays: Sequence[BayText], *, brief: bool
) -> tuple[dict[str, str], dict[str, tuple[str, ...]]]:
    """
    Every text and list of the page by the key that it has in the HTML.

    Parameters
    ----------
    bays : sequence of BayText
        The bays of the page.
    brief : bool
        Whether it is the overview.

    Returns
    -------
    texts, lists : dict
    """
    texts: dict[str, str] = {}
    lists: dict[str, tuple[str, ...]] = {}
    for bay in bays:
        name = bay.name
        for part in ("badge", "title", "short"):
            texts[f"{name}.{part}"] = getattr(bay, part)
        lists[f"{name}.alarms"] = bay.alarms
        if brief:
            texts[f"{name}.why"] = bay.words[0] if bay.words else ""
            texts |= _lines(bay, "glance", notes=False)
            continue
        texts |= {f"{name}.mode": bay.mode, f"{name}.answer": bay.answer}
        lists[f"{name}.words"] = bay.words
        for target, _, *values in bay.positions:
            for kind, value in zip(("advised", "accepted", "reading"), values, strict=True):
                texts[f"{name}.{target}.{kind}"] = value
        for part in ("pile", "airs", "margins"):
            texts |= _lines(bay, part, notes=True)
    return texts, lists


def _lines(bay: BayText, part: str, *, notes: bool) -> dict[str, str]:
    found = {}
    for line in getattr(bay, part):
        key = f"{bay.name}.{part}.{line.key}"
        found[key] = line.value
        if notes:
            found[f"{key}.note"] = line.note
    return found


def changes(said: dict[str, object], now: Mapping[str, object]) -> dict[str, object]:
    """
    What is new since it was last said.

    Parameters
    ----------
    said : dict
        What was said; brought up to date.
    now : mapping
        What is to be said.

    Returns
    -------
    dict
        The part that differs.
    """
    found = {key: value for key, value in now.items() if said.get(key) != value}
    said.update(found)
    return found
