"""Ducts: cross-sections, friction, and the chain of velocities from plenum to port."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

import numpy as np

from ventcalc.errors import check_range

__all__ = [
    "DUCT_SHARE",
    "OUTLET_VELOCITY",
    "PLENUM_SHARE",
    "Areas",
    "Section",
    "VelocityChain",
    "areas_for",
    "friction_gradient",
    "half_round_section",
    "rectangular_section",
    "remarks",
    "round_section",
    "velocity_chain",
]

OUTLET_VELOCITY = 5.08
"""Design velocity in ports or slots, 1000 ft/min: R. Brook, Michigan State Univ., 2001. [m/s]"""
DUCT_SHARE = 0.85
"""Duct velocity over outlet velocity, same source. [1]"""
PLENUM_SHARE = 0.85
"""Greatest plenum velocity over duct velocity, same source. [1]"""
TOLERANCE = 1.0 + 1e-9


@dataclass(frozen=True, kw_only=True, slots=True, eq=False)
class Section:
    """Cross-section of a duct."""

    area: Any
    """[m²]"""
    hydraulic_diameter: Any
    """Four times area over perimeter. [m]"""


def round_section(diameter: Any) -> Section:
    """
    Round pipe.

    Parameters
    ----------
    diameter : array-like
        Inside, 0.02-5. [m]

    Returns
    -------
    Section
        The cross-section.

    Raises
    ------
    OutOfRange
        If the diameter is out of range.
    """
    check_range("diameter", diameter, 0.02, 5.0, "m", "inches or millimetres?")
    return Section(area=math.pi / 4.0 * diameter * diameter, hydraulic_diameter=diameter)


def half_round_section(diameter: Any) -> Section:
    """
    Half-round pipe standing on the floor, which closes it.

    Parameters
    ----------
    diameter : array-like
        Inside width at the floor, 0.02-5. [m]

    Returns
    -------
    Section
        The cross-section; its perimeter takes in the floor.

    Raises
    ------
    OutOfRange
        If the diameter is out of range.
    """
    check_range("diameter", diameter, 0.02, 5.0, "m", "inches or millimetres?")
    return Section(
        area=math.pi / 8.0 * diameter * diameter,
        hydraulic_diameter=math.pi / (math.pi + 2.0) * diameter,
    )


def rectangular_section(width: Any, height: Any) -> Section:
    """
    Rectangular duct or plenum.

    Parameters
    ----------
    width, height : array-like
        Inside, 0.02-30. [m]

    Returns
    -------
    Section
        The cross-section.

    Raises
    ------
    OutOfRange
        If a side is out of range.
    """
    check_range("width", width, 0.02, 30.0, "m", "inches or millimetres?")
    check_range("height", height, 0.02, 30.0, "m", "inches or millimetres?")
    area = width * height
    return Section(area=area, hydraulic_diameter=2.0 * area / (width + height))


def friction_factor(reynolds: Any, relative_roughness: Any) -> Any:
    """
    Darcy friction factor: 64/Re below Re 2000, Colebrook above 4000. [1]

    Colebrook (J. Inst. Civ. Eng. 11, 1939) by two Newton steps from Haaland's explicit formula
    (J. Fluids Eng. 105, 1983), 1e-9 of the exact root. Between 2000 and 4000 no correlation
    holds; a straight line keeps the factor continuous.
    """
    laminar = 64.0 / np.minimum(reynolds, 2000.0)
    re = np.maximum(reynolds, 4000.0)
    rough = relative_roughness / 3.7
    bel = 2.0 / math.log(10.0)
    x = -0.9 * bel * np.log(rough**1.11 + 6.9 / re)
    for _ in range(2):
        inner = rough + 2.51 * x / re
        x = x - (x + bel * np.log(inner)) / (1.0 + bel * 2.51 / re / inner)
    share = np.clip(reynolds / 2000.0 - 1.0, 0.0, 1.0)
    return laminar + share * (1.0 / (x * x) - laminar)


def friction_gradient(
    velocity: Any, *, section: Section, roughness: Any, density: Any, viscosity: Any
) -> Any:
    """
    Pressure lost to friction per length of duct.

    Parameters
    ----------
    velocity : array-like
        Mean velocity, either way. [m/s]
    section : Section
        Cross-section.
    roughness : array-like
        Of the wall; of corrugated pipe an equivalent one, from the maker. [m]
    density : array-like
        Of the air. [kg/m³]
    viscosity : array-like
        Dynamic, of the air. [Pa s]

    Returns
    -------
    array
        With the sign of the velocity. [Pa/m]

    Notes
    -----
    Nothing is checked here: it is asked for at every port of a duct.
    """
    size = section.hydraulic_diameter
    speed = abs(velocity)
    reynolds = density * speed * size / viscosity
    # At rest the factor is infinite and the loss zero: 1e-9 keeps their product zero.
    factor = friction_factor(np.maximum(reynolds, 1e-9), roughness / size)
    return factor / size * 0.5 * density * speed * velocity


@dataclass(frozen=True, kw_only=True, slots=True, eq=False)
class Areas:
    """Cross-sections by the rule of velocities, all parallel ones together."""

    outlet: Any
    """Ports or slots. [m²]"""
    duct: Any
    """Laterals at the plenum. [m²]"""
    plenum: Any
    """[m²]"""


def areas_for(airflow: Any, *, outlet_velocity: Any = OUTLET_VELOCITY) -> Areas:
    """
    Sizes of ports, ducts and plenum for an airflow.

    Parameters
    ----------
    airflow : array-like
        Through all of them. [m³/s]
    outlet_velocity : array-like
        Through the ports, 1-15. [m/s]

    Returns
    -------
    Areas
        In the ratio 1 : 1.176 : 1.384.

    Raises
    ------
    OutOfRange
        If airflow or velocity is out of range.

    References
    ----------
    .. [1] R. Brook, Michigan State University, New York Vegetable Conference, 13 Feb 2001.
    """
    check_range("airflow", airflow, 0.0, 1e4, "m3/s", "cfm?")
    check_range("outlet_velocity", outlet_velocity, 1.0, 15.0, "m/s", "ft/min?")
    outlet = airflow / outlet_velocity
    duct = outlet / DUCT_SHARE
    return Areas(outlet=outlet, duct=duct, plenum=duct / PLENUM_SHARE)


@dataclass(frozen=True, kw_only=True, slots=True, eq=False)
class VelocityChain:
    """Velocities from plenum to port against the published rule."""

    outlet_velocity: Any
    """[m/s]"""
    duct_velocity: Any
    """At the head of the laterals. [m/s]"""
    plenum_velocity: Any
    """[m/s]"""
    area_ratio: Any
    """Ports over ducts; 0.85 by the rule, above 1 the dead end gets most of the air. [1]"""
    outlet_fast: Any
    """Whether the outlet is above 1000 ft/min: pressure for nothing."""
    outlet_slow: Any
    """Whether the outlet is below half of it: ports no longer share the air out."""
    duct_fast: Any
    """Whether the duct is above 85 % of the outlet velocity."""
    plenum_fast: Any
    """Whether the plenum is above 85 % of the duct velocity."""


def velocity_chain(
    airflow: Any, *, outlet_area: Any, duct_area: Any, plenum_area: Any
) -> VelocityChain:
    """
    Check the chain of velocities of an air system.

    Parameters
    ----------
    airflow : array-like
        Through all of it. [m³/s]
    outlet_area : array-like
        All open ports or slots together. [m²]
    duct_area : array-like
        All laterals together. [m²]
    plenum_area : array-like
        Cross-section of the plenum where all the air passes. [m²]

    Returns
    -------
    VelocityChain
        Velocities and which rule each breaks (that a slow outlet is half of the rule is common
        practice, no source).

    Raises
    ------
    OutOfRange
        If airflow or an area is out of range.

    References
    ----------
    .. [1] R. Brook, Michigan State University, New York Vegetable Conference, 13 Feb 2001.
    """
    check_range("airflow", airflow, 0.0, 1e4, "m3/s", "cfm?")
    for name, area in (
        ("outlet_area", outlet_area), ("duct_area", duct_area), ("plenum_area", plenum_area)
    ):  # fmt: skip
        check_range(name, area, 1e-4, 1e4, "m2", "all of them together, ports that are open")
    outlet, duct, plenum = airflow / outlet_area, airflow / duct_area, airflow / plenum_area
    return VelocityChain(
        outlet_velocity=outlet,
        duct_velocity=duct,
        plenum_velocity=plenum,
        area_ratio=outlet_area / duct_area,
        outlet_fast=outlet > OUTLET_VELOCITY * TOLERANCE,
        outlet_slow=outlet < 0.5 * OUTLET_VELOCITY,
        duct_fast=duct > DUCT_SHARE * outlet * TOLERANCE,
        plenum_fast=plenum > PLENUM_SHARE * duct * TOLERANCE,
    )


def remarks(chain: VelocityChain) -> tuple[str, ...]:
    """
    Which rules a chain of velocities breaks, one plain line each; empty if none.

    Parameters
    ----------
    chain : VelocityChain
        One case or many.

    Returns
    -------
    tuple of str
        With the worst figure of all cases.
    """
    ratio = np.max(chain.area_ratio)
    outlet = np.asarray(chain.outlet_velocity)
    lines = (
        (chain.outlet_fast, f"ports are fast, {outlet.max():.1f} m/s: rule {OUTLET_VELOCITY} m/s"),
        (chain.outlet_slow, f"ports are slow, {outlet.min():.1f} m/s: close or shrink ports"),
        (
            chain.duct_fast,
            f"ports are {ratio:.2f} of the duct area: rule {DUCT_SHARE}; use fewer or smaller "
            "ports or larger ducts",
        ),
        (np.asarray(ratio > 1.0), "ports exceed the ducts: the dead end takes most of the air"),
        (
            chain.plenum_fast,
            "plenum is fast for its ducts: widen it, or laterals will draw unevenly",
        ),
    )
    return tuple(line for flag, line in lines if np.any(flag))
