"""Pins of this board, by gpiozero: the only module that knows it.

It is an extra, imported when a pin is asked for. What may live here: opening
and closing pins, and the mats that are switched by one.
"""

from collections import deque
from collections.abc import Mapping, Sequence
from typing import Protocol, cast

from controller.adapters.contacts import Contacts, Output
from controller.adapters.lease import Lease
from controller.adapters.relay_words import lease_payload
from controller.core.decisions import Command
from controller.core.scan import RelayReport
from controller.core.units import Millis
from controller.ports import Arrivals, Clock
from controller.wiring import Wiring


class PinError(Exception):
    """A pin cannot be used; the message says why and what may help."""


class _Device(Protocol):
    """The part of gpiozero's DigitalOutputDevice that is used."""

    def on(self) -> None: ...
    def off(self) -> None: ...


class Pin:
    """A pin that drives a relay; low or high, whichever is off, from the start.

    Args:
        name: As gpiozero takes it: "GPIO17", "17", "BOARD11".
        active_low: Whether the low level switches the relay on.

    Raises:
        PinError: gpiozero is missing, or there is no such pin, or it is taken.
    """

    def __init__(self, name: str, *, active_low: bool = False) -> None:
        self._device = _opened(name, active_low=active_low)

    def on(self) -> None:
        """Switch the relay on."""
        self._device.on()

    def off(self) -> None:
        """Switch the relay off."""
        self._device.off()


def _opened(name: str, *, active_low: bool) -> _Device:
    try:
        import gpiozero  # noqa: PLC0415 (an extra)
    except ImportError as error:
        message = (
            f"pin {name}: gpiozero is not installed; it needs bottomheat[board] and"
            " a pin library for the board, such as lgpio"
        )
        raise PinError(message) from error
    try:
        device = gpiozero.DigitalOutputDevice(
            name, active_high=not active_low, initial_value=False
        )
    except Exception as error:  # every pin library has its own
        message = (
            f"pin {name} cannot be used: {error}; is it free and in this board's"
            " numbering, such as GPIO17, and may this user drive pins?"
        )
        raise PinError(message) from error
    return cast("_Device", device)


class PinRelays:
    """Implements ports.Relay and ports.ScanSource for mats on pins of this board.

    A pin keeps its level whatever becomes of the program, so that each is given
    a lease here too, watched by a thread: scans that hang do not hold it on.

    Args:
        outputs: What switches each mat, by the mat's name.
        clock: The bench's clock.
        run: Identity of the run.
        valid_for_ms: How long an "on" holds [ms].
    """

    def __init__(
        self,
        outputs: Mapping[str, Output],
        clock: Clock,
        *,
        run: str,
        valid_for_ms: int,
    ) -> None:
        self._clock = clock
        self._run = run
        self._valid_for_ms = valid_for_ms
        self._mats = frozenset(outputs)
        self._dropped: deque[RelayReport] = deque(maxlen=100)
        self._trouble = ""
        self._contacts = Contacts(outputs, self._now_ms, self._changed, self._failed)

    async def send(self, commands: Sequence[Command], seq: int) -> None:
        """Switch the mats that are here; never waits."""
        for command in commands:
            if command.mat in self._mats:
                said = lease_payload(
                    energised=command.energised,
                    run=self._run,
                    seq=seq,
                    valid_for_ms=self._valid_for_ms,
                )
                self._contacts.obey(command.mat, said.encode(), retained=False)

    def take(self) -> Arrivals:
        """Return which contacts dropped out by themselves, and forget it."""
        dropped = [self._dropped.popleft() for _ in range(len(self._dropped))]
        return Arrivals(relay_reports=tuple(dropped))

    def link_up(self) -> bool:
        """There is no link to lose."""
        return True

    async def serve(self) -> None:
        """Watch the leases until cancelled; every mat here is off then.

        Raises:
            PinError: A pin could not be switched.
        """
        self._contacts.start()
        try:
            while not self._trouble:
                now_ms = self._clock.now().run_ms
                await self._clock.sleep_until(now_ms + 1_000)
        finally:
            self._contacts.close()
        raise PinError(self._trouble)

    def _now_ms(self) -> int:
        return self._clock.now().run_ms

    def _changed(self, mat: str, lease: Lease) -> None:
        if lease.reason == "lease":
            at_ms = Millis(self._now_ms())
            self._dropped.append(
                RelayReport(
                    mat, at_ms, energised=False, seq=lease.seq, reason=lease.reason
                )
            )

    def _failed(self, mat: str, error: Exception) -> None:
        self._trouble = f"mat {mat}: its pin could not be switched: {error}"


def pin_relays(
    wiring: Wiring, clock: Clock, *, run: str, valid_for_ms: int
) -> PinRelays | None:
    """Return the mats on pins of this board, each switched off; None: there are none.

    Raises:
        PinError: A pin cannot be used.
    """
    outputs = {
        wire.mat: Pin(wire.pin, active_low=wire.active_low)
        for wire in wiring.relays
        if wire.pin is not None
    }
    if not outputs:
        return None
    return PinRelays(outputs, clock, run=run, valid_for_ms=valid_for_ms)
