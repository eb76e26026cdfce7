"""Which mat an alarm is about, and whether its cuttings get cold meanwhile.

What may live here: that, as data and as plain look-ups in a plan.
"""

from controller.core.decisions import AlarmKind
from controller.core.plan import MatPlan, OnLogFailure, Plan
from controller.core.state import Alarm

OF_PROBE = frozenset(
    {
        AlarmKind.PROBE_LOST,
        AlarmKind.PROBE_IMPLAUSIBLE,
        AlarmKind.PROBE_STUCK,
        AlarmKind.PROBE_DISAGREES,
        AlarmKind.ROOT_ZONE_WARM,
    }
)
"""Alarms whose subject is a probe; of all others it is a mat or the bench."""

COLD = frozenset(
    {
        AlarmKind.TRIP,
        AlarmKind.HEAT_NOT_FELT,
        AlarmKind.PROBE_LOST,
        AlarmKind.PROBE_IMPLAUSIBLE,
        AlarmKind.PROBE_STUCK,
        AlarmKind.NO_DRIVING_READING,
        AlarmKind.WARMEST_LOST,
        AlarmKind.RISES_TOO_FAST,
        AlarmKind.HEATED_TOO_LONG,
        AlarmKind.DAILY_HEAT_SPENT,
        AlarmKind.RELAY_SILENT,
        AlarmKind.MAT_DEAD,
        AlarmKind.LOG_FAILED,
        AlarmKind.LINK_DOWN,
    }
)
"""Alarms during which a mat gets no heat, or may get none."""

WARM = frozenset(
    {
        AlarmKind.ROOT_ZONE_WARM,
        AlarmKind.OVER_LIMIT,
        AlarmKind.HEAT_FROM_ABOVE,
        AlarmKind.HEAT_UNASKED,
        AlarmKind.POWER_UNASKED,
        AlarmKind.PROBE_DISAGREES,
        AlarmKind.RELAY_DISAGREES,
        AlarmKind.LOG_SET_ASIDE,
    }
)
"""All others: nothing gets cold by them."""


def mat_about(plan: Plan, alarm: Alarm) -> str:
    """Return the mat that an alarm is about; "" for the bench and the room."""
    if alarm.kind not in OF_PROBE:
        return alarm.subject
    guarded = (mat.name for mat in plan.mats if alarm.subject in _probes(mat))
    return next(guarded, "")


def cold_mats(plan: Plan, alarm: Alarm) -> frozenset[str]:
    """Return the mats that get no heat, or may get none, while an alarm lasts."""
    if alarm.kind not in COLD:
        return frozenset()
    if (
        alarm.kind is AlarmKind.LOG_FAILED
        and plan.on_log_failure is not OnLogFailure.HEAT_OFF
    ):
        return frozenset()
    if alarm.subject:
        return frozenset({mat_about(plan, alarm)} - {""})
    return frozenset(mat.name for mat in plan.mats)


def _probes(mat: MatPlan) -> set[str]:
    inside = {probe.name for tray in mat.trays for probe in tray.probes}
    return inside | {probe.name for probe in mat.surface}
