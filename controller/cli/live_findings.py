"""What to think of a bench that was listened to: pure, from what was heard.

What may live here: values and sentences. No connection, no clock, no printing.
"""

import statistics
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from controller.adapters.board import BoardFacts
from controller.cli.opening import FEW_BYTES
from controller.core.judge import HIGHEST_MC, LOWEST_MC
from controller.core.plan import Plan, ProbePlan
from controller.core.scan import Quality, Reading, Refusal
from controller.core.units import SECOND_MS, MilliC, celsius

SLOWER, QUICKER = 1.25, 0.5
"""Chosen: a probe whose pauses are beyond these shares of its `every` does not do
what the configuration says."""

APART_MK = 15_000
"""Chosen: on a bench at rest nothing is further from the middle than this; one that
is may hang on a stove, or its number may be in another unit [mK]."""

NO_MEASUREMENT = {85_000, 127_937, 127_940, -127_000}
"""Linux kernel, Documentation/ABI/testing/sysfs-driver-w1_therm, and the constant of
microcontroller libraries for a probe that is not there."""

LIFE_USED, RESERVE = 8, 2
"""Chosen: tenths of a soldered card's life, and the reserve, from which on it is
told (JEDEC eMMC 5.0)."""


@dataclass(frozen=True, slots=True)
class Finding:
    """Something to see to.

    Attributes:
        place: What it is about.
        found: What was found.
        mend: What to do.
    """

    place: str
    found: str
    mend: str

    def __str__(self) -> str:
        return f"{self.place}: {self.found}. {self.mend}"


@dataclass(frozen=True, slots=True)
class ProbeHeard:
    """What came of one probe while it was listened to.

    Attributes:
        plan: The probe.
        where: Its topic or address.
        readings: What it said, in order, retained ones among them.
        refusals: What could not be understood, and why.
        live_at_ms: When it spoke, without what the broker had kept [ms].
    """

    plan: ProbePlan
    where: str
    readings: tuple[Reading, ...]
    refusals: tuple[Refusal, ...]
    live_at_ms: tuple[int, ...]

    @property
    def milli(self) -> int | None:
        """The last usable value, with the offset [m°C]; None: there was none."""
        said = [r.milli for r in self.readings if r.milli is not None]
        return said[-1] + self.plan.offset_mk if said else None

    @property
    def pause_ms(self) -> float | None:
        """The middle of the pauses between two of its words [ms]."""
        pairs = zip(self.live_at_ms, self.live_at_ms[1:], strict=False)
        pauses = [after - before for before, after in pairs]
        return statistics.median(pauses) if pauses else None


def probe_findings(
    plan: Plan, heard: Sequence[ProbeHeard], listened_ms: int, topics: Sequence[str]
) -> Iterator[Finding]:
    """Yield what is wrong with the probes of a bench.

    Args:
        plan: The bench.
        heard: What came of each probe.
        listened_ms: How long it was listened to [ms].
        topics: All topics on which anybody spoke.
    """
    for one in heard:
        yield from _one_probe(plan, one, listened_ms, topics)
    yield from _apart([one for one in heard if _measures(one)])


def _one_probe(
    plan: Plan, one: ProbeHeard, listened_ms: int, topics: Sequence[str]
) -> Iterator[Finding]:
    at = f"probe {one.plan.name}"
    if one.refusals and not one.readings:
        reason = one.refusals[-1].reason
        yield Finding(at, f"cannot be understood: {reason}", _FORMAT)
    elif not one.live_at_ms:
        yield Finding(at, _silence(one, listened_ms), _who_else(one.where, topics))
    else:
        yield from _pace(at, one)
        yield from _value(plan, at, one)
        if one.refusals:
            count, reason = len(one.refusals), one.refusals[-1].reason
            yield Finding(at, f"{count} messages were no readings: {reason}", _FORMAT)


_FORMAT = 'Give the probe the payload = "…" and unit = "…" of what it really sends'


def _silence(one: ProbeHeard, listened_ms: int) -> str:
    if one.readings:
        return "says nothing now; the broker had kept an old word of it"
    return f"said nothing in {listened_ms / 1000:.0f} s on {one.where}"


def _who_else(where: str, topics: Sequence[str]) -> str:
    """Return advice that names topics which look alike."""
    end = where.rpartition("/")[2].casefold()
    alike = [t for t in topics if end and end in t.casefold() and t != where][:3]
    if alike:
        return f"Is it powered, and is the topic spelt so? Heard: {', '.join(alike)}"
    return "Is it powered, in reach, and allowed to publish there?"


def _pace(at: str, one: ProbeHeard) -> Iterator[Finding]:
    pause_ms, every_ms = one.pause_ms, one.plan.every_ms
    if pause_ms is None:
        yield Finding(
            at, "was heard only once", f"Listen longer: {_seconds(3 * every_ms)}"
        )
    elif not QUICKER * every_ms <= pause_ms <= SLOWER * every_ms:
        yield Finding(
            at,
            f"speaks every {_seconds(pause_ms)}, the configuration says"
            f" {_seconds(every_ms)}",
            f'Write every = "{_seconds(pause_ms)}", or set the probe\'s own interval',
        )


def _value(plan: Plan, at: str, one: ProbeHeard) -> Iterator[Finding]:
    milli = one.milli
    if milli is None or not _is_thermometer(plan, one):
        return
    raw = milli - one.plan.offset_mk
    if raw in NO_MEASUREMENT:
        yield Finding(
            at,
            f"says {celsius(MilliC(raw)):g} °C, which is no measurement",
            "Look at its supply, its pull-up and its lead",
        )
    elif not LOWEST_MC <= milli <= HIGHEST_MC:
        yield Finding(
            at,
            f"says {celsius(MilliC(milli)):.1f} °C, which no bench has",
            "Is its unit the one of the configuration?",
        )
    if _stands_still(one):
        yield Finding(
            at,
            f"all {len(one.readings)} readings are doubtful: {one.readings[-1].note}",
            "Look at what sends them: they carry a time of their own, or are kept",
        )


def _stands_still(one: ProbeHeard) -> bool:
    live = [r for r in one.readings if "retained" not in r.note]
    return len(live) > 1 and all(r.quality is not Quality.GOOD for r in live)


def _is_thermometer(plan: Plan, one: ProbeHeard) -> bool:
    return one.plan not in plan.witnesses


def _measures(one: ProbeHeard) -> bool:
    milli = one.milli
    return (
        bool(one.live_at_ms)
        and milli is not None
        and milli - one.plan.offset_mk not in NO_MEASUREMENT
        and LOWEST_MC <= milli <= HIGHEST_MC
    )


def _apart(heard: Sequence[ProbeHeard]) -> Iterator[Finding]:
    values = {one.plan.name: one.milli for one in heard if one.milli is not None}
    if len(values) == 2:  # noqa: PLR2004 - of two, nobody knows which
        (one, its), (other, others) = values.items()
        if abs(its - others) > 2 * APART_MK:
            yield Finding(
                f"probes {one} and {other}",
                f"say {its / 1000:.1f} °C and {others / 1000:.1f} °C",
                _APART,
            )
        return
    middle = statistics.median(values.values()) if values else 0
    for name, milli in values.items():
        if abs(milli - middle) > APART_MK:
            yield Finding(
                f"probe {name}",
                f"says {milli / 1000:.1f} °C, the middle of all is"
                f" {middle / 1000:.1f} °C",
                _APART,
            )


_APART = "Where does it hang, and is its number in the unit that is configured?"


# -------------------------------------------------------------------- the board


def board_findings(facts: BoardFacts, *, nights: bool) -> Iterator[Finding]:
    """Yield what is wrong with the board.

    Args:
        facts: What it says.
        nights: Whether something in the plan goes by the time of day.
    """
    if not facts.clock_ok:
        waits = "; night setpoints wait until it is" if nights else ""
        yield Finding(
            "clock",
            f"nobody keeps it right{waits}, and times in the log may be wrong",
            "Switch a time service on: sudo timedatectl set-ntp true. Where that says"
            " that NTP is not supported, there is none yet: sudo apt-get install"
            " systemd-timesyncd",
        )
    yield from _disk(facts)
    if facts.low_supply:
        yield Finding(
            "supply",
            "the board's voltage was too low",
            "Give it a supply and a cable that are made for it: cards die of this",
        )


def _disk(facts: BoardFacts) -> Iterator[Finding]:
    where = f"disk at {facts.folder}"
    if not facts.writable:
        yield Finding(
            where,
            "nothing can be written there by this user",
            "Run this check as the user of the daemon, or look at the disk",
        )
    if facts.free_bytes is not None and facts.free_bytes < FEW_BYTES:
        yield Finding(
            where,
            f"only {facts.free_bytes / 1e6:.0f} MB are free",
            f"A season may take {FEW_BYTES / 1e6:.0f} MB: make room",
        )
    if facts.fs_errors:
        yield Finding(
            where,
            f"its file system has counted {facts.fs_errors} errors",
            "Back up now (bottomheat backup) and change the card",
        )
    worn = facts.life_used is not None and facts.life_used >= LIFE_USED
    if worn or (facts.reserve or 0) >= RESERVE:
        yield Finding(
            where, "the card says that most of its life is used", "Change it soon"
        )


# ------------------------------------------------------------------- the broker


@dataclass(frozen=True, slots=True)
class BrokerHeard:
    """What was found out about the broker.

    Attributes:
        reaches_out: Whether others in the network can reach it.
        lets_in: Whether it lets somebody in without name and password.
        obeyed: Relays whose commands such a stranger could give, by mat.
        other_run: Run of another controller that keeps this bench now.
        kept_on: Relays on whose topic the broker keeps a command that is no "off",
            each as mat and topic.
    """

    reaches_out: bool
    lets_in: bool
    obeyed: tuple[str, ...] = ()
    other_run: str | None = None
    kept_on: tuple[tuple[str, str], ...] = ()


def broker_findings(heard: BrokerHeard) -> Iterator[Finding]:
    """Yield what is wrong with the broker."""
    secure = "Let setup write its files, or see config/mosquitto/"
    if heard.reaches_out and heard.lets_in:
        yield Finding("broker", "anybody in your network may enter it", secure)
    if heard.reaches_out and heard.obeyed:
        mats = ", ".join(heard.obeyed)
        yield Finding(
            "broker", f"a stranger may command the relay of mat {mats}", secure
        )
    for mat, topic in heard.kept_on:
        yield Finding(
            f"relay of mat {mat}",
            f'the broker keeps a command on {topic} that is no "off": the relay gets it'
            " whenever it connects, and may heat unasked",
            f"Clear it: mosquitto_pub -r -n -t {topic} (with -u and -P); commands are"
            " never to be sent as retained",
        )
    if heard.other_run is not None:
        yield Finding(
            "controller",
            f"one keeps this bench now (run {heard.other_run}): relays were not tried",
            "Stop it first, then look again: sudo systemctl stop bottomheat",
        )


def _seconds(ms: float) -> str:
    return f"{round(ms / 1000)} s" if ms >= SECOND_MS else f"{ms / 1000:.1f} s"
