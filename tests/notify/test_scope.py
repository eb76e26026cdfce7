"""Which mat an alarm is about, and whether it gets cold."""

import pytest

from controller.adapters.notify.scope import (
    COLD,
    OF_PROBE,
    WARM,
    cold_mats,
    mat_about,
)
from controller.core.decisions import AlarmKind
from controller.core.plan import OnLogFailure, ProbePlan
from controller.core.state import Alarm
from tests.builders import a_mat, a_plan, a_tray, surface_probe

NORTH = a_mat("north", trays=(a_tray("N1", "n1"),), surface=surface_probe("m1"))
SOUTH = a_mat("south", trays=(a_tray("S1", "s1"),))
PLAN = a_plan(NORTH, SOUTH, room=(ProbePlan(name="room"),))


def alarm(kind: AlarmKind, subject: str) -> Alarm:
    return Alarm(kind, subject, 0, 0)


def test_every_kind_of_alarm_is_one_or_the_other():
    assert set(AlarmKind) == COLD | WARM
    assert not COLD & WARM


@pytest.mark.parametrize(
    ("kind", "subject", "mat"),
    [
        (AlarmKind.TRIP, "north", "north"),
        (AlarmKind.MAT_DEAD, "south", "south"),
        (AlarmKind.PROBE_LOST, "n1", "north"),
        (AlarmKind.PROBE_IMPLAUSIBLE, "m1", "north"),
        (AlarmKind.ROOT_ZONE_WARM, "s1", "south"),
        (AlarmKind.PROBE_LOST, "room", ""),
        (AlarmKind.LINK_DOWN, "", ""),
    ],
)
def test_the_mat_that_an_alarm_is_about(kind, subject, mat):
    assert mat_about(PLAN, alarm(kind, subject)) == mat
    named = {mat} - {""} or ({"north", "south"} if not subject else set())
    expected = named if kind in COLD else set()
    assert cold_mats(PLAN, alarm(kind, subject)) == expected


def test_a_probe_may_have_a_mats_name():
    plan = a_plan(NORTH, a_mat("n1", trays=(a_tray("S1", "north"),)))
    lost = alarm(AlarmKind.PROBE_LOST, "north")
    assert AlarmKind.PROBE_LOST in OF_PROBE
    assert mat_about(plan, lost) == "n1"
    assert mat_about(plan, alarm(AlarmKind.TRIP, "north")) == "north"


def test_a_log_that_fails_is_cold_only_where_heat_then_goes_off():
    failed = alarm(AlarmKind.LOG_FAILED, "")
    assert cold_mats(PLAN, failed) == set()
    off = a_plan(NORTH, SOUTH, on_log_failure=OnLogFailure.HEAT_OFF)
    assert cold_mats(off, failed) == {"north", "south"}
