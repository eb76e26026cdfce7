"""Many benches as their page gets them: what each answer holds.

Ages are told and no times of day, since clocks of benches, of this machine and of
whoever looks may differ. What may live here: shapes.
"""

from typing_extensions import TypedDict


class FarTray(TypedDict):
    """A tray; temp_c is null where there is no reading, wanted_c off every mat."""

    name: str
    mat: str | None
    temp_c: float | None
    temp_text: str
    wanted_c: float | None
    measured: bool


class FarMat(TypedDict):
    """A mat; on is null where it is only watched."""

    name: str
    on: bool | None
    mode: str
    mode_text: str


class FarAlarm(TypedDict):
    """An alarm that a person should know of."""

    priority: str
    rings: bool
    active: bool
    sentence: str


class FarDue(TypedDict):
    """Something that is due at the bench."""

    summary: str
    overdue: bool


class FarBench(TypedDict):
    """One bench of many.

    state: "act now", "locked off", "no answer", "stale", "alarm", "not as wanted",
    "well" or "being asked". trouble: why it does not answer, silent_s: since how long;
    null: it does. heard_s: age of what it said last, scan_age_s: of the scan that it
    told of; null: it never answered. old: that scan is too old for the present.
    """

    key: int
    name: str
    page: str
    state: str
    needed: bool
    what: str
    trouble: str | None
    silent_s: float | None
    heard_s: float | None
    scan_age_s: float | None
    old: bool
    unit: str
    trays: list[FarTray]
    mats: list[FarMat]
    alarms: list[FarAlarm]
    due: list[FarDue]
    left_out: int


class BenchesView(TypedDict):
    """Every bench, what needs a person first."""

    needed: int
    every_s: float
    benches: list[FarBench]
