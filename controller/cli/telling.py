"""Who is told of alarms, put together: targets, their senders, a grower's words."""

from collections.abc import Iterator, Sequence

from api.formats import local_text, temp_text
from api.sentences import Reader, alarm_sentence
from controller.adapters.notify import (
    BookFile,
    Notifier,
    PublishNotice,
    Target,
    Words,
    book_beside,
    sender_for,
)
from controller.adapters.settings import Settings
from controller.core.plan import all_trays
from controller.core.root_zone import tray_temp_mc
from controller.core.state import Alarm
from controller.ports import Snapshot


def targets_of(settings: Settings, publish: PublishNotice) -> list[Target]:
    """Return everybody who is told.

    Args:
        settings: The bench.
        publish: How a notice gets on the bench's own broker.

    Raises:
        NotifyError: A target's address cannot be read or used.
    """
    wires = settings.wiring.notify
    return [Target(wire, sender_for(wire, publish)) for wire in wires]


def notifier_for(settings: Settings, publish: PublishNotice) -> Notifier | None:
    """Return what tells people; None where nobody wants to be told.

    Raises:
        NotifyError: A target's address cannot be read or used.
    """
    targets: Sequence[Target] = targets_of(settings, publish)
    if not targets:
        return None
    return Notifier(targets, BookFile(book_beside(settings.log.path)), words_of)


def words_of(snapshot: Snapshot) -> Words:
    """Return how a snapshot is put into words."""
    scan = snapshot.scan
    reader = Reader(snapshot.display_unit, scan.run_ms, scan.utc_ms)

    def sentence(alarm: Alarm) -> str:
        return alarm_sentence(alarm.kind, alarm.subject, alarm.numbers, reader)

    return Words(
        alarm=sentence,
        clock=lambda utc_ms: local_text(utc_ms, scan.utc_ms, snapshot.timezone),
        well=lambda: "\n".join(_well(snapshot, reader)),
    )


def _well(snapshot: Snapshot, reader: Reader) -> Iterator[str]:
    active = [alarm for alarm in snapshot.state.alarms if alarm.active]
    if active:
        yield "1 alarm:" if len(active) == 1 else f"{len(active)} alarms:"
    else:
        yield "All is well."
    for alarm in active:
        yield alarm_sentence(alarm.kind, alarm.subject, alarm.numbers, reader)
    yield ", ".join(_temps(snapshot)) + "."


def _temps(snapshot: Snapshot) -> Iterator[str]:
    state = snapshot.state
    for tray in all_trays(snapshot.plan):
        if tray.probes:
            temp_mc = tray_temp_mc(tray, state.probes, state.run_ms)
            unit = snapshot.display_unit
            temp = "no reading" if temp_mc is None else temp_text(temp_mc, unit)
            yield f"{tray.name} {temp}"
