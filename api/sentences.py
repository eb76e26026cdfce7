"""Why, in plain words: one sentence for every cause, doubt and alarm.

Each has templates, the fullest first; the first whose numbers are all there is
taken, so that a number that is missing costs detail and never the sentence.
What may live here: words. No judgement.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from string import Formatter

from api.formats import (
    difference_text,
    duration_text,
    percent_text,
    temp_text,
    utc_text,
)
from api.shapes import Numbers
from controller.core.decisions import AlarmKind, Cause, Doubted
from controller.core.decisions import Numbers as CoreNumbers

Templates = Mapping[Cause, tuple[str, ...]]


@dataclass(frozen=True, slots=True)
class Reader:
    """For whom and when a sentence is written.

    Attributes:
        unit: "°C" or "°F".
        run_ms: The present on the run clock [ms].
        utc_ms: The present on the wall clock [ms].
    """

    unit: str
    run_ms: int
    utc_ms: int


CAUSES: Templates = {
    Cause.WATCH_ONLY: ("This mat is only watched: it has no relay to switch it.",),
    Cause.TRIPPED: (
        "Locked off until you reset it: a probe read {temp}, the cut-out is {limit}.",
        "Locked off until you reset it.",
    ),
    Cause.DISABLED: ("Switched off by a person, until someone lets it heat again.",),
    Cause.HELD: (
        "Hands are on the bench: no heat for another {left}.",
        "Hands are on the bench: no heat for now.",
    ),
    Cause.LOG_NOT_READY: (
        "The season log cannot be written yet; heat waits for it or for your reset.",
    ),
    Cause.LOG_FAILED: (
        "The season log cannot be written, and this bench is set to stay cold then.",
    ),
    Cause.LINK_DOWN: (
        "The broker has been out of reach for {down}, so the relay hears nothing.",
        "The broker is out of reach, so the relay hears nothing.",
    ),
    Cause.AWAITING_READINGS: (
        "Waiting for good readings from the root-zone probes, for {waited} so far.",
        "Waiting for good readings from the root-zone probes.",
    ),
    Cause.NO_DRIVING_READING: (
        "No tray that could drive this mat has a probe with a good reading.",
    ),
    Cause.WARMEST_LOST: (
        "The probe that was last the warmest, at {last}, has given no good reading "
        "for {silent}, and no probe on the surface stands in for it.",
        "The probe that was last the warmest gives no good reading, and no probe on "
        "the surface stands in for it.",
    ),
    Cause.OVER_CUTOUT: (
        "A root zone reads {temp}, as hot as the cut-out; no heat from {limit} on.",
        "A root zone is as hot as the cut-out.",
    ),
    Cause.OVER_SURFACE_CUTOUT: (
        "The mat's surface reads {temp}, as hot as its cut-out; no heat from "
        "{limit} on.",
        "The mat's surface is as hot as its cut-out.",
    ),
    Cause.OVER_TRAY_LIMIT: (
        "A root zone reads {temp}; no heat from {limit} on, until it has cooled.",
        "A root zone is too far above the setpoint; no heat until it has cooled.",
    ),
    Cause.OVER_SURFACE_LIMIT: (
        "The mat's surface reads {temp}; no heat from {limit} on, until it has cooled.",
        "The mat's surface is too hot; no heat until it has cooled.",
    ),
    Cause.DOUBTFUL_HOT: (
        "A doubtful reading says {temp}, above {limit}; only a good one below "
        "brings heat back.",
        "A doubtful reading is too hot; only a good one brings heat back.",
    ),
    Cause.HEAT_FROM_ABOVE: (
        "A probe reads {temp} though the mat has been off for {unheated}: the heat "
        "comes from sun or lamp. Shade or air the bench.",
        "A probe reads {temp} though the mat has not heated: the heat comes from "
        "sun or lamp. Shade or air the bench.",
        "The heat comes from sun or lamp, not from the mat. Shade or air the bench.",
    ),
    Cause.HEAT_NOT_FELT: (
        "Locked off until you reset it: the mat has given heat, but the root zone "
        "reads {temp} where {limit} was due. Is the probe in the medium, the tray on "
        "the mat, the mat plugged in?",
        "Locked off until you reset it: the mat has given heat and no probe felt it. "
        "Is the probe in the medium, the tray on the mat, the mat plugged in?",
    ),
    Cause.RISES_TOO_FAST: (
        "A tray has warmed by more than {limit} within ten minutes, from {from}: heat "
        "waits. Does a probe touch the mat?",
        "A tray warms faster than it can: heat waits. Does a probe touch the mat?",
    ),
    Cause.HEATED_TOO_LONG: (
        "On for {longest} without a pause: the mat rests for another {left}.",
        "On for too long without a pause: the mat rests.",
    ),
    Cause.DAILY_HEAT_SPENT: (
        "On for {daily} within the last day, which is all that it may: heat waits.",
        "The mat has been on for all that it may within a day: heat waits.",
    ),
    Cause.BELOW_BAND: (
        "The root zone is at {root}, below {low}: heat until it is above {high}.",
        "The root zone is below its setpoint.",
    ),
    Cause.ABOVE_BAND: (
        "The root zone is at {root}, above {high}: no heat until it is below {low}.",
        "The root zone is above its setpoint.",
    ),
    Cause.WITHIN_BAND: (
        "The root zone is at {root}, between {low} and {high}: the mat stays {switch}.",
        "The root zone is near its setpoint: the mat stays {switch}.",
    ),
    Cause.DUTY_ON: (
        "The root zone is at {root}, the setpoint {setpoint}: the mat is on for {on} "
        "of {cycle}, and this is its time on.",
        "The mat is in the part of its cycle in which it is on.",
    ),
    Cause.DUTY_OFF: (
        "The root zone is at {root}, the setpoint {setpoint}: the mat is on for {on} "
        "of {cycle}, and this is its time off.",
        "The mat is in the part of its cycle in which it is off.",
    ),
    Cause.MIN_ON: (
        "On for {lasting}: it stays on until its shortest time on is over.",
        "It stays on until its shortest time on is over.",
    ),
    Cause.MIN_OFF: (
        "Off for {lasting}: it stays off until its shortest time off is over.",
        "It stays off until its shortest time off is over.",
    ),
}

DOUBTS: Mapping[Doubted, tuple[str, ...]] = {
    Doubted.NO_VALUE: ("It gave no value.",),
    Doubted.POWER_UP: (
        "It says {temp}, which such a probe says when it has just been powered up.",
        "It says what such a probe says when it has just been powered up.",
    ),
    Doubted.DISCONNECTED: ("It says what stands for a probe that is not connected.",),
    Doubted.LOW_POWER: ("It says what such a probe says when it lacks power.",),
    Doubted.OUT_OF_RANGE: (
        "It says {temp}, which nothing on a bench can be.",
        "It says what nothing on a bench can be.",
    ),
    Doubted.IMPOSSIBLE_RATE: (
        "It jumped to {temp}, faster than a bench can; its next reading decides.",
        "It jumped faster than a bench can; its next reading decides.",
    ),
    Doubted.STUCK: (
        "It has said {temp}, and nothing else, for too long to be believed.",
        "It has said the very same for too long to be believed.",
    ),
    Doubted.OUT_OF_ORDER: ("It is older than what was known already.",),
    Doubted.UNCERTAIN: (
        "It says {temp}, but the message was late, kept by the broker, or the first "
        "after a reconnect.",
        "The message was late, kept by the broker, or the first after a reconnect.",
    ),
}

ALARMS: Mapping[AlarmKind, tuple[str, ...]] = {
    AlarmKind.TRIP: (
        "Mat {subject} is locked off until you reset it: a probe read {temp}, the "
        "cut-out is {limit}.",
        "Mat {subject} is locked off until you reset it.",
    ),
    AlarmKind.HEAT_NOT_FELT: (
        "Mat {subject} is locked off until you reset it: it has given heat, but its "
        "root zone reads {temp} where {limit} was due. Is the probe in the medium, "
        "the tray on the mat, the mat plugged in?",
        "Mat {subject} is locked off until you reset it: it has given heat and no "
        "probe felt it. Is the probe in the medium, the tray on the mat, the mat "
        "plugged in?",
    ),
    AlarmKind.PROBE_STUCK: (
        "Probe {subject} has said {temp}, and nothing else, for too long.",
        "Probe {subject} has said the very same for too long.",
    ),
    AlarmKind.RISES_TOO_FAST: (
        "Mat {subject} is held off: a tray has warmed by more than {limit} within ten "
        "minutes. Does a probe touch the mat?",
        "Mat {subject} is held off: a tray warms faster than it can. Does a probe "
        "touch the mat?",
    ),
    AlarmKind.HEATED_TOO_LONG: (
        "Mat {subject} was on for {longest} without a pause and rests. Is it too weak "
        "for the room, or does its heat go elsewhere?",
        "Mat {subject} was on for too long without a pause and rests.",
    ),
    AlarmKind.DAILY_HEAT_SPENT: (
        "Mat {subject} was on for {daily} within a day, which is all that it may. Is "
        "it too weak for the room, or does its heat go elsewhere?",
        "Mat {subject} was on for all that it may within a day.",
    ),
    AlarmKind.HEAT_UNASKED: (
        "Mat {subject} is off, and yet its trays warm, from {from}. Does the relay "
        "stick? Pull the mat's plug and look. Or is it sun or a lamp?",
        "Mat {subject} is off, and yet its trays warm. Does the relay stick? Pull the "
        "mat's plug and look. Or is it sun or a lamp?",
    ),
    AlarmKind.PROBE_DISAGREES: (
        "Probe {subject} reads otherwise against the other trays than its usual "
        "{usual}. Did it move, or its tray?",
        "Probe {subject} reads otherwise against the other trays than it used to. "
        "Did it move, or its tray?",
    ),
    AlarmKind.RELAY_SILENT: (
        "The relay of mat {subject} was told to be on {lasting} ago and has not said "
        "that it is.",
        "The relay of mat {subject} was told to be on and has not said that it is.",
    ),
    AlarmKind.MAT_DEAD: (
        "Mat {subject} is on and draws no power. Is it plugged in? A cut-out of its "
        "own may have opened.",
    ),
    AlarmKind.POWER_UNASKED: (
        "Mat {subject} is told to be off and draws power. Does the relay stick? Pull "
        "the mat's plug and look.",
    ),
    AlarmKind.PROBE_LOST: ("Probe {subject} has fallen silent.",),
    AlarmKind.PROBE_IMPLAUSIBLE: ("Probe {subject} says nothing believable.",),
    AlarmKind.NO_DRIVING_READING: (
        "Mat {subject} has no tray with a good reading to drive it.",
    ),
    AlarmKind.WARMEST_LOST: (
        "Mat {subject}: the probe that was last the warmest, at {last}, is lost.",
        "Mat {subject}: the probe that was last the warmest is lost.",
    ),
    AlarmKind.ROOT_ZONE_WARM: (
        "Probe {subject} read {temp}; warnings begin at {limit}.",
        "Probe {subject} is warmer than where warnings begin.",
    ),
    AlarmKind.OVER_LIMIT: (
        "Mat {subject} is held off: a probe read {temp}, the limit is {limit}.",
        "Mat {subject} is held off: a probe is over its limit.",
    ),
    AlarmKind.HEAT_FROM_ABOVE: (
        "Mat {subject}: a probe read {temp} though the mat has not heated. Sun or "
        "lamp? Shade or air the bench.",
        "Mat {subject}: the heat comes from sun or lamp. Shade or air the bench.",
    ),
    AlarmKind.RELAY_DISAGREES: (
        "The relay of mat {subject} says that it is on though it was told to be "
        "off. Pull the mat's plug and look.",
    ),
    AlarmKind.LOG_FAILED: ("The season log cannot be written.",),
    AlarmKind.LOG_SET_ASIDE: (
        "The season log could not be used and was set aside; a new one is begun."
        " Acknowledge this when you have kept a copy of the old file.",
    ),
    AlarmKind.LINK_DOWN: ("The broker is out of reach.",),
}


def cause_sentence(
    cause: Cause, numbers: CoreNumbers, reader: Reader, *, energised: bool
) -> str:
    """Return why a mat is, or is not, energised, as a sentence."""
    fields = _fields(numbers, reader) | {"switch": "on" if energised else "off"}
    return _fill(CAUSES[cause], fields)


def doubt_sentence(doubted: Doubted, temp_mc: int | None, reader: Reader) -> str:
    """Return why a reading was not taken, as a sentence."""
    fields = {} if temp_mc is None else {"temp": temp_text(temp_mc, reader.unit, 2)}
    return _fill(DOUBTS[doubted], fields)


def alarm_sentence(
    kind: AlarmKind, subject: str, numbers: CoreNumbers, reader: Reader
) -> str:
    """Return what a person should act on, as a sentence."""
    fields = _fields(numbers, reader) | {"subject": subject}
    return _fill(ALARMS[kind], fields)


def shown_numbers(numbers: CoreNumbers, reader: Reader) -> Numbers:
    """Return the numbers that decided in °C, K and s, with the unit in the key."""
    return dict(_shown(name, value, reader) for name, value in numbers)


def _shown(name: str, value: float, reader: Reader) -> tuple[str, float | str]:
    stem, _, unit = name.rpartition("_")
    if name == "until_ms":
        return "until", on_the_wall(value, reader)
    new = {"mc": "c", "mk": "k", "ms": "s"}.get(unit)
    return (name, value) if new is None else (f"{stem}_{new}", value / 1000)


def _fields(numbers: CoreNumbers, reader: Reader) -> dict[str, str]:
    return dict(_field(name, value, reader) for name, value in numbers)


def _field(name: str, value: float, reader: Reader) -> tuple[str, str]:
    stem, _, unit = name.rpartition("_")
    if unit == "mc":
        return stem, temp_text(value, reader.unit, 2)
    if unit == "mk":
        return stem, difference_text(value, reader.unit)
    if unit == "ms":
        return stem, duration_text(value)
    return name, percent_text(value) if name == "duty" else f"{value:g}"


def on_the_wall(run_ms: float, reader: Reader) -> str:
    """Return an instant on the run clock [ms] as the wall clock shows it."""
    return utc_text(_on_the_wall_ms(run_ms, reader))


def _on_the_wall_ms(run_ms: float, reader: Reader) -> int:
    return reader.utc_ms + round(run_ms) - reader.run_ms


def _fill(templates: tuple[str, ...], fields: Mapping[str, str]) -> str:
    for template in templates:
        needed = {name for _, name, _, _ in Formatter().parse(template) if name}
        if needed <= fields.keys():
            return template.format_map(fields)
    return templates[-1]
