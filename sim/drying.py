"""How a medium dries: less and less water leaves it, until somebody waters.

What may live here: how much of what a wet surface would lose a medium loses
when some water is gone. It knows millimetres, not temperatures.
"""

from enum import Enum

import numpy as np

from sim.thermal import Vector

COVERED_MM = 0.3
DRY_CRUST_MM = 1.0
FRESHLY_WET_MM = 3.0
"""Evaporation [mm/day] under a cover, from a dry crust, from a wet surface.
Chosen; the last is what FAO-56, equation 3, and natural convection give for a
surface of 20 to 21 °C in a room of 14 °C at 0.70."""

READY_MM = 2.0
TOTAL_MM = 8.0
"""Water that goes as fast as from a wet surface, and after how much a dry crust
is left. Chosen: a tray has less depth than the 0.10 to 0.15 m of soil for which
FAO-56, table 19, gives 2 to 12 mm and 6 to 29 mm."""

CRUST_SHARE = DRY_CRUST_MM / FRESHLY_WET_MM
"""What a dry crust loses of what a wet surface would."""

LAST_SHARE = 0.10
"""Chosen: the last tenth of the water goes more and more slowly, never all."""


class Evaporation(Enum):
    """How much water leaves a tray."""

    FIXED = "fixed"
    """As many millimetres a day as are said."""
    FALLING = "falling"
    """3 mm a day when freshly watered, falling to what is said."""
    BY_DEFICIT = "by-deficit"
    """What the deficit of vapour pressure drives, less and less when it dries."""


def reduction(gone_mm: Vector) -> Vector:
    """Return the evaporation reduction coefficient [-]: FAO-56, equation 74.

    Args:
        gone_mm: Water that is gone since a thorough watering [mm].
    """
    return _share((TOTAL_MM - gone_mm) / (TOTAL_MM - READY_MM))


def wetness(gone_mm: Vector, held_mm: Vector) -> Vector:
    """Return how wet surfaces are: 1 as open water, 0 as dust [-].

    Args:
        gone_mm: Water that is gone since a thorough watering [mm].
        held_mm: Water that the medium holds when drained [mm].
    """
    crust = CRUST_SHARE + (1 - CRUST_SHARE) * reduction(gone_mm)
    found: Vector = crust * last_water(gone_mm, held_mm)
    return found


def falling_mm(gone_mm: Vector, crust_mm: Vector) -> Vector:
    """Return the evaporation when it falls to a dry crust's [mm/day]."""
    found: Vector = crust_mm + (FRESHLY_WET_MM - crust_mm) * reduction(gone_mm)
    return found


def last_water(gone_mm: Vector, held_mm: Vector) -> Vector:
    """Return 1, but less when hardly any water is left to go [-]."""
    return _share((held_mm - gone_mm) / (LAST_SHARE * held_mm))


def _share(of: Vector) -> Vector:
    """Return it where it is from 0 to 1, else the nearest of these."""
    found: Vector = np.minimum(1.0, np.maximum(0.0, of))  # np.clip takes thrice as long
    return found
