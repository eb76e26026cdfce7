"""The sections of the report about the bench: what came of it, mats, room, alarms.

What may live here: from a story to HTML, through html and the charts.
"""

from collections import Counter
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from datetime import datetime
from zoneinfo import ZoneInfo

from controller.core.units import DAY_MS, HOUR_MS, kelvin_hours
from controller.records.events import EventKind
from controller.review.report.gather import BIN_MC
from controller.review.report.html import (
    facts,
    figure,
    heading,
    para,
    section,
    table,
)
from controller.review.report.mat_chart import mat_chart, room_chart, spread_chart
from controller.review.report.scale import Degrees, local
from controller.review.report.story import (
    AlarmStory,
    MatStory,
    SeasonStory,
    TrayStory,
)

_MOST_ALARMS = 40
"""Chosen: so many are told one by one, the rest counted."""

Cost = Callable[[float], str]
"""Returns what energy [kWh] costs, as text."""


@dataclass(frozen=True, slots=True)
class Telling:
    """What is told, and how.

    Attributes:
        season: What is told.
        degrees: In which unit.
        cost: What energy costs; None: nobody said.
    """

    season: SeasonStory
    degrees: Degrees
    cost: Cost | None = None

    @property
    def zone(self) -> ZoneInfo:
        """The bench's time zone."""
        return ZoneInfo(self.season.timezone)

    def at(self, utc_ms: int) -> datetime:
        """Return a time on the bench's own clock."""
        return local(utc_ms, self.zone)

    def day(self, utc_ms: int) -> str:
        """Return a day in words, such as "3 February 2027"."""
        at = self.at(utc_ms)
        return f"{at.day} {at:%B %Y}"


def overview(telling: Telling) -> Iterator[str]:
    """Yield the title, what it is about, and the large figures."""
    season = telling.season
    begin, end = telling.day(season.from_utc_ms), telling.day(season.to_utc_ms)
    lead = f"{begin} to {end}, times as in {season.timezone}"
    yield f"<header>{heading(f'The season on {season.bench}', 1)}"
    yield f"{para(lead, 'lead')}</header>"
    if "simulate" in season.origins:
        yield para(
            "These readings come from a simulated bench: invented, and no promise for"
            " yours.",
            "mark",
        )
    yield facts(_figures(telling))
    silent_h = season.silent_ms / HOUR_MS
    if silent_h >= 1:
        yield para(
            f"For {silent_h:.0f} hours in between nobody watched the bench: there the"
            " pictures are empty, and nothing was counted.",
            "mark",
        )


def _figures(telling: Telling) -> Iterator[tuple[str, str]]:
    season = telling.season
    days = (season.to_utc_ms - season.from_utc_ms) / DAY_MS
    yield f"{days:.0f}" if days >= 10 else f"{days:.1f}", "days"  # noqa: PLR2004
    if season.batches:
        yield from _plant_figures(season)
    kwh = sum(mat.energy_kwh for mat in season.mats)
    yield f"{kwh:.1f} kWh", "heat, by time on and rated power"
    if telling.cost is not None:
        yield telling.cost(kwh), "for that heat"
    yield f"{len(season.alarms)}", "alarms"


def _plant_figures(season: SeasonStory) -> Iterator[tuple[str, str]]:
    stuck = sum(batch.file.batch.count or 0 for batch in season.batches)
    yield f"{len(season.batches)}", "batches"
    yield f"{stuck}", "cuttings and seeds stuck"
    ended = [b for b in season.batches if b.file.closing is not None]
    told = [
        b.file.closing.rooted
        for b in ended
        if b.file.closing is not None and b.file.closing.rooted is not None
    ]
    if told:
        counted = "batch" if len(told) == 1 else f"{len(told)} batches"
        yield f"{sum(told)}", f"rooted or up, in the {counted} counted at the end"


# ------------------------------------------------------------------------------ mats


def mats(telling: Telling) -> Iterator[str]:
    """Yield a section for each mat, and one for the room."""
    for mat in telling.season.mats:
        yield section(_named(mat.name, mat.title, "Mat"), _mat(telling, mat))
    others = [tray for tray in telling.season.others if tray.recount is not None]
    if others:
        rows = [_tray_row(telling, tray) for tray in others]
        yield section("Trays on no mat", [table(_HEAD, rows, _RIGHT)])
    if telling.season.room:
        words = "Least, mean and greatest of what the room's probes read."
        picture = figure(room_chart(telling.season, telling.degrees), words)
        yield section("The room", [picture])


def _named(name: str, title: str, what: str) -> str:
    return f"{what} {name}: {title}" if title else f"{what} {name}"


def _mat(telling: Telling, mat: MatStory) -> Iterator[str]:
    season, degrees = telling.season, telling.degrees
    yield para(_kept(telling, mat))
    drawn = [tray for tray in mat.trays if tray.buckets]
    if not drawn:
        yield para("No tray of it was measured in this time.", "note")
        return
    yield figure(
        mat_chart(season, mat, degrees),
        "Lines are means, bands reach from the least to the greatest reading; where"
        " nothing was read there is nothing. Red bars at the upper edge are"
        " alarms of the mat or its probes, drops are waterings; bars below tell the"
        " share of each day that the mat was on (red: hardly ever off).",
    )
    yield table(_HEAD, [_tray_row(telling, tray) for tray in mat.trays], _RIGHT)
    yield figure(
        spread_chart(mat, degrees, BIN_MC),
        "How often each temperature was read, in quarters of a kelvin; each tray by"
        " itself, its commonest the tallest.",
    )


def _kept(telling: Telling, mat: MatStory) -> str:
    if mat.watched:
        return "Only watched, never heated by this controller."
    season = telling.season
    awake_ms = season.to_utc_ms - season.from_utc_ms - season.silent_ms
    share = mat.on_ms / awake_ms if awake_ms > 0 else 0.0
    temps = sorted({temp_mc for _, temp_mc in mat.setpoints})
    shown = [telling.degrees.short(temp_mc) for temp_mc in temps]
    at = "no setpoint in force"
    if len(shown) == 1:
        at = f"at {shown[0]}"
    elif shown:
        at = f"between {shown[0]} and {shown[-1]}"
    words = (
        f"Kept by {mat.policy} {at}; on {100 * share:.0f} % of the time,"
        f" {mat.energy_kwh:.1f} kWh at its rated {mat.power_mw / 1000:g} W"
    )
    if telling.cost is not None:
        words += f", {telling.cost(mat.energy_kwh)}"
    return f"{words}; it went on {mat.operations:,} times."


_HEAD = (
    *("tray", "medium", "mean", "lowest", "highest", "degree-hours", "above"),
    *("measured", "gaps"),
)
_RIGHT = (2, 3, 4, 5, 6, 7, 8)


def _tray_row(telling: Telling, tray: TrayStory) -> tuple[str, ...]:
    degrees, counted = telling.degrees, tray.recount
    name = f"{tray.name} {tray.title}".strip()
    if counted is None or not counted.account.measured_ms:
        return (name, tray.medium, "-", "-", "-", "-", "-", "0 h", "-")
    account = counted.account
    low = "-" if counted.low_mc is None else degrees.text(counted.low_mc)
    high = "-" if counted.high_mc is None else degrees.text(counted.high_mc)
    heat = degrees.heat(kelvin_hours(account.heat_mk_ms))
    gap_h = account.gap_ms / HOUR_MS
    return (
        name,
        tray.medium,
        degrees.text(account.warmth_mk_ms / account.measured_ms, 2),
        low,
        high,
        heat,
        degrees.short(account.base_mc),
        f"{account.measured_ms / HOUR_MS:,.0f} h",
        f"{account.gaps}, {gap_h:.1f} h" if account.gaps else "none",
    )


# ---------------------------------------------------------------------------- alarms


def alarms(telling: Telling) -> Iterator[str]:
    """Yield what rang."""
    season = telling.season
    if not season.alarms:
        yield section("Alarms", [para("Nothing rang.")])
        return
    parts = []
    if len(season.alarms) > _MOST_ALARMS:
        counted = Counter((one.kind, one.subject) for one in season.alarms)
        times = [
            (kind, subject, str(count))
            for (kind, subject), count in counted.most_common()
        ]
        parts.append(table(("alarm", "of", "times"), times, (2,)))
        parts.append(para(f"The first {_MOST_ALARMS}, one by one:", "note"))
    rows = [_alarm_row(telling, one) for one in season.alarms[:_MOST_ALARMS]]
    parts.append(table(("alarm", "of", "came", "lasted", "what it said"), rows))
    yield section("Alarms", parts)


def _alarm_row(telling: Telling, one: AlarmStory) -> tuple[str, ...]:
    lasted = "to the end"
    if one.to_utc_ms is not None:
        lasted = _long(one.to_utc_ms - one.from_utc_ms)
    came = f"{telling.at(one.from_utc_ms):%Y-%m-%d %H:%M}"
    return (one.kind, one.subject, came, lasted, one.words)


def _long(span_ms: int) -> str:
    hours = span_ms / HOUR_MS
    if hours >= 48:  # noqa: PLR2004
        return f"{hours / 24:.1f} d"
    return f"{hours:.1f} h" if hours >= 1 else f"{60 * hours:.0f} min"


# ----------------------------------------------------------------------------- events


def done(telling: Telling) -> Iterator[str]:
    """Yield what was done at the bench, counted, and what was noted."""
    season = telling.season
    if not season.events:
        return
    counts = Counter(event.kind for event in season.events)
    water = [
        event.given_ml or 0.0
        for event in season.events
        if event.kind in (EventKind.WATERED, EventKind.MISTED)
    ]
    words = ", ".join(f"{kind} {count}" for kind, count in counts.most_common())
    parts = [para(f"Told of: {words}.")]
    if sum(water):
        parts.append(para(f"Water that was told of: {sum(water) / 1000:.1f} l."))
    rows = [
        (f"{telling.at(event.utc_ms):%Y-%m-%d %H:%M}", str(event.kind), event.text)
        for event in season.events
        if event.text
    ]
    if rows:
        parts.append(table(("when", "what", "words"), rows))
    yield section("What was done", parts)
