"""The service manager, told how the daemon is: sd_notify(3), by hand.

One datagram for each thing to be said, to the socket that the manager names in
the environment; where it names none, silence. What may live here: those
datagrams. Nothing here counts time: the daemon feeds with finished scans, so
that a daemon which hangs is noticed by its silence.
"""

import contextlib
import os
import socket
from collections.abc import Iterator, Mapping

SCANS_PER_WATCH = 3
"""Chosen: one scan that took long is no hung daemon."""


class ServiceManager:
    """Implements ports.Watchdog.

    Args:
        address: NOTIFY_SOCKET: a path, or a name in the abstract namespace
            that begins with "@"; empty: nobody listens.
    """

    def __init__(self, address: str = "") -> None:
        self._address = f"\0{address[1:]}" if address.startswith("@") else address

    def busy(self, status: str, at_most_s: int) -> None:
        """Say that the start takes longer, and for how long at most [s]."""
        self._say(
            f"EXTEND_TIMEOUT_USEC={at_most_s * 1_000_000}\nSTATUS={_one_line(status)}"
        )

    def ready(self) -> None:
        """Say that the first scan is finished."""
        self._say("READY=1")

    def fed(self, status: str) -> None:
        """Say that a scan is finished, and how the bench is."""
        self._say(f"WATCHDOG=1\nSTATUS={_one_line(status)}")

    def stopping(self, cause: str) -> None:
        """Say that the daemon ends, every mat told off, and why."""
        self._say(f"STOPPING=1\nSTATUS={_one_line(cause)}")

    def _say(self, words: str) -> None:
        """Send a datagram; a manager that does not listen stops nobody."""
        if not self._address:
            return
        with (
            contextlib.suppress(OSError),
            socket.socket(
                socket.AF_UNIX, socket.SOCK_DGRAM | socket.SOCK_CLOEXEC
            ) as out,
        ):
            out.setblocking(False)  # noqa: FBT003
            out.sendto(words.encode("utf-8", "replace"), self._address)


def service_manager(environ: Mapping[str, str]) -> ServiceManager:
    """Return who listens, by the environment's NOTIFY_SOCKET."""
    address = environ.get("NOTIFY_SOCKET", "")
    return ServiceManager(address if address.startswith(("/", "@")) else "")


def watchdog_worries(environ: Mapping[str, str], scan_ms: int) -> Iterator[str]:
    """Yield what is wrong with how the service manager watches, in words.

    Args:
        environ: The environment: NOTIFY_SOCKET, WATCHDOG_USEC, WATCHDOG_PID.
        scan_ms: From scan to scan [ms].
    """
    address = environ.get("NOTIFY_SOCKET", "")
    if address and not address.startswith(("/", "@")):
        yield (
            f"NOTIFY_SOCKET = {address}: must be a path or begin with @;"
            " the service manager is told nothing"
        )
    watch_us = environ.get("WATCHDOG_USEC", "")
    if environ.get("WATCHDOG_PID", str(os.getpid())) != str(os.getpid()):
        return  # another process of this service is meant
    if watch_us.isdecimal() and int(watch_us) < SCANS_PER_WATCH * scan_ms * 1000:
        yield (
            f"the service manager ends the daemon after {int(watch_us) / 1e6:g} s"
            f" without a scan, and scans come every {scan_ms / 1000:g} s: set"
            f" WatchdogSec to {SCANS_PER_WATCH * scan_ms / 1000:g} s or more"
        )


def _one_line(text: str) -> str:
    return " ".join(text.split())
