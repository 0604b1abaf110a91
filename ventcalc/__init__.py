"""Psychrometrics-based advice on the ventilation and climate of bulk potato storages."""

from __future__ import annotations

__version__ = "0.1.0"
