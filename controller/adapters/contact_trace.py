"""A record of a contact's every switching, for who wants to prove its timing."""

import queue
import threading
from pathlib import Path

from controller.adapters.clocks import run_clock_ns
from controller.adapters.lease import Lease

CLOSE_S = 2.0


class ContactTrace:
    """Appends a line at each switching; a thread of its own writes it.

    A line is "NANOSECONDS on|off REASON TOPIC": since the board started, as
    /proc/uptime counts; taken after the switching.

    Args:
        path: The file; made if it is missing.

    Raises:
        OSError: It cannot be written.
    """

    def __init__(self, path: Path) -> None:
        self._file = path.open("a", encoding="utf-8", buffering=1)
        self._lines: queue.SimpleQueue[str | None] = queue.SimpleQueue()
        self._last: dict[str, bool] = {}
        self._writer = threading.Thread(target=self._write, daemon=True)
        self._writer.start()

    def note(self, topic: str, lease: Lease) -> None:
        """Note a contact; renewals and other news are left out. Never waits."""
        if self._last.get(topic) is lease.energised:
            return
        self._last[topic] = lease.energised
        word = "on" if lease.energised else "off"
        self._lines.put(f"{run_clock_ns()} {word} {lease.reason} {topic}\n")

    def close(self) -> None:
        """Write what is left and close."""
        self._lines.put(None)
        self._writer.join(CLOSE_S)

    def _write(self) -> None:
        with self._file:
            while (line := self._lines.get()) is not None:
                self._file.write(line)
