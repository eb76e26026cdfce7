"""Ways to damage the files of a season log, each made from its number alone."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from random import Random

from tests.campaigns.logs.pages import PAGE, SECTOR
from tests.campaigns.logs.season import SEASONS

Files = dict[str, bytearray]
Pages = Mapping[str, list[int]]

AIMS = (
    *("reading", "scan", "series", "folded", "block", "snapshot", "run", "clock"),
    *("name", "command", "doubt", "alarm_change", "request", "note", "ending"),
    *("relay_report", "lost", "record", "meta", "freelist", "header"),
)
"""What flips are aimed at, one after the other."""


@dataclass(frozen=True)
class Damage:
    """A damaged season log.

    Attributes:
        number: Of the case.
        season: How the log had been left.
        kind: What was done, for the table.
        words: What was done, exactly.
        files: What is left, by what is added to the log's name.
        tail: Whether the "-wal" was hit: what was committed last may be gone
            as if a power cut had come before, and SQLite says nothing of it.
    """

    number: int
    season: str
    kind: str
    words: str
    files: Mapping[str, bytes]
    tail: bool


def damaged(
    seed: int, number: int, files: Mapping[str, Mapping[str, bytes]], pages: Pages
) -> Damage:
    """Return the damage of a number: flips if it is even, else a truncation.

    Args:
        seed: Another seed, other damage.
        number: Of the case.
        files: The files of a log, by how it was left.
        pages: The pages of the log left in good order, by what they hold.
    """
    rng = Random(f"{seed} damage {number}")
    season = SEASONS[number // 2 % len(SEASONS)]
    whole = {name: bytearray(content) for name, content in files[season].items()}
    turn = number // 2
    if number % 2:
        kind, words = _cut(rng, turn, whole)
    else:
        kind, words = _hit(rng, turn, whole, pages, season)
    left = {name: bytes(content) for name, content in whole.items()}
    hit = left.get("-wal") != files[season].get("-wal")
    return Damage(number, season, kind, words, left, hit)


def _hit(
    rng: Random, turn: int, files: Files, pages: Pages, season: str
) -> tuple[str, str]:
    if turn % 3 == 0 and season == "closed":
        return _aimed(rng, turn // 3, files, pages)
    if turn % 3 == 1 and "-wal" in files and rng.random() < 0.5:
        return _on("-wal", rng, files, _one_bit)
    ways = (_one_bit, _bytes, _zeroed_page, _noisy_page, _zeroed_sector, _swapped)
    name = rng.choice(sorted(files)) if rng.random() < 0.3 else ""
    return _on(name, rng, files, ways[rng.randrange(len(ways))])


Way = Callable[[Random, bytearray], tuple[str, str]]


def _on(name: str, rng: Random, files: Files, way: Way) -> tuple[str, str]:
    kind, words = way(rng, files[name])
    return f"{kind}{', -wal' if name else ''}", f"{words} of season.db{name}"


def _aimed(rng: Random, turn: int, files: Files, pages: Pages) -> tuple[str, str]:
    aim = AIMS[turn % len(AIMS)]
    page = rng.choice(pages[aim])
    start = (page - 1) * PAGE
    # The head of a page says where its rows are: one bit there moves or hides them.
    within = rng.randrange(16) if rng.random() < 0.5 else rng.randrange(PAGE)
    if within < 16 and page == 1:
        within += rng.choice((0, 16, 32, 48, 92, 100))
    if rng.random() < 0.5:
        within = _in_use(rng, files[""], start) or within
    bit = rng.randrange(8)
    files[""][start + within] ^= 1 << bit
    return f"one bit, {aim} page", f"bit {bit} of byte {within} in page {page}"


def _in_use(rng: Random, content: bytearray, start: int) -> int | None:
    used = [n for n in range(PAGE) if content[start + n]]
    return rng.choice(used) if used else None


def _one_bit(rng: Random, content: bytearray) -> tuple[str, str]:
    at, bit = rng.randrange(len(content)), rng.randrange(8)
    content[at] ^= 1 << bit
    return "one bit", f"bit {bit} of byte {at}"


def _bytes(rng: Random, content: bytearray) -> tuple[str, str]:
    at, length = rng.randrange(len(content)), rng.choice((1, 2, 3, 8, 40, 300))
    noise = rng.randbytes(length)[: len(content) - at]
    content[at : at + length] = noise
    return "some bytes", f"{len(noise)} bytes from {at} on"


def _zeroed_page(rng: Random, content: bytearray) -> tuple[str, str]:
    at = PAGE * rng.randrange(len(content) // PAGE)
    content[at : at + PAGE] = bytes(PAGE)
    return "page of zeros", f"page {at // PAGE + 1}"


def _noisy_page(rng: Random, content: bytearray) -> tuple[str, str]:
    at = PAGE * rng.randrange(len(content) // PAGE)
    content[at : at + PAGE] = rng.randbytes(PAGE)
    return "page of noise", f"page {at // PAGE + 1}"


def _zeroed_sector(rng: Random, content: bytearray) -> tuple[str, str]:
    at = SECTOR * rng.randrange(len(content) // SECTOR)
    content[at : at + SECTOR] = bytes(SECTOR)
    return "sector of zeros", f"512 bytes from {at} on"


def _swapped(rng: Random, content: bytearray) -> tuple[str, str]:
    size = rng.choice((SECTOR, PAGE))
    here, there = (size * n for n in rng.sample(range(len(content) // size), 2))
    one, other = content[here : here + size], content[there : there + size]
    content[here : here + size], content[there : there + size] = other, one
    what = "pages" if size == PAGE else "sectors"
    return f"{what} swapped", f"{size} bytes at {here} and {there}"


def _cut(rng: Random, turn: int, files: Files) -> tuple[str, str]:
    name = "-wal" if "-wal" in files and turn % 2 else ""
    content = files[name]
    size = len(content)
    left = (
        rng.randrange(size),
        PAGE * rng.randrange(size // PAGE),
        size - rng.randrange(1, 3 * PAGE),
        rng.randrange(2 * PAGE),
    )[turn // 2 % 4]
    del content[left:]
    kind = "-wal cut short" if name else "cut short"
    return kind, f"season.db{name} after {left} of {size} bytes"
