"""Kinds of things that can go wrong on a simulated bench, or be done to it. Data.

What may live here: the kinds, what each is about and the sizes it has, with
usual values and bounds. What a kind does is in whatever of this package plays
it: the faulty bench, signals, contacts, or the closed loop.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field
from enum import Enum


class Kind(Enum):
    """Kinds of faults and doings, by the name they have in a file."""

    # things
    PROBE_SLIPS_OUT = "probe-slips-out"
    PROBE_ON_MAT = "probe-on-mat"
    TRAY_LIFTED = "tray-lifted"
    TRAY_WATERED = "tray-watered"
    MEDIUM_DRIES = "medium-dries"
    SUN = "sun"
    ROOM_SHIFTS = "room-shifts"
    # mats and relays
    MAT_DEAD = "mat-dead"
    RELAY_STUCK_ON = "relay-stuck-on"
    RELAY_STUCK_OFF = "relay-stuck-off"
    RELAY_LOST = "relay-lost"
    RELAY_CUT_OFF = "relay-cut-off"
    RELAY_SILENT = "relay-silent"
    # the link
    BROKER_LOST = "broker-lost"
    BROKER_RESTARTS = "broker-restarts"
    NETWORK_SPLIT = "network-split"
    # what a probe says
    PROBE_STUCK = "probe-stuck"
    PROBE_JUMPS = "probe-jumps"
    PROBE_DRIFTS = "probe-drifts"
    PROBE_NOISY = "probe-noisy"
    PROBE_WET = "probe-wet"
    PROBE_SAYS = "probe-says"
    PROBE_NO_VALUE = "probe-no-value"
    PROBE_REFUSED = "probe-refused"
    PROBE_FAHRENHEIT = "probe-fahrenheit"
    PROBES_SWAPPED = "probes-swapped"
    PROBE_SILENT = "probe-silent"
    PROBE_DOUBLED = "probe-doubled"
    PROBE_LATE = "probe-late"
    PROBE_REORDERED = "probe-reordered"
    PROBE_RETAINED = "probe-retained"
    # the daemon and its board
    DAEMON_RESTARTS = "daemon-restarts"
    DAEMON_HANGS = "daemon-hangs"
    CLOCK_JUMPS = "clock-jumps"
    CLOCK_UNKNOWN = "clock-unknown"
    SUMMER_TIME = "summer-time"
    LOG_FAILS = "log-fails"
    # people
    HOLD = "hold"
    SETPOINT = "setpoint"
    SWITCHED_OFF = "switched-off"
    RESET = "reset"


class About(Enum):
    """What a fault befalls, and the key that names it in a file."""

    PROBE = "probe"
    TRAY = "tray"
    MAT = "mat"
    BENCH = ""


class Unit(Enum):
    """How a size is written; all are kept in thousandths."""

    TEMPERATURE = "temperature"
    DIFFERENCE = "difference"
    RATE = "difference per day"
    SPAN = "time span"
    WATER = "depth of water"
    LIGHT = "power per area"
    SHARE = "percentage"


@dataclass(frozen=True, slots=True)
class Size:
    """One size of a kind, in thousandths of °C, K, s, mm, W/m² or of the whole.

    Attributes:
        unit: How it is written.
        usual: What it is if it is not said; None: it must be said.
        low: Smallest that makes sense.
        high: Largest.
    """

    unit: Unit
    usual: int | None
    low: int
    high: int


@dataclass(frozen=True, slots=True)
class Shape:
    """What a kind is about and what it can be told.

    Attributes:
        about: What it befalls.
        what: What happens, in a few words.
        sizes: By key.
        lasts: Whether it lasts; a kind that does not happens at once.
        usual_ms: How long, if it is not said; None: to the end. Of a kind that
            does not last: within which time it happens.
        flags: Keys that are true or false, with what they are if not said.
        other: Whether a second probe is named, as `with`.
    """

    about: About
    what: str
    sizes: Mapping[str, Size] = field(default_factory=dict)
    lasts: bool = True
    usual_ms: int | None = None
    flags: Mapping[str, bool] = field(default_factory=dict)
    other: bool = False


_HOUR_MS = 3_600_000
_MINUTE_MS = 60_000

_BY = {"by": Size(Unit.DIFFERENCE, None, -60_000, 60_000)}
_HONEST = {"honest": True}

SHAPES: Mapping[Kind, Shape] = {
    Kind.PROBE_SLIPS_OUT: Shape(
        About.PROBE,
        "it lies in the air over the bench",
        {"above_room": Size(Unit.DIFFERENCE, 1_000, 0, 10_000)},
    ),
    Kind.PROBE_ON_MAT: Shape(About.PROBE, "it slid down and touches the mat"),
    Kind.TRAY_LIFTED: Shape(
        About.TRAY,
        "it stands beside its mat, with its probes",
        usual_ms=20 * _MINUTE_MS,
    ),
    Kind.TRAY_WATERED: Shape(
        About.TRAY,
        "water is poured over it; its top stays wet while this lasts",
        {
            "water": Size(Unit.WATER, 8_000, 100, 100_000),
            "temperature": Size(Unit.TEMPERATURE, 12_000, 0, 60_000),
        },
        usual_ms=12 * _HOUR_MS,
    ),
    Kind.MEDIUM_DRIES: Shape(
        About.TRAY,
        "its medium is left with this share of its usual water",
        {"left": Size(Unit.SHARE, 300, 0, 1_000)},
    ),
    Kind.SUN: Shape(
        About.TRAY,
        "sun or a lamp gives its top so much",
        {"gives": Size(Unit.LIGHT, 300_000, 0, 1_200_000)},
    ),
    Kind.ROOM_SHIFTS: Shape(
        About.BENCH, "the room is so much warmer, or colder, than its weather", _BY
    ),
    Kind.MAT_DEAD: Shape(About.MAT, "it is unplugged or burnt out: no heat, no power"),
    Kind.RELAY_STUCK_ON: Shape(
        About.MAT, "its contact stays closed, whatever it is told", flags=_HONEST
    ),
    Kind.RELAY_STUCK_OFF: Shape(
        About.MAT, "its contact stays open, whatever it is told", flags=_HONEST
    ),
    Kind.RELAY_LOST: Shape(
        About.MAT, "it has no power: its contact opens and it says nothing"
    ),
    Kind.RELAY_CUT_OFF: Shape(
        About.MAT, "it lives, but no message reaches it and none comes from it"
    ),
    Kind.RELAY_SILENT: Shape(About.MAT, "it obeys, but its reports are lost"),
    Kind.BROKER_LOST: Shape(About.BENCH, "no message goes or comes, and it is known"),
    Kind.BROKER_RESTARTS: Shape(
        About.BENCH,
        "it is lost for so long, then gives out what it had kept",
        usual_ms=20_000,
    ),
    Kind.NETWORK_SPLIT: Shape(
        About.BENCH, "readings and reports still come, commands reach no relay"
    ),
    Kind.PROBE_STUCK: Shape(About.PROBE, "it says what it last said, over and over"),
    Kind.PROBE_JUMPS: Shape(About.PROBE, "it reads so much too high or too low", _BY),
    Kind.PROBE_DRIFTS: Shape(
        About.PROBE,
        "it reads more and more wrong",
        {"by": Size(Unit.RATE, None, -60_000, 60_000)},
    ),
    Kind.PROBE_NOISY: Shape(
        About.PROBE,
        "noise of this standard deviation",
        {"by": Size(Unit.DIFFERENCE, 3_000, 0, 60_000)},
    ),
    Kind.PROBE_WET: Shape(
        About.PROBE,
        "water in a thermistor's sleeve: it reads hotter, unsteadily, and within two"
        " hours by this much",
        {"by": Size(Unit.DIFFERENCE, 8_000, 0, 60_000)},
    ),
    Kind.PROBE_SAYS: Shape(
        About.PROBE,
        "it says this value, as 85 °C after power-up or -127 °C when cut off",
        {"value": Size(Unit.TEMPERATURE, 85_000, -300_000, 300_000)},
    ),
    Kind.PROBE_NO_VALUE: Shape(About.PROBE, "it answers without a value"),
    Kind.PROBE_REFUSED: Shape(About.PROBE, "it sends NaN, which the door refuses"),
    Kind.PROBE_FAHRENHEIT: Shape(About.PROBE, "it sends °F that are taken for °C"),
    Kind.PROBES_SWAPPED: Shape(
        About.PROBE, "two probes bear each other's names", other=True
    ),
    Kind.PROBE_SILENT: Shape(About.PROBE, "nothing comes from it"),
    Kind.PROBE_DOUBLED: Shape(About.PROBE, "each of its messages comes twice"),
    Kind.PROBE_LATE: Shape(
        About.PROBE,
        "its messages come so much later; stamped: with the time at which they were"
        " measured",
        {"by": Size(Unit.SPAN, 600_000, 0, 86_400_000)},
        flags={"stamped": True},
    ),
    Kind.PROBE_REORDERED: Shape(
        About.PROBE,
        "of every two messages, the later comes first",
        flags={"stamped": True},
    ),
    Kind.PROBE_RETAINED: Shape(
        About.PROBE,
        "a value that the broker had kept comes once, before its next message",
        {"value": Size(Unit.TEMPERATURE, 15_000, -300_000, 300_000)},
        lasts=False,
        usual_ms=10 * _MINUTE_MS,
    ),
    Kind.DAEMON_RESTARTS: Shape(
        About.BENCH,
        "it is stopped, and started again after this time",
        usual_ms=20_000,
        flags={"clock_known": True},
    ),
    Kind.DAEMON_HANGS: Shape(
        About.BENCH, "it does nothing for so long, then goes on", usual_ms=_MINUTE_MS
    ),
    Kind.CLOCK_JUMPS: Shape(
        About.BENCH,
        "the wall clock is set by so much",
        {"by": Size(Unit.SPAN, None, -400 * 86_400_000, 400 * 86_400_000)},
        lasts=False,
    ),
    Kind.CLOCK_UNKNOWN: Shape(About.BENCH, "the wall clock is not known to be right"),
    Kind.SUMMER_TIME: Shape(
        About.BENCH,
        "local time jumps by so much",
        {"by": Size(Unit.SPAN, 3_600_000, -7_200_000, 7_200_000)},
        lasts=False,
    ),
    Kind.LOG_FAILS: Shape(About.BENCH, "the season log cannot be written"),
    Kind.HOLD: Shape(
        About.MAT, "a person asks for heat off for this time", usual_ms=30 * _MINUTE_MS
    ),
    Kind.SETPOINT: Shape(
        About.MAT,
        "a person sets another setpoint",
        {"to": Size(Unit.TEMPERATURE, None, 0, 60_000)},
    ),
    Kind.SWITCHED_OFF: Shape(About.MAT, "a person switches it off, then on again"),
    Kind.RESET: Shape(About.MAT, "a person unlocks it", lasts=False),
}
"""Every kind with its shape."""
