"""Batches on the season's time: where they stood, what was seen, how they ended.

What may live here: that picture.
"""

import math
from collections.abc import Iterator, Mapping, Sequence

from controller.records.batches import BatchKind
from controller.records.evidence import rooted_in
from controller.records.looks import How, Look
from controller.records.places import Stay
from controller.review.report.marks import (
    FAINT,
    INK,
    dash,
    ink,
    line,
    rect,
    svg,
    text,
)
from controller.review.report.mat_chart import time_scale
from controller.review.report.scale import Scale, day_text, midnights
from controller.review.report.story import BatchStory, SeasonStory

_ROW, _TOP, _BAR = 40.0, 6.0, 13.0
_PER_SHEET = 18
_BESIDE = 74.0
"""Room behind the end of the season, for how a batch ended."""

_LEAF = "#6c7d1f"
_SEEING = (How.DRAIN_HOLE, How.THROUGH_WALL, How.LIFTED)


def batch_charts(season: SeasonStory) -> Iterator[str]:
    """Yield pictures of all batches, each of as many as a sheet of paper holds."""
    for begin in range(0, len(season.batches), _PER_SHEET):
        yield _chart(season, season.batches[begin : begin + _PER_SHEET])


def _chart(season: SeasonStory, drawn: Sequence[BatchStory]) -> str:
    x = time_scale(season)
    bottom = _TOP + len(drawn) * _ROW
    parts = list(_weeks(season, x, bottom))
    mats = {tray.name: n for n, mat in enumerate(season.mats) for tray in mat.trays}
    for n, batch in enumerate(drawn):
        parts += _row(season, batch, x, (_TOP + n * _ROW, mats))
    return svg(bottom + 18, parts, "Batches: where they stood and what was seen")


def _weeks(season: SeasonStory, x: Scale, bottom: float) -> Iterator[str]:
    ends = season.from_utc_ms, season.to_utc_ms
    for at_ms, day in midnights(*ends, season.timezone, 14):
        place = x.at(at_ms)
        yield line(place, _TOP, place, bottom, stroke="#eceee8")
        if place < x.end - 12:
            yield text(place + 2, bottom + 12, day_text(day), size=9.5)
    yield line(x.begin, bottom, x.end, bottom, stroke=FAINT)


def _row(
    season: SeasonStory,
    batch: BatchStory,
    x: Scale,
    where: tuple[float, Mapping[str, int]],
) -> Iterator[str]:
    top, mats = where
    file = batch.file
    begin = x.within(file.stays[0].from_utc_ms)
    yield text(begin, top + 11, file.code, fill=INK, bold=True, size=10.5)
    name = " ".join(part for part in (file.batch.crop, file.batch.cultivar) if part)
    count = f", {file.batch.count}" if file.batch.count is not None else ""
    yield text(begin + 8.6 * len(file.code) + 4, top + 11, f"{name}{count}", size=9.5)
    bar = top + 16
    for stay in file.stays:
        yield from _stay(season, stay, x, (bar, mats))
    for _, look in file.looks:
        if look.utc_ms >= season.from_utc_ms:
            yield from _look(look, x.at(look.utc_ms), bar, batch)
    yield from _end(batch, x, bar)


def _stay(
    season: SeasonStory,
    stay: Stay,
    x: Scale,
    where: tuple[float, Mapping[str, int]],
) -> Iterator[str]:
    bar, mats = where
    to_ms = season.to_utc_ms if stay.to_utc_ms is None else stay.to_utc_ms
    left, right = x.within(stay.from_utc_ms), x.within(to_ms)
    if stay.tray in mats:
        fill = ink(mats[stay.tray])
        yield rect(left, bar, right - left, _BAR, fill=fill, opacity=0.28)
        yield line(
            left,
            bar + _BAR,
            right,
            bar + _BAR,
            stroke=fill,
            width=1.6,
            dashes=dash(mats[stay.tray]),
        )
    else:
        yield rect(left, bar, right - left, _BAR, stroke="#aab3a8")
    where_to = stay.tray or "off the bench"
    if right - left > 7 * len(where_to):
        yield text(left + 4, bar + 10, where_to, size=9)


def _look(look: Look, at: float, bar: float, batch: BatchStory) -> Iterator[str]:
    """Yield what one look saw: a disc for the base, a leaf for the tops."""
    seed = batch.file.batch.kind is BatchKind.SEED
    tops = look.tops
    leafed = tops.leafed if tops else 0
    if seed and tops is not None and look.looked_at:
        yield _disc(at, bar + _BAR / 2, leafed / look.looked_at, _LEAF)
        return
    if tops is not None and leafed * 2 >= look.looked_at > 0:
        yield (
            f'<path d="M{at:.1f} {bar + _BAR + 10:.1f}q-4.5-3.5 0-8q4.5 4.5 0 8z"'
            f' fill="{_LEAF}"><title>most in leaf</title></path>'
        )
    if look.base is None or look.how not in _SEEING or not look.looked_at:
        yield line(at, bar + 2, at, bar + _BAR - 2, stroke=INK, width=1.4)
        return
    share = rooted_in(look).at_least / look.looked_at
    yield _disc(at, bar + _BAR / 2, share, INK)
    if not share and look.base.callus:
        yield f'<circle cx="{at:.1f}" cy="{bar + _BAR / 2:.1f}" r="1.7" fill="{INK}"/>'


def _disc(x: float, y: float, share: float, fill: str) -> str:
    """Return a disc that is filled, clockwise from above, by a share."""
    radius = 5.0
    ring = (
        f'<circle cx="{x:.1f}" cy="{y:.1f}" r="{radius:g}" fill="#fff" stroke="{fill}"'
        ' stroke-width="1.2"/>'
    )
    if share <= 0:
        return ring
    if share >= 1:
        return f'<circle cx="{x:.1f}" cy="{y:.1f}" r="{radius:g}" fill="{fill}"/>'
    angle = 2 * math.pi * share
    end_x, end_y = x + radius * math.sin(angle), y - radius * math.cos(angle)
    large = int(share > 0.5)  # noqa: PLR2004 - half a turn
    return (
        f'{ring}<path d="M{x:.1f} {y:.1f}V{y - radius:.1f}A{radius:g} {radius:g} 0'
        f' {large} 1 {end_x:.2f} {end_y:.2f}z" fill="{fill}"/>'
    )


def _end(batch: BatchStory, x: Scale, bar: float) -> Iterator[str]:
    closing = batch.file.closing
    if closing is None:
        yield text(x.end + 6, bar + 10, "goes on", size=9.5)
        return
    at = x.within(closing.utc_ms)
    yield line(at, bar - 2, at, bar + _BAR + 3, stroke=INK, width=2)
    words = closing.outcome.value.replace("-", " ")
    if closing.rooted is not None:
        words += f", {closing.rooted} of {batch.file.batch.count}"
    lines = [words]
    if at + 5 + 5.2 * len(words) > x.end + _BESIDE:
        lines = words.split(", ")  # the bar has looks on it: no room there
    for n, said in enumerate(lines):
        down = 10.0 if len(lines) == 1 else 5.0 + 10.0 * n
        yield text(at + 5, bar + down, said, fill=INK, size=9.5)


LEGEND = (
    "Discs are looks at the base, filled by the share with roots seen; a dot in an"
    " empty one is callus; a stroke is a look that saw no base. A leaf: at least half"
    " of those looked at were in leaf. Of seed, discs show the share emerged. Outlined"
    " bars stood off the bench."
)
"""What the picture's signs mean."""
