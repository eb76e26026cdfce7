"""The first part: season logs with bytes altered, zeroed, swapped or cut off."""

import os
import signal
import tempfile
import traceback
from collections import Counter, defaultdict
from collections.abc import Iterator, Mapping, Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass, field
from functools import cache
from multiprocessing import get_context
from pathlib import Path

from tests.campaigns.logs.asking import Found, Truth, asked, truth
from tests.campaigns.logs.damage import Damage, Pages, damaged
from tests.campaigns.logs.going_on import LATER_MS, Start, lay, started, written_on
from tests.campaigns.logs.pages import pages_by_kind
from tests.campaigns.logs.season import PROBES, SEASONS, Season, written

HOURS = 48.0
TOO_LONG_S = 120
"""A case that takes more processor time than this hangs."""

_QUICK = Path("/dev/shm")  # noqa: S108


@dataclass(frozen=True)
class Ground:
    """A whole season, and what is known of it."""

    season: Season
    pages: Pages
    known: Mapping[str, Truth]


@dataclass
class Case:
    """What became of one damaged log."""

    damage: str
    kind: str
    number: int
    asked: Found = field(default_factory=Found)
    starts: list[Start] = field(default_factory=list)
    writer: Start = field(default_factory=lambda: Start("-"))
    after: Found = field(default_factory=Found)
    broke: str = ""

    @property
    def wrong(self) -> list[str]:
        """What does not hold, one line each."""
        found = [f"asked: {words}" for words in self.asked.wrong]
        found += [f"asked after the writer: {words}" for words in self.after.wrong]
        found += [f"start: {w}" for start in self.starts for w in start.wrong]
        found += [
            f"the second start: {start.outcome}: {start.said}"
            for start in self.starts[1:]
            if start.outcome in {"refused", "log fails"}
        ]
        found += [f"writer: {words}" for words in self.writer.wrong]
        return found + ([self.broke] if self.broke else [])


@cache
def ground(hours: float) -> Ground:
    """Return the season that is damaged, written once."""
    season = written(hours)
    known, pages = {}, {}
    with tempfile.TemporaryDirectory() as folder:
        for how in SEASONS:
            path = lay(Path(folder) / how, season.files[how])
            known[how] = truth(path, season)
            if how == "closed":
                pages = pages_by_kind(path)
    return Ground(season, pages, known)


def cases(
    seed: int, count: int, jobs: int, *, first: int = 0, hours: float = HOURS
) -> Iterator[Case]:
    """Yield what became of so many damaged logs."""
    numbers = range(first, first + count)
    ground(hours)  # before the processes are made, which then have it too
    if jobs == 1:
        yield from (a_case(seed, number, hours) for number in numbers)
        return
    with ProcessPoolExecutor(jobs, get_context("fork")) as pool:
        waiting = [pool.submit(a_case, seed, n, hours) for n in numbers]
        for future in waiting:
            yield future.result()


def a_case(seed: int, number: int, hours: float) -> Case:
    """Damage a log, ask it everything, start on it twice, and let it be written."""
    on = ground(hours)
    damage = damaged(seed, number, on.season.files, on.pages)
    case = Case(f"{damage.season}: {damage.words}", damage.kind, number)
    signal.signal(signal.SIGPROF, _hangs)
    signal.setitimer(signal.ITIMER_PROF, TOO_LONG_S)
    place = _QUICK if _QUICK.is_dir() else None
    try:
        with tempfile.TemporaryDirectory(prefix="damage-", dir=place) as folder:
            _treated(case, damage, on, Path(folder))
    except Exception as error:  # noqa: BLE001 - whatever comes is the finding
        where = traceback.extract_tb(error.__traceback__)[-1]
        place = f"{os.path.basename(where.filename)}:{where.lineno}"  # noqa: PTH119
        case.broke = f"{type(error).__name__} in {place}: {error}"
    finally:
        signal.setitimer(signal.ITIMER_PROF, 0)
    return case


def _hangs(*_: object) -> None:
    message = f"took more than {TOO_LONG_S} s"
    raise TimeoutError(message)


def _treated(case: Case, damage: Damage, on: Ground, folder: Path) -> None:
    known, plan = on.known[damage.season], on.season.plan
    path = lay(folder / "asked", damage.files)
    case.asked = asked(path, known, tail=damage.tail)
    path = lay(folder / "started", damage.files)
    case.starts = [started(path, plan, hour) for hour in (0, 1)]
    path = lay(folder / "written", damage.files)
    case.writer = written_on(path, plan, LATER_MS, 8)
    some = [PROBES[(damage.number + n) % len(PROBES)] for n in (0, 4)]
    case.after = asked(path, known, tail=damage.tail, probes=some, quick=True)


def table(found: Sequence[Case]) -> str:
    """Return what was done, how often, and what came of it."""
    by: dict[str, list[Case]] = defaultdict(list)
    for case in found:
        by[case.kind].append(case)
    columns = ("detected", "harmless", "lost tail", "WRONG")
    line = "{:28} {:>4} {:>9} {:>9} {:>10} {:>6}"
    lines = [line.format("damage", "n", *columns)]
    for kind, some in [*sorted(by.items()), ("all", list(found))]:
        counts = Counter(case.asked.outcome for case in some)
        lines.append(line.format(kind, len(some), *(counts[one] for one in columns)))
    for number, what in enumerate(("first start", "second start")):
        counts = Counter(case.starts[number].outcome for case in found if case.starts)
        lines.append(f"{what}: {_counted(counts)}")
    pairs = Counter(_pair(case) for case in found if case.starts)
    lines.append(f"first, then second: {_counted(pairs)}")
    lines.append(f"writer: {_counted(Counter(case.writer.outcome for case in found))}")
    after = Counter(case.after.outcome for case in found)
    lines.append(f"asked after the writer: {_counted(after)}")
    said = sum((case.asked.said for case in found), Counter[str]())
    lines += [f"  {n:6} answers: {words}" for words, n in said.most_common(12)]
    refused = Counter(
        start.said.split("/season.db")[-1][:90]
        for case in found
        for start in (*case.starts, case.writer)
        if start.outcome in {"refused", "log fails"}
    )
    lines += [
        f"  {n:6} refused or failed: {words}" for words, n in refused.most_common(12)
    ]
    return "\n".join(lines)


def _pair(case: Case) -> str:
    return " > ".join(start.outcome for start in case.starts)


def _counted(counts: Counter[str]) -> str:
    return ", ".join(f"{what} {n}" for what, n in counts.most_common())


def failures(found: Sequence[Case]) -> list[str]:
    """Return what does not hold, one line each, with how to make it again."""
    return [
        f"damage {case.number} ({case.kind}; {case.damage}): {words}"
        for case in found
        for words in case.wrong[:1]
    ]
