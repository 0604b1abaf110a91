"""Carry ventilation advice to existing controllers over MQTT, and keep it harmless."""

from __future__ import annotations

from ventcalc import __version__

__all__ = ["__version__"]
