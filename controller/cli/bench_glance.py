"""What one bench's API says, in one line. Pure: from JSON that may be a stranger's."""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass

from controller.cli.asking import clean

Json = Mapping[str, object]

LONGEST = 70
"""Characters of what a bench says of itself that are shown."""

LOCKED, SILENT, STALE, ALARM, WELL = 4, 3, 2, 1, 0
WORDS = {
    LOCKED: "LOCKED OFF",
    SILENT: "NO ANSWER",
    STALE: "STALE",
    ALARM: "alarm",
    WELL: "well",
}


@dataclass(frozen=True, slots=True)
class Glance:
    """A bench at a glance.

    Attributes:
        name: As the list calls it.
        url: Where it was asked.
        rank: How much it needs somebody: 0 is not at all.
        what: In a sentence.
        coldest_c: Its coldest tray [°C]; None: none is known.
        warmest_c: Its warmest [°C].
        heating: Mats that are on.
        mats: How many it has.
        age_s: Age of its last scan [s].
        alarms: How many are active.
    """

    name: str
    url: str
    rank: int
    what: str = ""
    coldest_c: float | None = None
    warmest_c: float | None = None
    heating: int = 0
    mats: int = 0
    age_s: float | None = None
    alarms: int = 0

    @property
    def state(self) -> str:
        """The rank in a word."""
        return WORDS[self.rank]

    def record(self) -> dict[str, object]:
        """Return it for JSON."""
        return {
            "name": self.name,
            "url": self.url,
            "state": self.state.lower(),
            "what": self.what,
            "coldest_c": self.coldest_c,
            "warmest_c": self.warmest_c,
            "mats_on": self.heating,
            "mats": self.mats,
            "scan_age_s": self.age_s,
            "alarms": self.alarms,
        }


def unknown(name: str, url: str, why: str) -> Glance:
    """Return a bench that did not answer, or not as one does."""
    return Glance(clean(name), url, SILENT, _short(why.removeprefix(url)))


def glanced(name: str, url: str, bench: Json, stale_s: float) -> Glance:
    """Return a bench by what its API said.

    Args:
        name: As the list calls it.
        url: Where it was asked.
        bench: What /v1/bench answered.
        stale_s: From which age on a last scan is stale [s].
    """
    age_s = _number(bench.get("scan_age_s"))
    if age_s is None or not isinstance(bench.get("bench"), str):
        return unknown(name, url, "what answers there is no bottomheat")
    mats, trays = list(_objects(bench, "mats")), list(_objects(bench, "trays"))
    alarms = [a for a in _objects(bench, "alarms") if a.get("state") != "cleared"]
    temps = [
        t for t in (_number(tray.get("temp_c")) for tray in trays) if t is not None
    ]
    locked = [str(mat.get("name")) for mat in mats if mat.get("mode") == "tripped"]
    rank, what = _worst(age_s, stale_s, locked, alarms)
    return Glance(
        clean(name),
        url,
        rank,
        _short(what),
        min(temps, default=None),
        max(temps, default=None),
        sum(mat.get("energised") is True for mat in mats),
        len(mats),
        age_s,
        len(alarms),
    )


def _worst(
    age_s: float, stale_s: float, locked: list[str], alarms: list[Json]
) -> tuple[int, str]:
    first = next((str(alarm.get("sentence") or "") for alarm in alarms), "")
    more = f" (and {len(alarms) - 1} more)" if len(alarms) > 1 else ""
    if age_s > stale_s:
        old = f"last scan {_age(age_s)} ago: what it says is of then"
        return (LOCKED if locked else STALE), old
    if locked:
        return LOCKED, f"mat {', '.join(locked)}: {first}{more}"
    if alarms:
        return ALARM, first + more
    return WELL, ""


def _age(seconds: float) -> str:
    for unit_s, word in ((86_400, "d"), (3_600, "h"), (60, "min")):
        if seconds >= 2 * unit_s:
            return f"{seconds / unit_s:.0f} {word}"
    return f"{seconds:.0f} s"


def _objects(found: Json, key: str) -> Iterator[Json]:
    listed = found.get(key)
    yield from (one for one in (listed if isinstance(listed, list) else ()) if _is(one))


def _is(value: object) -> bool:
    return isinstance(value, dict)


def _number(value: object) -> float | None:
    if isinstance(value, bool) or not isinstance(value, int | float):
        return None
    return float(value)


def _short(text: str) -> str:
    line = clean(" ".join(text.split()))
    return line if len(line) <= LONGEST else line[: LONGEST - 1] + "…"
