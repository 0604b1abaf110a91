"""Several laterals on one plenum: the pressure they share, and what blocking some does."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np

from ventcalc.equipment._arrays import plain
from ventcalc.equipment.duct import Section
from ventcalc.equipment.lateral import Lateral, LateralFlow, lateral_flow, least_share, uniformity
from ventcalc.errors import BadInput, VentcalcError, check_range

__all__ = ["SharedPlenum", "along_plenum", "shared_plenum"]

STEPS = 80


@dataclass(frozen=True, kw_only=True, slots=True, eq=False)
class SharedPlenum:
    """Equal laterals on one plenum, some of them shortened or blocked; laterals last."""

    plenum_pressure: Any
    """[Pa]"""
    laterals: LateralFlow
    """Cases first, laterals last."""
    uniformity: Any
    """Between all open ports of all laterals (Christiansen). [1]"""
    least_share: Any
    """Least over mean of all open ports. [1]"""


def shared_plenum(
    lateral: Lateral,
    *,
    airflow: Any,
    open_ports: Any,
    density: float,
    viscosity: float,
    outlet_pressure: float = 0.0,
) -> SharedPlenum:
    """
    Pressure in a plenum that feeds several laterals, and what each of them and each port gets.
    """
    check_range("airflow", airflow, 0.0, 1e4, "m3/s", "cfm?")
    mask = np.asarray(open_ports, float)
    if mask.ndim != 2 or mask.shape[0] != lateral.ports:
        raise BadInput(f"open_ports must have {lateral.ports} rows and a column for each lateral")
    if not mask.any():
        raise BadInput("open_ports: every port of every lateral is closed; the fan has no way out")
    wanted = np.asarray(airflow, float)
    pressure = np.full(wanted.shape, 100.0)
    for _ in range(STEPS):
        flow = lateral_flow(
            lateral, plenum_pressure=outlet_pressure + pressure[..., None], density=density,
            viscosity=viscosity, outlet_pressure=outlet_pressure, open_ports=mask,
        )  # fmt: skip
        total = flow.airflow.sum(axis=-1)
        ratio = np.where(total == 0.0, 1.0, wanted / np.where(total == 0.0, 1.0, total))
        # Pressure goes almost as the square of the airflow.
        pressure = pressure * ratio**2
        if not np.any(np.abs(ratio - 1.0) > 1e-9):
            break
    else:
        raise VentcalcError("plenum: no pressure found for this airflow; check port areas")
    ports = np.moveaxis(flow.port_airflow, -1, 0).reshape((-1, *wanted.shape))
    used = (mask.T > 0.0).reshape((-1,) + (1,) * wanted.ndim)
    return SharedPlenum(
        plenum_pressure=plain(outlet_pressure + pressure),
        laterals=flow,
        uniformity=uniformity(ports, used=used),
        least_share=least_share(ports, used=used),
    )


def along_plenum(
    section: Section,
    *,
    length: float,
    laterals: int,
    airflow: float,
    lateral_pressure: float,
    roughness: float,
    density: float,
    viscosity: float,
) -> tuple[float, float]:
    """
    How even equal laterals draw along a plenum that is fed from one end. [1]

    The plenum is a lateral whose ports are the laterals, with a regain of one: pressure rises to
    the dead end as the air slows down, and falls by friction.
    """
    opening = airflow / np.sqrt(2.0 * lateral_pressure / density)
    if not opening * laterals <= section.area:
        return float("nan"), float("nan")
    whole = Lateral(
        length=max(length, 0.5),
        section=section,
        ports=laterals,
        port_area=opening,
        roughness=roughness,
        discharge_coefficient=1.0,
        entry_loss=0.0,
    )
    found = lateral_flow(
        whole, plenum_pressure=lateral_pressure, density=density, viscosity=viscosity
    )
    return float(found.uniformity), float(found.least_share)
