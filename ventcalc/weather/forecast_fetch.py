"""A forecast asked for from a public weather service: only when told to, kept, never too often."""

from __future__ import annotations

import json
import os
import time
from datetime import UTC, datetime
from http.client import HTTPException
from pathlib import Path
from typing import NamedTuple
from urllib.parse import urlsplit
from urllib.request import Request, urlopen

from ventcalc.compiled.kept import user_cache
from ventcalc.errors import BadInput, check_range
from ventcalc.weather.forecast_services import SERVICES

__all__ = ["Fetched", "fetch_forecast"]

TIMEOUT = 15.0
"""For each answer. [s]"""
AGENT = "ventcalc (open-source library on potato storage)"
FRESH = 3600.0
"""A forecast kept that long is not asked for again. [s]"""
MOST = 20_000_000
"""Longest answer that is taken, bytes."""


class Fetched(NamedTuple):
    """The JSON of a service, and what was done to get it."""

    text: str
    note: str


def fetch_forecast(
    service: str,
    latitude: float,
    longitude: float,
    *,
    timeout: float = TIMEOUT,
    agent: str = AGENT,
) -> Fetched:
    """Ask a public weather service for a forecast, or take the one that is kept."""
    if service not in SERVICES:
        raise BadInput(f"--fetch {service!r}: known are {', '.join(SERVICES)}")
    check_range("latitude", latitude, -90, 90, "deg", "write latitude first, then longitude")
    check_range("longitude", longitude, -180, 180, "deg")
    kept = user_cache() / "ventcalc" / f"forecast-{service}-{latitude:.2f}-{longitude:.2f}.json"
    name, age = SERVICES[service].name, _age(kept)
    if age < FRESH:
        return Fetched(kept.read_text("utf-8"), f"forecast: of {name}, kept since {_since(age)}")
    try:
        text = _asked(service, latitude, longitude, timeout, agent)
    except BadInput:
        raise
    except (OSError, HTTPException, ValueError) as error:  # URLError is an OSError
        if age == float("inf"):
            raise BadInput(
                f"{name}: no answer ({error}); try later, or give a saved file with --forecast"
            ) from None
        return Fetched(
            kept.read_text("utf-8"),
            f"forecast: {name} does not answer ({error}); the one kept since {_since(age)} is used",
        )
    _keep(kept, text)
    return Fetched(text, f"forecast: fetched from {name}")


def _age(kept: Path) -> float:
    """How long it has been kept; infinite where there is none. [s]"""
    try:
        return max(time.time() - kept.stat().st_mtime, 0.0)
    except OSError:
        return float("inf")


def _since(age: float) -> str:
    return f"{datetime.fromtimestamp(time.time() - age, UTC):%Y-%m-%d %H:%M} UTC"


def _asked(service: str, latitude: float, longitude: float, timeout: float, agent: str) -> str:
    url = SERVICES[service].url.format(lat=latitude, lon=longitude)
    text = _get(url, timeout, agent)
    if service != "weather-gov":
        return text
    try:
        grid = str(json.loads(text)["properties"]["forecastGridData"])
    except (KeyError, TypeError):
        grid = ""
    if urlsplit(grid)[:2] != urlsplit(url)[:2]:
        raise BadInput(f"{SERVICES[service].name}: has no forecast for this place")
    return _get(grid, timeout, agent)


def _get(url: str, timeout: float, agent: str) -> str:
    words = {"User-Agent": agent, "Accept": "application/json, application/geo+json"}
    with urlopen(Request(url, headers=words), timeout=timeout) as answer:
        data = answer.read(MOST + 1)
    if len(data) > MOST:
        raise ValueError("an answer of more than 20 MB")
    text: str = data.decode("utf-8")
    json.loads(text)
    return text


def _keep(kept: Path, text: str) -> None:
    """Whole or not at all; a folder that cannot be written keeps nothing."""
    try:
        kept.parent.mkdir(mode=0o700, parents=True, exist_ok=True)
        fresh = kept.with_suffix(f".{os.getpid()}")
        fresh.write_text(text, "utf-8")
        os.replace(fresh, kept)
    except OSError:
        return
