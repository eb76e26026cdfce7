"""What a season report tells: plain values, taken from a log by gather.

What may live here: shapes.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from controller.core.units import kelvin_hours, watt_hours
from controller.ports import Bucket
from controller.records.book import BatchFile
from controller.records.events import BenchEvent
from controller.records.trials import Trial
from controller.records.varieties import Variety
from controller.review.batch_hours import Hours
from controller.review.recounted import Recount, Thresholds


@dataclass(frozen=True, slots=True)
class TrayStory:
    """What a log tells of a tray.

    Attributes:
        name: Its name.
        title: What people call it.
        medium: What it is filled with.
        buckets: Readings of all its probes, in order of time.
        counts: How many readings there were in each quarter of a kelvin, by the
            quarter's lower end [m°C].
        recount: Its degree-hours, above its own base; None: nothing was read.
        probes: Names of its probes, of which alarms tell.
    """

    name: str
    title: str
    medium: str
    buckets: tuple[Bucket, ...]
    counts: Mapping[int, int]
    recount: Recount | None
    probes: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class MatStory:
    """What a log tells of a mat.

    Attributes:
        name: Its name.
        title: What people call it.
        power_mw: Power at full heat [mW].
        policy: How it is kept, in a word.
        watched: Whether it is only watched and never commanded.
        setpoints: From when on which setpoint was in force [ms, m°C].
        on_ms: How long it was on, altogether [ms].
        on_by_day: And on each local day, by its number [ms].
        operations: How often it went on.
        trays: What stands on it.
    """

    name: str
    title: str
    power_mw: int
    policy: str
    watched: bool
    setpoints: tuple[tuple[int, int], ...]
    on_ms: int
    on_by_day: Mapping[int, int]
    operations: int
    trays: tuple[TrayStory, ...]

    @property
    def energy_kwh(self) -> float:
        """What its time on comes to at full power [kWh]."""
        return watt_hours(self.power_mw, self.on_ms) / 1000


@dataclass(frozen=True, slots=True)
class AlarmStory:
    """One time that an alarm was active.

    Attributes:
        kind: What it was about.
        subject: Of which probe or mat.
        from_utc_ms: When it came [ms].
        to_utc_ms: When it went [ms]; None: not in this log.
        words: What it said.
    """

    kind: str
    subject: str
    from_utc_ms: int
    to_utc_ms: int | None
    words: str


@dataclass(frozen=True, slots=True)
class BatchStory:
    """A batch and how warm it had it.

    Attributes:
        file: All that is known of it.
        hours: Its thermal time over its stays; None: not stuck.
        thresholds: What that was counted with.
    """

    file: BatchFile
    hours: Hours | None
    thresholds: Thresholds

    @property
    def k_h(self) -> float | None:
        """Its thermal time [K·h]; None: nothing was measured."""
        if self.hours is None or not self.hours.measured_ms:
            return None
        return kelvin_hours(self.hours.heat_mk_ms)

    @property
    def mean_mc(self) -> float | None:
        """The mean of what was measured [m°C]; None: nothing was."""
        if self.hours is None or not self.hours.measured_ms:
            return None
        return self.hours.warmth_mk_ms / self.hours.measured_ms


@dataclass(frozen=True, slots=True)
class SeasonStory:
    """What a season report tells.

    Attributes:
        bench: Name of the bench.
        timezone: Whose days and clock times are shown (IANA name).
        from_utc_ms: Where it begins [ms].
        to_utc_ms: Where it ends [ms].
        runs: How many runs there were.
        origins: Where their scans came from, such as "live" or "simulate".
        scans: How many scans.
        silent_ms: Time between scans in which nobody watched the bench [ms].
        mats: The mats.
        others: Trays on no mat.
        room: Readings of the room's air.
        alarms: Alarms, in order.
        batches: Batches that were stuck before its end.
        events: What was done at the bench.
        varieties: What came of each variety.
        trials: Trials that batches of it are units of, with their numbers.
    """

    bench: str
    timezone: str
    from_utc_ms: int
    to_utc_ms: int
    runs: int
    origins: tuple[str, ...]
    scans: int
    silent_ms: int
    mats: tuple[MatStory, ...]
    others: tuple[TrayStory, ...]
    room: tuple[Bucket, ...]
    alarms: tuple[AlarmStory, ...]
    batches: tuple[BatchStory, ...]
    events: Sequence[BenchEvent]
    varieties: tuple[Variety, ...]
    trials: tuple[tuple[str, Trial], ...] = ()

    @property
    def trays(self) -> tuple[TrayStory, ...]:
        """All trays, those on mats first."""
        return tuple(tray for mat in self.mats for tray in mat.trays) + self.others
