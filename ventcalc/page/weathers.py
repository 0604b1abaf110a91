"""Weather for sizes and seasons: the example, or files that the page was given."""

from __future__ import annotations

import hashlib
import re
import tempfile
import threading
from pathlib import Path

from ventcalc.errors import BadInput
from ventcalc.weather import Weather, example_weather, read_weather

__all__ = ["EXAMPLE", "Weathers"]

EXAMPLE = "example"
MOST = 6
"""Files that are kept; the oldest goes first."""


class Weathers:
    """Uploaded files in a folder that goes with the program."""

    def __init__(self) -> None:
        self._folder = tempfile.TemporaryDirectory(prefix="ventcalc-page-")
        self._files: dict[str, Path] = {}
        self._lock = threading.Lock()

    def take(self, name: str, body: bytes, altitude: float | None) -> tuple[str, Weather]:
        """Keep a file, if it can be read."""
        key = hashlib.sha256(body).hexdigest()[:16]
        plain = re.sub(r"[^\w.-]+", "_", Path(name).name)[-80:].lstrip(".") or "weather"
        folder = Path(self._folder.name) / key
        folder.mkdir(exist_ok=True)
        path = folder / plain
        path.write_bytes(body)
        try:
            weather = read_weather(path, altitude=altitude)
        except BadInput:
            path.unlink()
            raise
        with self._lock:
            self._files.pop(key, None)
            self._files[key] = path
            for old in list(self._files)[:-MOST]:
                self._files.pop(old).unlink(missing_ok=True)
        return key, weather

    def read(self, key: str, altitude: float) -> Weather:
        """The weather that was chosen, for a site."""
        if key == EXAMPLE:
            return example_weather()
        with self._lock:
            path = self._files.get(key)
        if path is None:
            raise BadInput("weather: that file is not kept any more; choose it again")
        return read_weather(path, altitude=altitude)

    def close(self) -> None:
        """Take the files away."""
        self._folder.cleanup()
