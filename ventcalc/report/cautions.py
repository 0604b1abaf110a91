"""What stands beside every piece of advice, and what to mind of the example weather."""

from __future__ import annotations

__all__ = ["CAUTION", "EXAMPLE_CREDIT", "EXAMPLE_WARNING"]

CAUTION = (
    "Caution: this is advice, the controller's own interlocks stay in charge. Lock out the fans "
    "and test the air for CO2 and oxygen before anyone goes in; never alone."
)
"""Belongs below every piece of advice."""
EXAMPLE_CREDIT = (
    "The weather data are under a Creative Commons Attribution licence; credit: National "
    "Renewable Energy Laboratory, U.S. Department of Energy. They are modelled from satellite "
    "images and reanalysis, not a station's readings; do not size anything from them."
)
"""For the example weather; the whole of it stands in the package beside the data."""
EXAMPLE_WARNING = (
    "These sizes are for the example weather: practise with them, and size with a file of many "
    "years from your own place."
)
"""Below every sizing for the example weather."""
