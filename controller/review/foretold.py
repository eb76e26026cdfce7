"""The rooting forecast of a bench: every open batch, from the log and the records.

Batches of one crop, closed ones included, are told of together. What may live here:
putting that together. Words and dates are in foretold_words.
"""

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from controller.core.plan import TrayPlan, all_trays
from controller.records.book import BatchFile
from controller.review.batch_warmth import Lived, UnmeasuredError, hours_of, lived
from controller.review.days_ahead import Standing, outlook
from controller.review.looks_as_evidence import (
    Bracket,
    bracket_of,
    evidence_of,
    half_of,
    is_seed,
)
from controller.review.tray_hours import TrayHours
from controller.trials.crops import Crop, find_crop, prior_of
from controller.trials.forecast import HalfRooted, Known, rooting_of
from controller.trials.pooling import Posterior, posteriors
from controller.trials.response_curves import Curve, Linear, bounds_in_words
from controller.trials.rooting_evidence import BatchEvidence, intervals_of
from controller.trials.thermal_time_to_root import Family, fit_time_to_root

PARTS = (0.05, 0.25, 0.5, 0.75, 0.95)
"""Which parts of all chances are told: ends of 90 % and of 50 %, and the median."""

NO_SOURCE = "no date yet: no source and no own batches"


@dataclass(frozen=True, slots=True, kw_only=True)
class Foretold:
    """What is foretold of one batch.

    Attributes:
        file: The batch.
        crop: What is known of its crop; None: no file has it.
        curve: What its warmth is counted by; None: nothing is.
        posterior: What is known of it; None: nothing can be said.
        needs: Thermal time of the half-way one, at PARTS [K·h].
        when_ms: When that is reached, at PARTS; None: not within a year [ms].
        so_far: Its thermal time now [K·h].
        bracket: When the half-way one rooted, for certain.
        why_none: Why there is no date; empty: there is.
        notes: What a person should know, a sentence each.
    """

    file: BatchFile
    crop: Crop | None
    curve: Curve | None = None
    posterior: Posterior | None = None
    needs: tuple[float, ...] = ()
    when_ms: tuple[int | None, ...] = ()
    so_far: float | None = None
    bracket: Bracket | None = None
    why_none: str = ""
    notes: tuple[str, ...] = ()

    @property
    def reached(self) -> bool:
        """Whether half have rooted already, by the looks."""
        return self.bracket is not None and self.bracket.by_utc_ms is not None


def foretell(
    files: Sequence[BatchFile],
    crops: Sequence[Crop],
    trays: TrayHours,
    standing: Standing,
) -> list[Foretold]:
    """Foretell every batch, the closed ones, too: those as they look afterwards.

    Args:
        files: All batches.
        crops: What is known of crops.
        trays: Hourly temperatures, from when the first batch was stuck.
        standing: The bench now.
    """
    groups: dict[object, list[BatchFile]] = {}
    for file in files:
        groups.setdefault(_group_of(file, crops), []).append(file)
    found = {
        one.file.code: one
        for group in groups.values()
        for one in _Group(group, crops, trays, standing).foretold()
    }
    return [found[file.code] for file in files]


def _crop_of(file: BatchFile, crops: Iterable[Crop]) -> Crop | None:
    batch = file.batch
    return find_crop(crops, batch.crop, batch.kind.value, seed=is_seed(file))


def _group_of(file: BatchFile, crops: Iterable[Crop]) -> object:
    crop = _crop_of(file, crops)
    if crop is not None:
        return crop.key
    name = " ".join(file.batch.crop.casefold().split())
    return name, is_seed(file)


def _counted(file: BatchFile) -> int | None:
    """Return how many had rooted when a batch was closed; None: nobody counted."""
    return None if file.closing is None else file.closing.rooted


@dataclass(frozen=True, slots=True)
class _Member:
    """A batch with what it has lived through."""

    file: BatchFile
    lived: Lived
    evidence: BatchEvidence


_ENOUGH = 10
"""Chosen: fewer that were seen to root say little by themselves."""


def _alone(members: Iterable[_Member]) -> str:
    """Return what the grower's looks say without the crop file, or nothing."""
    told = [span for one in members for span in intervals_of(one.evidence)]
    rooted = sum(span.count for span in told if span.by is not None)
    if rooted < _ENOUGH:
        return ""
    try:
        fit = fit_time_to_root(told, Family.LOG_NORMAL, some_never_root=True)
    except ValueError:
        return ""
    return (
        f"your own looks alone, at all batches of this crop, say {fit.median:,.0f} K·h"
        f" and {100 * fit.share:.0f} %"
    )


class _Group:
    """Batches of one crop."""

    def __init__(
        self,
        files: Sequence[BatchFile],
        crops: Sequence[Crop],
        trays: TrayHours,
        standing: Standing,
    ) -> None:
        self._files, self._trays, self._standing = files, trays, standing
        self._crop = _crop_of(files[0], crops)
        self._curve = self._curve_of()
        self._alone = ""

    def _curve_of(self) -> Curve:
        """Return the crop's curve; where nobody has one, the newest batch's base."""
        if self._crop is not None:
            return self._crop.curve
        file = max(self._files, key=lambda one: one.batch.stuck_utc_ms or 0)
        batch = file.batch
        known = {tray.name: tray for tray in all_trays(self._standing.plan)}
        tray = known.get(batch.tray, TrayPlan(name="none"))
        own = batch.base_mc is not None
        base_mc = batch.base_mc if batch.base_mc is not None else tray.base_mc
        upper_mc = batch.upper_mc if own else tray.upper_mc
        return Linear(base_mc / 1000, None if upper_mc is None else upper_mc / 1000)

    def foretold(self) -> list[Foretold]:
        """Return what is foretold of each of them."""
        members: list[_Member] = []
        found: list[Foretold] = []
        for file in self._files:
            try:
                members.append(self._member(file))
            except UnmeasuredError as error:
                found.append(self._none(file, f"no date: {error}"))
        cultivars: dict[str, list[_Member]] = {}
        for one in members:
            name = " ".join(one.file.batch.cultivar.casefold().split())
            cultivars.setdefault(name, []).append(one)
        nothing = self._crop is None and not any(one.evidence.tells for one in members)
        if nothing:
            return found + [self._none(one.file, NO_SOURCE) for one in members]
        some = list(cultivars.values())
        known = posteriors(
            prior_of(self._crop),
            [[one.evidence for one in many] for many in some],
            # Of one that was counted at its end nothing more is asked.
            lambda c, b: _counted(some[c][b].file) is None,
        )
        self._alone = _alone(members)
        for many, of in zip(some, known, strict=True):
            found += map(self._told, many, of)
        return found

    def _told(self, member: _Member, known: Posterior | None) -> Foretold:
        if known is not None:
            return self._dated(member, known)
        rooted = _counted(member.file) or 0
        return Foretold(
            file=member.file,
            crop=self._crop,
            bracket=bracket_of(member.file, half_of(rooted), half_of(rooted)),
            why_none="it is closed",
        )

    def _member(self, file: BatchFile) -> _Member:
        through = lived(file.stays, self._curve, self._trays, self._standing)
        return _Member(file, through, evidence_of(file, through.path.at))

    def _none(self, file: BatchFile, why: str) -> Foretold:
        if file.batch.stuck_utc_ms is None:
            why = "no date yet: it is not stuck"
        return Foretold(file=file, crop=self._crop, why_none=why)

    def _dated(self, member: _Member, known: Posterior) -> Foretold:
        file, path = member.file, member.lived.path
        if file.batch.stuck_utc_ms is None:
            return self._none(file, "")
        so_far = path.total
        rooting = rooting_of(known, member.evidence)
        bracket = bracket_of(file, half_of(rooting.low), half_of(rooting.high))
        certain = Known(so_far, rooting=rooting.mean)
        if bracket is not None:
            by_ms = bracket.by_utc_ms
            by = None if by_ms is None else path.at(by_ms)
            after = path.at(bracket.after_utc_ms)
            certain = Known(so_far, after, by, rooting.mean)
        needs = tuple(HalfRooted(known, certain).quantiles(PARTS))
        notes = [*member.lived.notes, *filter(None, [self._alone])]
        why = self._go_on(member, needs, notes)
        when_ms = tuple(path.when(one) for one in needs)
        if not why and when_ms[2] is None:
            why = self._too_cold()
        return Foretold(
            file=file,
            crop=self._crop,
            curve=self._curve,
            posterior=known,
            needs=needs,
            when_ms=when_ms,
            so_far=so_far,
            bracket=bracket,
            why_none=why,
            notes=tuple(dict.fromkeys(notes)),
        )

    def _go_on(
        self, member: _Member, needs: tuple[float, ...], notes: list[str]
    ) -> str:
        """Lengthen the path ahead; return why that cannot be, or nothing."""
        stay = member.file.stays[-1]
        if stay.to_utc_ms is not None or member.lived.path.total >= needs[-1]:
            return ""
        if not stay.tray:
            return "no date: it is off the bench, where nothing is measured"
        hours = hours_of(self._trays, stay.tray, notes)
        ahead = outlook(self._standing, stay.tray, hours)
        if ahead is None:
            return f"no date: nothing was measured in tray {stay.tray} lately"
        notes += ahead.notes
        member.lived.path.go_on(self._curve, ahead, math.nextafter(needs[-1], math.inf))
        return ""

    def _too_cold(self) -> str:
        return (
            "no date: slow or none at the temperatures ahead, which count"
            f" {bounds_in_words(self._curve)} only"
        )
