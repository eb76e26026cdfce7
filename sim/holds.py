"""For how long straight lines stand for what is not linear.

They touch their curves where surfaces, the room and water were when they were
drawn. What may live here: how far off they may be before they are drawn anew,
and for which water they are drawn. No heat, no books.
"""

import numpy as np

from sim.options import DRIED, WorldOptions
from sim.thermal import Matrix, Vector
from sim.vapour import LATENT_J_KG

_MIDDLE = 0.4
"""Chosen: where in the longest time that lines are held they are to be right, as
a share of it. Half would be the middle, but some are drawn anew before."""

_LAST = 0.5
"""Chosen: share of the last water that may go before lines are drawn anew."""


class Holds:
    """Counts the holds that have passed since lines were drawn, and the water.

    Lines are seen to at the end of each hold. The first one after they were
    drawn may be shorter; it counts as a whole one.

    Args:
        options: How long each is, how many there may be, and how far lines may
            be off meanwhile.
        depth_mm: How deep media are.
    """

    def __init__(self, options: WorldOptions, depth_mm: Vector) -> None:
        self._hold_ms, self._most = options.hold_ms, options.most_holds
        self._longest_ms, self._off_k = options.longest_ms, options.off_k
        self._dried_mm = DRIED * depth_mm
        self._passed = 0
        self._gone_mm = self._left_mm = np.zeros(len(depth_mm))

    def begin(self, left_mm: Vector) -> None:
        """Begin anew, since lines were drawn with so much water left [mm]."""
        self._passed, self._gone_mm = 0, np.zeros(len(left_mm))
        self._left_mm = left_mm

    @property
    def over(self) -> bool:
        """Whether lines are drawn anew at the end of the present hold anyway."""
        return self._passed + 1 >= self._most

    def gone_mm(self, latent_w_m2: Matrix) -> Matrix:
        """Return what has gone since lines were drawn [mm]: ends by trays.

        Args:
            latent_w_m2: What leaves by evaporation at the next ends of holds,
                in each of which it is taken for that of its end: ends by trays.
        """
        going_mm = _evaporated_mm(latent_w_m2, self._hold_ms)
        found: Matrix = self._gone_mm + np.cumsum(going_mm, axis=0)
        return found

    def let_pass(self, off_k: Matrix, gone_mm: Matrix) -> int:
        """Let the next ends of holds pass, as long as lines are good.

        Args:
            off_k: How far off lines put surfaces at each: ends by trays.
            gone_mm: What has gone until each: ends by trays.

        Returns:
            How many have passed. At the one after them lines are seen to when
            it comes.
        """
        dries = np.abs(gone_mm) - self._dried_mm
        dries = np.maximum(dries, gone_mm - _LAST * self._left_mm)
        worst = np.maximum(np.abs(off_k) - self._off_k, dries)
        good = worst.max(axis=1, initial=-1.0) <= 0
        good[self._most - 1 - self._passed :] = False
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
        found: Vector = np.minimum(self._dried_mm, np.maximum(0.0, going_mm))
        return _MIDDLE * found

    def most_of(self, latent_w_m2: Vector, left_mm: Vector) -> Vector:
        """Return which share of an evaporation is not too much for what is left.

        Args:
            latent_w_m2: What leaves each tray by evaporation now.
            left_mm: Water that it has.
        """
        going_mm = np.maximum(1e-9, _evaporated_mm(latent_w_m2, self._longest_ms))
        found: Vector = _LAST * left_mm / going_mm
        return found


def _evaporated_mm(latent_w_m2: Vector, lasting_ms: int) -> Vector:
    """Return what water a latent heat takes with it in a time [mm]."""
    return latent_w_m2 * (lasting_ms / 1000 / LATENT_J_KG)
