"""What one bench's API said, taken out of JSON that may be a stranger's. Pure.

Nothing is believed: what has not the right type is left out, texts are cleaned and
cut, lists are bounded, and the token that the bench was shown is taken out of
whatever it says. What may live here: that.
"""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass

from controller.cli.asking import clean

Json = Mapping[str, object]

NEAR_K = 1.0
"""A tray as near to what is wanted of it is as wanted, as on a bench's own page [K]."""

MOST_TRAYS, MOST_MATS, MOST_ALARMS, MOST_DUE = 60, 20, 12, 6
"""Chosen: more than a bench has, and a page of many can still be read."""

LONGEST, LONGEST_NAME = 300, 40
"""Characters of a text, and of a name, that are kept."""

OLDEST_S = 1e10
"""Chosen: three hundred years; an older scan is none [s]."""

COLDEST_C, WARMEST_C = -100.0, 200.0
"""Chosen: what lies outside of it is no temperature of a tray [°C]."""


class StrangerError(ValueError):
    """What answers there is no bottomheat."""


@dataclass(frozen=True, slots=True)
class Tray:
    """A tray.

    Attributes:
        name: Its name.
        mat: The mat that it stands on, or None.
        temp_c: Its temperature [°C]; None: there is none.
        temp_text: The same in words, or why there is none.
        wanted_c: What is wanted of it [°C]; None: nothing.
        measured: Whether it has a probe.
    """

    name: str
    mat: str | None
    temp_c: float | None
    temp_text: str
    wanted_c: float | None
    measured: bool

    @property
    def aside(self) -> bool:
        """Whether it is not as wanted, or nobody knows."""
        if self.wanted_c is None or not self.measured:
            return False
        return self.temp_c is None or abs(self.temp_c - self.wanted_c) > NEAR_K


@dataclass(frozen=True, slots=True)
class Mat:
    """A mat.

    Attributes:
        name: Its name.
        on: Whether it heats; None: it is only watched.
        mode: Its mode.
        mode_text: The same in a grower's words.
        setpoint_c: What is wanted [°C].
    """

    name: str
    on: bool | None
    mode: str
    mode_text: str
    setpoint_c: float | None


@dataclass(frozen=True, slots=True)
class Alarm:
    """An alarm that goes on, or that is over and that nobody has seen.

    Attributes:
        kind: Such as "trip".
        priority: "high", "medium" or "low".
        active: Whether it goes on.
        rings: Whether it asks for a person now.
        explained: Whether another one explains it.
        sentence: What it says.
    """

    kind: str
    priority: str
    active: bool
    rings: bool
    explained: bool
    sentence: str


@dataclass(frozen=True, slots=True)
class Told:
    """What a bench said of itself.

    Attributes:
        scan_age_s: Age of its last scan when it said so [s].
        unit: "°C" or "°F".
        trays: Its trays.
        mats: Its mats.
        alarms: Its alarms, the most pressing first.
        left_out: How many trays, mats and alarms are more than are kept.
    """

    scan_age_s: float
    unit: str
    trays: tuple[Tray, ...]
    mats: tuple[Mat, ...]
    alarms: tuple[Alarm, ...]
    left_out: int


@dataclass(frozen=True, slots=True)
class Due:
    """Something that is due.

    Attributes:
        summary: What.
        overdue: Whether its time is over.
    """

    summary: str
    overdue: bool


def bench_told(bench: Json, secret: str | None = None) -> Told:
    """Return what /v1/bench answered.

    Args:
        bench: The answer.
        secret: The token that the bench was shown, if any.

    Raises:
        StrangerError: It is no answer of a bench.
    """
    age_s = _number(bench.get("scan_age_s"), 0, OLDEST_S)
    if age_s is None or not isinstance(bench.get("bench"), str):
        raise StrangerError("what answers there is no bottomheat")
    say = _Texts(secret)
    mats = [_mat(one, say) for one in _objects(bench, "mats")]
    wanted = {mat.name: mat.setpoint_c for mat in mats}
    trays = [_tray(one, wanted, say) for one in _objects(bench, "trays")]
    alarms = sorted(
        (_alarm(one, say) for one in _objects(bench, "alarms")), key=_pressing
    )
    left_out = max(0, len(trays) - MOST_TRAYS) + max(0, len(mats) - MOST_MATS)
    left_out += max(0, len(alarms) - MOST_ALARMS)
    return Told(
        scan_age_s=age_s,
        unit="°F" if bench.get("display_unit") == "°F" else "°C",
        trays=tuple(trays[:MOST_TRAYS]),
        mats=tuple(mats[:MOST_MATS]),
        alarms=tuple(alarms[:MOST_ALARMS]),
        left_out=left_out,
    )


def due_told(reminders: Json, secret: str | None = None) -> tuple[Due, ...]:
    """Return what /v1/reminders answered: what is due first; a bound number."""
    say = _Texts(secret)
    found = [
        Due(say.text(one.get("summary")), one.get("overdue") is True)
        for one in _objects(reminders, "reminders")
    ]
    found.sort(key=lambda one: not one.overdue)
    return tuple(one for one in found if one.summary)[:MOST_DUE]


class _Texts:
    """Takes texts of others: clean, not too long, and without the secret."""

    def __init__(self, secret: str | None) -> None:
        self._secret = secret

    def text(self, value: object, longest: int = LONGEST) -> str:
        line = value if isinstance(value, str) else ""
        return shortened(without(line, self._secret), longest)

    def name(self, value: object) -> str:
        return self.text(value, LONGEST_NAME)


def without(text: str, secret: str | None) -> str:
    """Return text without a secret that somebody repeats."""
    return text.replace(secret, "…") if secret else text


def shortened(text: str, longest: int) -> str:
    """Return somebody's text in one line, clean and cut."""
    line = clean(" ".join(text[: 20 * longest].split()))
    return line if len(line) <= longest else line[: longest - 1] + "…"


def _mat(mat: Json, say: _Texts) -> Mat:
    setpoint = mat.get("setpoint")
    wanted = setpoint.get("setpoint_c") if isinstance(setpoint, dict) else None
    watched = mat.get("watch_only") is True
    return Mat(
        name=say.name(mat.get("name")),
        on=None if watched else mat.get("energised") is True,
        mode=say.name(mat.get("mode")),
        mode_text=say.text(mat.get("mode_text")),
        setpoint_c=_temp(wanted),
    )


def _tray(tray: Json, wanted: Mapping[str, float | None], say: _Texts) -> Tray:
    mat = tray.get("mat")
    on = say.name(mat) if isinstance(mat, str) else None
    return Tray(
        name=say.name(tray.get("name")),
        mat=on,
        temp_c=_temp(tray.get("temp_c")),
        temp_text=say.text(tray.get("temp_text")),
        wanted_c=None if on is None else wanted.get(on),
        measured=bool(tray.get("probes")),
    )


def _alarm(alarm: Json, say: _Texts) -> Alarm:
    priority = alarm.get("priority")
    active = alarm.get("state") != "cleared"
    silenced = alarm.get("rings") is False
    return Alarm(
        kind=say.name(alarm.get("kind")),
        priority=str(priority) if priority in ("high", "low") else "medium",
        active=active,
        rings=active and not silenced,
        explained=alarm.get("suppressed") is True,
        sentence=say.text(alarm.get("sentence")),
    )


def _pressing(alarm: Alarm) -> tuple[bool, bool, int]:
    order = ("high", "medium", "low").index(alarm.priority)
    return not alarm.rings, not alarm.active, order


def _objects(found: Json, key: str) -> Iterator[Json]:
    listed = found.get(key)
    for one in listed if isinstance(listed, list) else ():
        if isinstance(one, dict):
            yield one


def _temp(value: object) -> float | None:
    return _number(value, COLDEST_C, WARMEST_C)


def _number(value: object, least: float, most: float) -> float | None:
    """Return a number within bounds; Python's JSON reads NaN and 1e999, too."""
    if isinstance(value, bool) or not isinstance(value, int | float):
        return None
    # Compared before it is made a float: a whole number of 400 digits is none.
    return float(value) if least <= value <= most else None
