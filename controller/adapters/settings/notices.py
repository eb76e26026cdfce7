"""Tables of [[notify]] become those who are told of alarms.

What may live here: what such a table means, and what of it does not fit
together. An address may hold a secret: it is never repeated.
"""

from collections.abc import Iterator

from controller.adapters.addresses import address_of
from controller.adapters.settings.alarm_words import CLEARED, kinds
from controller.adapters.settings.document import Tables
from controller.adapters.settings.findings import Finding, shown
from controller.adapters.settings.tables import NotifyTable
from controller.wiring import NotifyWire

_LONGEST_NAME = 32

Findings = Iterator[Finding]


def notify_of(tables: Tables) -> tuple[NotifyWire, ...]:
    """Return who is told, of all tables that are not wrong."""
    return tuple(_target(table) for table in tables.notify if not table.wrong)


def _target(table: NotifyTable) -> NotifyWire:
    at_most, per_ms = table.at_most
    return NotifyWire(
        name=table.name,
        url=table.url,
        url_file=table.url_file,
        tells=kinds(table.tells),
        cleared=CLEARED in table.tells,
        quiet=table.quiet,
        wakes=kinds(table.wakes),
        cleared_wakes=CLEARED in table.wakes,
        cold_wakes=frozenset(table.cold_wakes),
        all_is_well=table.all_is_well,
        at_most=at_most,
        per_ms=per_ms,
        for_words=table.tells,
        wake_words=table.wakes,
    )


def notify_problems(tables: Tables) -> Findings:
    """Yield what would reach nobody, or means nothing."""
    mats = [mat.name for mat in tables.mats]
    for table in tables.notify:
        if not table.wrong:
            at = f"notify {table.name}"
            yield from _name(at, table.name)
            yield from _address(at, table)
            yield from _told(at, table)
            for mat in table.cold_wakes:
                if mat not in mats:
                    known = f"no such mat; known: {', '.join(mats)}"
                    yield Finding(f"{at}: cold_wakes", shown(mat), known)


def _name(at: str, name: str) -> Findings:
    plain = all((mark.isascii() and mark.isalnum()) or mark in "-_" for mark in name)
    if not plain or len(name) > _LONGEST_NAME:
        allowed = 'from 1 to 32 letters a-z, digits, "-" and "_"'
        yield Finding(f"{at}: name", shown(name), allowed)


def _address(at: str, table: NotifyTable) -> Findings:
    if (table.url is None) == (table.url_file is None):
        found = "neither" if table.url is None else "both"
        allowed = f"write either url or url_file; there is {found}"
        yield Finding(at, None, allowed)
    if table.url is not None:
        try:
            address_of(table.url)
        except ValueError as error:
            yield Finding(f"{at}: url", None, str(error))


def _told(at: str, table: NotifyTable) -> Findings:
    if not kinds(table.tells) and table.all_is_well is None:
        allowed = 'name alarms that are told, such as "high", or write all_is_well'
        yield Finding(f"{at}: for", None, allowed)
    if table.quiet is None:
        for key in ("wakes", "cold_wakes"):
            if key in table.model_fields_set:
                allowed = "leave it out: without quiet nothing waits"
                yield Finding(f"{at}: {key}", None, allowed)
