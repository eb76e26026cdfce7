"""The water in the media of a bench: what is gone, and how fast more goes.

One store for each tray: its layers are equally wet (chosen: in a few
centimetres the water rises by itself). What may live here: millimetres, and
what they mean for the evaporation. No temperatures. Plants are not in it: what
cuttings under cover take up is small beside it.
"""

from collections.abc import Mapping, Sequence

import numpy as np

from controller.core.plan import TrayPlan
from controller.core.units import DAY_MS
from sim.bench import evaporation_w_m2
from sim.drying import Evaporation, falling_mm, last_water, wetness
from sim.media import medium
from sim.moist import Moist
from sim.options import WorldOptions
from sim.surface import COVER_VAPOUR, Cover
from sim.thermal import Vector


class Water:
    """The water of some trays, in arrays of one value for each.

    Args:
        trays: The trays.
        options: How they dry.
        crust_mm: Evaporation that is said of each, by name [mm/day].
        covers: What is over each.

    Attributes:
        gone_mm: What is gone since they were thoroughly watered [mm]; below 0:
            dew that has not run out yet.
        left_mm: What was left when they were last drained [mm].
        held_mm: What they hold when drained [mm].
        dried_mm: What somebody let dry of them [mm]: where media do not dry by
            themselves, they are still as dry as that.
        said_mm: Evaporation that somebody set [mm/day]; NaN: as the options
            have it.

    Raises:
        ValueError: There is no such medium.
    """

    def __init__(
        self,
        trays: Sequence[TrayPlan],
        options: WorldOptions,
        crust_mm: Mapping[str, float],
        covers: Sequence[Cover],
    ) -> None:
        self._options = options
        self._media = Moist([medium(tray.medium) for tray in trays])
        self._depth_mm = np.array([tray.depth_mm for tray in trays], dtype=float)
        self._crust_mm = np.array([crust_mm[tray.name] for tray in trays])
        self._escapes = np.array([COVER_VAPOUR[cover] for cover in covers])
        self.held_mm: Vector = self._media.drained * self._depth_mm
        self.gone_mm: Vector = np.zeros(len(trays))
        self.left_mm: Vector = self.held_mm
        self.dried_mm: Vector = np.zeros(len(trays))
        self.said_mm: Vector = np.full(len(trays), np.nan)

    def media(self, gone_mm: Vector) -> tuple[Vector, Vector]:
        """Return conductivity [W/mK] and heat capacity [J/m³K] of the media.

        Args:
            gone_mm: The water that is to be gone; media that do not dry by
                themselves are as dry as somebody let them.
        """
        if not self._options.drying:
            gone_mm = self.dried_mm
        water = np.maximum(0.0, self.held_mm - gone_mm) / self._depth_mm
        return self._media.conductivity(water), self._media.heat_capacity(water)

    def steady_w_m2(self, gone_mm: Vector) -> Vector:
        """Return the heat of evaporation that goes by no deficit [W/m²].

        Args:
            gone_mm: The water that is to be gone: of trays, or rows of these.
        """
        how, mm = self._options.evaporation, np.zeros_like(gone_mm)
        if how is Evaporation.FIXED:
            mm = self._escapes * self._crust_mm
        elif how is Evaporation.FALLING:
            mm = self._escapes * falling_mm(gone_mm, self._crust_mm)
        mm = np.where(np.isnan(self.said_mm), mm, self.said_mm)
        if self._options.changes and mm.any():
            # Until lines are drawn anew no more may go than there was.
            most = self.left_mm * (DAY_MS / self._options.longest_ms)
            mm = np.minimum(mm * last_water(gone_mm, self.held_mm), most)
        return evaporation_w_m2(1.0) * mm

    def wet(self, gone_mm: Vector) -> Vector:
        """Return how wet the surfaces are for a deficit to dry them [-].

        Args:
            gone_mm: The water that is to be gone: of trays, or rows of these.
        """
        if self._options.evaporation is not Evaporation.BY_DEFICIT:
            return np.zeros_like(gone_mm)
        wet = wetness(gone_mm, self.held_mm)
        return np.where(np.isnan(self.said_mm), wet, 0.0)

    def leave(self, tray: int, share: float) -> float:
        """Leave a tray this share of its water; return what that takes [mm]."""
        before_mm = float(self.gone_mm[tray])
        self.gone_mm[tray] = self.dried_mm[tray] = (1 - share) * self.held_mm[tray]
        return float(self.gone_mm[tray]) - before_mm

    def keep(self, tray: int, mm: float) -> float:
        """Let a tray keep of so much water what it lacks; return that [mm]."""
        kept_mm = min(mm, max(0.0, float(self.gone_mm[tray])))
        self.gone_mm[tray] -= kept_mm
        return kept_mm

    def evaporate(self, mm: Vector) -> None:
        """Let water go; below 0: dew falls, more than media can hold perhaps."""
        self.gone_mm = self.gone_mm + mm

    def drain(self) -> Vector:
        """Let run out what of dew full media cannot hold; return that [mm]."""
        dew_mm: Vector = np.maximum(0.0, -self.gone_mm)
        self.gone_mm = self.gone_mm + dew_mm
        self.left_mm = np.maximum(0.0, self.held_mm - self.gone_mm)
        return dew_mm
