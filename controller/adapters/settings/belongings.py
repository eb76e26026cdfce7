"""What tables must say of themselves and of each other to belong together.

What may live here: references, keys that need or exclude one another, and
places. Limits and other rules of a plan are the core's; topics are in wires.
"""

from collections.abc import Iterable, Iterator, Sequence

from controller.adapters.settings.document import Tables
from controller.adapters.settings.findings import MISSING, Finding, shown
from controller.adapters.settings.tables import (
    MatTable,
    ProbeTable,
    RelayTable,
    Table,
    TrayTable,
)
from controller.core.units import DAY_MS, HOUR_MS, MINUTE_MS, SECOND_MS

LONGEST_COMMIT_MS = 10 * MINUTE_MS
"""Chosen: a power cut loses at most this much of the season [ms]."""

LONGEST_UNFOLDED_MS = 400 * DAY_MS
"""Chosen: unfolded, a year of a dozen probes takes most of a gigabyte."""

Findings = Iterator[Finding]


def belonging_problems(tables: Tables) -> Findings:
    """Yield what does not belong together. Wrong tables are passed over."""
    yield from _log(tables)
    yield from _mats(tables.mats)
    yield from _trays(tables)
    yield from _probes(tables)


def _log(tables: Tables) -> Findings:
    said = tables.log.commit_every
    if not SECOND_MS <= said.milli <= LONGEST_COMMIT_MS:
        allowed = "from 1 s to 10 min: it is what a power cut can lose"
        yield Finding("[log] commit_every", shown(said.text), allowed)
    said = tables.log.fold_after
    if not HOUR_MS <= said.milli <= LONGEST_UNFOLDED_MS:
        allowed = "from 1 h to 400 days: scans of this age are compressed"
        yield Finding("[log] fold_after", shown(said.text), allowed)


def _mats(mats: Iterable[MatTable]) -> Findings:
    for mat in mats:
        if not mat.wrong:
            yield from _programme(mat)
            yield from _policy(mat)
            if mat.relay is not None:
                yield from _relay(f"mat {mat.name}", mat.relay)


def _programme(mat: MatTable) -> Findings:
    at = f"mat {mat.name}"
    if not mat.step and mat.setpoint is None:
        yield Finding(f"{at}: setpoint", None, f"missing; {MISSING['setpoint']}")
    if mat.step:
        allowed = "leave it out: this mat's steps say it"
        yield from _left_out(at, mat, ("setpoint", "night_setpoint"), allowed)


def _policy(mat: MatTable) -> Findings:
    at = f"mat {mat.name}"
    if mat.policy == "pid":
        allowed = 'leave it out: it belongs to policy = "on-off"'
        yield from _left_out(at, mat, ("differential",), allowed)
    else:
        allowed = 'leave it out: it belongs to policy = "pid"'
        yield from _left_out(at, mat, ("cycle", "pid"), allowed)


def _relay(at: str, relay: RelayTable) -> Findings:
    at = f"{at}: relay"
    if (relay.topic is None) == (relay.pin is None):
        found = _written(relay, ("topic", "pin"))
        yield Finding(at, None, f"write either a topic or a pin; there is {found}")
    if relay.lease or relay.pin is not None:
        allowed = "leave it out: only a plain relay on a topic has words"
        yield from _left_out(at, relay, ("on", "off"), allowed)
    if relay.pin is not None:
        allowed = "leave it out: a pin of this board has none"
        yield from _left_out(at, relay, ("lease", "reports_on"), allowed)
        if not relay.pin.isalnum():
            yield Finding(
                f"{at}.pin", shown(relay.pin), 'a pin\'s name, such as "GPIO17"'
            )
    else:
        allowed = "leave it out: only a pin of this board has levels"
        yield from _left_out(at, relay, ("active_low",), allowed)
    for key, word in (("on", relay.on), ("off", relay.off)):
        if word is not None and not word.strip():
            yield Finding(f"{at}.{key}", shown(word), "write the word that it obeys")
    on, off = words(relay)
    if on == off:
        yield Finding(f"{at}.off", shown(off), "another word than on")


def words(relay: RelayTable) -> tuple[str, str]:
    """Return the words that switch a plain relay on and off."""
    return relay.on or "ON", relay.off or "OFF"


def _trays(tables: Tables) -> Findings:
    mats = [mat.name for mat in tables.mats]
    places: dict[tuple[str | None, tuple[int, int]], str] = {}
    for tray in tables.trays:
        yield from _refers(f"tray {tray.name}: mat", tray.mat, mats, "mat")
        yield from _place(tray, places)


def _place(
    tray: TrayTable, places: dict[tuple[str | None, tuple[int, int]], str]
) -> Findings:
    if tray.place is None:
        return
    other = places.setdefault((tray.mat, tray.place), tray.name)
    if other != tray.name:
        found = str(list(tray.place))
        allowed = f"another place: tray {other} stands there"
        yield Finding(f"tray {tray.name}: place", found, allowed)


def _probes(tables: Tables) -> Findings:
    mats = [mat.name for mat in tables.mats]
    trays = [tray.name for tray in tables.trays]
    if not tables.probes:
        allowed = "missing; without a probe there is nothing to log or to heat by"
        yield Finding("[[probe]]", None, allowed)
    for probe in tables.probes:
        at = f"probe {probe.name}"
        yield from _refers(f"{at}: tray", probe.tray, trays, "tray")
        yield from _refers(f"{at}: mat", probe.mat, mats, "mat")
        if not probe.wrong:
            yield from _whereabouts(at, probe)
            yield from _message(at, probe)


def _whereabouts(at: str, probe: ProbeTable) -> Findings:
    places = sum((probe.tray is not None, probe.mat is not None, probe.room))
    if places > 1 or (not places and probe.quantity == "temperature"):
        found = _written(probe, ("tray", "mat", "room"))
        allowed = "write one of tray, mat (its surface) or room = true"
        yield Finding(at, None, f"{allowed}; there is {found}")
    if probe.tray is None:
        allowed = "leave it out: only a probe in a tray has a depth"
        yield from _left_out(at, probe, ("depth",), allowed)


def _message(at: str, probe: ProbeTable) -> Findings:
    if (probe.topic is None) == (probe.one_wire is None):
        found = _written(probe, ("topic", "one_wire"))
        allowed = "write either a topic or a one_wire address"
        yield Finding(at, None, f"{allowed}; there is {found}")
    if probe.one_wire is not None:
        allowed = "leave it out: a probe on this board has no messages"
        yield from _left_out(at, probe, ("payload", "senml_name", "unit"), allowed)
        if probe.quantity != "temperature":
            allowed = 'only "temperature" comes from a one_wire address'
            yield Finding(f"{at}: quantity", shown(probe.quantity), allowed)
    if probe.payload != "senml":
        allowed = 'leave it out: it belongs to payload = "senml"'
        yield from _left_out(at, probe, ("senml_name",), allowed)
    elif probe.unit is not None:
        yield Finding(
            f"{at}: unit", shown(probe.unit), "leave it out: senml brings its own"
        )
    if probe.quantity != "temperature":
        allowed = "leave it out: only a thermometer has it"
        yield from _left_out(
            at, probe, ("unit", "offset", "sentinels", "stuck_after"), allowed
        )


def _refers(where: str, name: str | None, known: Sequence[str], kind: str) -> Findings:
    if name is not None and name not in known:
        names = f"known: {', '.join(known)}" if known else f"there is no [[{kind}]]"
        yield Finding(where, shown(name), f"no such {kind}; {names}")


def _left_out(at: str, table: Table, keys: Iterable[str], allowed: str) -> Findings:
    separator = "." if at.endswith("relay") else ": "
    for key in keys:
        if key in table.model_fields_set:
            yield Finding(f"{at}{separator}{key}", None, allowed)


def _written(table: Table, keys: Iterable[str]) -> str:
    """Return which of some keys were written, for people."""
    names = [key for key in keys if key in table.model_fields_set]
    return " and ".join(names) if names else "none"
