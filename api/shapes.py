"""The shape of every answer: keys with their units, times in UTC ending in Z.

These types are the promise of the interface and make its OpenAPI document.
Clients ignore keys that they do not know; new ones may come. What may live
here: names and types. How values come about is in views.
"""

from typing import Literal, NotRequired

from typing_extensions import TypedDict

from api.batch_shapes import TrayBatchView

Numbers = dict[str, float | str]
"""Numbers that decided, by name with unit; instants are text."""


EndsHow = Literal["after its days", "by hand", "last step"]
"""How a step of a programme ends."""


class DoubtView(TypedDict):
    """Why a probe's newest reading was not taken."""

    why: str
    sentence: str
    temp_c: float | None
    at: str | None


class ProbeView(TypedDict):
    """One temperature probe.

    temp_c is null unless the probe may be used now; last_good_c stays, with
    its age. quality is "good", "uncertain" or "bad".
    """

    name: str
    depth_mm: int | None
    temp_c: float | None
    quality: str
    last_good_c: float | None
    last_good_at: str | None
    age_s: float | None
    stale_after_s: float
    doubt: DoubtView | None


class WitnessView(TypedDict):
    """A probe of another quantity: shown, never controlling."""

    name: str
    quantity: str
    value: float | None
    quality: str
    at: str | None
    age_s: float | None


class GapBoundsView(TypedDict):
    """What gaps could have added: assumptions, and what is certain (0 to ...).

    The assumptions are that the tray was at the lowest, or at the highest, of
    the readings that were counted; certain is that no tray can have more than
    at the upper all the time, and null without an upper.
    """

    at_lowest_reading_k_h: float
    at_highest_reading_k_h: float
    never_above_k_h: float | None


class ThermalGapView(TypedDict):
    """An interval that was not bridged; hours null: nobody can say how long."""

    start: str
    end: str
    hours: float | None
    why: Literal["silent", "doubted", "run ended"]
    would_add: GapBoundsView | None


class ThermalDayView(TypedDict):
    """One local day: the integral of its readings, and their lowest and highest.

    degree_days_k_d are by daily methods, from lowest_c and highest_c alone.
    """

    day: str
    degree_hours_k_h: float
    cumulative_k_h: float
    hours_measured: float
    gap_hours: float
    readings: int
    lowest_c: float | None
    highest_c: float | None
    degree_days_k_d: dict[str, float | None]


class DegreeHoursView(TypedDict):
    """Thermal time of a tray, never without the base it was counted from.

    From the season log it comes with its gaps (the longest ones, if there are
    very many) and, if asked for, its days in the bench's time zone.
    """

    tray: str
    degree_hours_k_h: float
    base_c: float
    upper_c: float | None
    hours_measured: float
    gap_hours: float
    gaps: int
    mean_c: float | None
    equal_to: str | None
    reference_c: float | None
    method: str
    source: Literal["live counter", "season log"]
    start: str | None
    end: str | None
    readings: NotRequired[int]
    gaps_would_add: NotRequired[GapBoundsView]
    gap_list: NotRequired[list[ThermalGapView]]
    timezone: NotRequired[str]
    daily_method: NotRequired[str]
    cutoff: NotRequired[str]
    days: NotRequired[list[ThermalDayView]]


class TrayView(TypedDict):
    """One container and its root zone now.

    temp_c is the mean of the probes that may be used; null without one, and
    then temp_text says why. at_mm is its left and near edge, from those of the
    table, size_mm its size left to right and near to far; null: not told.
    """

    name: str
    title: str
    mat: str | None
    medium: str
    depth_mm: int
    row: int
    column: int
    at_mm: list[int] | None
    size_mm: list[int] | None
    temp_c: float | None
    temp_text: str
    probes: list[ProbeView]
    degree_hours: DegreeHoursView
    batches: NotRequired[list[TrayBatchView]]


class OverrideView(TypedDict):
    """A setpoint that a person set over the programme's; until null: stays."""

    setpoint_c: float
    who: str
    at: str
    until: str | None


class SetpointView(TypedDict):
    """The wanted temperature: in force now, where it heads, and who says so."""

    setpoint_c: float
    heading_for_c: float
    text: str
    set_by: Literal["programme", "night", "person"]
    programme_c: float
    night_c: float | None
    override: OverrideView | None


class StepView(TypedDict):
    """The present step of a mat's programme; number counts from 1."""

    number: int
    of: int
    title: str
    days: float | None
    since: str
    ends: str | None
    ends_how: EndsHow


class LimitsView(TypedDict):
    """What the mat's probes are held against."""

    warn_c: float
    tray_limit_c: float
    cutout_c: float
    surface_limit_c: float
    surface_cutout_c: float


class TripView(TypedDict):
    """Why a mat is locked off until a person resets it."""

    cause: str
    probe: str
    temp_c: float
    limit_c: float
    at: str
    sentence: str


class WhyView(TypedDict):
    """Why a mat is, or is not, heating; decided in the scan at this time.

    cause is nobody-decides where a log is looked at that no daemon writes.
    """

    mat: str
    energised: bool
    mode: str
    mode_text: str
    cause: str
    sentence: str
    numbers: Numbers
    scan: int
    at: str


class MatView(TypedDict):
    """One heat mat.

    energised is what is believed of the relay, commanded what it was last
    told. duty_percent is the share of time on, averaged over some hours.
    at_mm is its left and near edge, from those of the table, size_mm its size
    as it lies, left to right and near to far; null: not told.
    """

    name: str
    title: str
    watch_only: bool
    enabled: bool
    mode: str
    mode_text: str
    mode_since: str
    energised: bool
    commanded: bool
    cause: str
    why: str
    policy: str
    driven_by: str
    length_mm: int
    width_mm: int
    at_mm: list[int] | None
    size_mm: list[int] | None
    driving_c: float | None
    setpoint: SetpointView
    duty_percent: float
    duty_text: str
    power_w: float
    energy_wh: float
    operations: int
    step: StepView
    limits: LimitsView
    trip: TripView | None
    hold_until: str | None
    trays: list[str]
    surface: list[ProbeView]


class AlarmView(TypedDict):
    """An alarm: something that a person should act on, or has not seen yet.

    Its states are those of ISA-18.2: active or cleared, acknowledged or not,
    shelved until a time, suppressed because another alarm explains it.
    """

    id: str
    kind: str
    subject: str
    priority: Literal["low", "medium", "high"]
    state: Literal["active", "cleared"]
    acknowledged: bool
    suppressed: bool
    shelved_until: str | None
    rings: bool
    since: str
    sentence: str
    numbers: Numbers


class BenchView(TypedDict):
    """The whole bench at its last finished scan."""

    bench: str
    run: str
    at: str
    scan: int
    scan_s: float
    scan_age_s: float
    timezone: str
    display_unit: str
    clock_ok: bool
    link_up: bool
    log_health: str
    refused_messages: int
    trays: list[TrayView]
    mats: list[MatView]
    room: list[ProbeView]
    witnesses: list[WitnessView]
    alarms: list[AlarmView]


class HealthView(TypedDict):
    """Whether scans go on ("ok"), and what a person should look at."""

    status: Literal["ok", "attention"]
    reasons: list[str]
    bench: str
    run: str
    scan: int
    at: str
    scan_age_s: float
    clock_ok: bool
    link_up: bool
    log_health: str
    alarms: int


class ProbedView(TypedDict):
    """The answer to whoever only asks whether all is well, such as a supervisor."""

    status: Literal["ok"]
    reasons: list[str]


class TraysView(TypedDict):
    """Every tray of the bench."""

    at: str
    trays: list[TrayView]


class MatsView(TypedDict):
    """Every mat of the bench."""

    at: str
    mats: list[MatView]


class AlarmsView(TypedDict):
    """The alarms to be known of, in the order in which they came."""

    at: str
    alarms: list[AlarmView]


class BucketView(TypedDict):
    """Readings from start on, for one bucket's width: n of them."""

    start: str
    n: int
    min_c: float
    mean_c: float
    max_c: float


class ProbeTemperaturesView(TypedDict):
    """What one probe read."""

    probe: str
    buckets: list[BucketView]


class TemperaturesView(TypedDict):
    """Envelopes of a tray's probes; a bucket without a reading is left out."""

    tray: str
    start: str
    end: str
    bucket_s: float
    empty_buckets: Literal["omitted"]
    probes: list[ProbeTemperaturesView]


class HeatBucketView(TypedDict):
    """What a mat was told from start on, for one bucket's width.

    known_s: for how much of it a command is known; on_s: how much of that it was
    told to be on. Setpoints are the lowest and the highest in force, null: unknown.
    """

    start: str
    known_s: float
    on_s: float
    lowest_setpoint_c: float | None
    highest_setpoint_c: float | None


class HeatView(TypedDict):
    """A mat's heat as commanded; a bucket of which nothing is known is left out.

    energy_wh: the mat's printed power over the time that it was told to be on.
    """

    mat: str
    start: str
    end: str
    bucket_s: float
    known_s: float
    on_s: float
    energy_wh: float
    empty_buckets: Literal["omitted"]
    buckets: list[HeatBucketView]


class KeptView(TypedDict):
    """How well a tray kept to its mat's setpoint, by hourly means.

    hours are those with readings; hours_compared had a setpoint, too, and of these
    hours_within lay within within_k of it.
    """

    tray: str
    start: str
    end: str
    hours: int
    hours_compared: int
    hours_within: int
    within_k: float
    percent_within: float | None
    mean_c: float | None
    lowest_c: float | None
    highest_c: float | None


class LogEntryView(TypedDict):
    """One line of the season log's journal."""

    id: int
    at: str
    kind: str
    subject: str
    body: dict[str, object]


class LogView(TypedDict):
    """Journal entries, oldest first; ask again with after = next_after."""

    entries: list[LogEntryView]
    next_after: int


class AcceptedView(TypedDict):
    """A wish was queued for the next scan; href tells what became of it."""

    request: int
    href: str


class RequestView(TypedDict):
    """What became of a wish."""

    request: int
    status: Literal["waiting", "accepted", "refused"]
    sentence: str


class SessionView(TypedDict):
    """Who one is; name null: a bench that asks for no token.

    csrf goes into the header X-CSRF-Token of whatever a page changes.
    """

    name: str | None
    may: Literal["read", "operate"]
    csrf: str


class LiveView(TypedDict):
    """The whole bench after a scan: what the event "bench" of /v1/live holds."""

    at: str
    bench: "BenchView"


class PointerView(TypedDict):
    """Where to look."""

    name: str
    bench: str
    openapi: str
    caution: str
