"""The bench as the API shows it: from a look at it to plain dicts. Pure.

What may live here: the whole bench, its alarms, its health and its journal;
trays and mats have modules of their own. No requests, no clock.
"""

from collections.abc import Iterator, Mapping, Sequence
from typing import Literal

from api.formats import duration_text, utc_text
from api.mat_views import mat_view
from api.moment import Moment, reader_of, scan_age_ms
from api.sentences import alarm_sentence, on_the_wall, shown_numbers
from api.shapes import (
    AlarmsView,
    AlarmView,
    BenchView,
    BucketView,
    HealthView,
    LogEntryView,
    LogView,
    MatsView,
    ProbeTemperaturesView,
    TraysView,
)
from api.tray_views import probe_view, tray_view, witness_view
from controller.core.alarm_rules import RULES, Priority
from controller.core.plan import all_trays
from controller.core.scan import LogHealth
from controller.core.state import Alarm, Mode
from controller.ports import Bucket, LogEntry

PRIORITIES: Mapping[Priority, Literal["low", "medium", "high"]] = {
    Priority.LOW: "low",
    Priority.MEDIUM: "medium",
    Priority.HIGH: "high",
}


def bench_view(look: Moment) -> BenchView:
    """Return the whole bench."""
    snapshot = look.snapshot
    plan, scan = snapshot.plan, snapshot.scan
    return BenchView(
        bench=plan.bench,
        run=snapshot.run,
        at=utc_text(scan.utc_ms),
        scan=scan.seq,
        scan_s=plan.scan_ms / 1000,
        scan_age_s=scan_age_ms(look) / 1000,
        timezone=snapshot.timezone,
        display_unit=snapshot.display_unit,
        clock_ok=scan.clock_ok,
        link_up=scan.link_up,
        log_health=scan.log_health.value,
        refused_messages=snapshot.refused,
        trays=[tray_view(look, tray) for tray in all_trays(plan)],
        mats=[mat_view(look, mat) for mat in plan.mats],
        room=[probe_view(look, probe) for probe in plan.room],
        witnesses=[witness_view(look, probe) for probe in plan.witnesses],
        alarms=[_alarm_view(look, alarm) for alarm in snapshot.state.alarms],
    )


def trays_view(look: Moment) -> TraysView:
    """Return every tray."""
    snapshot = look.snapshot
    return TraysView(
        at=utc_text(snapshot.scan.utc_ms),
        trays=[tray_view(look, tray) for tray in all_trays(snapshot.plan)],
    )


def mats_view(look: Moment) -> MatsView:
    """Return every mat."""
    snapshot = look.snapshot
    return MatsView(
        at=utc_text(snapshot.scan.utc_ms),
        mats=[mat_view(look, mat) for mat in snapshot.plan.mats],
    )


def alarms_view(look: Moment) -> AlarmsView:
    """Return the alarms to be known of."""
    snapshot = look.snapshot
    return AlarmsView(
        at=utc_text(snapshot.scan.utc_ms),
        alarms=[_alarm_view(look, alarm) for alarm in snapshot.state.alarms],
    )


def _alarm_view(look: Moment, alarm: Alarm) -> AlarmView:
    reader = reader_of(look)
    until_ms = alarm.shelved_until_ms
    return AlarmView(
        id=alarm_id(alarm),
        kind=alarm.kind.value,
        subject=alarm.subject,
        priority=PRIORITIES[RULES[alarm.kind].priority],
        state="active" if alarm.active else "cleared",
        acknowledged=alarm.acknowledged,
        suppressed=alarm.suppressed,
        shelved_until=None if until_ms is None else on_the_wall(until_ms, reader),
        rings=alarm.rings,
        since=utc_text(alarm.since_utc_ms),
        sentence=alarm_sentence(alarm.kind, alarm.subject, alarm.numbers, reader),
        numbers=shown_numbers(alarm.numbers, reader),
    )


def alarm_id(alarm: Alarm) -> str:
    """Return under which name an alarm is found: "trip.north", "log-failed"."""
    name = f".{alarm.subject}" if alarm.subject else ""
    return f"{alarm.kind.value}{name}"


def pressing(alarms: Sequence[Alarm]) -> list[Alarm]:
    """Return the alarms that hold now and that nothing else explains."""
    return [alarm for alarm in alarms if alarm.active and not alarm.suppressed]


def health_view(look: Moment) -> HealthView:
    """Return whether a person should look at the bench, and why."""
    snapshot = look.snapshot
    scan = snapshot.scan
    reasons = list(_reasons(look))
    return HealthView(
        status="attention" if reasons else "ok",
        reasons=reasons,
        bench=snapshot.plan.bench,
        run=snapshot.run,
        scan=scan.seq,
        at=utc_text(scan.utc_ms),
        scan_age_s=scan_age_ms(look) / 1000,
        clock_ok=scan.clock_ok,
        link_up=scan.link_up,
        log_health=scan.log_health.value,
        alarms=len(pressing(snapshot.state.alarms)),
    )


def stalled(look: Moment) -> str | None:
    """Return a sentence if scans have stopped; None if they go on."""
    plan = look.snapshot.plan
    age_ms = scan_age_ms(look)
    if age_ms <= plan.valid_for_ms:
        return None
    return (
        f"the last scan was made {duration_text(age_ms)} ago; "
        f"one is due every {duration_text(plan.scan_ms)}"
    )


def not_ready(look: Moment) -> Iterator[str]:
    """Yield why the bench is not being kept just now."""
    scan, mats = look.snapshot.scan, look.snapshot.state.mats
    sentence = stalled(look)
    if sentence is not None:
        yield sentence
    if not scan.link_up:
        yield "the broker is not reached: no probe is heard and no relay told"
    if scan.log_health is not LogHealth.OK:
        yield f"the season log is not written: {scan.log_health.value}"
    waiting = [name for name, mat in mats.items() if mat.mode is Mode.STARTING]
    if waiting:
        yield f"waiting for good readings: {', '.join(waiting)}"


def _reasons(look: Moment) -> list[str]:
    scan = look.snapshot.scan
    alarms = pressing(look.snapshot.state.alarms)
    reasons = [_alarm_view(look, alarm)["sentence"] for alarm in alarms]
    if not scan.clock_ok:
        reasons.append("The wall clock is not known to be right.")
    return reasons


def probe_temperatures_view(
    probe: str, buckets: Sequence[Bucket]
) -> ProbeTemperaturesView:
    """Return what one probe read, bucket by bucket; empty ones are not in it."""
    return ProbeTemperaturesView(
        probe=probe,
        buckets=[
            BucketView(
                start=utc_text(bucket.start_ms),
                n=bucket.n,
                min_c=bucket.min_mc / 1000,
                mean_c=round(bucket.sum_mc / bucket.n / 1000, 3),
                max_c=bucket.max_mc / 1000,
            )
            for bucket in buckets
        ],
    )


def log_view(entries: Sequence[LogEntry], after: int) -> LogView:
    """Return journal entries and where to go on."""
    return LogView(
        entries=[
            LogEntryView(
                id=entry.id,
                at=utc_text(entry.utc_ms),
                kind=entry.kind,
                subject=entry.subject,
                body=dict(entry.body),
            )
            for entry in entries
        ],
        next_after=entries[-1].id if entries else after,
    )
