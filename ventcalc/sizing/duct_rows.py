"""Plenum, laterals, ports and doors of a sizing as records."""

from __future__ import annotations

import math
from collections.abc import Mapping

from ventcalc.bay.description import Bay
from ventcalc.check.crop_state import CropState
from ventcalc.equipment import duct
from ventcalc.pile.crop import CO2_OUTSIDE
from ventcalc.sizing import air as sizing_air
from ventcalc.sizing.air import AirDesign
from ventcalc.sizing.record import Size, row

__all__ = ["duct_rows"]

BROOK = "R. Brook, Michigan State Univ., New York Vegetable Conference, 13 Feb 2001"
LEAST_UNIFORMITY = 0.9
"""Of ports along a lateral (common practice, no source). [1]"""


def duct_rows(bay: Bay, design: AirDesign, crops: Mapping[str, CropState]) -> tuple[Size, ...]:
    """Plenum, laterals, ports and doors."""
    return (
        *_plenum_rows(bay, design),
        *_lateral_rows(bay, design),
        *_port_rows(bay, design),
        *_door_rows(bay, design, crops),
    )


def _plenum_rows(bay: Bay, design: AirDesign) -> tuple[Size, ...]:
    had = bay.ducts
    area = design.plenum_width * design.plenum_height * design.plenum_feeds
    limit = design.airflow / design.duct_area * duct.PLENUM_SHARE
    words = {
        1: "fed at one end",
        2: "fed at its middle",
        4: "divided in two, each half fed at its middle",
    }
    return (
        row(
            "plenum_feeds",
            design.plenum_feeds,
            ("widest", sizing_air.WIDEST_PLENUM, "m"),
            present=had.plenum_feeds if had else None,
            fed=words[design.plenum_feeds],
        ),
        row(
            "plenum_width",
            design.plenum_width,
            ("area needed", design.plenum_area_needed, "m2"),
            margin=design.plenum_width - design.plenum_area_needed / design.plenum_height,
            present=had.plenum_width if had else None,
        ),
        row(
            "plenum_height",
            design.plenum_height,
            ("walking height", sizing_air.PLENUM_HEIGHTS[0], "m"),
            present=had.plenum_height if had else None,
        ),
        row(
            "plenum_velocity",
            design.airflow / area,
            ("limit", limit, "m/s"),
            margin=limit - design.airflow / area,
            present=bay.fans.airflow / (had.plenum_feeds * had.plenum_width * had.plenum_height)
            if had
            else None,
        ),
        row(
            "plenum_uniformity",
            design.plenum_uniformity,
            ("lateral that gets least, over the mean", design.plenum_least_share, "1 percent"),
            ("least wanted", LEAST_UNIFORMITY, "1 percent"),
        ),
    )


def _lateral_rows(bay: Bay, design: AirDesign) -> tuple[Size, ...]:
    had = bay.ducts
    limit = design.airflow / design.outlet_area * duct.DUCT_SHARE
    velocity = design.airflow / design.duct_area
    return (
        row(
            "laterals_count",
            design.laterals,
            ("widest spacing", sizing_air.LATERAL_SPACING, "m"),
            present=had.laterals if had else None,
            side=design.plenum_along,
        ),
        row(
            "lateral_spacing",
            design.lateral_spacing,
            ("widest spacing", sizing_air.LATERAL_SPACING, "m"),
            margin=sizing_air.LATERAL_SPACING - design.lateral_spacing,
            side=design.plenum_along,
        ),
        row("lateral_length", design.lateral_length, present=had.lateral_length if had else None),
        row(
            "lateral_diameter",
            design.lateral_diameter,
            ("needed", design.lateral_diameter_needed, "m small"),
            ("sizes come in steps of", design.lateral_step, "m small"),
            margin=design.lateral_diameter - design.lateral_diameter_needed,
            present=had.lateral_diameter if had else None,
            shape=design.lateral_shape.replace("_", " "),
        ),
        row(
            "lateral_crop",
            design.lateral_volume * bay.pile.bulk_density,
            ("of a full pile", design.lateral_volume / bay.pile.volume, "1 percent"),
        ),
        row(
            "lateral_velocity",
            velocity,
            ("limit", limit, "m/s"),
            ("area of all laterals", design.duct_area, "m2"),
            margin=limit - velocity,
        ),
    )


def _port_rows(bay: Bay, design: AirDesign) -> tuple[Size, ...]:
    had = bay.ducts
    area = (("area of all ports", design.outlet_area, "m2"),)
    return (
        row(
            "outlet_area",
            design.outlet_area,
            ("outlet velocity", duct.OUTLET_VELOCITY, "m/s"),
            ("to spare", sizing_air.OUTLET_SPARE, "1 percent"),
            margin=design.outlet_area - design.outlet_area_needed,
            present=had.laterals * had.ports * had.port_area if had else None,
        ),
        row(
            "ports_per_lateral",
            design.ports,
            ("spacing", sizing_air.PORT_SPACING, "m"),
            present=had.ports if had else None,
        ),
        row(
            "port_diameter",
            2.0 * math.sqrt(design.port_area / 2.0 / math.pi),
            *area,
            present=2.0 * math.sqrt(had.port_area / 2.0 / math.pi) if had else None,
        ),
        row("slot_width", design.outlet_area / (design.laterals * design.lateral_length), *area),
        row(
            "port_uniformity",
            design.uniformity,
            ("least wanted", LEAST_UNIFORMITY, "1 percent"),
            margin=design.uniformity - LEAST_UNIFORMITY,
        ),
    )


def _door_rows(bay: Bay, design: AirDesign, crops: Mapping[str, CropState]) -> tuple[Size, ...]:
    fresh = max(crop.fresh_airflow for crop in crops.values())
    speed = (("velocity", sizing_air.DOOR_VELOCITY, "m/s"),)
    return (
        row("fresh_air_door_area", design.door_area, *speed),
        row("exhaust_area", design.door_area, *speed),
        row(
            "fresh_airflow",
            fresh,
            ("limit", bay.limits.co2, "1 ppm"),
            ("outside", CO2_OUTSIDE, "1 ppm"),
            ("heat of respiration", crops["filling"].respiration_heat, "W/kg"),
            margin=design.airflow - fresh,
        ),
    )
