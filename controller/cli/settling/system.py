"""The board that is set up, in earnest: its files, its commands, its names."""

import os
import socket
import subprocess
from collections.abc import Callable
from contextlib import suppress
from pathlib import Path

from controller.adapters.one_wire import DEVICES

BOOT_CONFIGS = ("boot/firmware/config.txt", "boot/config.txt")
"""Where boards of the Raspberry Pi kind keep what the kernel is told: Debian 12 and
later, and before."""

BEFORE = ".before-setup"


class Board:
    """A board, or a folder that stands for one.

    Args:
        root: Below which everything is written: "/" in earnest.
        tell: Told what is done, in words.
    """

    def __init__(self, root: Path, tell: Callable[[str], None]) -> None:
        self._root = root
        self._tell = tell

    @property
    def in_earnest(self) -> bool:
        """Whether files go where the system looks for them."""
        return self._root == Path("/")

    def write(self, path: str, text: str, mode: int) -> Path:
        """Write a file, whole or not at all; what was there before is kept once."""
        there = self._at(path)
        there.parent.mkdir(parents=True, exist_ok=True)
        kept = there.with_name(there.name + BEFORE)
        if there.exists() and not kept.exists():
            there.rename(kept)
            self._tell(f"  {there} was there: it is kept as {kept.name}")
        beside = there.with_name(there.name + ".new")
        beside.unlink(missing_ok=True)
        handle = os.open(beside, os.O_WRONLY | os.O_CREAT | os.O_EXCL, mode)
        with os.fdopen(handle, "w", encoding="utf-8") as file:
            file.write(text)
        beside.chmod(mode)
        beside.replace(there)
        self._tell(f"  wrote {there}")
        return there

    def run(self, *words: str) -> bool:
        """Run a command, or say which one a person would run."""
        if not self.in_earnest:
            self._tell(f"  not run, since {self._root} is no board: {' '.join(words)}")
            return True
        self._tell(f"  {' '.join(words)}")
        try:
            return subprocess.run(words, check=False).returncode == 0  # noqa: S603
        except OSError as error:
            self._tell(f"  {words[0]}: {error.strerror}")
            return False

    def one_wire_bus(self) -> bool:
        """Whether the kernel drives a one-wire bus."""
        return self._at(str(DEVICES)).is_dir()

    def boot_config(self) -> Path | None:
        """Return the file that switches the bus on at boot; None: there is none."""
        files = [self._root / name for name in BOOT_CONFIGS]
        return next((file for file in files if file.is_file()), None)

    def timezone(self) -> str:
        """Return the board's time zone; UTC where it says none."""
        with suppress(OSError, ValueError):
            found = self._at("/etc/localtime").resolve().parts
            return "/".join(found[found.index("zoneinfo") + 1 :])
        return "UTC"

    def name(self) -> str:
        """Return the name by which other boards reach this one, or its address."""
        with suppress(OSError), socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as out:
            out.connect(("192.0.2.1", 9))  # nobody's (RFC 5737): nothing is sent
            return str(out.getsockname()[0])
        return socket.gethostname()

    def _at(self, path: str) -> Path:
        return self._root / path.lstrip("/")
