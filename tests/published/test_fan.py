"""Fans: against a textbook problem, the fan laws as printed, and scipy's interpolation."""

from __future__ import annotations

import numpy as np
import pytest
import scipy

from ventcalc.equipment.fan import FanCurve, operating_point, system_through

AIRFLOW = (0.0, 3.0, 4.0, 8.0, 10.0, 12.0, 14.0)
PRESSURE = (500.0, 490.0, 480.0, 400.0, 310.0, 190.0, 0.0)
POWER = (3000.0, 3900.0, 4000.0, 5000.0, 5200.0, 5000.0, 4000.0)
DIP = (500.0, 420.0, 380.0, 400.0, 310.0, 190.0, 0.0)


def test_warmer_air_takes_less_power():
    """
    W. F. Stoecker, J. W. Jones, Refrigeration and Air Conditioning, chapter on fans and ducts.

    20 r/s, 2.4 m³/s, 340 Pa and 1.8 kW in air of 20 °C; at 40 °C and the same speed the book's
    answer is 1.685 kW. Density goes as the inverse absolute temperature. (Airflow and pressure
    of the answer are not printed where this was read; the fan laws leave them no choice.)
    """
    fan = FanCurve(
        airflow=(0.0, 2.4, 3.0), static_pressure=(500.0, 340.0, 0.0), shaft_power=(1800.0,) * 3,
        density=1.204, reference_speed=20.0,
    )  # fmt: skip
    warm = 1.204 * 293.15 / 313.15
    point = operating_point(fan, system_through(2.4, 340.0 * warm / 1.204), density=warm)
    assert point.shaft_power == pytest.approx(1685.0, abs=0.5)
    assert point.airflow == pytest.approx(2.4, rel=1e-9)


def test_speed_laws():
    """Airflow as speed, pressure as its square, power as its cube: +10 % flow, +33 % power."""
    fan = FanCurve(airflow=AIRFLOW, static_pressure=PRESSURE, shaft_power=POWER)
    base = operating_point(fan, system_through(10.0, 310.0))
    fast = operating_point(fan, system_through(10.0, 310.0), fan_speed=1.1)
    assert fast.airflow / base.airflow == pytest.approx(1.10, rel=1e-9)
    assert fast.static_pressure / base.static_pressure == pytest.approx(1.21, rel=1e-9)
    assert fast.shaft_power / base.shaft_power == pytest.approx(1.331, rel=1e-9)


@pytest.mark.parametrize("pressure", [PRESSURE, DIP])
def test_interpolation_is_that_of_scipy(pressure):
    """scipy PchipInterpolator (Fritsch and Butland 1984): agreement to round-off."""
    fan = FanCurve(airflow=AIRFLOW, static_pressure=pressure, accept_stall=True)
    at = np.linspace(0.0, 14.0, 1401)
    expected = scipy.interpolate.PchipInterpolator(AIRFLOW, pressure)(at)
    assert fan.pressure_at(at) == pytest.approx(expected, abs=1e-9)
