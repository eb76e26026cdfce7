"""Where heat and water of a simulated bench came from and went. Data."""

from dataclasses import dataclass


@dataclass(slots=True)
class Ledger:
    """All since a world began. What came in equals what went out and is stored.

    Attributes:
        heater_j: From the mats [J].
        light_j: From sun and lamp [J].
        unmeasured_j: From what nobody measures [J].
        poured_j: With the water poured, over 0 °C [J].
        drained_j: With the water that ran out below, over 0 °C [J].
        lost_j: Through surfaces, edges and foam to the room [J].
        latent_j: With the water that evaporated, as latent heat [J].
        carried_j: With the same water, as its warmth over 0 °C, less that of
            the air in its place [J]; of the little that is expected to go next
            beforehand, since media are held as dry as that.
        stored_j: More in mats and media than in the beginning, over 0 °C [J].
        poured_kg: Water poured [kg].
        drained_kg: Water that ran out [kg].
        evaporated_kg: Water that evaporated; below 0: dew [kg].
        stored_kg: More water in the media than in the beginning [kg].
    """

    heater_j: float = 0.0
    light_j: float = 0.0
    unmeasured_j: float = 0.0
    poured_j: float = 0.0
    drained_j: float = 0.0
    lost_j: float = 0.0
    latent_j: float = 0.0
    carried_j: float = 0.0
    stored_j: float = 0.0
    poured_kg: float = 0.0
    drained_kg: float = 0.0
    evaporated_kg: float = 0.0
    stored_kg: float = 0.0

    def came_j(self) -> float:
        """Return the heat that came in [J]."""
        return self.heater_j + self.light_j + self.unmeasured_j + self.poured_j

    def went_j(self) -> float:
        """Return the heat that went out or is stored [J]."""
        gone = self.lost_j + self.latent_j + self.carried_j + self.drained_j
        return gone + self.stored_j
