"""The surface of a medium: convection, radiation, evaporation and a cover.

What may live here: how much heat leaves a surface at a temperature, and the
straight line that stands for it near one. Arrays have one value for each tray.
"""

from dataclasses import dataclass
from enum import Enum
from typing import NamedTuple

import numpy as np

from sim.stack import FILM_UP_M2K_W
from sim.thermal import Vector
from sim.vapour import (
    SEA_LEVEL_KPA,
    from_humidity_kpa,
    psychrometric_kpa_k,
    saturation_kpa,
)

ZERO_K = 273.15
STEFAN_W_M2K4 = 5.670e-8
EMISSIVITY = 0.9
"""Usual for moist media and most other surfaces (from memory, texts)."""

AIR_W_MK = 0.026
AIR_M2_S = 1.57e-5
PRANDTL = 0.71
"""Air of 25 °C: conductivity, kinematic viscosity (Incropera, from memory)."""

LAMINAR_TO = 1e7
"""Rayleigh number above which convection over a hot plate is turbulent."""

DRAUGHT_W_M2K = 2.0
"""Chosen: air of 0.1 m/s along 0.3 m, 0.664 Re^(1/2) Pr^(1/3) = 26, which is
2.2 W/m²K; no room is stiller, and a plate as warm as the air still dries."""

STANDARD_CONVECTION_W_M2K = 5.0
"""What of the standard's film upwards is convection: ISO 6946, annex A (from
memory)."""


class Film(Enum):
    """What lies between a surface and the room."""

    STANDARD = "standard"
    """The resistance of ISO 6946 for heat that flows up, 0.10 m²K/W."""
    NATURAL = "natural"
    """Natural convection over a plate, and radiation."""


class Cover(Enum):
    """What is over a tray."""

    NONE = "none"
    VENTED = "vented"
    CLOSED = "closed"


COVER_M2K_W = {Cover.NONE: 0.0, Cover.VENTED: 0.08, Cover.CLOSED: 0.16}
"""Air under a cover, heat flowing up: unventilated 0.16, slightly ventilated
half of that: ISO 6946 (1997; from memory). The film over the cover is as over
a surface."""

COVER_VAPOUR = {Cover.NONE: 1.0, Cover.VENTED: 0.4, Cover.CLOSED: 0.1}
"""Share of the evaporation that gets away; of the rest, what condenses drips
back. Chosen: closed is 0.3 of 3 mm a day, vented in between."""

COVER_LIGHT = {Cover.NONE: 1.0, Cover.VENTED: 0.9, Cover.CLOSED: 0.9}
"""Chosen: clear plastic lets nine tenths of the light through."""


def natural_w_m2k(excess_k: Vector, mean_c: Vector, length_m: Vector) -> Vector:
    """Return the coefficient of natural convection over a level plate [W/m²K].

    Nu = 0.54 Ra^(1/4), from 10^7 on 0.15 Ra^(1/3), the hot side up; 0.27
    Ra^(1/4) where the plate is colder than the air: McAdams' correlations as
    in texts on heat transfer. They are also used below their range.

    Args:
        excess_k: How much warmer the surface is than the air [K].
        mean_c: Mean of the two [°C].
        length_m: Area of the plate by its rim [m].
    """
    # Grashof's number by Prandtl's; the air expands by one part of its kelvins.
    of_length = PRANDTL * 9.81 / AIR_M2_S**2 * length_m**3
    rayleigh = of_length * np.abs(excess_k) / (mean_c + ZERO_K)
    laminar = hot = 0.54 * np.sqrt(np.sqrt(rayleigh))
    if rayleigh.max(initial=0.0) > LAMINAR_TO:
        hot = np.where(rayleigh > LAMINAR_TO, 0.15 * np.cbrt(rayleigh), laminar)
    found: Vector = np.where(excess_k < 0, laminar / 2, hot) * (AIR_W_MK / length_m)
    return found


def radiation_w_m2k(one_c: Vector, other_c: Vector) -> Vector:
    """Return the coefficient of radiation between a surface and a room [W/m²K]."""
    one, other = one_c + ZERO_K, other_c + ZERO_K
    found: Vector = EMISSIVITY * STEFAN_W_M2K4 * (one + other) * (one**2 + other**2)
    return found


class Fluxes(NamedTuple):
    """What leaves surfaces upwards [W/m²].

    Attributes:
        dry: By convection and radiation.
        latent: By evaporation.
    """

    dry: Vector
    latent: Vector


@dataclass(frozen=True, slots=True)
class Surfaces:
    """The surfaces of some trays.

    Attributes:
        film: What lies over them.
        length_m: Area by rim of each [m].
        cover_m2k_w: Resistance of the air under its cover.
        vapour_share: What of the vapour the cover lets out [-].
        humidity: Relative humidity of the room, as a share [-].
    """

    film: Film
    length_m: Vector
    cover_m2k_w: Vector
    vapour_share: Vector
    humidity: float

    def fluxes(
        self, surface_c: Vector, room_c: Vector, wet: Vector, given_w_m2: Vector
    ) -> Fluxes:
        """Return what leaves the surfaces.

        The latent heat is that of FAO-56, equation 3, with the aerodynamic
        resistance that belongs to the same convection:
        convection / psychrometric constant * (pressure at the surface - in the
        room).

        Args:
            surface_c: Temperature of each [°C].
            room_c: Temperature of the room [°C].
            wet: How wet each is, 1: as open water evaporates [-].
            given_w_m2: Evaporation that goes by no deficit.
        """
        convection, film = self._film(surface_c, room_c)
        dry = (surface_c - room_c) / (1 / film + self.cover_m2k_w)
        indoors = from_humidity_kpa(room_c, self.humidity)
        drives = (saturation_kpa(surface_c) - indoors) * convection * wet
        latent = self.vapour_share * drives / psychrometric_kpa_k(SEA_LEVEL_KPA)
        return Fluxes(dry, latent + given_w_m2)

    def _film(self, surface_c: Vector, room_c: Vector) -> tuple[Vector, Vector]:
        """Return the coefficients of convection and of the whole film [W/m²K]."""
        if self.film is Film.STANDARD:
            one = np.ones_like(surface_c)
            return STANDARD_CONVECTION_W_M2K * one, one / FILM_UP_M2K_W
        mean_c = (surface_c + room_c) / 2
        natural = natural_w_m2k(surface_c - room_c, mean_c, self.length_m)
        # Mixed convection over a plate: cubes add (Incropera, from memory).
        convection = np.cbrt(natural**3 + DRAUGHT_W_M2K**3)
        return convection, convection + radiation_w_m2k(surface_c, room_c)


class Line(NamedTuple):
    """A flux near a temperature: by_surface * Ts - by_room * Tr + rest [W/m²].

    Attributes:
        by_surface: How it grows with the surface's temperature [W/m²K].
        by_room: How it falls with the room's [W/m²K].
        rest: What else there is of it [W/m²].
    """

    by_surface: Vector
    by_room: Vector
    rest: Vector

    def at(self, surface: Vector, room: float | Vector, one: float = 1.0) -> Vector:
        """Return the flux; of integrals over a time, the integral [W/m² s]."""
        found: Vector = self.by_surface * surface - self.by_room * room
        return found + self.rest * one


_NEAR_K = 0.5
"""A line has the slope across a kelvin: convection has none of its own where a
surface is as warm as the air, and one that is steep beside that."""


def lines(
    surfaces: Surfaces,
    surface_c: Vector,
    room_c: float,
    wet: Vector,
    given_w_m2: Vector,
) -> tuple[Line, Line]:
    """Return the lines of the dry and of the latent flux, by differences."""
    at, room = surface_c + _NEAR_K * _BY_SURFACE, room_c + _NEAR_K * _BY_ROOM
    fluxes = surfaces.fluxes(at, room, wet, given_w_m2)
    found = []
    for at_five in fluxes:
        by_surface, by_room = _SLOPES @ at_five
        rest = at_five[0] - by_surface * surface_c + by_room * room_c
        found.append(Line(by_surface, by_room, rest))
    return found[0], found[1]


_BY_SURFACE = np.array([[0.0], [1.0], [-1.0], [0.0], [0.0]])
_BY_ROOM = np.array([[0.0], [0.0], [0.0], [1.0], [-1.0]])
_SLOPES = np.hstack([_BY_SURFACE, -_BY_ROOM]).T / (2 * _NEAR_K)
