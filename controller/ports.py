"""What the daemon, the API and the audit need of the world, as Protocols.

Each has at least one real implementation in controller/adapters and, where it
helps, one in virtual time; tests/contract holds them to the same promises.
"""

import re
from collections.abc import AsyncIterator, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from enum import Enum
from pathlib import Path
from typing import Protocol

from controller.core.decisions import Answer, Command, Decisions
from controller.core.plan import Plan
from controller.core.scan import (
    LogHealth,
    PowerReport,
    Reading,
    Refusal,
    RelayReport,
    Scan,
    Wish,
)
from controller.core.state import State, Trip
from controller.records.changes import Change
from controller.tabletop import Tabletop


@dataclass(frozen=True, slots=True)
class Instant:
    """One look at the clock.

    Attributes:
        run_ms: Bench clock [ms]: monotonic, goes on from run to run.
        utc_ms: Wall clock [ms since 1970-01-01T00:00:00Z].
        clock_ok: Whether the wall clock is known to be right.
        local_day: Days since 1970-01-01 in the bench's time zone.
        local_minute: Minute of the local day.
    """

    run_ms: int
    utc_ms: int
    clock_ok: bool
    local_day: int
    local_minute: int


class Clock(Protocol):
    """The only place where time comes from."""

    def now(self) -> Instant:
        """Return the present instant."""
        ...

    async def sleep_until(self, run_ms: int) -> None:
        """Return when the bench clock has reached run_ms [ms], not before."""
        ...


@dataclass(frozen=True, slots=True)
class Arrivals:
    """What came in since it was last asked, each in order of arrival."""

    readings: tuple[Reading, ...] = ()
    refusals: tuple[Refusal, ...] = ()
    relay_reports: tuple[RelayReport, ...] = ()
    power_reports: tuple[PowerReport, ...] = ()


class ScanSource(Protocol):
    """Where readings and relay reports come from."""

    def take(self) -> Arrivals:
        """Return what has arrived and forget it. Never waits."""
        ...

    def link_up(self) -> bool:
        """Whether the source's link to its probes and relays stands."""
        ...

    async def serve(self) -> None:
        """Run until cancelled; any return or error ends the daemon."""
        ...


class Relay(Protocol):
    """Where commands go."""

    async def send(self, commands: Sequence[Command], seq: int) -> None:
        """Hand the commands over, in order, in bounded time; never raises.

        Args:
            commands: Only of mats that have a relay here.
            seq: The scan's number.
        """
        ...


IMPORTED = "import"
"""The origin of a run that holds another recorder's readings: nothing in it was
decided, and no run goes on from it."""


@dataclass(frozen=True, slots=True, kw_only=True)
class RunHeader:
    """What audit needs to re-decide a run.

    Attributes:
        run: Identity of the run, unique; also in lease commands.
        origin: "live", "simulate", or IMPORTED.
        started_run_ms: Bench clock at its start [ms].
        started_utc_ms: Wall clock at its start [ms].
        plan: The plan, which never changes within a run.
        state: The state before its first scan.
        timezone: The bench's time zone (IANA name).
        decisions_version: The core's DECISIONS_VERSION.
        versions: Versions that numbers may depend on, by name ("python",
            "simple-pid", "bottomheat").
        notes: Sentences about how it began that a person should find in the
            journal, such as that a damaged log was set aside.
    """

    run: str
    origin: str
    started_run_ms: int
    started_utc_ms: int
    plan: Plan
    state: State
    timezone: str
    decisions_version: int
    versions: Mapping[str, str]
    notes: tuple[str, ...] = ()


class SeasonLog(Protocol):
    """The writing side of the season log: one writer, every scan."""

    def begin(self, header: RunHeader) -> None:
        """Begin a run. Queued like everything else; never raises for the disk."""
        ...

    def append(self, scan: Scan, decisions: Decisions, state: State) -> None:
        """Take a scan, what it decided and the state after it. Never waits.

        It is committed at once where decisions.flush, else within the log's
        commit interval. While the disk refuses, scans wait in a bounded ring.
        """
        ...

    async def committed(self, seq: int) -> bool:
        """Wait until scan seq of this run is on the disk, or writing failed.

        Returns:
            Whether it is on the disk. Bounding the wait is the caller's part.
        """
        ...

    def health(self) -> LogHealth:
        """Whether the last attempt to write succeeded."""
        ...

    def end(self, at: Instant, cause: str) -> None:
        """Write down how the run ended. Queued; never raises for the disk.

        A run of which the next one finds no ending was killed.
        """
        ...

    def close(self) -> None:
        """Write what is left, with a last state, and close. Waits, bounded."""
        ...


class TripStore(Protocol):
    """A small side file, so that a damaged log loses no trip."""

    def load(self) -> Mapping[str, Trip]:
        """Return the trips by mat; raise ValueError for a damaged file."""
        ...

    def save(self, trips: Mapping[str, Trip]) -> None:
        """Replace the file atomically and durably; raise OSError if it fails."""
        ...


@dataclass(frozen=True, slots=True)
class RecordedScan:
    """A scan as it stands in the log, with what is recorded of its decisions.

    Attributes:
        scan: The scan itself.
        commands: Commands recorded in it: those whose cause or state differs
            from the mat's command before.
        decisions: All else that was recorded; its commands are empty.
        sound: Whether the log proves it to be as it was written.
    """

    scan: Scan
    commands: tuple[Command, ...]
    decisions: Decisions
    sound: bool = True


UNTAKEN_MC = -(2**31)
"""Stands for the value of a reading that the core did not take: no probe is as
cold as that."""


@dataclass(frozen=True, slots=True)
class Columns:
    """Readings of one probe in the order in which they came.

    Attributes:
        order: Numbers that grow: where each stands among all readings of the
            log, those of other probes included.
        run_ms: When each was measured, by the bench clock [ms].
        utc_ms: The same by the wall clock of the scan it came in [ms].
        temp_mc: Values with the offset [m°C].
    """

    order: Sequence[int]
    run_ms: Sequence[int]
    utc_ms: Sequence[int]
    temp_mc: Sequence[int]


@dataclass(frozen=True, slots=True)
class Bucket:
    """The readings of one bucket.

    Attributes:
        start_ms: Where it begins; it ends where the next one begins [ms].
        n: How many readings; never 0.
        min_mc: The least [m°C].
        max_mc: The greatest [m°C].
        sum_mc: Their sum [m°C]: divided by n it is their mean.
    """

    start_ms: int
    n: int
    min_mc: int
    max_mc: int
    sum_mc: int


@dataclass(frozen=True, slots=True)
class Heated:
    """What a mat was told to be from an instant on.

    Attributes:
        utc_ms: From when, by the wall clock [ms].
        on: Whether it was told to be on; None: from here on nobody told it.
        setpoint_mc: The setpoint in force [m°C]; None: not told with it.
    """

    utc_ms: int
    on: bool | None
    setpoint_mc: int | None


@dataclass(frozen=True, slots=True)
class LogEntry:
    """One line of the journal: a command change, alarm, answer or refusal.

    Attributes:
        id: Grows; use it to ask for what came after.
        utc_ms: When, by the wall clock of the scan.
        kind: "run", "note", "command", "alarm", "answer", "request", "doubt",
            "refusal", "relay", "lost" or "ending".
        subject: Name of the mat, probe or tray; may be empty.
        body: The rest, JSON-able, keys with units.
    """

    id: int
    utc_ms: int
    kind: str
    subject: str
    body: Mapping[str, object]


class SeasonReader(Protocol):
    """The reading side of the season log; may be used while it is written."""

    def runs(self) -> Sequence[RunHeader]:
        """Return the headers of all runs, oldest first."""
        ...

    def first_order(self, run: str) -> int:
        """Return what Columns.order is at least for readings of a run.

        It is more than that of any reading of the runs before.
        """
        ...

    def scans(self, run: str) -> Iterator[RecordedScan]:
        """Yield every scan of a run in order, in bounded memory."""
        ...

    def samples(
        self, probe: str, from_utc_ms: int, to_utc_ms: int, *, untaken: bool = False
    ) -> Columns:
        """Return a probe's readings that were measured in [from, to).

        Args:
            probe: Its name; one that the log does not know has no readings.
            from_utc_ms: Beginning of the stretch [ms].
            to_utc_ms: Its end, not part of it [ms].
            untaken: Whether readings that the core did not take are among
                them, with the value UNTAKEN_MC.
        """
        ...

    def envelope(
        self, probe: str, from_utc_ms: int, to_utc_ms: int, points: int
    ) -> Sequence[Bucket]:
        """Return a probe's readings taken in [from, to), in at most so many buckets.

        Their width is that of controller.review.envelopes.bucket_width_ms.
        """
        ...

    def heated(self, mat: str, from_utc_ms: int, to_utc_ms: int) -> Iterable[Heated]:
        """Return what a mat was told from some time before from up to to, in order.

        Times are those at which scans were due. Scans that are missing, between
        runs or within one, tell nothing: on is None then.
        """
        ...

    def journal(self, after: int, limit: int) -> Sequence[LogEntry]:
        """Return at most limit entries with an id above after, oldest first."""
        ...


class MovedOnError(Exception):
    """Changes do not follow what is kept: others were written meanwhile."""


class NotKeptError(Exception):
    """Changes were not kept; the message says why.

    Attributes:
        certain: Whether it is certain that they were not: else the disk gave no
            answer in time, and they may be found there later.
    """

    def __init__(self, message: str, *, certain: bool = True) -> None:
        super().__init__(message)
        self.certain = certain


class RecordKeeper(Protocol):
    """The writing side of what people saw and did."""

    async def keep(self, changes: Sequence[Change]) -> None:
        """Write changes, all of them or none, and wait until they are on the disk.

        The wait is bounded.

        Args:
            changes: They follow the last one that is kept, without holes.

        Raises:
            MovedOnError: They do not: read what is new, and decide again.
            NotKeptError: They could not be written, or the disk is silent.
        """
        ...


class RecordReader(Protocol):
    """The reading side of it; may be used while it is written."""

    def changes(self, after: int) -> Sequence[Change]:
        """Return the changes with a number above after, in order."""
        ...


PHOTO_NAME = re.compile(r"[0-9a-f]{64}\.(?:jpg|png|webp)")
"""Names of photos that are kept: the SHA-256 of their bytes, and what they are."""


class PhotoRefusedError(Exception):
    """What came is no picture that is taken; the message says why."""


class NoRoomError(Exception):
    """There is no room for a photo; nothing was kept, and the message says why."""


class Photos(Protocol):
    """Photos, kept under names that tell one picture from all others."""

    async def keep(self, media_type: str, pieces: AsyncIterator[bytes]) -> str:
        """Take a picture in; return its name when it is on the disk.

        Nothing is kept of what tells where, when or by whom it was taken.

        Args:
            media_type: "image/jpeg", "image/png" or "image/webp".
            pieces: Its bytes; what their iterator raises is passed on, and nothing
                is kept.

        Raises:
            PhotoRefusedError: It is something else, broken, or not whole.
            NoRoomError: The disk is full, or all photos together are too many.
            NotKeptError: It could not be written.
        """
        ...

    def find(self, name: str) -> Path | None:
        """Return where a photo lies, called in a thread; None: there is no such."""
        ...


class Plant(Protocol):
    """A bench to be driven in virtual time: the simulator's side."""

    def advance(self, to_ms: int, energised: Mapping[str, bool]) -> Arrivals:
        """Let time pass to to_ms [ms] with each mat on or off as given.

        Returns:
            What the probes said in that time, in order of time.
        """
        ...


@dataclass(frozen=True, slots=True, kw_only=True)
class Snapshot:
    """The bench at the last finished scan.

    Attributes:
        run: Identity of the run.
        plan: The plan.
        scan: The last scan.
        state: The state after it.
        decisions: What it decided.
        timezone: The bench's time zone (IANA name).
        display_unit: "°C" or "°F": what a person wants to read.
        refused: Messages refused since the run began.
        tabletop: Where things stand, to draw the bench by.
    """

    run: str
    plan: Plan
    scan: Scan
    state: State
    decisions: Decisions
    timezone: str
    display_unit: str
    refused: int
    tabletop: Tabletop = field(default_factory=Tabletop)


class Bench(Protocol):
    """The running daemon as the API sees it."""

    def snapshot(self) -> Snapshot | None:
        """Return the bench at the last finished scan; None before the first."""
        ...

    def request(self, who: str, wish: Wish) -> int:
        """Queue a wish for the next scan; return the request's number.

        Raises:
            OverflowError: Too many wishes are waiting.
        """
        ...

    def answer(self, request_id: int) -> Answer | None:
        """Return what became of a request; None while it waits or is forgotten."""
        ...

    def subscribe(self) -> AsyncIterator[Snapshot]:
        """Yield the newest snapshot after each scan; slow readers miss some."""
        ...


class May(Enum):
    """What somebody may do over HTTP."""

    READ = "read"
    OPERATE = "operate"


@dataclass(frozen=True, slots=True)
class Holder:
    """Who holds a token.

    Attributes:
        name: The token's name, which stands in the log beside what was asked.
        may: What it is good for.
        key: What the token is known by; tells nothing of its secret.
    """

    name: str
    may: May
    key: str


class Access(Protocol):
    """Who may use the API: tokens, and browsers that showed one.

    Secrets go in and, once, out; what is kept are their hashes. Whatever a method
    answers, it knows of a token that was made or revoked elsewhere within seconds.
    """

    def in_force(self) -> bool:
        """Whether tokens are asked for; else whoever reaches the API may operate.

        Once true it stays so, also when the last token was revoked.
        """
        ...

    async def holder(self, secret: str) -> Holder | None:
        """Return whose token this is; None: nobody's, or revoked."""
        ...

    def visitor(self, secret: str) -> Holder | None:
        """Return whose session in a browser this is; None: none, or ended."""
        ...

    def stands(self, holder: Holder) -> bool:
        """Whether a holder's token was not revoked meanwhile."""
        ...

    async def open_session(self, holder: Holder) -> str:
        """Return the secret of a new session; it outlives the daemon."""
        ...

    async def close_session(self, secret: str) -> None:
        """End a session; one that there is not is ended already."""
        ...


@dataclass(frozen=True, slots=True)
class ForecastKept:
    """The rooting forecast as it is kept.

    Attributes:
        result: The last one, as JSON has it; None: there is none yet.
        failed_utc_ms: When the last attempt failed [ms]; None: it did not.
        why_failed: And why, a sentence.
    """

    result: object = None
    failed_utc_ms: int | None = None
    why_failed: str = ""


@dataclass(frozen=True, slots=True)
class Comparison:
    """A comparison of a trial's arms that somebody wants.

    Attributes:
        trial: The trial's number.
        newest: Number of the newest change of the records: what was worked out
            before it is told anew.
        test: That decides; None: the plan's own.
        days: Shares are counted up to then [days]; None: as planned.
        base_c: Thermal time counts above [°C]; None: as planned.
        upper_c: And no faster above [°C]; None: there is no upper.
    """

    trial: str
    newest: int
    test: str | None = None
    days: float | None = None
    base_c: float | None = None
    upper_c: float | None = None


@dataclass(frozen=True, slots=True)
class Compared:
    """What became of a comparison; one of its fields tells.

    Attributes:
        result: The comparison, as JSON has it.
        cannot: Why there is nothing to compare, a sentence.
        failed: Why it was not worked out, a sentence.
        working: What to do meanwhile, a sentence.
    """

    result: object = None
    cannot: str = ""
    failed: str = ""
    working: str = ""


class Comparer(Protocol):
    """Works out what trials tell, beside the daemon."""

    async def compared(self, asked: Comparison) -> Compared:
        """Return what a trial tells, or what became of asking; does not wait long."""
        ...


class Watchdog(Protocol):
    """Who wants to hear that scans go on."""

    def ready(self) -> None:
        """The first scan is finished."""
        ...

    def fed(self, status: str) -> None:
        """A scan is finished; status is a sentence for people."""
        ...

    def stopping(self, cause: str) -> None:
        """The daemon ends, every mat told off; cause is a sentence for people."""
        ...
