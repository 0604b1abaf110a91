"""What a checked bay does against published figures for bulk stores."""

from __future__ import annotations

import pytest

from ventcalc.bay.file import example_bay
from ventcalc.check.check import check_pile

CFM_PER_TON = 0.3048**3 / 60 / (2000 * 0.45359237)


@pytest.mark.parametrize("name", ["seed_bay", "fry_bay"])
def test_rise_through_the_pile(name):
    """Bethke, The Potato, ch. 15: a difference of 0.6 to 0.8 K from bottom to top works well."""
    result = check_pile(example_bay(name))
    assert 0.6 <= result.check("rise_healing").value <= 0.8


@pytest.mark.parametrize("name", ["seed_bay", "fry_bay"])
def test_airflow_is_that_of_the_extension_service(name):
    """Univ. of Nebraska CropWatch: 10-30 cfm per ton while healing."""
    value = check_pile(example_bay(name)).check("airflow").value
    assert 10.0 <= value / CFM_PER_TON <= 30.0


def test_velocities_keep_the_rule_from_port_to_plenum():
    """R. Brook, Michigan State Univ., 2001: 1000, 850 and 722 ft/min at most."""
    chain = check_pile(example_bay()).system.chain
    for velocity, most in zip(
        (chain.outlet_velocity, chain.duct_velocity, chain.plenum_velocity),
        (1000.0, 850.0, 722.5),
        strict=True,
    ):
        assert velocity * 60.0 / 0.3048 <= most


def test_flats_of_the_two_depths_tried():
    """Czerko, IHAR: largest flats of 328 and 413 mm² in simulated piles of 2.5 and 5 m."""
    for height, area in ((2.5, 328e-6), (5.0, 413e-6)):
        check = check_pile(example_bay(), height).check("bruise")
        assert check.asides[0].value == pytest.approx(area, rel=1e-9)
