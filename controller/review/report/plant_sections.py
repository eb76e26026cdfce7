"""The sections of the report about plants: batches, varieties; and what a model says.

What may live here: from a story to HTML, through html and the charts.
"""

from collections.abc import Iterator, Mapping, Sequence

from controller.records.batches import Batch
from controller.records.varieties import Result, Variety, rooted_of
from controller.review.looks_as_evidence import bracket_of, half_of
from controller.review.report.batch_chart import LEGEND, batch_charts
from controller.review.report.html import figure, heading, para, section, table
from controller.review.report.scale import day_text
from controller.review.report.sections import Telling
from controller.review.report.story import BatchStory

_HEAD = (
    *(
        "code",
        "what",
        "stuck",
        "treated",
        "rooted",
        "half had, between",
        "warmth",
        "above",
        "mean",
    ),
    "end",
)


def plants(telling: Telling) -> Iterator[str]:
    """Yield batches, and what came of each variety."""
    season = telling.season
    if not season.batches:
        yield section("Batches", [para("No batch was told of in this time.")])
        return
    pictures = list(batch_charts(season))
    parts = [figure(picture) for picture in pictures[:-1]]
    parts.append(figure(pictures[-1], LEGEND))
    rows = [_batch_row(telling, batch) for batch in season.batches]
    parts.append(table(_HEAD, rows, (6, 7, 8)))
    parts.append(
        para(
            "Looks are evidence, not a census: 'at least' counts only roots that were"
            " seen. Between two looks nobody knows the day, so both are named. Warmth"
            " is counted over the batch's stays, above its own base.",
            "note",
        )
    )
    yield section("Batches", parts)
    if season.varieties:
        yield section("Varieties", _varieties(season.varieties))


def _batch_row(telling: Telling, batch: BatchStory) -> tuple[str, ...]:
    file, degrees = batch.file, telling.degrees
    stuck_ms = file.batch.stuck_utc_ms or 0
    base = degrees.short(batch.thresholds.base_mc)
    warmth = "-" if batch.k_h is None else degrees.heat(batch.k_h)
    mean = "-" if batch.mean_mc is None else degrees.text(batch.mean_mc)
    end = "goes on"
    if file.closing is not None:
        at = telling.at(file.closing.utc_ms)
        end = f"{file.closing.outcome}, {day_text(at)}"
    return (
        file.code,
        _what(file.batch),
        _stuck(telling, stuck_ms, file.batch.count),
        _treated(file.batch),
        _rooted(batch),
        _half(telling, batch),
        warmth,
        base,
        mean,
        end,
    )


def _stuck(telling: Telling, stuck_ms: int, count: int | None) -> str:
    at = telling.at(stuck_ms)
    return f"{count} on {day_text(at)}"


def _what(batch: Batch) -> str:
    name = " ".join(part for part in (batch.crop, batch.cultivar) if part)
    return f"{name}, {batch.kind}" + (f"; {batch.medium}" if batch.medium else "")


def _treated(batch: Batch) -> str:
    parts = []
    if batch.hormone is not None:
        ppm = "" if batch.hormone.ppm is None else f" {batch.hormone.ppm:g} ppm"
        parts.append(f"{batch.hormone.active}{ppm} {batch.hormone.carrier}")
    if batch.wounds is not None:
        parts.append(f"wounded on {batch.wounds.sides}")
    if batch.wrap is not None:
        parts.append(f"{batch.wrap.material}")
    if batch.cover is not None and batch.cover != "none":
        parts.append(f"{batch.cover} cover")
    return ", ".join(parts) or "-"


def _rooted(batch: BatchStory) -> str:
    count = batch.file.batch.count
    rooted, told = rooted_of(batch.file)
    if told:
        return f"{rooted} of {count}"
    return f"at least {rooted} of {count}" if batch.file.looks else "not looked"


def _half(telling: Telling, batch: BatchStory) -> str:
    """Return between which looks the middle one of a batch rooted, or came up."""
    count, stuck_ms = batch.file.batch.count, batch.file.batch.stuck_utc_ms
    if not count or stuck_ms is None:
        return "-"
    bracket = bracket_of(batch.file, half_of(count))
    if bracket is None:
        return "looks disagree"
    return _between(telling, bracket.after_utc_ms, bracket.by_utc_ms)


def _between(telling: Telling, after_ms: int, by_ms: int | None) -> str:
    if by_ms is None:
        return "not seen"
    after, by = telling.at(after_ms), telling.at(by_ms)
    return f"{day_text(after)} to {day_text(by)}"


# ------------------------------------------------------------------------- varieties

_VARIETY = ("variety", "wanted", "stuck", "rooted", "alive", "here", "next season")


def _varieties(found: Sequence[Variety]) -> Iterator[str]:
    rows = []
    for one in found:
        name = " ".join(part for part in (one.crop, one.cultivar) if part)
        rows.append((*_result(name, one.result), one.next.sentence))
        if len(one.by_medium) > 1:
            rows += [
                (*_result(f"in {row.key}", row.result), "") for row in one.by_medium
            ]
    yield table(_VARIETY, rows, (1, 2, 3, 4, 5))
    yield para(
        "Rooted: of batches that ended, 'at least' where nobody counted at the end."
        " Alive: six weeks after potting. How many to stick is for 90 % surety, and"
        " widened because a rate seen on few is uncertain (beta-binomial, uniform"
        " prior).",
        "note",
    )


def _result(name: str, found: Result) -> tuple[str, ...]:
    least = "at least " if found.at_least else ""
    rooted = f"{least}{found.rooted.good} of {found.rooted.of}"
    alive = f"{found.alive.good} of {found.alive.of}"
    return (
        name,
        "-" if found.wanted is None else str(found.wanted),
        str(found.stuck),
        rooted if found.rooted.of else "-",
        alive if found.alive.of else "-",
        str(found.here),
    )


# --------------------------------------------------------------------- what if

_Object = Mapping[str, object]
_FIGURES = (
    ("energy_kwh", "energy [kWh]", 1.0),
    ("relay_operations", "relay operations", 1.0),
    ("deviation_k", "deviation, rms [K]", 1.0),
    ("in_band_share", "within the band [%]", 100.0),
    ("trays_apart_k", "trays apart [K]", 1.0),
    ("below_cutout_k", "below the cut-out [K]", 1.0),
)


def recommendation(told: object) -> str:
    """Return what `tune` recommended, from its JSON.

    Raises:
        ValueError: It is not what tune prints; the message says what is missing.
    """
    whole = _object(told)
    ways = [_object(way) for way in _list(whole.get("ways"))]
    if not isinstance(whole.get("mat"), str) or not ways:
        raise ValueError("is not what bottomheat tune --json prints: no mat or no ways")
    mat, answer = str(whole["mat"]), _object(whole.get("answer"))
    chosen = next(
        (way for way in ways if way.get("candidate") == answer.get("recommended")), None
    )
    title = f"Another way of keeping {mat}, in the model"
    return section(title, _ways(whole, answer, ways[:4], chosen))


def _ways(
    whole: _Object, answer: _Object, ways: list[_Object], chosen: _Object | None
) -> Iterator[str]:
    yield para(
        "From a model fitted to the log, not from the bench: it says what the model"
        " would have done under the same weather, with the error of the fit. It knows"
        " nothing of roots, and a season's weather does not come again.",
        "mark",
    )
    if isinstance(whole.get("wish"), str):
        yield para(f"Wish: {whole['wish']}")
    if answer and answer.get("possible") is False:
        yield para("In the model that wish cannot be had.")
    elif chosen is not None:
        yield para(f"Recommended: {chosen.get('way')}")
    names = [str(way.get("name", "")) for way in ways]
    rows = [("kept", *(str(way.get("way", "")) for way in ways))]
    rows += [
        (words, *(_figure(way.get(key), scale) for way in ways))
        for key, words, scale in _FIGURES
    ]
    yield heading("Figures with both ends of their 90 % interval", 3)
    yield table(("", *names), rows)


def _figure(told: object, scale: float) -> str:
    ends = _object(told)
    value, low, high = (ends.get(key) for key in ("value", "low", "high"))
    if not isinstance(value, int | float):
        return "-"
    if not isinstance(low, int | float) or not isinstance(high, int | float):
        return f"{scale * value:,.4g}"
    return f"{scale * value:,.4g} ({scale * low:,.4g} to {scale * high:,.4g})"


def _object(value: object) -> _Object:
    return value if isinstance(value, dict) else {}


def _list(value: object) -> list[object]:
    return value if isinstance(value, list) else []
