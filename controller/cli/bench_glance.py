"""One bench at a glance: how much it needs somebody, and why. Pure.

What may live here: from what is known of a bench to its rank and a sentence.
"""

from collections.abc import Sequence
from dataclasses import dataclass

from controller.cli.bench_told import Alarm, Due, Told, shortened

LONGEST = 70
"""Characters of what needs somebody that a line of a terminal has room for."""

NAMED = 4
"""Trays that are named in a line."""

URGENT, LOCKED, SILENT, STALE, ALARM, ASIDE, WELL, WAITING = range(7, -1, -1)
WORDS = {
    URGENT: "act now",
    LOCKED: "locked off",
    SILENT: "no answer",
    STALE: "stale",
    ALARM: "alarm",
    ASIDE: "not as wanted",
    WELL: "well",
    WAITING: "being asked",
}


@dataclass(frozen=True, slots=True)
class Glance:
    """A bench at a glance.

    Attributes:
        name: As the list calls it.
        url: Where it was asked.
        rank: How much it needs somebody, see WORDS.
        what: In a sentence.
        told: What it said last; None: nothing ever.
        due: What is due at it; empty, too, where nobody asked.
        scan_age_s: Age of the last scan that is known of [s].
        old: Whether that scan is stale.
        trouble: Why it did not answer; None: it did.
    """

    name: str
    url: str
    rank: int
    what: str = ""
    told: Told | None = None
    due: tuple[Due, ...] = ()
    scan_age_s: float | None = None
    old: bool = False
    trouble: str | None = None

    @property
    def state(self) -> str:
        """The rank in a word."""
        return WORDS[self.rank]

    @property
    def needed(self) -> bool:
        """Whether somebody is needed."""
        return self.rank >= ALARM

    @property
    def order(self) -> tuple[int, int, int, str]:
        """What to sort by: what needs a person first."""
        aside = sum(tray.aside for tray in self.told.trays) if self.told else 0
        overdue = sum(one.overdue for one in self.due)
        return -self.rank, -aside, -overdue, self.name.casefold()

    @property
    def temps_c(self) -> list[float]:
        """Temperatures of its trays [°C]."""
        trays = self.told.trays if self.told else ()
        return [tray.temp_c for tray in trays if tray.temp_c is not None]

    @property
    def heating(self) -> int:
        """Mats that are on."""
        return sum(mat.on is True for mat in self.told.mats) if self.told else 0

    @property
    def mats(self) -> int:
        """How many mats it has."""
        return len(self.told.mats) if self.told else 0

    def record(self) -> dict[str, object]:
        """Return it for JSON."""
        alarms = self.told.alarms if self.told else ()
        return {
            "name": self.name,
            "url": self.url,
            "state": self.state,
            "what": self.what,
            "coldest_c": min(self.temps_c, default=None),
            "warmest_c": max(self.temps_c, default=None),
            "mats_on": self.heating,
            "mats": self.mats,
            "scan_age_s": self.scan_age_s,
            "alarms": sum(alarm.active for alarm in alarms),
        }


def glanced(  # noqa: PLR0913 - what is known of a bench
    name: str,
    url: str,
    told: Told | None,
    stale_s: float,
    *,
    trouble: str | None = None,
    silent_s: float = 0.0,
    heard_s: float = 0.0,
    due: tuple[Due, ...] = (),
) -> Glance:
    """Return a bench by what it said last.

    Args:
        name: As the list calls it.
        url: Where it was asked.
        told: What it said last; None: it never answered.
        stale_s: From which age on a last scan is stale [s].
        trouble: Why it did not answer the last time; None: it did.
        silent_s: How long it has not answered [s].
        heard_s: How long ago it said what it said last [s].
        due: What is due at it.
    """
    scan_age_s = None if told is None else told.scan_age_s + heard_s
    if trouble is not None:
        ago = f"for {age_words(silent_s)}: " if silent_s >= 1 else ""
        rank, what = SILENT, ago + trouble
    elif told is None or scan_age_s is None:
        rank, what = WAITING, ""
    else:
        rank, what = _rank(told, scan_age_s, stale_s)
    old = scan_age_s is not None and scan_age_s > stale_s
    return Glance(name, url, rank, what, told, due, scan_age_s, old, trouble)


def _rank(told: Told, scan_age_s: float, stale_s: float) -> tuple[int, str]:
    locked = [mat.name for mat in told.mats if mat.mode == "tripped"]
    if scan_age_s > stale_s:
        old = f"last scan {age_words(scan_age_s)} ago: what it says is of then"
        return (LOCKED if locked else STALE), old
    alarms = [one for one in told.alarms if one.active and not one.explained]
    urgent = [one for one in alarms if one.priority == "high" and one.kind != "trip"]
    if urgent:
        return URGENT, _sentences(urgent, len(alarms))
    if locked:
        return LOCKED, f"mat {', '.join(locked)}: {_sentences(alarms, len(alarms))}"
    if alarms:
        return ALARM, _sentences(alarms, len(alarms))
    return _of_trays(told)


def _of_trays(told: Told) -> tuple[int, str]:
    aside = [tray.name for tray in told.trays if tray.aside]
    more = f" and {len(aside) - NAMED} more" if len(aside) > NAMED else ""
    return (ASIDE if aside else WELL), ", ".join(aside[:NAMED]) + more


def _sentences(alarms: Sequence[Alarm], count: int) -> str:
    first = shortened(alarms[0].sentence, LONGEST) if alarms else ""
    return f"{first} (and {count - 1} more)" if count > 1 else first


def age_words(seconds: float) -> str:
    """Return how long something is ago: "12 min"."""
    for unit_s, word in ((86_400, "d"), (3_600, "h"), (60, "min")):
        if seconds >= 2 * unit_s:
            return f"{seconds / unit_s:.0f} {word}"
    return f"{seconds:.0f} s"
