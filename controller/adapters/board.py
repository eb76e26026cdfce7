"""What a board says of itself: clock, disk, card, supply.

What may live here: reading the kernel's files. What to think of it is for others.
Every file may be missing: on another kind of board it is.
"""

import os
import shutil
from dataclasses import dataclass
from pathlib import Path

SYS = Path("/sys")


@dataclass(frozen=True, slots=True)
class BoardFacts:
    """What was found; None: this board does not say.

    Attributes:
        clock_ok: Whether the kernel says that a time server keeps the clock right.
        folder: Where the season log lies.
        free_bytes: Room there [B].
        writable: Whether something can be written there.
        fs_errors: Errors that its file system has counted (ext4: errors_count).
        life_used: Tenths of its life that a soldered card has used, 1 to 11, as
            JEDEC eMMC 5.0 has it (DEVICE_LIFE_TIME_EST); plain cards say nothing.
        reserve: 1: normal, 2: 80 % of the reserve blocks used, 3: 90 % (the same
            standard, PRE_EOL_INFO).
        low_supply: Whether the supply was too weak since the start.
    """

    clock_ok: bool
    folder: Path
    free_bytes: int | None
    writable: bool
    fs_errors: int | None = None
    life_used: int | None = None
    reserve: int | None = None
    low_supply: bool | None = None


def board_facts(folder: Path, *, clock_ok: bool, sys: Path = SYS) -> BoardFacts:
    """Look at this board.

    Args:
        folder: Where the season log lies.
        clock_ok: What the clock says of itself.
        sys: Where the kernel shows its devices.
    """
    device = _device(folder, sys)
    lives = _words(device / "device" / "life_time") if device else []
    return BoardFacts(
        clock_ok=clock_ok,
        folder=folder,
        free_bytes=_free(folder),
        writable=os.access(folder, os.W_OK),
        fs_errors=_fs_errors(folder, sys),
        life_used=max((n for n in map(_hex, lives) if n is not None), default=None),
        reserve=_hex(_words(device / "device" / "pre_eol_info")[:1])
        if device
        else None,
        low_supply=_low_supply(sys),
    )


def _free(folder: Path) -> int | None:
    try:
        return shutil.disk_usage(folder).free
    except OSError:
        return None


def _partition(folder: Path, sys: Path) -> Path | None:
    try:
        number = folder.stat().st_dev
        link = sys / "dev" / "block" / f"{os.major(number)}:{os.minor(number)}"
        return link.resolve(strict=True)
    except OSError:
        return None


def _device(folder: Path, sys: Path) -> Path | None:
    """Return the whole device that a folder lies on."""
    part = _partition(folder, sys)
    if part is None:
        return None
    return part.parent if (part / "partition").exists() else part


def _fs_errors(folder: Path, sys: Path) -> int | None:
    part = _partition(folder, sys)
    words = _words(sys / "fs" / "ext4" / part.name / "errors_count") if part else []
    return int(words[0]) if words and words[0].isdecimal() else None


def _low_supply(sys: Path) -> bool | None:
    # Linux kernel, Documentation/hwmon/raspberrypi-hwmon: in0_lcrit_alarm
    for chip in (sys / "class" / "hwmon").glob("*"):
        if _words(chip / "name") == ["rpi_volt"]:
            return _words(chip / "in0_lcrit_alarm") == ["1"]
    return None


def _words(file: Path) -> list[str]:
    try:
        return file.read_text(encoding="ascii").split()
    except (OSError, UnicodeDecodeError):
        return []


def _hex(words: str | list[str]) -> int | None:
    word = words if isinstance(words, str) else next(iter(words), "")
    try:
        return int(word, 16)
    except ValueError:
        return None
