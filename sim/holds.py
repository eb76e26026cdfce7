"""For how long straight lines stand for what is not linear.

They touch their curves where surfaces, room and water were when they were
drawn. What may live here: how far from there all may go before they are drawn
anew, and where they are drawn. No heat, no books.
"""

import numpy as np

from sim.options import DRIED_MM, WorldOptions
from sim.thermal import Matrix, Vector
from sim.tops import Tops
from sim.vapour import LATENT_J_KG

_MIDDLE = 0.4
"""Chosen: where in the longest time that lines are held they are to be right, as
a share of it. Half would be the middle, but some are drawn anew before."""


class Holds:
    """Sees to lines at the ends of holds, one hold after the other.

    Args:
        options: How long each is, how many there may be, and how far all may
            move meanwhile.
    """

    def __init__(self, options: WorldOptions) -> None:
        self._hold_ms, self._most = options.hold_ms, options.most_holds
        self._longest_ms, self._moved_k = options.longest_ms, options.moved_k
        self._passed = 0
        self._gone_mm: float | Vector = 0.0

    def begin(self) -> None:
        """Begin anew, since lines have been drawn."""
        self._passed, self._gone_mm = 0, 0.0

    def good(self, tops: Tops, layer: Matrix, rooms_c: Vector, light: Matrix) -> int:
        """Return at how many of the next ends, one after the other, lines hold.

        Those are over then; the one after them is seen to again when it comes.

        Args:
            tops: The lines.
            layer: Temperatures of the top layers [°C]: ends by trays.
            rooms_c: The room at each end [°C].
            light: What shines on trays [W/m²]: ends by trays.
        """
        left = self._most - 1 - self._passed
        if not left:
            return 0
        rooms = rooms_c[:, np.newaxis]
        surface_c = tops.surface(layer, rooms, light)
        # As much as in a hold of the rate at its end: near enough to see to it.
        going_mm = _evaporated_mm(tops.latent.at(surface_c, rooms), self._hold_ms)
        gone_mm = self._gone_mm + np.cumsum(going_mm, axis=0)
        good = tops.moved_k(surface_c, rooms_c) < self._moved_k
        good &= np.abs(gone_mm).max(axis=1, initial=0.0) < DRIED_MM
        good[left:] = False
        count = len(good) if good.all() else int(good.argmin())
        if count:
            self._passed, self._gone_mm = self._passed + count, gone_mm[count - 1]
        return count

    def ahead_mm(self, latent_w_m2: Vector) -> Vector:
        """Return how much more water is gone where lines are to be right [mm].

        Args:
            latent_w_m2: What leaves each tray by evaporation now.
        """
        going_mm = _evaporated_mm(latent_w_m2, self._longest_ms)
        found: Vector = np.minimum(DRIED_MM, np.maximum(-DRIED_MM, going_mm))
        return _MIDDLE * found


def _evaporated_mm(latent_w_m2: Vector, lasting_ms: int) -> Vector:
    """Return what water a latent heat takes with it in a time [mm]."""
    return latent_w_m2 * (lasting_ms / 1000 / LATENT_J_KG)
