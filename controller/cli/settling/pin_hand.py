"""A relay on a pin of this board, tried by hand: it drops out by itself, too."""

from controller.adapters.contacts import Contacts
from controller.adapters.gpio import Pin
from controller.adapters.relay_words import lease_payload
from controller.cli.relay_trial import LEASE_MS
from controller.core.scan import RelayReport
from controller.ports import Clock

_RUN = "setup"


class PinHand:
    """Implements relay_trial.Hand for a pin.

    Args:
        pin: Its name.
        clock: Where time comes from.
        active_low: Whether the low level switches on.

    Raises:
        PinError: It cannot be used.
    """

    def __init__(self, pin: str, clock: Clock, *, active_low: bool) -> None:
        self._seq = 0
        self._contacts = Contacts(
            {pin: Pin(pin, active_low=active_low)},
            lambda: clock.now().run_ms,
            lambda *_: None,
            lambda *_: None,
        )
        self._pin = pin
        self._contacts.start()

    async def off(self) -> None:
        """Switch it off."""
        self._say(energised=False)

    async def on(self) -> None:
        """Switch it on for LEASE_MS."""
        self._say(energised=True)

    async def reported(self, *, energised: bool, within_ms: int) -> RelayReport | None:
        """A pin says nothing of itself."""
        del energised, within_ms
        return None

    def close(self) -> None:
        """Switch it off for good."""
        self._contacts.close()

    def _say(self, *, energised: bool) -> None:
        self._seq += 1
        word = lease_payload(
            energised=energised, run=_RUN, seq=self._seq, valid_for_ms=LEASE_MS
        )
        self._contacts.obey(self._pin, word.encode(), retained=False)
