"""Media as they dry: conductivity and heat capacity at any water content.

The conductivity goes from a dry one to a saturated one: Johansen (1975), in the
form of Côté and Konrad, Canadian Geotechnical Journal 42 (2005) 443-458 (its
numbers from memory). With pores n, water w, and S = w / n:

    saturated = solid^(1-n) * water^n           the geometric mean
    dry       = chi * 10^(-eta n)
    share     = kappa S / (1 + (kappa - 1) S)   of the way from dry to saturated

Media are told by volume fractions; where solids are mixed each weighs by its
share of the solid volume, logarithms for all but eta. Against the rows of Moene
and van Dam (see media) it is within 5 % for sand and peat, and within 9 % for
clay; what was set to meet them is said below.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from sim.media import AIR_J_M3K, WATER_J_M3K, Medium
from sim.thermal import Vector

WATER_W_MK = 0.57
"""Moene and van Dam, Table 2.2."""


@dataclass(frozen=True, slots=True)
class Solid:
    """How a solid conducts, alone and with the pores between.

    Attributes:
        w_mk: Conductivity of the solid itself [W/mK].
        chi: Dry conductivity without pores [W/mK].
        eta: How fast it falls with pores, in powers of ten [-].
        kappa: How early water bridges the grains [-]; 1: in proportion.
    """

    w_mk: float
    chi: float
    eta: float
    kappa: float


ORGANIC = Solid(0.25, 0.30, 0.972, 1.0)
"""Its solid: Table 2.2. chi: Côté and Konrad, organic fibrous soils. They give
eta 0.87 and kappa 0.6, which is 0.049 dry and 0.23 half full; set here to meet
0.04 dry, and the straight line of the rows."""

SAND = Solid(6.6, 0.75, 1.2, 4.6)
"""chi and eta: Côté and Konrad, natural mineral soils; kappa: their coarse sand.
The solid is chosen, between quartz (8.8) and other minerals (about 2), so that
both saturated rows are met; pure quartz would be 18 to 23 % above them."""

CLAY = Solid(2.9, 0.75, 1.75, 1.2)
"""Its solid: Table 2.2, clay mineral. eta and kappa are set to meet the dry and
the half full row (Côté and Konrad: 1.2 and 1.9, which is 0.25 and 1.08)."""

PERLITE = Solid(1.1, 0.30, 0.972, 1.0)
"""Glass: from memory; with its pores taken for like peat, 0.04 W/mK dry."""


def solids(medium: Medium) -> tuple[tuple[float, Solid], ...]:
    """Return the solids of a medium with their volume fractions [-]."""
    return (
        (medium.organic, ORGANIC),
        (medium.mineral, SAND),
        (medium.clay, CLAY),
        (medium.perlite, PERLITE),
    )


class Moist:
    """Some media, each at a water content of its own.

    Args:
        media: The media.

    Attributes:
        drained: Water of each when drained [-].

    Raises:
        ValueError: A medium is all water and air, or all solid.
    """

    def __init__(self, media: Sequence[Medium]) -> None:
        mixed = [_mixed(medium) for medium in media]
        self._pores, log_solid, self._dry, self._kappa = (
            np.array(mixed).reshape(-1, 4).T
        )
        logs = (1 - self._pores) * log_solid + self._pores * np.log(WATER_W_MK)
        self._saturated: Vector = np.exp(logs)
        self.drained: Vector = np.array([medium.water for medium in media])
        self._drained_j_m3k = np.array([medium.heat_capacity() for medium in media])

    def conductivity(self, water: Vector) -> Vector:
        """Return the conductivity of each at its water content [W/mK]."""
        full = np.minimum(1.0, np.maximum(0.0, water / self._pores))
        share = self._kappa * full / (1 + (self._kappa - 1) * full)
        found: Vector = self._dry + share * (self._saturated - self._dry)
        return found

    def heat_capacity(self, water: Vector) -> Vector:
        """Return the volumetric heat capacity of each [J/m³K]: air for water."""
        gone = self.drained - water
        found: Vector = self._drained_j_m3k - gone * (WATER_J_M3K - AIR_J_M3K)
        return found


def conductivity(medium: Medium) -> float:
    """Return the conductivity of a medium at its water content [W/mK].

    Raises:
        ValueError: The medium is all water and air, or all solid.
    """
    moist = Moist([medium])
    return float(moist.conductivity(moist.drained)[0])


def _mixed(medium: Medium) -> tuple[float, float, float, float]:
    """Return pores, logarithm of the solid's conductivity, dry one and kappa."""
    parts = [(part, solid) for part, solid in solids(medium) if part > 0]
    whole = sum(part for part, _ in parts)
    if not 0 < whole < 1:
        message = f"solids take {whole:g} of a medium: must be more than 0, less than 1"
        raise ValueError(message)
    shares = [(part / whole, solid) for part, solid in parts]
    pores = 1 - whole
    eta = sum(share * solid.eta for share, solid in shares)
    log_chi = sum(share * float(np.log(solid.chi)) for share, solid in shares)
    return (
        pores,
        sum(share * float(np.log(solid.w_mk)) for share, solid in shares),
        float(np.exp(log_chi)) * 10 ** (-eta * pores),
        float(np.exp(sum(share * np.log(solid.kappa) for share, solid in shares))),
    )
