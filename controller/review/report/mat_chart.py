"""A mat over the season: its trays' temperatures, its setpoint, its heat by day.

Bands reach from the least to the greatest reading, lines show the mean; where nothing
was read there is nothing. What may live here: that picture, and the room's.
"""

from collections.abc import Iterator, Sequence
from datetime import date, timedelta
from itertools import pairwise
from zoneinfo import ZoneInfo

from controller.core.units import DAY_MS, HOUR_MS
from controller.ports import Bucket
from controller.records.events import BenchEvent, EventKind
from controller.review.local_days import date_of
from controller.review.report.marks import (
    FAINT,
    HOT,
    INK,
    LEFT,
    RIGHT,
    SOFT,
    WIDTH,
    apart,
    area,
    dash,
    ink,
    line,
    over_lines,
    polyline,
    rect,
    svg,
    text,
)
from controller.review.report.scale import (
    Degrees,
    Scale,
    day_text,
    midnight_ms,
    midnights,
    ticks,
)
from controller.review.report.story import MatStory, SeasonStory, TrayStory

_TOP, _HIGH, _HEAT = 14.0, 170.0, 44.0
_LEAST_SPAN_MK = 3_000
_MOST_DAYS = 14

_WARM_UP_MS = 12 * HOUR_MS
"""Chosen: how cold it was in the first hours may leave the picture, which then says
how far; whatever happens later is never left out."""

_RARE = 0.002
"""Chosen: rarer readings may lie beyond a distribution, which then says how many."""


def mat_chart(season: SeasonStory, mat: MatStory, degrees: Degrees) -> str:
    """Return the picture of a mat."""
    x = time_scale(season)
    low, high = _reach(season, mat, degrees)
    y = Scale(low, high, _TOP + _HIGH, _TOP)
    bottom = _TOP + _HIGH
    parts = [*_axes(season, x, y, degrees), _window(mat.name, x, y)]
    clip = f'<g clip-path="url(#window-{mat.name})">'
    parts += [clip, *_lines(mat, x, y, degrees), "</g>"]
    parts += _names(_drawn(mat), x, y, degrees)
    parts += _outside(mat, x, y, degrees)
    parts += _setpoint(season, mat, x, y, degrees)
    parts += _rang(season, mat, x, y.end)
    parts += _done(season, mat, x, bottom)
    parts += _heat(season, mat, x, bottom + 16)
    parts += _days(season, x, bottom + 16 + _HEAT)
    return svg(bottom + _HEAT + 36, parts, f"Mat {mat.name}: temperatures and heat")


def time_scale(season: SeasonStory) -> Scale:
    """Return the scale of time that all pictures share."""
    return Scale(season.from_utc_ms, season.to_utc_ms, LEFT, WIDTH - RIGHT)


def _reach(season: SeasonStory, mat: MatStory, degrees: Degrees) -> tuple[float, float]:
    """Return the least and greatest temperature to be shown, with some air."""
    every = [b for tray in mat.trays for b in tray.buckets]
    warm_ms = season.from_utc_ms + _WARM_UP_MS
    later = [b for b in every if b.start_ms >= warm_ms] or every
    setpoints = [temp_mc for _, temp_mc in mat.setpoints]
    low = min([*(b.min_mc for b in later), *setpoints])
    high = max([*(b.max_mc for b in every), *setpoints])
    air = max(400, (_LEAST_SPAN_MK - (high - low)) // 2)
    return degrees.of(low - air), degrees.of(high + air)


def _axes(season: SeasonStory, x: Scale, y: Scale, degrees: Degrees) -> Iterator[str]:
    for value in ticks(y.low, y.high, 6):
        at = y.at(value)
        yield line(x.begin, at, x.end, at)
        yield text(x.begin - 6, at + 3.4, f"{value:g}", anchor="end")
    yield text(x.begin - 6, y.end - 4, degrees.unit, anchor="end", size=9)
    for at_ms, _ in midnights(
        season.from_utc_ms, season.to_utc_ms, season.timezone, _MOST_DAYS
    ):
        yield line(x.at(at_ms), y.begin, x.at(at_ms), y.end, stroke="#eceee8")


def _days(season: SeasonStory, x: Scale, y: float) -> Iterator[str]:
    for at_ms, day in midnights(
        season.from_utc_ms, season.to_utc_ms, season.timezone, _MOST_DAYS
    ):
        place = x.at(at_ms)
        yield line(place, y, place, y + 4, stroke=SOFT)
        if place < x.end - 12:
            yield text(place + 2, y + 13, day_text(day), size=9.5)


def pieces(buckets: Sequence[Bucket]) -> Iterator[list[Bucket]]:
    """Yield buckets that follow each other; where some are missing a piece ends."""
    if not buckets:
        return
    steps = sorted(
        after.start_ms - before.start_ms for before, after in pairwise(buckets)
    )
    width_ms = steps[0] if steps else DAY_MS
    piece = [buckets[0]]
    for one in buckets[1:]:
        if one.start_ms - piece[-1].start_ms > 1.5 * width_ms:
            yield piece
            piece = []
        piece.append(one)
    yield piece


def _lines(mat: MatStory, x: Scale, y: Scale, degrees: Degrees) -> Iterator[str]:
    drawn = _drawn(mat)
    for n, tray in enumerate(drawn):
        for piece in pieces(tray.buckets):
            yield _band(piece, x, y, degrees, ink(n))
    for n, tray in enumerate(drawn):
        for piece in pieces(tray.buckets):
            yield polyline(
                _means(piece, x, y, degrees), ink(n), width=1.3, dashes=dash(n)
            )


def _drawn(mat: MatStory) -> list[TrayStory]:
    return [tray for tray in mat.trays if tray.buckets]


def _window(name: str, x: Scale, y: Scale) -> str:
    """Return what cuts lines off where the axes end."""
    place = rect(x.begin, y.end, x.end - x.begin, y.begin - y.end)
    return f'<clipPath id="window-{name}">{place}</clipPath>'


def _outside(mat: MatStory, x: Scale, y: Scale, degrees: Degrees) -> Iterator[str]:
    """Yield how far readings reach below the picture, at its edge."""
    every = [b for tray in mat.trays for b in tray.buckets]
    low = min(b.min_mc for b in every)
    if degrees.of(low) < y.low:
        words = f"\u2193 down to {degrees.text(low)}"
        yield text(x.end - 4, y.begin - 5, words, anchor="end", size=9)


def _names(
    drawn: Sequence[TrayStory], x: Scale, y: Scale, degrees: Degrees
) -> Iterator[str]:
    """Yield names at the ends of their lines, none over another."""
    ends = [y.within(degrees.of(_mean(tray.buckets[-1]))) for tray in drawn]
    for n, (tray, place) in enumerate(zip(drawn, apart(ends, 12), strict=True)):
        yield line(
            x.end + 4,
            place - 3,
            x.end + 16,
            place - 3,
            stroke=ink(n),
            width=2,
            dashes=dash(n),
        )
        yield text(x.end + 20, place, tray.name, fill=ink(n), bold=True)


def _mean(one: Bucket) -> float:
    return one.sum_mc / one.n


def _band(piece: list[Bucket], x: Scale, y: Scale, degrees: Degrees, fill: str) -> str:
    upper = [(x.at(b.start_ms), y.at(degrees.of(b.max_mc))) for b in piece]
    lower = [(x.at(b.start_ms), y.at(degrees.of(b.min_mc))) for b in reversed(piece)]
    return area([*upper, *lower], fill, 0.16)


def _means(
    piece: list[Bucket], x: Scale, y: Scale, degrees: Degrees
) -> list[tuple[float, float]]:
    return [(x.at(b.start_ms), y.at(degrees.of(_mean(b)))) for b in piece]


def _setpoint(
    season: SeasonStory, mat: MatStory, x: Scale, y: Scale, degrees: Degrees
) -> Iterator[str]:
    """Yield the setpoint in force, as the decisions tell it."""
    points: list[tuple[float, float]] = []
    for at_ms, temp_mc in mat.setpoints:
        place = y.at(degrees.of(temp_mc))
        if points:
            points.append((x.at(at_ms), points[-1][1]))
        points.append((x.at(at_ms), place))
    if points:
        points.append((x.at(season.to_utc_ms), points[-1][1]))
        yield polyline(points, INK, width=1, dashes="4 3")
        yield over_lines(x.begin + 6, points[0][1] - 5, "setpoint")


def _rang(season: SeasonStory, mat: MatStory, x: Scale, y: float) -> Iterator[str]:
    """Yield a bar at the upper edge while an alarm of the mat or its trays lasted."""
    own = {mat.name, *(name for tray in mat.trays for name in tray.probes)}
    for alarm in season.alarms:
        if alarm.subject in own:
            ends = alarm.to_utc_ms or season.to_utc_ms
            left, right = x.within(alarm.from_utc_ms), x.within(ends)
            wide = max(2.0, right - left)
            words = f"{alarm.kind} {alarm.subject}"
            yield rect(left, y - 5, wide, 4, fill=HOT, opacity=0.8, title=words)


def _done(season: SeasonStory, mat: MatStory, x: Scale, y: float) -> Iterator[str]:
    """Yield a small drop below the axis for each watering of its trays."""
    names = {tray.name for tray in mat.trays}
    for event in season.events:
        if event.kind is EventKind.WATERED and _concerns(event, mat, names):
            place = x.at(event.utc_ms)
            yield (
                f'<path d="M{place:.1f} {y + 2:.1f}l2.6 4.6a2.9 2.9 0 1 1-5.2 0z"'
                f' fill="#3f5f9e"><title>watered</title></path>'
            )


def _concerns(event: BenchEvent, mat: MatStory, names: set[str]) -> bool:
    return mat.name in event.mats or bool(names & set(event.trays))


def _heat(season: SeasonStory, mat: MatStory, x: Scale, y: float) -> Iterator[str]:
    """Yield a bar for each day: which share of it the mat was on."""
    zone = ZoneInfo(season.timezone)
    yield line(x.begin, y + _HEAT, x.end, y + _HEAT, stroke=SOFT)
    yield text(x.begin - 6, y + 8, "on", anchor="end", size=9)
    yield text(x.begin - 6, y + 18, "100 %", anchor="end", size=9)
    yield line(x.begin, y + 10, x.end, y + 10)
    high = _HEAT - 10
    for number, on_ms in sorted(mat.on_by_day.items()):
        day = date_of(number)
        begin, end = _ends(day, zone, season)
        if end <= begin:
            continue
        share = on_ms / (end - begin)
        tall = high * min(1.0, share)
        left, right = x.at(begin), x.at(end)
        yield rect(
            left + 0.6,
            y + _HEAT - tall,
            right - left - 1.2,
            tall,
            fill="#d9a06b" if share < 0.95 else HOT,  # noqa: PLR2004
            title=f"{day}: on {100 * share:.0f} % of the time",
        )


def _ends(day: date, zone: ZoneInfo, season: SeasonStory) -> tuple[int, int]:
    begin = max(season.from_utc_ms, midnight_ms(day, zone))
    return begin, min(season.to_utc_ms, midnight_ms(day + timedelta(days=1), zone))


def room_chart(season: SeasonStory, degrees: Degrees) -> str:
    """Return the picture of the room's air."""
    x, high = time_scale(season), 70.0
    lows = [b.min_mc for b in season.room]
    highs = [b.max_mc for b in season.room]
    y = Scale(
        degrees.of(min(lows) - 500), degrees.of(max(highs) + 500), _TOP + high, _TOP
    )
    parts = list(_axes(season, x, y, degrees))
    for piece in pieces(season.room):
        parts.append(_band(piece, x, y, degrees, SOFT))
        parts.append(polyline(_means(piece, x, y, degrees), SOFT))
    parts += _days(season, x, _TOP + high)
    parts.append(line(x.begin, y.begin, x.end, y.begin, stroke=FAINT))
    return svg(_TOP + high + 20, parts, "The room's air")


def spread_chart(mat: MatStory, degrees: Degrees, bin_mc: int) -> str:
    """Return the distribution of each tray's readings, one below the other."""
    drawn = [tray for tray in mat.trays if tray.counts]
    low, high = _common(drawn)
    high += bin_mc
    x = Scale(degrees.of(low), degrees.of(high), LEFT, WIDTH - RIGHT)
    row = 34.0
    parts: list[str] = []
    for n, tray in enumerate(drawn):
        base = _TOP + (n + 1) * row
        parts += _spread(tray, x, base, (ink(n), degrees, bin_mc))
    bottom = _TOP + len(drawn) * row
    for value in ticks(x.low, x.high, 10):
        parts.append(line(x.at(value), bottom, x.at(value), bottom + 4, stroke=SOFT))
        parts.append(text(x.at(value), bottom + 14, f"{value:g}", anchor="middle"))
    parts.append(text(x.end + 20, bottom + 14, degrees.unit, size=9))
    return svg(bottom + 20, parts, f"Mat {mat.name}: how warm, and how often")


def _common(drawn: Sequence[TrayStory]) -> tuple[int, int]:
    """Return the lowest and the highest bin that is not rare in every tray."""
    common = []
    for tray in drawn:
        total = sum(tray.counts.values())
        common += [at for at, n in tray.counts.items() if n >= _RARE * total]
    return min(common), max(common)


def _spread(
    tray: TrayStory, x: Scale, base: float, how: tuple[str, Degrees, int]
) -> Iterator[str]:
    fill, degrees, bin_mc = how
    total, most = sum(tray.counts.values()), max(tray.counts.values())
    yield line(x.begin, base, x.end, base, stroke=FAINT)
    yield text(x.begin - 6, base - 3, tray.name, anchor="end", fill=fill, bold=True)
    below = sum(n for at, n in tray.counts.items() if degrees.of(at) < x.low - 1e-9)
    above = sum(
        n for at, n in tray.counts.items() if degrees.of(at + bin_mc) > x.high + 1e-9
    )
    yield from _beyond(x, base, (below / total, above / total))
    for low_mc, count in sorted(tray.counts.items()):
        if not x.low - 1e-9 <= degrees.of(low_mc) < x.high - 1e-9:
            continue
        left, right = x.at(degrees.of(low_mc)), x.at(degrees.of(low_mc + bin_mc))
        tall = 28 * count / most
        share = 100 * count / total
        yield rect(
            left + 0.4,
            base - tall,
            right - left - 0.8,
            tall,
            fill=fill,
            opacity=0.75,
            title=f"{degrees.text(low_mc, 2)}: {share:.1f} % of the readings",
        )


def _beyond(x: Scale, base: float, shares: tuple[float, float]) -> Iterator[str]:
    """Yield which shares of the readings lie beyond the picture."""
    below, above = shares
    if below:
        words = f"\u2190 {_percent(below)} colder"
        yield text(x.begin + 4, base - 4, words, size=9)
    if above:
        words = f"{_percent(above)} warmer \u2192"
        yield text(x.end - 4, base - 4, words, anchor="end", size=9)


def _percent(share: float) -> str:
    return f"{100 * share:.1f} %" if share >= 0.0005 else "under 0.1 %"  # noqa: PLR2004
