"""A bay with its fans as they work against its own ducts and pile, not as they are rated."""

from __future__ import annotations

import math
from dataclasses import replace

from ventcalc import air
from ventcalc.bay.description import Bay
from ventcalc.check.air_system import AirSystem, air_system
from ventcalc.errors import BadInput

__all__ = ["as_installed"]

AIR_IN_FANS = 5.0
"""Mean of a season. [°C]"""


def as_installed(bay: Bay, *, pressure: float | None = None) -> Bay:
    """
    The same bay with airflow, pressure and efficiency of its fans at their operating point.

    Parameters
    ----------
    bay : Bay
        As written.
    pressure : float, optional
        Air pressure; that of the standard atmosphere at the site if not given or NaN. [Pa]

    Returns
    -------
    Bay
        Advice and season then reckon with the air that the full pile really gets at full
        speed, and with the power that takes; all of it warms the air, on its way or by
        friction in ducts and pile. As it was where the bay file has neither a fan curve nor
        ducts: then the rated point is all there is.

    Raises
    ------
    BadInput
        If fans, ducts and pile do not meet on the fan curve.

    Notes
    -----
    At part speed airflow keeps to the speed and power to its cube within 0.3 % down to 0.3 of
    full speed, for a pile whose own share of the pressure is small (tested on the examples).
    While a bay is filled and emptied, fans and laterals are taken to be used in step with the
    floor under crop.
    """
    if bay.fans.curve_airflow is None and bay.ducts is None:
        return bay
    found = _system(bay, pressure)
    flow, power = float(found.airflow), float(found.electrical_power)
    if found.point.deadhead or not (math.isfinite(flow) and math.isfinite(power)):
        raise BadInput(
            f"fans of {bay.name!r}: no steady airflow against its ducts and a pile of "
            f"{bay.pile.height:.2f} m ({'; '.join(found.remarks) or 'off the fan curve'}); "
            "see `ventcalc check`, and mend fans or ducts"
        )
    static = float(found.point.static_pressure)
    fans = replace(bay.fans, airflow=flow, static_pressure=static, efficiency=flow * static / power)
    return replace(bay, fans=fans)


def _system(bay: Bay, pressure: float | None) -> AirSystem:
    if pressure is None or pressure != pressure:
        pressure = float(air.standard_pressure(bay.site.altitude))
    return air_system(bay, bay.pile.height, pressure=pressure, temperature=AIR_IN_FANS)
