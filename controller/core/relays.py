"""What is believed of the relays, from commands, reports and silence.

A relay's own report is what counts; where it cannot report, the command is
believed. What may live here: that belief and what follows from it for times
and energy. No wish to switch anything.
"""

from dataclasses import replace

from controller.core.plan import MatPlan, Plan, RelayKind
from controller.core.scan import RelayReport, Scan
from controller.core.state import MatState, PowerState, RelayState, State
from controller.core.units import HOUR_MS, MINUTE_MS, Millis

DUTY_MEMORY_MS = 6 * HOUR_MS
"""Chosen: about two time constants of a tray on foam."""

GRACE_SCANS = 2
"""A report may lag its command by this many scans."""

DRAWS_PER = 5
"""Chosen: a mat that draws a fifth of its power heats; a relay's own needs are
far below, and a mat of which most is broken above."""

POWER_TELLS_MS = 2 * MINUTE_MS
"""Chosen: what a wattmeter said longer ago is no longer evidence [ms]."""


def switched(
    relay: RelayState, *, energised: bool, at_ms: Millis, seq: int = 0
) -> RelayState:
    """Return the belief after the relay went on or off at a time."""
    if energised == relay.energised:
        return relay
    return RelayState(
        energised=energised,
        since_ms=at_ms,
        on_seq=seq if energised else relay.on_seq,
        heated_ms=None if energised else at_ms,
        on_ms=on_time_ms(relay, at_ms),
        operations=relay.operations + energised,
        mean_duty=mean_duty(relay, at_ms),
        said=relay.said,
    )


def on_time_ms(relay: RelayState, now_ms: Millis) -> int:
    """Return how long the relay has been on in all runs [ms]."""
    return relay.on_ms + (now_ms - relay.since_ms if relay.energised else 0)


def mean_duty(relay: RelayState, now_ms: Millis) -> float:
    """Return the share of time on, averaged over about six hours.

    A rational weight instead of an exponential one: division is the same on
    every machine to the last bit.
    """
    lasting_ms = now_ms - relay.since_ms
    share = lasting_ms / (lasting_ms + DUTY_MEMORY_MS)
    return (
        relay.mean_duty + ((1.0 if relay.energised else 0.0) - relay.mean_duty) * share
    )


def unheated_ms(relay: RelayState, now_ms: Millis) -> int:
    """Return for how long the mat is known to have been off [ms]."""
    if relay.energised:
        return 0
    return now_ms - (relay.since_ms if relay.heated_ms is None else relay.heated_ms)


def heats_unasked(mat_state: MatState, now_ms: Millis) -> bool:
    """Whether relay or wattmeter say that a mat heats though it should not."""
    relay, power = mat_state.relay, mat_state.power
    if relay.energised:
        return False
    if relay.disagrees_ms is not None or relay.said:
        return True  # what it last said was "on"
    return power is not None and power.draws and power_tells(power, now_ms)


def power_tells(power: PowerState, now_ms: Millis) -> bool:
    """Whether a wattmeter contradicts the relay, and spoke lately."""
    fresh = now_ms - power.at_ms <= POWER_TELLS_MS
    return power.strange_ms is not None and fresh


def hear_relays(plan: Plan, state: State, scan: Scan, now_ms: Millis) -> State:
    """Take what a scan tells of the relays, before anything is decided.

    The state is still the one after the scan before: it knows when commands
    could last be sent. Renewals unsent for longer than a lease are taken as
    "off since then".
    """
    sent_ms = state.run_ms if state.link_down_ms is None else state.link_down_ms
    ended_ms = Millis(sent_ms + plan.valid_for_ms)
    reported = scan.relay_reports or scan.power_reports
    if now_ms <= ended_ms and not reported:
        return state
    mats = dict(state.mats)
    for mat in plan.mats:
        known = mats[mat.name]
        relay = known.relay
        if mat.relay is RelayKind.LEASE and now_ms > ended_ms:
            at_ms = max(ended_ms, relay.since_ms)
            relay = switched(relay, energised=False, at_ms=at_ms)
        if mat.relay is not None:
            relay = _reported(plan, mat, relay, scan, now_ms)
        power = _powered(plan, mat, relay, known.power, scan)
        if relay is not known.relay or power is not known.power:
            mats[mat.name] = replace(known, relay=relay, power=power)
    return replace(state, mats=mats)


def _powered(
    plan: Plan,
    mat: MatPlan,
    relay: RelayState,
    before: PowerState | None,
    scan: Scan,
) -> PowerState | None:
    """Take what a mat's wattmeter says: does it draw power as it should?

    A report that may be older than the relay's last change tells nothing.
    """
    if not scan.power_reports:
        return before
    for report in scan.power_reports:
        if report.mat != mat.name:
            continue
        draws = report.power_mw * DRAWS_PER >= mat.power_mw
        settled = report.at_ms - relay.since_ms > GRACE_SCANS * plan.scan_ms
        strange_ms = None
        if draws != relay.energised and settled:
            known_ms = None if before is None else before.strange_ms
            strange_ms = report.at_ms if known_ms is None else known_ms
        before = PowerState(report.at_ms, draws, strange_ms)
    return before


def _reported(
    plan: Plan, mat: MatPlan, relay: RelayState, scan: Scan, now_ms: Millis
) -> RelayState:
    for report in scan.relay_reports:
        if report.mat == mat.name:
            relay = _after(plan, relay, report, now_ms)
    return relay


def _after(
    plan: Plan, relay: RelayState, report: RelayReport, now_ms: Millis
) -> RelayState:
    at_ms = Millis(min(max(report.at_ms, relay.since_ms), now_ms))
    if relay.said is not report.energised:
        relay = replace(relay, said=report.energised)
    if report.energised == relay.energised:
        if relay.disagrees_ms is None:
            return relay
        return replace(relay, heated_ms=at_ms, disagrees_ms=None)
    if relay.energised:
        if _answers_present_command(plan, relay, report):
            return switched(relay, energised=False, at_ms=at_ms)
        return relay
    # On while it should be off. This may be old or lag behind its command: the
    # alarm waits a little, and the next report that agrees ends it.
    return (
        relay if relay.disagrees_ms is not None else replace(relay, disagrees_ms=at_ms)
    )


def _answers_present_command(
    plan: Plan, relay: RelayState, report: RelayReport
) -> bool:
    """Whether a report of "off" can be about the present "on" at all."""
    if report.seq is not None:
        return report.seq >= relay.on_seq
    return report.at_ms - relay.since_ms > GRACE_SCANS * plan.scan_ms
