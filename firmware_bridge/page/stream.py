"""What the stream tells an open page: the texts that have changed."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from firmware_bridge.page.view import Face

__all__ = ["changes", "texts_of"]


def texts_of(
    faces: Sequence[Face], *, brief: bool
) -> tuple[dict[str, str], dict[str, tuple[str, ...]]]:
    """
    Every text and list of the page by the key that it has in the HTML.

    Parameters
    ----------
    faces : sequence of Face
        The bays of the page.
    brief : bool
        Whether it is the overview.

    Returns
    -------
    texts, lists : dict
    """
    texts: dict[str, str] = {}
    lists: dict[str, tuple[str, ...]] = {}
    for face in faces:
        name = face.name
        for part in ("badge", "title", "short"):
            texts[f"{name}.{part}"] = getattr(face, part)
        lists[f"{name}.alarms"] = face.alarms
        if brief:
            texts[f"{name}.why"] = face.words[0] if face.words else ""
            texts |= _lines(face, "glance", notes=False)
            continue
        texts |= {f"{name}.mode": face.mode, f"{name}.answer": face.answer}
        lists[f"{name}.words"] = face.words
        for target, _, *values in face.positions:
            for kind, value in zip(("advised", "accepted", "reading"), values, strict=True):
                texts[f"{name}.{target}.{kind}"] = value
        for part in ("pile", "airs", "margins"):
            texts |= _lines(face, part, notes=True)
    return texts, lists


def _lines(face: Face, part: str, *, notes: bool) -> dict[str, str]:
    found = {}
    for line in getattr(face, part):
        key = f"{face.name}.{part}.{line.key}"
        found[key] = line.value
        if notes:
            found[f"{key}.note"] = line.note
    return found


def changes(said: dict[str, Any], now: Mapping[str, Any]) -> dict[str, Any]:
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
