"""Media by what they are made of: heat capacity and conductivity.

Heat capacities are sums over volume fractions. Conductivities follow measured
rows of handbooks. Constituents: Moene and van Dam, Transport in the
Atmosphere-Vegetation-Soil Continuum, Table 2.2 (after de Vries 1963), valid
at 10 to 20 °C, unless another source is named.
"""

from dataclasses import dataclass

ORGANIC_J_M3K = 2.47e6
QUARTZ_J_M3K = 2.13e6
CLAY_J_M3K = 2.39e6
WATER_J_M3K = 4.18e6
AIR_J_M3K = 0.0012e6
PERLITE_J_M3K = 837.0 * 2300.0
"""Specific heat of perlite, 0.2 Btu/lb°F: "Perlite insulation", engineering
tables. Density of its solid glass: from memory, of volcanic glass."""

ORGANIC_DRY_W_MK = 0.04
ORGANIC_WET_W_MK = 0.50
ORGANIC_WET_WATER = 0.90
"""Peat with pores of 0.9: 0.04, 0.27 and 0.50 W/mK at water 0, 0.45 and 0.90,
so linear in the water. Heiskanen (2000), Suo, gives 0.05 air-dry and 0.5 near
saturation for weakly decomposed Sphagnum."""

SAND_W_MK = 2.1
"""Loose sand with water 0.2."""


@dataclass(frozen=True, slots=True)
class Medium:
    """A medium, moist as it stands drained in a tray, by volume fractions [-].

    Attributes:
        organic: Peat, coir or bark, solid.
        mineral: Sand, solid.
        perlite: Perlite's glass, solid.
        water: Water.
        sand_share: Share of the bulk volume that is sand with its own pores.
        clay: Clay mineral, solid.
    """

    organic: float
    mineral: float
    perlite: float
    water: float
    sand_share: float = 0.0
    clay: float = 0.0

    def heat_capacity(self) -> float:
        """Return the volumetric heat capacity [J/m³K]: a sum over fractions."""
        air = 1.0 - self.organic - self.mineral - self.perlite - self.water - self.clay
        return (
            self.organic * ORGANIC_J_M3K
            + self.mineral * QUARTZ_J_M3K
            + self.perlite * PERLITE_J_M3K
            + self.water * WATER_J_M3K
            + air * AIR_J_M3K
            + self.clay * CLAY_J_M3K
        )

    def conductivity(self) -> float:
        """Return the thermal conductivity of a medium as it stands drained [W/mK].

        The organic part is linear in its water; sand joins by the geometric
        mean, weighted with its share of the bulk (chosen: between the bounds
        of layers in series and in parallel). Sand alone, and media that dry,
        have a rule of their own, in moist.
        """
        slope = (ORGANIC_WET_W_MK - ORGANIC_DRY_W_MK) / ORGANIC_WET_WATER
        organic = ORGANIC_DRY_W_MK + slope * self.water
        return float(organic ** (1.0 - self.sand_share) * SAND_W_MK**self.sand_share)


MEDIA = {
    # The fractions are chosen. Drained containers of soilless media hold 43 to
    # 59 % water by volume, by their depth (J. Environ. Hort. 5(4):180, abstract);
    # bark with sand holds less.
    "coir-perlite": Medium(organic=0.06, mineral=0.0, perlite=0.03, water=0.50),
    "peat-perlite": Medium(organic=0.07, mineral=0.0, perlite=0.03, water=0.48),
    "bark-sand": Medium(
        organic=0.18, mineral=0.15, perlite=0.0, water=0.35, sand_share=0.25
    ),
    "peat": Medium(organic=0.10, mineral=0.0, perlite=0.0, water=0.45),
}

DEFAULT_MEDIUM = "peat-perlite"


def medium(name: str) -> Medium:
    """Return a medium by name; an unnamed one is taken for peat and perlite.

    Raises:
        ValueError: There is no such medium.
    """
    found = MEDIA.get(name or DEFAULT_MEDIUM)
    if found is None:
        known = ", ".join(MEDIA)
        message = f"medium {name!r}: not known to the simulated bench; it has {known}"
        raise ValueError(message)
    return found
