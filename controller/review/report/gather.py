"""From a season log to what its report tells.

Scans are gone through once, in order; readings come in buckets and columns. What may
live here: collecting, without a picture and without words of its own.
"""

from collections import Counter
from collections.abc import Callable, Iterable, Sequence
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from typing import Protocol
from zoneinfo import ZoneInfo

from controller.core.decisions import AlarmChange
from controller.core.plan import MatPlan, ProbePlan, TrayPlan, all_trays
from controller.ports import (
    IMPORTED,
    Bucket,
    RecordedScan,
    RecordReader,
    RunHeader,
    SeasonReader,
)
from controller.records.book import BatchFile, Book, batches, events, fold, trials
from controller.records.trials import Trial
from controller.records.varieties import varieties
from controller.review.batch_hours import Hours, count_piece, pieces
from controller.review.degree_hours import recount
from controller.review.envelopes import Figures, added
from controller.review.recounted import Recount, Span, Thresholds
from controller.review.report.story import (
    BatchStory,
    MatStory,
    SeasonStory,
    TrayStory,
)
from controller.review.report.watched import Watched

POINTS = 480
"""Chosen: about a point for each line of pixels of a picture."""

BIN_MC = 250
"""Chosen: widths of the distribution of temperatures."""

_EPOCH = datetime(1970, 1, 1, tzinfo=UTC)

Scans = Callable[[RunHeader], Iterable[RecordedScan]]
AlarmWords = Callable[[AlarmChange], str]


class NothingToTellError(ValueError):
    """The log, or the stretch of it, holds no scan."""


class _Reader(SeasonReader, RecordReader, Protocol):
    """A season log with what people told of the bench."""


def gathered(
    reader: _Reader, span: Span, scans: Scans, alarm_words: AlarmWords
) -> SeasonStory:
    """Return what a log tells.

    Args:
        reader: The log.
        span: Which time.
        scans: Returns the scans of a run; each run is gone through once.
        alarm_words: What an alarm says.

    Raises:
        NothingToTellError: There is no scan in that time.
        ValueError: A wall clock lies outside of the years 1 to 9999.
    """
    headers = [one for one in reader.runs() if one.origin != IMPORTED]
    if not headers:
        raise NothingToTellError("the log has no run of a bench")
    watched = Watched(headers[-1].timezone, alarm_words)
    for header in headers:
        watched.begin(header)
        for recorded in scans(header):
            if _within(span, recorded.scan.utc_ms):
                watched.take(recorded)
            elif watched.first_ms is None:
                watched.pass_by(recorded)
    watched.end()
    if watched.first_ms is None or watched.last_ms is None:
        raise NothingToTellError("the log has no scan in that time")
    return _Told(reader, headers, watched, (watched.first_ms, watched.last_ms)).story()


def _within(span: Span, utc_ms: int) -> bool:
    begun = span.from_utc_ms is None or utc_ms >= span.from_utc_ms
    return begun and (span.to_utc_ms is None or utc_ms < span.to_utc_ms)


def _trials_of(book: Book, codes: set[str]) -> Iterable[tuple[str, Trial]]:
    """Yield the trials that have a batch among some."""
    for number, trial in trials(book):
        if any(unit.batch in codes for unit in trial.units):
            yield number, trial


class _Told:
    """A log, gone through, and the rest of what it tells."""

    def __init__(
        self,
        reader: _Reader,
        headers: Sequence[RunHeader],
        watched: Watched,
        ends_ms: tuple[int, int],
    ) -> None:
        self._reader, self._headers, self._watched = reader, headers, watched
        self._from_ms, self._to_ms = ends_ms[0], ends_ms[1] + 1

    def story(self) -> SeasonStory:
        """Return it."""
        last, watched = self._headers[-1], self._watched
        book = fold(Book(), self._reader.changes(0))
        files = [self._until_then(file) for file in batches(book)]
        stood = [file for file in files if self._stood(file)]
        return SeasonStory(
            bench=last.plan.bench,
            timezone=last.timezone,
            from_utc_ms=self._from_ms,
            to_utc_ms=self._to_ms,
            runs=watched.runs,
            origins=tuple(sorted(watched.origins)),
            scans=watched.scans,
            silent_ms=watched.silent_ms,
            mats=tuple(self._mat(mat) for mat in last.plan.mats),
            others=tuple(self._tray(tray) for tray in last.plan.trays),
            room=self._buckets(last.plan.room),
            alarms=watched.alarms(),
            batches=tuple(map(self._batch, stood)),
            events=[one for _, one in events(book) if self._is_in(one.utc_ms)],
            varieties=tuple(varieties(stood, self._to_ms, self._month)),
            trials=tuple(_trials_of(book, {file.code for file in stood})),
        )

    def _is_in(self, utc_ms: int) -> bool:
        return self._from_ms <= utc_ms < self._to_ms

    def _until_then(self, file: BatchFile) -> BatchFile:
        """Return a batch without what came after the end of this time."""
        closing = file.closing
        return replace(
            file,
            looks=tuple(one for one in file.looks if one[1].utc_ms < self._to_ms),
            moves=tuple(one for one in file.moves if one[1].utc_ms < self._to_ms),
            stages=tuple(one for one in file.stages if one[1].utc_ms < self._to_ms),
            closing=closing if closing and closing.utc_ms < self._to_ms else None,
        )

    def _stood(self, file: BatchFile) -> bool:
        """Whether it stood somewhere in this time."""
        return any(
            stay.from_utc_ms < self._to_ms
            and (stay.to_utc_ms is None or stay.to_utc_ms > self._from_ms)
            for stay in file.stays
        )

    def _month(self, utc_ms: int) -> str:
        at = _EPOCH + timedelta(milliseconds=utc_ms)
        return f"{at.astimezone(ZoneInfo(self._headers[-1].timezone)):%Y-%m}"

    # --------------------------------------------------------------- mats and trays

    def _mat(self, mat: MatPlan) -> MatStory:
        seen = self._watched.mats[mat.name]
        return MatStory(
            name=mat.name,
            title=mat.title,
            power_mw=mat.power_mw,
            policy="PID" if mat.policy.kind == "pid" else "on-off",
            watched=mat.relay is None,
            setpoints=tuple(seen.setpoints),
            on_ms=sum(seen.on_by_day.values()),
            on_by_day=seen.on_by_day,
            operations=seen.operations,
            trays=tuple(self._tray(tray) for tray in mat.trays),
        )

    def _tray(self, tray: TrayPlan) -> TrayStory:
        return TrayStory(
            tray.name,
            tray.title,
            tray.medium,
            self._buckets(tray.probes),
            self._counts(tray.probes),
            self._recount(tray),
            tuple(probe.name for probe in tray.probes),
        )

    def _buckets(self, probes: Sequence[ProbePlan]) -> tuple[Bucket, ...]:
        """Return readings of several probes in the same buckets."""
        found: dict[int, Figures] = {}
        ends = self._from_ms, self._to_ms
        for probe in probes:
            for one in self._reader.envelope(probe.name, *ends, POINTS):
                figures = Figures(one.n, one.min_mc, one.max_mc, one.sum_mc)
                added(found, one.start_ms, figures)
        return tuple(Bucket(at, *found[at]) for at in sorted(found))

    def _counts(self, probes: Sequence[ProbePlan]) -> Counter[int]:
        found: Counter[int] = Counter()
        for probe in probes:
            columns = self._reader.samples(probe.name, self._from_ms, self._to_ms)
            found.update(temp // BIN_MC * BIN_MC for temp in columns.temp_mc)
        return found

    def _recount(self, tray: TrayPlan) -> Recount | None:
        if not tray.probes:
            return None
        limits = Thresholds(tray.base_mc, tray.upper_mc)
        span = Span(self._from_ms, self._to_ms, newest_utc_ms=self._to_ms)
        return recount(self._reader, tray.name, limits, span)

    # --------------------------------------------------------------------- batches

    def _batch(self, file: BatchFile) -> BatchStory:
        limits = self._thresholds(file)
        return BatchStory(file, self._hours(file, limits), limits)

    def _thresholds(self, file: BatchFile) -> Thresholds:
        """Return base and upper of a batch: its own, else of the tray it began in."""
        if file.batch.base_mc is not None:
            return Thresholds(file.batch.base_mc, file.batch.upper_mc)
        known = {tray.name: tray for tray in all_trays(self._headers[-1].plan)}
        trays = (known.get(stay.tray) for stay in file.stays)
        tray = next((one for one in trays if one), TrayPlan(name="none"))
        return Thresholds(tray.base_mc, tray.upper_mc)

    def _hours(self, file: BatchFile, limits: Thresholds) -> Hours:
        total = Hours()
        for stay in file.stays:
            for piece in pieces(stay, limits, self._to_ms):
                total = total.plus(count_piece(self._reader, piece))
        return total
