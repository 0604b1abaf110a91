"""Ducts: friction against an open library, sizing and flow along laterals against print."""

from __future__ import annotations

import fluids
import numpy as np
import pytest

from ventcalc.equipment import duct
from ventcalc.equipment.lateral import Lateral, lateral_flow

FOOT = 0.3048
CFM = FOOT**3 / 60.0
AIR = {"density": 1.25, "viscosity": 1.77e-5}


@pytest.mark.parametrize("reynolds", [4000.0, 1e4, 1e5, 1e6, 1e8])
@pytest.mark.parametrize("rough", [0.0, 1e-5, 1e-3, 0.05])
def test_turbulent_friction_is_colebrook(reynolds, rough):
    """The open library fluids solves Colebrook (1939) exactly: agreement 1e-9."""
    expected = fluids.friction.Colebrook(reynolds, rough)
    assert duct.friction_factor(reynolds, rough) == pytest.approx(expected, rel=1e-9)


@pytest.mark.parametrize("reynolds", [1.0, 500.0, 1999.0])
def test_laminar_friction(reynolds):
    """64/Re, as in fluids; roughness does not matter."""
    expected = fluids.friction.friction_laminar(reynolds)
    assert duct.friction_factor(reynolds, 0.01) == pytest.approx(expected, rel=1e-12)


def test_friction_loss_of_a_pipe():
    """fluids one_phase_dP in a 0.5 m pipe at 5 m/s, 0.15 mm rough: agreement 1e-9."""
    section = duct.round_section(0.5)
    expected = fluids.one_phase_dP(
        m=5.0 * section.area * AIR["density"], rho=AIR["density"], mu=AIR["viscosity"],
        D=0.5, roughness=1.5e-4, L=10.0, Method="Colebrook",
    )  # fmt: skip
    got = 10.0 * duct.friction_gradient(5.0, section=section, roughness=1.5e-4, **AIR)
    assert got == pytest.approx(expected, rel=1e-9)


def test_slot_sizing_of_a_thousand_ton_bay():
    """
    R. Brook, Michigan State University, 2001: outlets 1000 ft/min, duct 85 % of the outlet
    velocity, plenum 85 % of the duct velocity. 20,000 cfm then needs 20.0 ft² of outlets by
    the definition of the units; 23.5 and 27.7 ft² follow by hand.
    """
    areas = duct.areas_for(20_000.0 * CFM)
    square_feet = np.array([areas.outlet, areas.duct, areas.plenum]) / FOOT**2
    assert square_feet == pytest.approx([20.0, 23.5, 27.7], abs=0.05)


def test_velocity_chain_of_the_rule():
    """The same source: 1000, 850 and 722 ft/min."""
    areas = duct.areas_for(10.0)
    chain = duct.velocity_chain(
        10.0, outlet_area=areas.outlet, duct_area=areas.duct, plenum_area=areas.plenum
    )
    per_minute = np.array([chain.outlet_velocity, chain.duct_velocity, chain.plenum_velocity])
    assert per_minute * 60.0 / FOOT == pytest.approx([1000.0, 850.0, 722.0], abs=0.6)
    assert duct.remarks(chain) == ()


def test_momentum_pushes_air_to_the_end_and_friction_holds_it_back():
    """
    H.-T. Chou, R.-Y. Cheng, Proc. Natl. Sci. Counc. ROC(A) 25 (2001) 94-101, abstract: without
    wall friction the port discharge increases downstream, and more unevenly as the momentum
    parameter grows; without the momentum term it decreases downstream.
    """
    slippery = duct.Section(area=0.2, hydraulic_diameter=1e9)
    few, many = (
        lateral_flow(
            Lateral(length=15.0, section=slippery, ports=30, port_area=a, roughness=0.0),
            plenum_pressure=250.0,
            **AIR,
        )
        for a in (0.003, 0.006)
    )
    assert (np.diff(few.port_airflow) > 0.0).all()
    assert many.uniformity < few.uniformity < 1.0
    rough = Lateral(
        length=60.0, section=duct.round_section(0.4), ports=30, port_area=0.003, roughness=0.004,
        regain=0.0,
    )  # fmt: skip
    assert (np.diff(lateral_flow(rough, plenum_pressure=250.0, **AIR).port_airflow) < 0.0).all()
