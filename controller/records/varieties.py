"""What came of each variety, and what follows for next season.

A batch that goes on counts as stuck and not yet as a result. Where nobody told how
many rooted, what was seen for certain stands in, and is said to be "at least". What
may live here: from batches to results, and from results to a word of advice.
"""

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from enum import StrEnum

from controller.records.batches import BatchKind
from controller.records.book import BatchFile
from controller.records.evidence import emerged_in, rooted_in
from controller.records.stages import alive_after_six_weeks, plants
from controller.records.sticking import (
    Counted,
    chance_below,
    how_many,
    how_many_seen,
)

SURETY = 0.9
HOPELESS_RATE = 0.15
"""Chosen: where the rate lies below this, nineteen to one, another way is better."""

_SURE = 0.95
_FEWER, _MORE = 0.75, 1.25
"""Chosen: by less than a quarter nobody changes what he sticks."""


class Verdict(StrEnum):
    """What to do with a variety next season."""

    WAIT = "wait"
    KEEP = "keep"
    FEWER = "fewer"
    MORE = "more"
    DROP = "drop"
    TELL_WANTED = "say-how-many-are-wanted"


@dataclass(frozen=True, slots=True)
class Result:
    """What came of some batches.

    Attributes:
        batches: How many were stuck.
        open: How many of them go on.
        wanted: Plants wanted, summed up; None: nobody said.
        stuck: Cuttings or seeds stuck, sentinels not counted.
        rooted: Of batches that ended: how many rooted, of how many stuck.
        at_least: Whether the former is only what was seen for certain.
        alive: Six weeks after potting: how many lived, of how many stuck.
        here: Plants that should be there now.
    """

    batches: int
    open: int
    wanted: int | None
    stuck: int
    rooted: Counted
    at_least: bool
    alive: Counted
    here: int

    @property
    def basis(self) -> Counted:
        """What a next season is reckoned from: alive where known, else rooted."""
        return self.alive if self.alive.of else self.rooted

    @property
    def from_alive(self) -> bool:
        """Whether that is of plants alive, and not only rooted."""
        return self.alive.of > 0


@dataclass(frozen=True, slots=True)
class Next:
    """What follows for next season.

    Attributes:
        verdict: In a word.
        sentence: In a sentence.
        stick: How many, at the rate that was seen; None: no number helps.
        stick_widened: How many, since that rate is uncertain; None: no number.
        give_away: Plants more than are wanted, now.
    """

    verdict: Verdict
    sentence: str
    stick: int | None
    stick_widened: int | None
    give_away: int


@dataclass(frozen=True, slots=True)
class Row:
    """A group of batches with what came of them.

    Attributes:
        key: What they have in common.
        result: What came of them.
    """

    key: str
    result: Result


@dataclass(frozen=True, slots=True)
class Variety:
    """One variety.

    Attributes:
        crop: What it is.
        cultivar: Which one.
        codes: Its batches.
        result: What came of all of them.
        by_medium: And apart, by medium.
        by_source: By where they came from, and the mother plant.
        by_month: By when they were stuck.
        next: What follows.
    """

    crop: str
    cultivar: str
    codes: tuple[str, ...]
    result: Result
    by_medium: tuple[Row, ...]
    by_source: tuple[Row, ...]
    by_month: tuple[Row, ...]
    next: Next


def varieties(
    files: Iterable[BatchFile],
    now_utc_ms: int,
    month: Callable[[int], str],
    surety: float = SURETY,
) -> list[Variety]:
    """Return what came of each variety, in order of their names.

    Args:
        files: Batches; those that are not stuck yet are left out.
        now_utc_ms: The present [ms].
        month: Returns the local month of a time [ms], such as "2027-02".
        surety: With which chance enough plants shall come of it.
    """
    groups: dict[tuple[str, str], list[BatchFile]] = {}
    for file in files:
        if file.batch.stuck_utc_ms is not None and not file.batch.withdrawn:
            name = file.batch.crop.strip(), file.batch.cultivar.strip()
            groups.setdefault(name, []).append(file)
    return [
        _variety(name, groups[name], now_utc_ms, month, surety)
        for name in sorted(groups, key=lambda name: (name[0].lower(), name[1].lower()))
    ]


def _variety(
    name: tuple[str, str],
    files: Sequence[BatchFile],
    now_utc_ms: int,
    month: Callable[[int], str],
    surety: float,
) -> Variety:
    def rows(key: Callable[[BatchFile], str]) -> tuple[Row, ...]:
        keys = sorted({key(file) for file in files})
        return tuple(
            Row(one, result([f for f in files if key(f) == one], now_utc_ms))
            for one in keys
        )

    whole = result(files, now_utc_ms)
    return Variety(
        *name,
        tuple(file.code for file in files),
        whole,
        rows(lambda file: file.batch.medium or "not told"),
        rows(_source),
        rows(lambda file: month(file.batch.stuck_utc_ms or 0)),
        follows(whole, surety),
    )


def _source(file: BatchFile) -> str:
    told = [part for part in (file.batch.source, file.batch.mother) if part]
    return ", ".join(told) or "not told"


def result(files: Sequence[BatchFile], now_utc_ms: int) -> Result:
    """Return what came of some batches that were stuck."""
    ended = [file for file in files if file.closing is not None]
    wanted = [f.batch.wanted for f in files if f.batch.wanted is not None]
    told = [[stage for _, stage in file.stages] for file in files]
    alive = [alive_after_six_weeks(stages, now_utc_ms) for stages in told]
    sure = [rooted_of(file) for file in ended]
    return Result(
        batches=len(files),
        open=len(files) - len(ended),
        wanted=sum(wanted) if wanted else None,
        stuck=sum(_stuck(file) for file in files),
        rooted=Counted(sum(n for n, _ in sure), sum(map(_stuck, ended))),
        at_least=any(not certain for _, certain in sure),
        alive=Counted(
            sum(n for n in alive if n is not None),
            sum(_stuck(f) for f, n in zip(files, alive, strict=True) if n is not None),
        ),
        here=sum(plants(stages).here for stages in told),
    )


def _stuck(file: BatchFile) -> int:
    return file.batch.count or 0


def rooted_of(file: BatchFile) -> tuple[int, bool]:
    """Return how many of a batch rooted, or emerged, and whether that was told."""
    if file.closing is not None and file.closing.rooted is not None:
        return file.closing.rooted, True
    seed = file.batch.kind is BatchKind.SEED
    seen = [
        emerged_in(look) if seed else rooted_in(look).at_least for _, look in file.looks
    ]
    potted = plants(stage for _, stage in file.stages).potted
    return max([potted, *seen]), False


def follows(found: Result, surety: float) -> Next:
    """Return what follows of a result for next season.

    Args:
        found: What came of a variety.
        surety: With which chance enough plants shall come of it.
    """
    basis, wanted = found.basis, found.wanted
    give = max(0, found.here - (wanted or 0)) if wanted is not None else 0
    if not basis.of:
        return Next(Verdict.WAIT, "no batch has ended yet", None, None, give)
    if wanted is None:
        sentence = "say how many plants are wanted, and the numbers follow"
        return Next(Verdict.TELL_WANTED, sentence, None, None, give)
    known = how_many(wanted, surety, basis.rate or 0.0) if basis.good else None
    widened = how_many_seen(wanted, surety, basis)
    verdict, sentence = _verdict(found, widened)
    return Next(verdict, sentence, known if wanted else 0, widened, give)


def _verdict(found: Result, widened: int | None) -> tuple[Verdict, str]:
    basis, wanted = found.basis, found.wanted
    how = "lived" if found.from_alive else "rooted"
    seen = f"{basis.good} of {basis.of} {how}"
    if not wanted:
        return Verdict.DROP, "none are wanted"
    if widened is None or chance_below(HOPELESS_RATE, basis) >= _SURE:
        return Verdict.DROP, f"{seen}: drop it, or change how it is done"
    of = found.stuck
    for verdict, so in (
        (Verdict.FEWER, widened <= _FEWER * of),
        (Verdict.MORE, widened > _MORE * of),
    ):
        if so:
            return verdict, f"{seen}: stick {widened} for {wanted} plants, not {of}"
    return Verdict.KEEP, f"{seen}: {of} were about right for {wanted} plants"


# ---------------------------------------------------------------------------- space


def area_mm2(cuttings: int, spacing_mm: float) -> float:
    """Return what room cuttings take on a square grid [mm²].

    Raises:
        ValueError: The spacing is none.
    """
    if not 0 < spacing_mm <= 1_000:  # noqa: PLR2004
        raise ValueError(f"spacing: found {spacing_mm:g} mm: must be from 1 to 1000")
    return cuttings * spacing_mm**2
