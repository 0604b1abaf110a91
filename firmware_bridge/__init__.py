"""Carry ventilation advice to existing controllers over MQTT, and keep it harmless."""

from __future__ import annotations

__all__: list[str] = []
