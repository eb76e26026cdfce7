"""What step shows its response guards, once a minute."""

from contextlib import contextmanager
from unittest.mock import patch

import pytest

from controller.core import step
from controller.core.decisions import AlarmKind
from controller.core.plan import ProbePlan
from controller.core.response import looked
from controller.core.scan import Hold, SetEnabled, SetSetpoint
from controller.core.uptake import Look
from tests.builders import Bench, Said, a_plan, mc, ms, tripped, warm_heating

COLD = {"n1": 20.0, "n2": 20.5}


@contextmanager
def looks():
    """Give the looks that the guards are shown meanwhile."""
    seen: list[Look] = []

    def noted(mat, known, look, now_ms):
        seen.append(look)
        return looked(mat, known, look, now_ms)

    with patch.object(step, "looked", noted):
        yield seen


def look_at(bench, **said) -> Look:
    with looks() as seen:
        bench.scan(after_s=60, **said)
    (look,) = seen
    return look


def test_guards_see_what_drives_the_setpoint_and_the_room():
    bench = Bench(a_plan(room=(ProbePlan(name="room"),)))
    bench.heating(room=12.0).scan(**COLD, ask=[SetSetpoint("north", mc(22))])
    look = look_at(bench, **COLD, room=12.5)
    assert (look.root_mc, look.setpoint_mc) == (mc(20.25), mc(22))
    assert look.room_mc == mc(12.5)
    assert (look.quiet, look.tripped, look.frozen) == (False, False, False)
    assert [tray for _, tray in look.observed.trays] == ["N1", "N2"]
    assert look_at(Bench().heating(), **COLD).room_mc is None


@pytest.mark.parametrize(
    ("wishes", "quiet"),
    [
        ([], False),
        ([Hold("north", ms(600))], True),
        ([SetEnabled("north", False)], True),
        ([Hold("north", ms(600)), SetEnabled("north", False)], True),
    ],
)
def test_hands_and_a_persons_switch_quiet_them(wishes, quiet):
    assert look_at(Bench().heating().scan(**COLD, ask=wishes), **COLD).quiet is quiet


def test_they_know_that_a_mat_is_locked_off():
    assert look_at(tripped(), n1=30.0, n2=28.0).tripped


def test_they_know_a_probe_that_has_not_moved_for_an_hour():
    bench = Bench().heating(n1=20.0, n2=20.0)
    bench.scan(after_s=3_590, n1=20.0, n2=20.0)
    assert not look_at(Bench().heating(), **COLD).frozen
    assert look_at(bench, n1=20.0, n2=20.0).frozen


def test_nothing_drives_nothing_is_shown():
    bench = Bench().heating()
    assert look_at(bench.run(125)).root_mc is None


def test_what_locked_the_mat_off_is_not_told_as_a_limit_beside_it():
    bench = warm_heating()
    first = bench.reading("n1", Said(33.1, ago_s=-1))
    bench.scan([first], n1=33.2, n2=28.0)
    kinds = {kind for kind, _ in bench.alarms}
    assert kinds == {AlarmKind.TRIP, AlarmKind.ROOT_ZONE_WARM}
