"""What to do tonight, from what a record covers."""

from dataclasses import replace

import numpy as np
import pytest

from controller.core.plan import DrivenBy
from sim.fitting.evening import covered, driving_temps, evening
from sim.fitting.fitted import Estimate
from tests.tuning.mats import NORTH, a_record, at

DAYS = 7
MINUTES = np.arange(DAYS * 1440)
ROOM = 13.0 + 3 * np.sin(MINUTES / 1440 * 2 * np.pi)


def cycling(around_c=21.0):
    return around_c + 0.1 * np.sin(MINUTES / 40)


def with_setback():
    temps, share = cycling(), np.full(len(MINUTES), 0.4)
    temps[3000:3400], share[3000:3300] = 18.0, 0.0
    return a_record(temps, share, ROOM)


def test_steady_cycling_asks_for_a_setback():
    found = evening(a_record(cycling(), 0.4, ROOM), NORTH)
    assert found.steps[0].startswith(
        "Set 21 °C -> 18 °C at 20:00, back at 02:00: one 3 K setback is worth a week"
    )
    assert found.settings == ('night_setpoint = "18 °C"', 'night = "20:00-02:00"')
    assert "7.0 days are logged" in found.why


def test_a_setback_that_was_is_enough():
    assert evening(with_setback(), NORTH).steps == ()


class Fit:
    slow_s = Estimate(9_000.0, 100.0)

    def __init__(self, name, whys=(), *, at_mat=False):
        self.name, self.whys, self.at_mat = name, whys, at_mat


def test_a_tray_that_is_not_told_all_the_same_is_named():
    """Not so a surface probe: what is predicted is trays."""
    known, surface = Fit("N1"), Fit("north-mat", ("so",), at_mat=True)
    assert evening(with_setback(), NORTH, [known, surface]).steps == ()
    (step,) = evening(with_setback(), NORTH, [known, Fit("N2", ("so",)), surface]).steps
    assert "of N2 the log does not tell everything yet" in step


class Slow:
    slow_s = Estimate(60_000.0, 100.0)


def test_a_slow_tray_gets_longer():
    found = evening(a_record(cycling(), 0.4, ROOM), NORTH, [Slow()])
    assert 'night = "20:00-05:00"' in found.settings


@pytest.mark.parametrize(
    ("record", "mat", "says"),
    [
        (a_record(cycling(), 0.4, 20.0), NORTH, "would show little: the room is up"),
        (a_record(cycling(7.0), 0.4, 4.0), at(7.0), "leaves no 3 K to go down"),
        (a_record(cycling(), 0.4, np.nan), NORTH, "Put a probe into the room"),
        (a_record(cycling(), 0.4, 13.0), NORTH, "The room stayed within 0.0 K"),
        (a_record(cycling()[:1440], 0.4, ROOM[:1440]), NORTH, "Log for 3.0 more days"),
    ],
)
def test_what_else_is_missing_is_said(record, mat, says):
    assert says in " ".join(evening(record, mat).steps)


def test_silent_probes_are_told():
    temps, room = cycling(), ROOM.copy()
    temps[: len(temps) // 2], room[: len(room) // 3] = np.nan, np.nan
    said = " ".join(evening(a_record(temps, 0.4, room), NORTH).steps)
    assert "See to the driving probe: 50% of the time" in said
    assert "See to the room's probe: it was silent for 33%" in said


def test_a_mat_never_off_is_asked_to_be():
    temps = cycling()
    temps[3000:3400] = 18.0
    found = evening(a_record(temps, 0.4, 18.0 + (ROOM - 13)), NORTH)
    assert any("Leave the heat off for two hours" in step for step in found.steps)


@pytest.mark.parametrize(
    ("way", "tray", "expected"),
    [
        (DrivenBy.TRAY, "N1", 18.0),
        (DrivenBy.MEAN, None, 20.0),
        (DrivenBy.MEDIAN, None, 19.0),
        (DrivenBy.COOLEST, None, 18.0),
        (DrivenBy.WARMEST, None, 23.0),
    ],
)
def test_the_driving_temperature_leaves_out_surfaces(way, tray, expected):
    temps = np.tile([18.0, 19.0, 23.0, 40.0], (10, 1))
    temps[0] = np.nan
    record = a_record(
        temps,
        zones=("N1", "N2", "N3", "north-mat"),
        at_mat=(False, False, False, True),
    )
    found = driving_temps(record, replace(NORTH, driven_by=way, driving_tray=tray))
    assert np.isnan(found[0])
    assert found[1] == expected


def test_longest_time_without_heat():
    share = np.full(len(MINUTES), 0.4)
    share[100:190], share[500:560] = 0.0, 0.0
    assert covered(a_record(cycling(), share, ROOM), NORTH).longest_off_h == 1.5
