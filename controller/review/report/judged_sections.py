"""The sections of the report about trials, and forecasts held against what came.

What may live here: from a story to HTML. The tests of a trial are `trial compare`'s.
"""

from collections.abc import Iterator, Mapping, Sequence

from controller.records.book import BatchFile
from controller.records.trials import Trial
from controller.records.varieties import rooted_of
from controller.review.forecast_scores import Issued, verdict_on
from controller.review.foretold import Foretold
from controller.review.looks_as_evidence import bracket_of, half_of
from controller.review.report.html import heading, para, section, table
from controller.review.report.scale import day_text
from controller.review.report.sections import Telling
from controller.trials.proportions import wilson

_ARM = ("arm", "containers", "stuck", "rooted", "share", "95 % interval")
_FORECAST = ("code", "what", "said on", "half by, 90 %", "came to pass", "window")


def trials(telling: Telling) -> Iterator[str]:
    """Yield what came of each trial, described and not judged."""
    told = telling.season.trials
    if not told:
        return
    files = {batch.file.code: batch.file for batch in telling.season.batches}
    parts: list[str] = []
    for number, trial in told:
        parts.append(heading(f"{number}: {trial.title}", 3))
        parts.append(para(_planned(trial)))
        parts.append(table(_ARM, list(_arms(trial, files)), (1, 2, 3, 4, 5)))
    parts.append(
        para(
            "A description, no verdict: bottomheat trial compare judges a trial by the"
            " test that was chosen beforehand. Cuttings that share a container are not"
            " independent, so that these intervals (Wilson) are too narrow for them.",
            "note",
        )
    )
    yield section("Trials", parts)


def _planned(trial: Trial) -> str:
    units = f"{len(trial.units)} {trial.unit.value}s of {trial.cuttings}"
    words = (
        f"Planned: {trial.factor}, {units}, by {trial.test.value}, seed {trial.seed}"
    )
    if trial.smallest_p is not None:
        words += f"; the smallest p that could come out is {trial.smallest_p:.3g}"
    return f"{words}."


def _arms(trial: Trial, files: Mapping[str, BatchFile]) -> Iterator[tuple[str, ...]]:
    for arm in trial.arms:
        own = [
            files[unit.batch]
            for unit in trial.units
            if unit.arm == arm and unit.batch in files
        ]
        counted = [rooted_of(file) for file in own]
        stuck = sum(file.batch.count or 0 for file in own)
        rooted = min(stuck, sum(n for n, _ in counted))
        least = "" if all(certain for _, certain in counted) else "at least "
        share, interval = "-", "-"
        if stuck and not least:
            ends = wilson(rooted, stuck)
            share = f"{100 * rooted / stuck:.0f} %"
            interval = f"{100 * ends.low:.0f} to {100 * ends.high:.0f} %"
        yield (arm, f"{len(own)}", f"{stuck}", f"{least}{rooted}", share, interval)


# -------------------------------------------------------------------------- forecasts


def forecasts(telling: Telling, history: Sequence[Issued]) -> Iterator[str]:
    """Yield the first forecast of each batch, and whether it came as it said.

    Args:
        telling: What is told.
        history: Forecasts that were given, oldest first.
    """
    season = telling.season
    first: dict[str, Issued] = {}
    for one in history:
        if one.at_utc_ms < season.to_utc_ms:
            first.setdefault(one.code, one)
    rows = [
        _forecast(telling, first[batch.file.code], batch.file)
        for batch in season.batches
        if batch.file.code in first
    ]
    if rows:
        words = (
            "Of each batch the first forecast of when half of those that root will"
            " have, held against the looks: right if its window holds all of the days"
            " between which that happened, wrong if none, unclear where the looks are"
            " too far apart. A batch is held against it once its end was counted."
        )
        parts = [table(_FORECAST, rows), para(words, "note")]
        yield section("Forecasts, and what came", parts)


def _forecast(telling: Telling, issued: Issued, file: BatchFile) -> tuple[str, ...]:
    name = " ".join(part for part in (file.batch.crop, file.batch.cultivar) if part)
    said = telling.at(issued.at_utc_ms)
    window = f"after {issued.from_90}"
    if issued.to_90 is not None:
        window = f"{issued.from_90} to {issued.to_90}"
    closing = file.closing
    if closing is None or not closing.rooted:
        return (file.code, name, day_text(said), window, "not counted yet", "-")
    bracket = bracket_of(file, half_of(closing.rooted))
    if bracket is None or bracket.by_utc_ms is None:
        return (file.code, name, day_text(said), window, "not known", "-")
    came = Foretold(file=file, crop=None, bracket=bracket)
    verdict = verdict_on(issued, came, telling.season.timezone) or "knew it already"
    after = day_text(telling.at(bracket.after_utc_ms))
    by = day_text(telling.at(bracket.by_utc_ms))
    return (file.code, name, day_text(said), window, f"{after} to {by}", verdict)
