"""Plenum, laterals, ports and doors of a sizing as records."""

from __future__ import annotations

import math
from collections.abc import Mapping
from functools import partial

from ventcalc.bay.description import Bay
from ventcalc.check.crop_state import CropState
from ventcalc.equipment import duct
from ventcalc.pile.crop import CO2_OUTSIDE
from ventcalc.sizing import air as sizing_air
from ventcalc.sizing.air import AirDesign
from ventcalc.sizing.record import PRACTICE, Size, given, size

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
    row, had = partial(size, "plenum"), bay.ducts
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
            f"streams of air along it ({words[design.plenum_feeds]})",
            design.plenum_feeds,
            "1",
            "fewest for which it is no wider than a hall would be",
            given(("widest", sizing_air.WIDEST_PLENUM, "m")),
            PRACTICE,
            present=had.plenum_feeds if had else None,
        ),
        row(
            "plenum_width",
            "width of the plenum",
            design.plenum_width,
            "m",
            "area of the laterals over 85 % and over the height, up to the next nominal size",
            given(("area needed", design.plenum_area_needed, "m2")),
            BROOK,
            margin=design.plenum_width - design.plenum_area_needed / design.plenum_height,
            present=had.plenum_width if had else None,
        ),
        row(
            "plenum_height",
            "height of the plenum",
            design.plenum_height,
            "m",
            "as high as one can walk in, a small one square",
            given(("walking height", sizing_air.PLENUM_HEIGHTS[0], "m")),
            PRACTICE,
            present=had.plenum_height if had else None,
        ),
        row(
            "plenum_velocity",
            "velocity in the plenum where all the air passes",
            design.airflow / area,
            "m/s",
            "airflow over its area; at most 85 % of that in the laterals",
            given(("limit", limit, "m/s")),
            BROOK,
            margin=limit - design.airflow / area,
            present=bay.fans.airflow / (had.plenum_feeds * had.plenum_width * had.plenum_height)
            if had
            else None,
        ),
        row(
            "plenum_uniformity",
            "evenness from lateral to lateral",
            design.plenum_uniformity,
            "1 percent",
            "1 less mean deviation over mean of the laterals' airflow (Christiansen), marched "
            "along the plenum with friction and regain",
            given(
                ("lateral that gets least, over the mean", design.plenum_least_share, "1 percent"),
                ("least wanted", LEAST_UNIFORMITY, "1 percent"),
            ),
            "Christiansen 1942; least: " + PRACTICE,
        ),
    )


def _lateral_rows(bay: Bay, design: AirDesign) -> tuple[Size, ...]:
    row, had = partial(size, "laterals"), bay.ducts
    limit = design.airflow / design.outlet_area * duct.DUCT_SHARE
    velocity = design.airflow / design.duct_area
    return (
        row(
            "laterals_count",
            "number of laterals",
            design.laterals,
            "1",
            f"{design.plenum_along} of the pile over the widest spacing, rounded up",
            given(("widest spacing", sizing_air.LATERAL_SPACING, "m")),
            "8-10 ft (from memory)",
            present=had.laterals if had else None,
        ),
        row(
            "lateral_spacing",
            "spacing of the laterals",
            design.lateral_spacing,
            "m",
            f"{design.plenum_along} of the pile over their number",
            given(("widest spacing", sizing_air.LATERAL_SPACING, "m")),
            "8-10 ft (from memory)",
            margin=sizing_air.LATERAL_SPACING - design.lateral_spacing,
        ),
        row(
            "lateral_length",
            "length of a lateral",
            design.lateral_length,
            "m",
            "across the pile from the plenum",
            (),
            "geometry",
            present=had.lateral_length if had else None,
        ),
        row(
            "lateral_diameter",
            f"diameter of a lateral ({design.lateral_shape.replace('_', ' ')})",
            design.lateral_diameter,
            "m small",
            "for 85 % of the ports' velocity at the plenum, next nominal size up",
            given(
                ("needed", design.lateral_diameter_needed, "m small"),
                ("sizes come in steps of", design.lateral_step, "m small"),
            ),
            BROOK + "; steps: " + PRACTICE,
            margin=design.lateral_diameter - design.lateral_diameter_needed,
            present=had.lateral_diameter if had else None,
        ),
        row(
            "lateral_crop",
            "crop whose room the laterals take",
            design.lateral_volume * bay.pile.bulk_density,
            "kg",
            "number, section and length times bulk density; not taken off the full pile",
            given(("of a full pile", design.lateral_volume / bay.pile.volume, "1 percent")),
            "geometry",
        ),
        row(
            "lateral_velocity",
            "velocity at the head of the laterals",
            velocity,
            "m/s",
            "airflow over the area of all laterals; at most 85 % of that in the ports",
            given(("limit", limit, "m/s"), ("area of all laterals", design.duct_area, "m2")),
            BROOK,
            margin=limit - velocity,
        ),
    )


def _port_rows(bay: Bay, design: AirDesign) -> tuple[Size, ...]:
    row, had = partial(size, "ports"), bay.ducts
    area = given(("area of all ports", design.outlet_area, "m2"))
    return (
        row(
            "outlet_area",
            "area of all ports",
            design.outlet_area,
            "m2",
            "airflow over 1000 ft/min, and a little to spare",
            given(
                ("outlet velocity", duct.OUTLET_VELOCITY, "m/s"),
                ("to spare", sizing_air.OUTLET_SPARE, "1 percent"),
            ),
            BROOK + "; to spare: " + PRACTICE,
            margin=design.outlet_area - design.outlet_area_needed,
            present=had.laterals * had.ports * had.port_area if had else None,
        ),
        row(
            "ports_per_lateral",
            "places with ports along a lateral",
            design.ports,
            "1",
            "length of a lateral over the spacing of ports",
            given(("spacing", sizing_air.PORT_SPACING, "m")),
            PRACTICE,
            present=had.ports if had else None,
        ),
        row(
            "port_diameter",
            "hole diameter, two holes at each place",
            2.0 * math.sqrt(design.port_area / 2.0 / math.pi),
            "m small",
            "area of all ports over laterals, places and two holes",
            area,
            BROOK,
            present=2.0 * math.sqrt(had.port_area / 2.0 / math.pi) if had else None,
        ),
        row(
            "slot_width",
            "or width of one slot along the whole lateral",
            design.outlet_area / (design.laterals * design.lateral_length),
            "m small",
            "area of all ports over the length of all laterals",
            area,
            BROOK,
        ),
        row(
            "port_uniformity",
            "evenness of the ports along a lateral",
            design.uniformity,
            "1 percent",
            "1 less mean deviation over mean of the ports' airflow (Christiansen), marched from "
            "the dead end with friction and regain",
            given(("least wanted", LEAST_UNIFORMITY, "1 percent")),
            "Christiansen 1942; least: " + PRACTICE,
            margin=design.uniformity - LEAST_UNIFORMITY,
        ),
    )


def _door_rows(bay: Bay, design: AirDesign, crops: Mapping[str, CropState]) -> tuple[Size, ...]:
    row = partial(size, "doors")
    fresh = max(crop.fresh_airflow for crop in crops.values())
    speed = given(("velocity", sizing_air.DOOR_VELOCITY, "m/s"))
    return (
        row(
            "fresh_air_door_area",
            "fresh-air doors, open area",
            design.door_area,
            "m2",
            "airflow over door velocity, so that all the air can be fresh",
            speed,
            "1000-1400 ft/min (from memory)",
        ),
        row(
            "exhaust_area",
            "exhaust, open area",
            design.door_area,
            "m2",
            "as much as the fresh-air doors, or the bay stands under pressure",
            speed,
            "1000-1400 ft/min (from memory)",
        ),
        row(
            "fresh_airflow",
            "fresh air that keeps CO2 at its limit, greatest stage",
            fresh,
            "m3/s",
            "CO2 of respiration over (limit less outside), as a steady flow",
            given(
                ("limit", bay.limits.co2, "1 ppm"),
                ("outside", CO2_OUTSIDE, "1 ppm"),
                ("heat of respiration", crops["filling"].respiration_heat, "W/kg"),
            ),
            "glucose oxidation, 10.7 kJ per g of CO2",
            margin=design.airflow - fresh,
        ),
    )
