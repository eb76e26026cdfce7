"""Alarms: what a person should act on, and when it is over.

What may live here: which alarms are active. An alarm never heats or cools
anything; what refuses heat is in protect.
"""

from collections.abc import Container, Iterator, Mapping
from dataclasses import dataclass, replace
from typing import NamedTuple

from controller.core.alarm_rules import RULES
from controller.core.decisions import (
    AlarmChange,
    AlarmKind,
    AlarmTurn,
    Cause,
    Doubted,
    Numbers,
)
from controller.core.offsets import strange_trays
from controller.core.plan import MatPlan, Plan, RelayKind
from controller.core.protect import Verdict
from controller.core.relays import GRACE_SCANS, power_tells
from controller.core.root_zone import Heard, Observed, hear
from controller.core.scan import LogHealth, Scan
from controller.core.state import Alarm, MatState, State
from controller.core.units import Millis

CLEARS_BELOW_MK = 500
"""Chosen: a warm root zone must cool this far before its warning ends, so that
a probe at the limit does not ring twice a minute."""

DOUBTED_FOR = 2
"""A probe is reported implausible when this many of its turns gave nothing."""

_OF_MAT = {
    Cause.TRIPPED: AlarmKind.TRIP,
    Cause.HEAT_NOT_FELT: AlarmKind.HEAT_NOT_FELT,
    Cause.NO_DRIVING_READING: AlarmKind.NO_DRIVING_READING,
    Cause.WARMEST_LOST: AlarmKind.WARMEST_LOST,
    Cause.OVER_CUTOUT: AlarmKind.OVER_LIMIT,
    Cause.OVER_SURFACE_CUTOUT: AlarmKind.OVER_LIMIT,
    Cause.OVER_TRAY_LIMIT: AlarmKind.OVER_LIMIT,
    Cause.OVER_SURFACE_LIMIT: AlarmKind.OVER_LIMIT,
    Cause.DOUBTFUL_HOT: AlarmKind.OVER_LIMIT,
    Cause.HEAT_FROM_ABOVE: AlarmKind.HEAT_FROM_ABOVE,
    Cause.RISES_TOO_FAST: AlarmKind.RISES_TOO_FAST,
    Cause.HEATED_TOO_LONG: AlarmKind.HEATED_TOO_LONG,
    Cause.DAILY_HEAT_SPENT: AlarmKind.DAILY_HEAT_SPENT,
}

CONFIRMED_WITHIN_SCANS = 6
"""Chosen: a relay that reports at all says so within these scans."""

Key = tuple[AlarmKind, str]


class Told(NamedTuple):
    """What a scan told of a mat.

    Attributes:
        verdict: What protect said.
        beside: What is too hot, where the verdict speaks of something else.
        observed: What its probes say.
    """

    verdict: Verdict
    beside: Verdict | None
    observed: Observed


@dataclass(frozen=True, slots=True)
class Moment:
    """What alarms are told of a scan.

    Attributes:
        scan: The scan.
        now_ms: Run clock [ms].
        told: What was said of each mat.
    """

    scan: Scan
    now_ms: Millis
    told: Mapping[str, Told]


def update(
    plan: Plan, state: State, moment: Moment
) -> tuple[tuple[Alarm, ...], tuple[AlarmChange, ...]]:
    """Return the alarms to be known of now, and what happened to any."""
    standing = {(alarm.kind, alarm.subject): alarm for alarm in state.alarms}
    ringing = {key for key, alarm in standing.items() if alarm.active}
    active = dict(_active(plan, state, moment, ringing))
    if not standing and not active:
        return state.alarms, ()
    changes: list[AlarmChange] = []
    alarms = [
        after
        for key, alarm in standing.items()
        if (after := _gone_on(alarm, active.get(key), key in active, moment, changes))
    ]
    alarms += [
        _raised(key, numbers, moment, changes)
        for key, numbers in active.items()
        if key not in standing
    ]
    alarms = _suppressed(alarms, changes)
    if not changes and tuple(alarms) == state.alarms:
        return state.alarms, ()
    return tuple(alarms), tuple(changes)


def _raised(
    key: Key, numbers: Numbers, moment: Moment, changes: list[AlarmChange]
) -> Alarm:
    changes.append(AlarmChange(*key, AlarmTurn.RAISED, numbers))
    return Alarm(*key, moment.now_ms, moment.scan.utc_ms, numbers)


def _gone_on(
    alarm: Alarm,
    numbers: Numbers | None,
    holds: bool,
    moment: Moment,
    changes: list[AlarmChange],
) -> Alarm | None:
    """Return what has become of an alarm; None: it is forgotten."""
    until_ms = alarm.shelved_until_ms
    if until_ms is not None and moment.now_ms >= until_ms:
        changes.append(AlarmChange(alarm.kind, alarm.subject, AlarmTurn.UNSHELVED))
        alarm = replace(alarm, shelved_until_ms=None)
    if holds:
        if alarm.active:
            return alarm if alarm.over_ms is None else replace(alarm, over_ms=None)
        again = _raised((alarm.kind, alarm.subject), numbers or (), moment, changes)
        return replace(again, shelved_until_ms=alarm.shelved_until_ms)
    if alarm.active:
        over_ms = moment.now_ms if alarm.over_ms is None else alarm.over_ms
        if moment.now_ms - over_ms < RULES[alarm.kind].off_delay_ms:
            return replace(alarm, over_ms=over_ms)
        changes.append(AlarmChange(alarm.kind, alarm.subject, AlarmTurn.CLEARED))
        alarm = replace(alarm, active=False, suppressed=False, over_ms=None)
    done = alarm.acknowledged and alarm.shelved_until_ms is None
    return None if done else alarm


def _suppressed(alarms: list[Alarm], changes: list[AlarmChange]) -> list[Alarm]:
    """Silence what another alarm explains, and let it ring when none does."""
    active = {(alarm.kind, alarm.subject) for alarm in alarms if alarm.active}
    after: list[Alarm] = []
    for alarm in alarms:
        explained = alarm.active and any(
            (kind, alarm.subject) in active or (kind, "") in active
            for kind in RULES[alarm.kind].explained_by
        )
        over = not alarm.active or alarm.over_ms is not None
        if explained != alarm.suppressed and (explained or not over):
            turn = AlarmTurn.SUPPRESSED if explained else AlarmTurn.UNSUPPRESSED
            changes.append(AlarmChange(alarm.kind, alarm.subject, turn))
            alarm = replace(alarm, suppressed=explained)  # noqa: PLW2901
        after.append(alarm)
    return after


def _active(
    plan: Plan, state: State, moment: Moment, ringing: Container[Key]
) -> Iterator[tuple[Key, Numbers]]:
    yield from _of_log(state, moment.scan)
    if _link_matters(plan) and state.link_down_ms is not None:
        down_ms = moment.now_ms - state.link_down_ms
        if down_ms > plan.valid_for_ms:
            yield (AlarmKind.LINK_DOWN, ""), (("down_ms", down_ms),)
    for mat in plan.mats:
        yield from _of_mat(plan, mat, state, moment, ringing)
    for tray in plan.trays:
        for probe in tray.probes:
            yield from _of_probe(
                state, hear(probe, state.probes, moment.now_ms), moment
            )
    for probe in plan.room + plan.witnesses:
        yield from _of_probe(state, hear(probe, state.probes, moment.now_ms), moment)


def _of_log(state: State, scan: Scan) -> Iterator[tuple[Key, Numbers]]:
    if scan.log_health is not LogHealth.OK:
        yield (AlarmKind.LOG_FAILED, ""), ()
    if state.log_set_aside:
        yield (AlarmKind.LOG_SET_ASIDE, ""), ()


def _link_matters(plan: Plan) -> bool:
    return any(mat.relay not in {None, RelayKind.PIN} for mat in plan.mats)


def _of_probe(
    state: State, heard: Heard, moment: Moment
) -> Iterator[tuple[Key, Numbers]]:
    probe, known, fresh = heard
    if fresh:
        return
    now_ms = moment.now_ms
    since_ms = state.started_ms if known.good_at_ms is None else known.good_at_ms
    silent_ms = now_ms - since_ms
    speaks = known.doubt_at_ms is not None and (
        now_ms - known.doubt_at_ms <= probe.stale_after_ms
    )
    if speaks and known.doubt is Doubted.STUCK:
        yield (AlarmKind.PROBE_STUCK, probe.name), (("temp_mc", known.good_mc),)
        return
    implausible = speaks and known.doubt is not Doubted.UNCERTAIN
    if implausible and silent_ms >= DOUBTED_FOR * probe.every_ms:
        yield (AlarmKind.PROBE_IMPLAUSIBLE, probe.name), (("silent_ms", silent_ms),)
    elif silent_ms > probe.stale_after_ms:
        yield (AlarmKind.PROBE_LOST, probe.name), (("silent_ms", silent_ms),)


def _of_mat(
    plan: Plan,
    mat: MatPlan,
    state: State,
    moment: Moment,
    ringing: Container[Key],
) -> Iterator[tuple[Key, Numbers]]:
    verdict, beside, observed = moment.told[mat.name]
    for found in (verdict, beside):
        cause = None if found is None else found.cause
        kind = None if cause is None else _OF_MAT.get(cause)
        if found is not None and kind is not None:
            yield (kind, mat.name), found.numbers
    for heard in observed.roots + observed.surface:
        if not heard.usable:
            yield from _of_probe(state, heard, moment)
    for probe, known, _ in observed.roots:
        key = (AlarmKind.ROOT_ZONE_WARM, probe.name)
        warm_mc = mat.warn_mc - (CLEARS_BELOW_MK if key in ringing else 0)
        if known.good_at_ms is not None and known.good_mc >= warm_mc:
            yield key, (("temp_mc", known.good_mc), ("limit_mc", mat.warn_mc))
    mat_state = state.mats[mat.name]
    yield from _disagreement(plan, mat, mat_state, moment.now_ms)
    yield from _responses(mat, mat_state, moment.now_ms)


def _responses(
    mat: MatPlan, known: MatState, now_ms: Millis
) -> Iterator[tuple[Key, Numbers]]:
    """Yield what the response guards find strange and protect does not act on."""
    idle = known.guard.idle
    if idle is not None and idle.warms:
        yield (AlarmKind.HEAT_UNASKED, mat.name), (("from_mc", idle.lowest_mc),)
    for offset in strange_trays(known.guard, now_ms):
        tray = next(tray for tray in mat.trays if tray.name == offset.tray)
        numbers: Numbers = (("usual_mk", round(offset.usual_mk)),)
        yield (AlarmKind.PROBE_DISAGREES, tray.probes[0].name), numbers


def _disagreement(
    plan: Plan, mat: MatPlan, known: MatState, now_ms: Millis
) -> Iterator[tuple[Key, Numbers]]:
    relay, power = known.relay, known.power
    since_ms = relay.disagrees_ms
    if since_ms is not None and now_ms - since_ms > GRACE_SCANS * plan.scan_ms:
        lasting_ms = now_ms - since_ms
        yield (AlarmKind.RELAY_DISAGREES, mat.name), (("lasting_ms", lasting_ms),)
    lasting_ms = now_ms - relay.since_ms
    waited = lasting_ms > CONFIRMED_WITHIN_SCANS * plan.scan_ms
    if mat.reports and waited and bool(relay.said) is not relay.energised:
        # Some relays speak only of changes: one that sticks has nothing to say.
        kind = AlarmKind.RELAY_DISAGREES if relay.said else AlarmKind.RELAY_SILENT
        yield (kind, mat.name), (("lasting_ms", lasting_ms),)
    if power is not None and power_tells(power, now_ms):
        kind = AlarmKind.POWER_UNASKED if power.draws else AlarmKind.MAT_DEAD
        yield (kind, mat.name), ()
