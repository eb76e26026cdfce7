"""The search in every model: who is run, who may be recommended, who is proved."""

from datetime import UTC, datetime

import numpy as np
import pytest

from controller.core.plan import OnOff
from controller.core.units import MilliK
from sim.fitting.fitted import Fitted, Noise, Residuals
from sim.tuning.figures import Rooting, Season
from sim.tuning.granting import OWN, grant
from sim.tuning.searching import front, proof, search
from sim.tuning.wishes import read_wish
from sim.tuning.worlds import NoModelError, World, without_unmodelled, worlds
from sim.whatif.engine import trace
from sim.zone_model import MatModel
from tests.tuning.mats import MODEL, NORTH, a_record, a_span, a_zone, at

pytestmark = pytest.mark.timeout(120)  # the first use compiles

SPAN = a_span(days=2)
SEASON = Season(datetime(2027, 2, 1, tzinfo=UTC), 48.0)
TOLD = trace(MODEL, SPAN, NORTH)
RECORD = a_record(TOLD.temps_mc / 1000, TOLD.on.astype(float), SPAN.room_c)
OTHERS = tuple(
    MatModel("north", (a_zone("N1", 16.0 + off), a_zone("N2", 17.0 - off)))
    for off in (-0.1, 0.05, 0.1)
)
WORLDS = tuple(World(model, SPAN) for model in (MODEL, *OTHERS))
WIDE = at(21.0, policy=OnOff(MilliK(1_000)), min_on_ms=120_000, min_off_ms=120_000)


class Count:
    def __init__(self):
        self.told = []

    def __call__(self, done, count):
        self.told.append((done, count))


def searched(plans, **more):
    return search(RECORD, WORLDS, plans, SEASON, None, Count(), **more)


def test_what_the_log_does_not_cover_is_counted_and_not_run():
    found = searched([NORTH, at(24.0), at(15.0), at(21.5)])
    assert found.figures.plans == (NORTH, at(21.5))
    assert found.unrun == {
        "a setpoint warmer than the log covers": 1,
        "a setpoint colder than the log covers": 1,
    }
    assert found.allowed.tolist() == [True, True]


def test_everyone_is_run_where_asked_and_still_not_recommended():
    found = searched([NORTH, at(24.0)], everyone=True)
    assert found.reasons == ("", "a setpoint warmer than the log covers")
    assert found.unrun == {}


def test_the_present_way_is_run_even_beyond_its_log():
    found = searched([at(26.0), NORTH])
    assert found.reasons[OWN] == "a setpoint warmer than the log covers"


def test_limits_that_would_hold_heat_back_forbid_it():
    found = searched([NORTH, at(21.0, daily_on_ms=3_600_000)])
    assert found.reasons[1] == "limits or guards would hold heat back"


def test_a_mat_that_never_gets_warm_is_not_recommended():
    cold = World(MODEL, a_span(days=2, room_c=-5.0))
    found = search(RECORD, [cold], [NORTH], SEASON, None, Count())
    assert found.reasons == ("the mat never gets warm enough",)


def test_what_is_never_warm_stands_in_nobodys_way():
    cold = [World(world.model, a_span(days=2, room_c=-5.0)) for world in WORLDS]
    plans = [NORTH, at(8.0), at(9.0)]
    found = search(RECORD, cold, plans, SEASON, None, Count(), everyone=True)
    allowed = np.array([False, True, True])
    granted = grant(read_wish("steadiest"), found.figures, allowed)
    assert granted.chosen in {1, 2}
    assert OWN not in granted.tied


def test_progress_is_told_model_by_model():
    count = Count()
    search(RECORD, WORLDS, [NORTH], SEASON, None, count)
    assert count.told == [(1, 4), (2, 4), (3, 4), (4, 4)]


def test_degree_hours_towards_rooting_have_their_own_base():
    rooting = Rooting(500.0, 15_000)
    found = search(RECORD, WORLDS[:1], [NORTH], SEASON, rooting, Count()).figures
    usual = found.heat_k_h[0][0, 0]
    assert found.rooting_k_h[0][0, 0] == pytest.approx(usual - 5 * 48, abs=0.2)


def test_without_a_wish_the_front_is_at_the_present_setpoints():
    found = searched([NORTH, at(20.5), WIDE])
    assert found.figures.energy_kwh[1, 0] < found.figures.energy_kwh[0, 0]
    assert front(found, None).tolist() == [True, False, True]


def test_with_a_wish_it_is_among_those_that_meet_it():
    found = searched([NORTH, at(20.5), WIDE])
    wish = read_wish("least energy, coolest tray never below 19 °C")
    assert front(found, wish).tolist() == [True, True, True]
    wish = read_wish("least energy, coolest tray never below 30 °C")
    assert not front(found, wish).any()


@pytest.mark.parametrize(
    ("scan_s", "exact"), [(30.0, False), (30.0, True), (7.0, False)]
)
def test_a_finalist_is_the_same_on_the_core(scan_s, exact):
    short = World(MODEL, a_span(days=1))
    found = proof(short, WIDE, scan_s, exact=exact)
    assert found.same
    assert found.days == 1.0
    usual = trace(MODEL, short.span, WIDE).on.sum() * 60
    assert found.fine.on_s[0] == pytest.approx(usual, rel=0.05)


# ------------------------------------------------------------------------- worlds


def a_fit(name, zone, replicates=3, verdicts=()):
    left = Residuals(9, 0.02, 0.0, 0.5, 0.0, 0.0, ())
    return Fitted(
        name=name,
        zone=zone,
        at_mat=False,
        noise=Noise(2e-5, 0.03) if zone else None,
        gain_k=None,
        slow_s=None,
        fast_s=None,
        delay_s=None,
        offset_k=None,
        covariance=np.zeros((5, 5)),
        replicates=(zone,) * replicates if zone else (),
        condition=1.0,
        verdicts=verdicts,
        residuals=left if zone else None,
    )


FITS = (a_fit("N1", MODEL.zones[0]), a_fit("N2", MODEL.zones[1]))


def test_each_model_goes_through_what_was_measured():
    count = Count()
    found = worlds(RECORD, FITS, NORTH, count)
    assert len(found) == 4
    assert count.told[-1] == (4, 4)
    told = trace(found[0].model, found[0].span, NORTH)
    assert np.abs(told.temps_mc - TOLD.temps_mc).max() < 300


def test_zones_fitted_without_other_days_have_no_replicates():
    found = worlds(RECORD, (FITS[0], a_fit("N2", MODEL.zones[1], 2)), NORTH, Count())
    assert len(found) == 1


def test_a_tray_without_a_model_is_left_out():
    fits = (a_fit("N1", None, verdicts=("why",)), FITS[1])
    kept, lost = without_unmodelled(NORTH, fits)
    assert lost == "N1"
    assert [tray.probes for tray in kept.trays] == [(), NORTH.trays[1].probes]


@pytest.mark.parametrize(
    ("driven", "fits"),
    [
        ("N1", (a_fit("N1", None, verdicts=("why",)), FITS[1])),
        ("N2", (a_fit("N1", None), a_fit("N2", None, verdicts=("why",)))),
    ],
)
def test_without_a_model_of_what_drives_there_is_none(driven, fits):
    with pytest.raises(NoModelError, match=rf"^mat north: no model of {driven}: why$"):
        without_unmodelled(at(21.0, driving_tray=driven), fits)
