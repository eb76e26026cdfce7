"""Outputs of the core: what a scan decided, each with its cause and numbers.

What may live here: the shape of the answers and the words for causes. No
judgement, no state.
"""

from dataclasses import dataclass
from enum import Enum

from controller.core.scan import Quality
from controller.core.units import MilliC, Millis

Numbers = tuple[tuple[str, float], ...]
"""The numbers that decided, by name with unit, in the order of reading."""


class Cause(Enum):
    """Why a mat is, or is not, energised; and why a reading is doubted."""

    # said by protect:
    WATCH_ONLY = "watch-only"
    TRIPPED = "tripped"
    DISABLED = "disabled"
    HELD = "held"
    LOG_NOT_READY = "log-not-ready"
    LOG_FAILED = "log-failed"
    LINK_DOWN = "link-down"
    AWAITING_READINGS = "awaiting-readings"
    NO_DRIVING_READING = "no-driving-reading"
    WARMEST_LOST = "warmest-lost"
    OVER_CUTOUT = "over-cutout"
    OVER_SURFACE_CUTOUT = "over-surface-cutout"
    OVER_TRAY_LIMIT = "over-tray-limit"
    OVER_SURFACE_LIMIT = "over-surface-limit"
    DOUBTFUL_HOT = "doubtful-hot"
    HEAT_FROM_ABOVE = "heat-from-above"
    HEAT_NOT_FELT = "heat-not-felt"
    RISES_TOO_FAST = "rises-too-fast"
    HEATED_TOO_LONG = "heated-too-long"
    DAILY_HEAT_SPENT = "daily-heat-spent"
    # regulate and modulate: demanded or not
    BELOW_BAND = "below-band"
    ABOVE_BAND = "above-band"
    WITHIN_BAND = "within-band"
    DUTY_ON = "duty-on"
    DUTY_OFF = "duty-off"
    MIN_ON = "minimum-on"
    MIN_OFF = "minimum-off"


class Doubted(Enum):
    """Why the core thinks less of a reading than the door did."""

    NO_VALUE = "no-value"
    POWER_UP = "power-up-value"
    DISCONNECTED = "disconnected-value"
    LOW_POWER = "low-power-value"
    OUT_OF_RANGE = "out-of-range"
    IMPOSSIBLE_RATE = "impossible-rate"
    OUT_OF_ORDER = "out-of-order"
    STUCK = "stuck"
    UNCERTAIN = "uncertain"


class AlarmKind(Enum):
    """What a person should act on."""

    TRIP = "trip"
    HEAT_NOT_FELT = "heat-not-felt"
    PROBE_LOST = "probe-lost"
    PROBE_IMPLAUSIBLE = "probe-implausible"
    PROBE_STUCK = "probe-stuck"
    NO_DRIVING_READING = "no-driving-reading"
    WARMEST_LOST = "warmest-lost"
    ROOT_ZONE_WARM = "root-zone-warm"
    OVER_LIMIT = "over-limit"
    HEAT_FROM_ABOVE = "heat-from-above"
    RISES_TOO_FAST = "rises-too-fast"
    HEATED_TOO_LONG = "heated-too-long"
    DAILY_HEAT_SPENT = "daily-heat-spent"
    HEAT_UNASKED = "heat-unasked"
    PROBE_DISAGREES = "probe-disagrees"
    RELAY_DISAGREES = "relay-disagrees"
    RELAY_SILENT = "relay-silent"
    MAT_DEAD = "mat-dead"
    POWER_UNASKED = "power-unasked"
    LOG_FAILED = "log-failed"
    LOG_SET_ASIDE = "log-set-aside"
    LINK_DOWN = "link-down"


class AlarmTurn(Enum):
    """What happened to an alarm: the transitions of ISA-18.2."""

    RAISED = "raised"
    CLEARED = "cleared"
    ACKNOWLEDGED = "acknowledged"
    SHELVED = "shelved"
    UNSHELVED = "unshelved"
    """By a person, or because its time was over."""
    SUPPRESSED = "suppressed"
    """Another alarm explains it."""
    UNSUPPRESSED = "unsuppressed"


@dataclass(frozen=True, slots=True)
class Command:
    """What a mat's relay shall do until the next scan.

    Attributes:
        mat: Name of the mat.
        energised: On, for at most the plan's valid_for_ms; or off.
        cause: Why.
        numbers: The numbers that decided.
    """

    mat: str
    energised: bool
    cause: Cause
    numbers: Numbers = ()


@dataclass(frozen=True, slots=True)
class Doubt:
    """A reading that the core does not take as it came.

    Attributes:
        probe: Name of the probe.
        at_ms: Time of the reading; run clock [ms].
        temp_mc: The value after the offset [m°C]; None if there is none.
        quality: What the core makes of it: uncertain or bad.
        why: The reason.
    """

    probe: str
    at_ms: Millis
    temp_mc: MilliC | None
    quality: Quality
    why: Doubted


@dataclass(frozen=True, slots=True)
class AlarmChange:
    """An alarm came, went, or was dealt with.

    Attributes:
        kind: What it is about.
        subject: Name of the probe or mat; empty for the bench.
        turn: What happened to it.
        numbers: The numbers that decided.
        who: The person who acknowledged or shelved it; empty otherwise.
    """

    kind: AlarmKind
    subject: str
    turn: AlarmTurn
    numbers: Numbers = ()
    who: str = ""


@dataclass(frozen=True, slots=True)
class Answer:
    """What became of a request.

    Attributes:
        request_id: The request's number.
        accepted: Whether the state changed as asked.
        sentence: What was done, or why not.
    """

    request_id: int
    accepted: bool
    sentence: str


@dataclass(frozen=True, slots=True)
class Decisions:
    """All that one scan decided.

    Attributes:
        commands: One for each mat, watch-only mats too (never sent), in plan
            order.
        doubts: Readings not taken as they came.
        alarm_changes: Alarms that came or went.
        answers: Answers to the scan's requests, in their order.
        flush: This scan should be on the disk before anything switches on:
            it holds a switch-on, a trip, an answer or an alarm.
    """

    commands: tuple[Command, ...]
    doubts: tuple[Doubt, ...] = ()
    alarm_changes: tuple[AlarmChange, ...] = ()
    answers: tuple[Answer, ...] = ()
    flush: bool = False
