"""What potatoes for each use are: the values of ``data/crop.csv`` with their sources."""

from __future__ import annotations

import csv
from dataclasses import dataclass, fields, replace
from functools import cache
from importlib.resources import files
from typing import Any

from ventcalc.errors import BadInput

__all__ = ["Crop", "crop_for", "crop_sources", "other_crop"]


@dataclass(frozen=True, kw_only=True)
class Crop:
    """
    Properties of the crop for one use; every value's source stands in ``data/crop.csv``.

    Units are those of the file: SI, °C, fractions. ``respiration_*`` per kg of crop [W/kg],
    ``transpiration_*`` per kg of crop [kg/(kg s Pa)], ``specific_heat`` per kg of crop.
    """

    use: str
    specific_heat: float
    """Per mass of crop. [J/(kg K)]"""
    water_fraction: float
    """Water per mass of crop. [kg/kg]"""
    freezing_temperature: float
    """[°C]"""
    injury_temperature: float
    """Frozen below it. [°C]"""
    latent_heat_of_freezing: float
    """Per mass of crop. [J/kg]"""
    tuber_density: float
    """Of one tuber. [kg/m³]"""
    tuber_conductivity: float
    """Of one tuber. [W/(m K)]"""
    bulk_density: float
    """Crop per volume of pile. [kg/m³]"""
    water_activity: float
    """Of the tuber surface. [1]"""
    transpiration_uncured: float
    """Water lost per mass of crop, freshly dug. [kg/(kg s Pa)]"""
    transpiration_cured: float
    """Water lost per mass of crop, skin set. [kg/(kg s Pa)]"""
    curing_time: float
    """To 1/e, at the temperature of ``curing_reference``. [s]"""
    curing_reference: float
    """[°C]"""
    curing_doubling: float
    """Warmer by this much, skin cures twice as fast. [K]"""
    respiration_settled: float
    """Heat per mass of crop, weeks after harvest. [W/kg]"""
    respiration_fresh: float
    """Heat per mass of crop, mature and just dug. [W/kg]"""
    respiration_immature: float
    """Heat per mass of crop, immature and just dug. [W/kg]"""
    respiration_fresh_at: float
    """Temperature of the fresh values. [°C]"""
    respiration_least_at: float
    """Temperature of least respiration. [°C]"""
    respiration_doubling: float
    """From the least to twice the least. [K]"""
    respiration_settling_time: float
    """To 1/e. [s]"""
    heat_per_co2: float
    """Heat of respiration per CO2 given off. [J/kg]"""
    holding_low: float
    """[°C]"""
    holding_high: float
    """[°C]"""
    holding_temperature: float
    """[°C]"""


def _rows() -> list[dict[str, str]]:
    path = files("ventcalc") / "data" / "crop.csv"
    return list(csv.DictReader(path.read_text(encoding="utf-8").splitlines()))


@cache
def crop_for(use: str) -> Crop:
    """Properties of potatoes kept for one use."""
    rows = _rows()
    uses = sorted({row["use"] for row in rows} - {"all"})
    if use not in uses:
        raise BadInput(f"use = {use!r}: unknown; write one of {', '.join(uses)}")
    values: dict[str, Any] = {
        row["name"]: float(row["value"]) for row in rows if row["use"] in ("all", use)
    }
    return Crop(use=use, **{f.name: values[f.name] for f in fields(Crop) if f.name != "use"})


def crop_sources(use: str) -> dict[str, tuple[float, str, str]]:
    """
    Where the values of a use come from.

    Parameters
    ----------
    use : str
        ``seed``, ``table``, ``fries`` or ``chips``.

    Returns
    -------
    dict
        Name to (value, unit, source).
    """
    return {
        row["name"]: (float(row["value"]), row["unit"], row["source"])
        for row in _rows()
        if row["use"] in ("all", use)
    }


def other_crop(crop: Crop, transpiration: float, respiration: float) -> Crop:
    """
    A crop that dries and breathes otherwise, whatever its age.

    Parameters
    ----------
    crop : Crop
        To begin with.
    transpiration : float
        Factor on its transpiration. [1]
    respiration : float
        Factor on its respiration. [1]

    Returns
    -------
    Crop
        Everything else as it was.
    """
    return replace(
        crop,
        transpiration_cured=crop.transpiration_cured * transpiration,
        transpiration_uncured=crop.transpiration_uncured * transpiration,
        respiration_settled=crop.respiration_settled * respiration,
        respiration_fresh=crop.respiration_fresh * respiration,
        respiration_immature=crop.respiration_immature * respiration,
    )
