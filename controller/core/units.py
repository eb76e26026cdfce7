"""Quantities of the core: integers with the unit in the name and in the type.

Temperatures are whole thousandths of a degree Celsius and times whole
milliseconds, so that the core, the season log and the audit see the very same
numbers and comparisons have no rounding of their own. What may live here:
names for quantities and conversions between them. No decisions.
"""

from typing import NewType

MilliC = NewType("MilliC", int)
"""A temperature in thousandths of a degree Celsius."""

MilliK = NewType("MilliK", int)
"""A temperature difference in thousandths of a kelvin."""

Millis = NewType("Millis", int)
"""A duration, or an instant on the run clock, in milliseconds."""

UtcMillis = NewType("UtcMillis", int)
"""An instant as milliseconds since 1970-01-01T00:00:00Z."""

SECOND_MS = 1_000
MINUTE_MS = 60 * SECOND_MS
HOUR_MS = 60 * MINUTE_MS
DAY_MS = 24 * HOUR_MS


def celsius(temp_mc: int) -> float:
    """Return a temperature [°C] from thousandths of a degree Celsius."""
    return temp_mc / 1000


def kelvin(difference_mk: int) -> float:
    """Return a temperature difference [K] from thousandths of a kelvin."""
    return difference_mk / 1000


def kelvin_hours(heat_mk_ms: int) -> float:
    """Return thermal time [K·h] from thousandths of a kelvin times milliseconds."""
    return heat_mk_ms / 1000 / HOUR_MS


def watt_hours(power_mw: int, on_ms: int) -> float:
    """Return energy [Wh] from a power [mW] that was on for some time [ms]."""
    return power_mw * on_ms / 1000 / HOUR_MS
