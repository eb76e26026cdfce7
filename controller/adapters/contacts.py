"""Contacts that drop out by themselves when their lease ends.

A thread of its own watches the clock: a program that hangs, or waits for a
broker, must not hold a mat on. What may live here: the contacts and their watch.
Nothing here waits for a disk, a terminal or a network while a contact is on.
"""

import atexit
import threading
from collections.abc import Callable, Mapping
from dataclasses import replace
from typing import Protocol

from controller.adapters.lease import Lease, alike, expired, obeyed

LOOK_MS = 500
"""The watch looks at the clock at least this often, since a board that slept
wakes with waits that are too long [ms]."""

FROZEN_MS = 2_000
"""Chosen: a watch that did not look for this long was frozen, or its board
slept, and what is heard next may have waited as long [ms]."""


class Output(Protocol):
    """What closes a contact."""

    def on(self) -> None:
        """Close the contact."""
        ...

    def off(self) -> None:
        """Open it; harmless when it is open."""
        ...


class Contacts:
    """Contacts by name, each obeying by the rule of the lease. Any thread may call.

    Args:
        outputs: What is switched; each is switched off at once.
        now_ms: The clock of leases [ms]: monotonic, goes on while the board sleeps.
        changed: Told of every news of a contact. Must not wait: a contact that
            is due to drop out would wait with it.
        failed: Told when a contact could not be switched. Must not wait either.
    """

    def __init__(
        self,
        outputs: Mapping[str, Output],
        now_ms: Callable[[], int],
        changed: Callable[[str, Lease], None],
        failed: Callable[[str, Exception], None],
    ) -> None:
        self._outputs = outputs
        self._now_ms = now_ms
        self._changed = changed
        self._failed = failed
        self._leases = {name: Lease() for name in outputs}
        self._turn = threading.Condition()
        self._open = False
        self._looked_ms = now_ms()
        self._freezes = 0
        self._watch = threading.Thread(target=self._look, name="lease", daemon=True)
        for output in outputs.values():
            output.off()

    def start(self) -> None:
        """Begin to watch; before, no contact closes."""
        atexit.register(self.close)
        self._looked_ms = self._now_ms()
        self._open = True
        self._watch.start()
        for name, lease in self._leases.items():
            self._changed(name, lease)

    def lease(self, name: str) -> Lease:
        """Return what a contact holds."""
        with self._turn:
            return self._leases[name]

    def freezes(self) -> int:
        """Return how often the watch was frozen so far, now included."""
        with self._turn:
            self._notice_freeze(self._now_ms())
            return self._freezes

    def obey(self, name: str, payload: bytes, *, retained: bool) -> None:
        """Obey a command; what is retained, or may be old, never switches on."""
        with self._turn:
            now_ms = self._now_ms()
            lease = obeyed(self._leases[name], payload, now_ms, retained=retained)
            if lease.energised and not (self._open and self._watch.is_alive()):
                lease = replace(lease, energised=False)
            self._take(name, lease)
            self._turn.notify()

    def close(self, reason: str = "lost") -> None:
        """Open every contact for good."""
        with self._turn:
            self._open = False
            for name, lease in self._leases.items():
                why = reason if lease.energised else lease.reason
                self._take(name, replace(lease, energised=False, reason=why))
            self._turn.notify()
        atexit.unregister(self.close)

    # ------------------------------------------------- with the turn in hand

    def _take(self, name: str, lease: Lease) -> None:
        """Switch a contact; it is a level, said again with every command."""
        output = self._outputs[name]
        try:
            (output.on if lease.energised else output.off)()
        except Exception as error:  # noqa: BLE001 (every pin library has its own)
            # Whatever it is now, it counts as closed with a lease that has ended:
            # the watch tries again and again to open it.
            held = replace(lease, energised=True, until_ms=0, reason="command")
            self._leases[name] = held
            self._failed(name, error)
            return
        before, self._leases[name] = self._leases[name], lease
        if not alike(lease, before):
            self._changed(name, lease)

    def _look(self) -> None:
        with self._turn:
            while self._open:
                now_ms = self._now_ms()
                self._notice_freeze(now_ms)
                self._looked_ms = now_ms
                for name, lease in self._leases.items():
                    ended = expired(lease, now_ms)
                    if ended is not lease:
                        self._take(name, ended)
                self._turn.wait(self._pause_ms(now_ms) / 1000)

    def _pause_ms(self, now_ms: int) -> int:
        """Return how long nothing is due [ms]."""
        due = [lease.until_ms - now_ms for lease in self._leases.values()]
        return min([LOOK_MS, *(wait_ms for wait_ms in due if wait_ms > 0)])

    def _notice_freeze(self, now_ms: int) -> None:
        if self._open and now_ms - self._looked_ms > FROZEN_MS:
            self._freezes += 1
            self._looked_ms = now_ms
