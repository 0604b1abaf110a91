"""Strips of positions by date and hour of the day, as a picture in a picture."""

from __future__ import annotations

import base64
import struct
import zlib
from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from ventcalc.web import svg
from ventcalc.web.scale import Scale, date_ticks
from ventcalc.web.svg import Picture, Shape

__all__ = ["strips"]

_WIDTH = 960.0
_INK = (47, 134, 143)
"""Reads on light and on dark paper."""


def strips(
    name: str,
    title: str,
    days: Sequence[float],
    rows: Sequence[tuple[str, NDArray[np.float64]]],
) -> Picture:
    """A strip for each device: dates across, hours of the day upward, darker where it does more."""
    left, tall = 126.0, 84.0
    across = Scale(days[0], days[-1], left, _WIDTH - 12.0)
    shapes: list[Shape] = []
    for k, (words, positions) in enumerate(rows):
        top = k * (tall + 18.0) + 8.0
        place = (left, top, _WIDTH - 12.0 - left, tall)
        shapes.append(svg.box(*place, fill="var(--span-a)"))
        shapes.append(svg.words(0, top + tall / 2 + 4, words))
        for hour in (0, 12):
            y = top + tall * (1.0 - hour / 24.0) + 4.0
            shapes.append(svg.words(left - 8, y, f"{hour} h", text_anchor="end", class_="quiet"))
        shapes.append(_image(place, positions))
    bottom = len(rows) * (tall + 18.0) - 6.0
    for at, label, year in date_ticks(days):
        for text, down in ((label, 18.0), (year, 34.0)):
            if text:
                x = across(at)
                shapes.append(
                    svg.words(x, bottom + down, text, text_anchor="middle", class_="quiet")
                )
    return Picture(name, title, _WIDTH, bottom + 40.0, shapes)


def _image(place: tuple[float, float, float, float], positions: NDArray[np.float64]) -> Shape:
    x, y, width, height = (svg.number(side) for side in place)
    data = base64.b64encode(_png(positions[::-1])).decode()
    return Shape(
        "image",
        {
            "x": x,
            "y": y,
            "width": width,
            "height": height,
            "preserveAspectRatio": "none",
            "href": f"data:image/png;base64,{data}",
        },
    )


def _png(opaque: NDArray[np.float64]) -> bytes:
    """One colour, as opaque as told (PNG, ISO/IEC 15948: 8-bit RGBA, rows without filter)."""
    high, wide = opaque.shape
    pixels = np.empty((high, wide, 4), np.uint8)
    pixels[..., :3] = _INK
    pixels[..., 3] = np.round(255.0 * np.clip(opaque, 0.0, 1.0))
    rows = b"".join(b"\0" + row.tobytes() for row in pixels)

    def chunk(kind: bytes, body: bytes) -> bytes:
        check = zlib.crc32(kind + body)
        return struct.pack(">I", len(body)) + kind + body + struct.pack(">I", check)

    head = struct.pack(">IIBBBBB", wide, high, 8, 6, 0, 0, 0)
    return (
        b"\x89PNG\r\n\x1a\n"
        + chunk(b"IHDR", head)
        + chunk(b"IDAT", zlib.compress(rows, 9))
        + chunk(b"IEND", b"")
    )
