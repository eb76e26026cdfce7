"""Inputs of the core: everything that arrived since the last scan, and the time.

A scan is the only door through which the world reaches a decision. It is made
by an adapter (live), by a simulated bench, or read back from a season log.
What may live here: the shape of the inputs. No judgement of them.
"""

from dataclasses import dataclass
from enum import Enum
from typing import Literal

from controller.core.units import MilliC, Millis, UtcMillis


class Quality(Enum):
    """May a value be used? Terms after OPC UA."""

    GOOD = "good"
    UNCERTAIN = "uncertain"
    """Retained, late, or the first of a probe after a reconnect."""
    BAD = "bad"


class LogHealth(Enum):
    """What the season log's writer says of itself."""

    OK = "ok"
    FAILED = "failed"


@dataclass(frozen=True, slots=True)
class Reading:
    """One measured value as it came through the door.

    Attributes:
        probe: Name of the probe in the plan.
        at_ms: When it was measured or, lacking that, received; run clock [ms].
        milli: Thousandths of the probe's unit (m°C for temperature), before
            the probe's offset; None, never NaN, when unusable.
        quality: The door's opinion; the core may think less of it, never more.
        note: Why it is not good; empty for a good one.
    """

    probe: str
    at_ms: Millis
    milli: int | None
    quality: Quality = Quality.GOOD
    note: str = ""


@dataclass(frozen=True, slots=True)
class Refusal:
    """A message that gave no value: counted, logged with its first bytes.

    Attributes:
        source: Probe or topic that it came from.
        at_ms: When it was received; run clock [ms].
        reason: What was found and what would be right.
        raw: The start of the payload, printable.
    """

    source: str
    at_ms: Millis
    reason: str
    raw: str = ""


@dataclass(frozen=True, slots=True)
class RelayReport:
    """What a relay says of itself.

    Attributes:
        mat: The mat that it switches.
        at_ms: When the report was received; run clock [ms].
        energised: Whether the contact is closed.
        seq: The command it answers, of this run; None if it does not say.
        reason: "command", "lease", "start", "lost", or empty.
        retained: The broker kept it: it may be old.
    """

    mat: str
    at_ms: Millis
    energised: bool
    seq: int | None = None
    reason: str = ""
    retained: bool = False


@dataclass(frozen=True, slots=True)
class PowerReport:
    """What a mat's wattmeter says: evidence, never a reason to heat.

    Attributes:
        mat: The mat whose supply it measures.
        at_ms: When the report was received; run clock [ms].
        power_mw: The power drawn [mW].
    """

    mat: str
    at_ms: Millis
    power_mw: int


@dataclass(frozen=True, slots=True)
class SetSetpoint:
    """Override a mat's setpoint, or drop the override (setpoint_mc None)."""

    mat: str
    setpoint_mc: MilliC | None
    for_ms: Millis | None = None
    kind: Literal["setpoint"] = "setpoint"


@dataclass(frozen=True, slots=True)
class SetEnabled:
    """Switch a mat's heating off for good, or let it heat again."""

    mat: str
    enabled: bool
    kind: Literal["enabled"] = "enabled"


@dataclass(frozen=True, slots=True)
class Reset:
    """Unlock a mat that tripped, or let it start without a season log."""

    mat: str
    kind: Literal["reset"] = "reset"


@dataclass(frozen=True, slots=True)
class Hold:
    """Hands are on the bench: heat off for a while; 0 ends a hold."""

    mat: str
    for_ms: Millis
    kind: Literal["hold"] = "hold"


@dataclass(frozen=True, slots=True)
class NextStep:
    """End the present step of a mat's programme by hand."""

    mat: str
    kind: Literal["step"] = "step"


@dataclass(frozen=True, slots=True)
class Acknowledge:
    """A person has seen an alarm. Kinds are the values of AlarmKind."""

    alarm: str
    subject: str
    kind: Literal["acknowledge"] = "acknowledge"


@dataclass(frozen=True, slots=True)
class Shelve:
    """Silence an alarm for a while; 0 lets it ring again."""

    alarm: str
    subject: str
    for_ms: Millis
    kind: Literal["shelve"] = "shelve"


MatWish = SetSetpoint | SetEnabled | Reset | Hold | NextStep
AlarmWish = Acknowledge | Shelve
Wish = MatWish | AlarmWish


@dataclass(frozen=True, slots=True)
class Request:
    """A person's wish. The core decides and answers.

    Attributes:
        id: Number under which the answer is found.
        who: Name of the person or token that asked.
        wish: What is asked for.
    """

    id: int
    who: str
    wish: Wish


@dataclass(frozen=True, slots=True)
class Scan:
    """Everything that arrived since the last scan, and the time.

    Attributes:
        seq: Grows by one with each scan of a run, from 1.
        run_ms: Bench clock [ms]: monotonic, goes on from run to run.
        utc_ms: The wall clock's opinion [ms]; never used for durations.
        clock_ok: Whether the wall clock is known to be right.
        local_day: Days since 1970-01-01 in the bench's time zone.
        local_minute: Minute of the local day, 0 to 1439.
        readings: Values, in order of arrival.
        refusals: Messages that gave no value.
        relay_reports: What relays say, in order of arrival.
        power_reports: What wattmeters say, in order of arrival.
        link_up: Whether the broker can be reached.
        log_health: What the season log's writer says of itself.
        requests: Wishes, in order of arrival.
    """

    seq: int
    run_ms: Millis
    utc_ms: UtcMillis
    clock_ok: bool
    local_day: int
    local_minute: int
    readings: tuple[Reading, ...] = ()
    refusals: tuple[Refusal, ...] = ()
    relay_reports: tuple[RelayReport, ...] = ()
    power_reports: tuple[PowerReport, ...] = ()
    link_up: bool = True
    log_health: LogHealth = LogHealth.OK
    requests: tuple[Request, ...] = ()
