"""Tops of trays between two renewals: half a layer under a surface.

The surface itself holds no heat, so its temperature follows from what comes up
through half a layer, what shines on it and what leaves it. What may live here:
that balance, with what leaves it as a straight line.
"""

from typing import NamedTuple

import numpy as np

from sim.surface import Fluxes, Line, Surfaces, lines
from sim.thermal import Matrix, Vector

_NEAR_ENOUGH_K = 0.02
_MOST_ROUNDS = 6
"""Newton's method ends when a line touches its curve so near to the surface:
it is off by the square of that, some 1e-5 W/m²."""


class Tops:
    """The tops of trays, an array's value for each, per square metre.

    Args:
        up: Conductance from the middle of the top layer to its surface [W/m²K].
        dry: What leaves by convection and radiation.
        latent: What leaves by evaporation.

    Attributes:
        dry: As a line.
        latent: As a line.
    """

    def __init__(self, up: Vector, dry: Line, latent: Line) -> None:
        self.dry, self.latent, self._up = dry, latent, up
        self._leaving = Line(*(d + v for d, v in zip(dry, latent, strict=True)))
        self._both = up + self._leaving.by_surface

    def surface(
        self, layer: Vector, room: float | Vector, light: Vector, one: float = 1.0
    ) -> Vector:
        """Return the temperatures of the surfaces [°C].

        Args:
            layer: Temperatures of the top layers [°C].
            room: The room's [°C].
            light: What shines on them [W/m²].
            one: Of integrals over a time, that time [s], and an integral comes.
        """
        coming = self._up * layer + self._leaving.by_room * room + light
        found: Vector = (coming - self._leaving.rest * one) / self._both
        return found

    def off_k(self, surface: Matrix, rooms: Matrix, true: Fluxes) -> Matrix:
        """Return how much colder surfaces would be than by the lines [K].

        Args:
            surface: Temperatures of the surfaces, by the lines [°C]: moments by
                trays.
            rooms: The room's at each moment [°C].
            true: What leaves them then in truth: moments by trays.
        """
        more = true.dry + true.latent - self._leaving.at(surface, rooms)
        found: Matrix = more / self._both
        return found

    def seen(self) -> tuple[Vector, Vector, Vector, Vector]:
        """Return how the top layer sees what is above it.

        Returns:
            The conductance that it loses heat by [W/m²K]; by how much a kelvin
            of the room warms it [W/m²K]; what heats it steadily [W/m²]; which
            share of the light comes down to it [-].
        """
        leaving, share = self._leaving, self._up / self._both
        lost: Vector = share * leaving.by_surface
        warmed: Vector = share * leaving.by_room
        steady: Vector = -share * leaving.rest
        return lost, warmed, steady, share


class Above(NamedTuple):
    """What is above tops just now.

    Attributes:
        room_c: The room [°C].
        light: What shines on them [W/m²].
        wet: How wet they are [-].
        given_w_m2: Evaporation that goes by no deficit [W/m²].
    """

    room_c: float
    light: Vector
    wet: Vector
    given_w_m2: Vector


def tops(
    surfaces: Surfaces,
    up: Vector,
    layer_c: Vector,
    near_c: Vector,
    above: Above,
) -> Tops:
    """Return tops with straight lines where they are now.

    Args:
        surfaces: The surfaces.
        up: Conductance from the middle of the top layer to it [W/m²K].
        layer_c: Temperatures of the top layers [°C].
        near_c: Temperatures near those of the surfaces [°C].
        above: What is above them.
    """
    room_c, light, wet, given = above
    at_c = near_c
    found = Tops(up, *lines(surfaces, at_c, room_c, wet, given))
    for _ in range(_MOST_ROUNDS):
        surface_c = found.surface(layer_c, room_c, light)
        if np.abs(surface_c - at_c).max(initial=0.0) < _NEAR_ENOUGH_K:
            break
        at_c = surface_c
        found = Tops(up, *lines(surfaces, at_c, room_c, wet, given))
    return found
