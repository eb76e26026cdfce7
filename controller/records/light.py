"""Light over a day: the daily light integral, measured or guessed from lux.

What may live here: that arithmetic, and what it comes to for cuttings.
"""

import math
from enum import StrEnum

SECONDS_PER_HOUR = 3600
MOST_HOURS = 24


class Lamp(StrEnum):
    """What gives the light."""

    SUN = "sun"
    WHITE_LED = "white-led"
    FLUORESCENT = "fluorescent"
    SODIUM = "sodium"
    INCANDESCENT = "incandescent"


LUX_PER_PPFD = {
    Lamp.SUN: 54.0,
    Lamp.WHITE_LED: 67.0,
    Lamp.FLUORESCENT: 74.0,
    Lamp.SODIUM: 82.0,
    Lamp.INCANDESCENT: 50.0,
}
"""Lux for each µmol/m²s, 400 to 700 nm: sun, cool white fluorescent, high-pressure
sodium and incandescent after Thimijan and Heins 1983, HortScience 18: 818-822, from
memory; white LED chosen amid about 55 (warm) to 80 (cool). Good to a fifth or so."""


def dli(ppfd: float, hours: float) -> float:
    """Return the daily light integral [mol/m²d]: PPFD * 3600 * h / 1e6.

    Only where the light is even over those hours, as a lamp's: one reading at noon
    must not stand for a day of sun.

    Args:
        ppfd: Photosynthetic photon flux density [µmol/m²s].
        hours: For so many hours a day.

    Raises:
        ValueError: One of them cannot be.
    """
    if not (math.isfinite(ppfd) and ppfd >= 0):
        raise ValueError(f"found {ppfd:g} µmol/m²s: must be 0 or more")
    if not 0 <= hours <= MOST_HOURS:
        raise ValueError(f"found {hours:g} h: a day has 0 to {MOST_HOURS} hours")
    return ppfd * SECONDS_PER_HOUR * hours / 1e6


def ppfd_of_lux(lux: float, lamp: Lamp) -> float:
    """Return about what PPFD [µmol/m²s] an illuminance [lx] of some lamp has.

    Raises:
        ValueError: It is none.
    """
    if not (math.isfinite(lux) and lux >= 0):
        raise ValueError(f"found {lux:g} lx: must be 0 or more")
    return lux / LUX_PER_PPFD[lamp]


def light_words(mol: float) -> str:
    """Return what a daily light integral is to cuttings.

    About 5 mol/m²d while callus forms, and more only with roots, as in a trial of
    bedding plants (HortScience DLI/biomass study); a winter greenhouse has 1 to 4
    during propagation (same); 5 to 10 while rooting is from memory.
    """
    if mol < 3:  # noqa: PLR2004
        return "low: right for leaves without roots, too little to grow on"
    if mol <= 10:  # noqa: PLR2004
        return "about what cuttings in leaf take while they root"
    return "much: for rooted plants; shade cuttings without roots"
