"""Plans as records: their rules, the fold, and when cuttings reached an end-point."""

from dataclasses import replace

import pytest

from controller.record_wire import decode_value, encode_value
from controller.records.batch_desk import add_batch, add_look, close
from controller.records.batches import Batch, BatchKind
from controller.records.book import Book, BookError, batch_in, fold, trial_in, trials
from controller.records.changes import Change, Kind
from controller.records.codes import code_of
from controller.records.desk import Stamp
from controller.records.end_points import reached
from controller.records.faults import RecordError
from controller.records.looks import Base, How, Look
from controller.records.places import Closing, Outcome
from controller.records.stage_desk import add_stage
from controller.records.stages import Stage, StageKind
from controller.records.trial_desk import add_trial, revise_trial
from controller.records.trials import (
    EndPoint,
    Stated,
    TestName,
    Trial,
    TrialUnit,
    UnitKind,
)
from controller.wire import from_text, to_text
from tests.records.conftest import NOW_MS

DAY_MS = 86_400_000
STUCK_MS = NOW_MS - 30 * DAY_MS
ONE = code_of(1)

PLAN = Trial(
    title="gooseberry in two media",
    arms=("coir-perlite", "bark-sand"),
    unit=UnitKind.POT,
    cuttings=1,
    units=(
        TrialUnit(name="N1-1", arm="coir-perlite", block="1", tray="N1", mean_c=20.6),
        TrialUnit(name="N1-2", arm="bark-sand", block="1", tray="N1", position=2),
        TrialUnit(name="N2-1", arm="bark-sand", block="2", tray="N2"),
        TrialUnit(name="N2-2", arm="coir-perlite", block="2", tray="N2", position=2),
    ),
    seed=11,
    test=TestName.TIMES,
    base_mc=7_000,
    smallest_p=0.5,
    power=0.1,
    stated=Stated(low=0.5),
)


def test_a_plan_is_written_down_and_found_again(stamp):
    book = fold(Book(), add_trial(Book(), PLAN, stamp))
    assert trials(book) == [("1", PLAN)]
    assert trial_in(book, "1") == PLAN


def test_a_plan_is_the_same_after_being_text():
    text = to_text(encode_value(PLAN)).encode()
    assert decode_value("trial", from_text(text)) == PLAN


def test_a_correction_keeps_what_was_planned_before(stamp):
    book = fold(Book(), add_trial(Book(), PLAN, stamp))
    assert revise_trial(book, "1", PLAN, stamp) == ()
    after = replace(PLAN, withdrawn=True)
    book = fold(book, revise_trial(book, "1", after, stamp))
    assert [change.value for change in book.history(Kind.TRIAL, "1")] == [PLAN, after]
    assert trials(book) == []
    assert trials(book, withdrawn=True) == [("1", after)]


def unit(n, **changes):
    units = list(PLAN.units)
    units[n] = replace(units[n], **changes)
    return {"units": tuple(units)}


@pytest.mark.parametrize(
    ("changes", "field", "right"),
    [
        ({"title": " "}, "title", "must say what it is to find out"),
        ({"arms": ("coir-perlite",)}, "arms", "must be 2 to 12 different ones"),
        ({"arms": ("a", "a")}, "arms", "different ones"),
        ({"arms": (*PLAN.arms, "moss")}, "units", "every arm needs a unit"),
        ({"arms": (*PLAN.arms, "")}, "arms", "must have a name"),
        ({"cuttings": 0}, "cuttings", "must be from 1"),
        ({"seed": -1}, "seed", "must be from 0"),
        ({"seed": 2**53}, "seed", "must be from 0"),
        ({"alpha": 0.5}, "alpha", "must be from 0.001 to 0.2"),
        ({"power": 1.5}, "power", "from 0 to 1"),
        ({"days": 0}, "days", "must be from 0.5"),
        ({"base_mc": 90_000}, "base_mc", "from -10 to 70"),
        ({"base_mc": None, "upper_mc": 30_000}, "upper_mc", "above the base"),
        ({"stated": Stated(faster=0.5)}, "stated.faster", "must be from 1"),
        ({"test": TestName.BOSCHLOO}, "test", "takes every cutting for itself"),
        (unit(0, name=""), "units", "must have a name"),
        (unit(0, name="N1-2"), "units", "is there twice"),
        (unit(0, arm="moss"), "units", "is no arm; there are: coir-perlite"),
        (unit(0, tray="N9"), "units", "there is no such tray; there are: N1, N2"),
        (unit(0, tray="a b"), "units", "a name is 1 to 32"),
        (unit(0, position=0), "units", "must be from 1"),
        (unit(0, mean_c=500.0), "units", "must be from -40"),
        (unit(0, batch="334"), "units", "is no label code"),
        (unit(0, batch=ONE), "units", "there is no such batch"),
    ],
)
def test_a_plan_that_does_not_keep_the_rules_is_refused(stamp, changes, field, right):
    with pytest.raises(RecordError) as refused:
        add_trial(Book(), replace(PLAN, **changes), stamp)
    places = [(fault.field, fault.right) for fault in refused.value.faults]
    assert any(where == field and right in said for where, said in places), places


def test_a_batch_stands_in_one_unit_only(stamp):
    book, _ = a_batch(stamp)
    units = tuple(replace(one, batch=ONE) for one in PLAN.units)
    with pytest.raises(RecordError, match="in one unit only"):
        add_trial(book, replace(PLAN, units=units), stamp)
    linked = replace(PLAN, **unit(0, batch=ONE))
    book = fold(book, add_trial(book, linked, stamp))
    assert trial_in(book, str(book.newest)) == linked


def test_more_units_than_a_bench_holds_are_refused(stamp):
    units = tuple(replace(PLAN.units[n % 4], name=f"{n}") for n in range(401))
    with pytest.raises(RecordError, match="400 at most"):
        add_trial(Book(), replace(PLAN, units=units), stamp)


def test_a_change_of_a_trial_that_is_not_there_does_not_follow():
    with pytest.raises(BookError, match="which is not there"):
        fold(Book(), [Change(1, NOW_MS, "", "7", PLAN)])


# ---------------------------------------------------------------------- end-points


def a_batch(stamp: Stamp) -> tuple[Book, Stamp]:
    batch = Batch(
        crop="gooseberry",
        kind=BatchKind.HARDWOOD,
        count=10,
        tray="N1",
        stuck_utc_ms=STUCK_MS,
    )
    return fold(Book(), add_batch(Book(), batch, stamp)), stamp


def lifted(day, roots, of=10):
    return Look(
        batch=ONE,
        utc_ms=STUCK_MS + day * DAY_MS,
        how=How.LIFTED,
        looked_at=of,
        base=Base(none=of - roots, roots=roots),
    )


def stretches(book, end_point):
    return [
        (
            one.count,
            (one.after_utc_ms - STUCK_MS) // DAY_MS,
            None if one.by_utc_ms is None else (one.by_utc_ms - STUCK_MS) // DAY_MS,
        )
        for one in reached(batch_in(book, ONE), end_point)
    ]


def test_rooted_is_what_looks_bound(stamp):
    book, _ = a_batch(stamp)
    book = fold(book, add_look(book, lifted(7, 2), stamp))
    book = fold(book, add_look(book, lifted(14, 7), stamp))
    told = stretches(book, EndPoint.ROOTED)
    assert told == [(2, 0, 7), (5, 7, 14), (3, 14, None)]


def test_what_rooted_by_the_end_was_counted_on_all(stamp):
    book, _ = a_batch(stamp)
    book = fold(book, add_look(book, lifted(7, 2), stamp))
    end = Closing(
        batch=ONE, utc_ms=STUCK_MS + 20 * DAY_MS, outcome=Outcome.WEANED, rooted=9
    )
    book = fold(book, close(book, end, stamp))
    told = stretches(book, EndPoint.ROOTED)
    assert told == [(2, 0, 7), (7, 7, 20), (1, 20, None)]
    assert stretches(book, EndPoint.ESTABLISHED) == [(9, 0, 20), (1, 20, None)]


def test_established_is_what_was_told_of_plants(stamp):
    book, _ = a_batch(stamp)
    told = [
        (StageKind.POTTED, 12, 8),
        (StageKind.ESTABLISHED, 20, 3),
        (StageKind.ESTABLISHED, 25, 2),
    ]
    for stage, day, count in told:
        one = Stage(batch=ONE, utc_ms=STUCK_MS + day * DAY_MS, stage=stage, count=count)
        book = fold(book, add_stage(book, one, stamp))
    assert stretches(book, EndPoint.ESTABLISHED) == [
        (3, 12, 20),
        (2, 12, 25),
        (5, 25, None),
    ]


def test_nothing_is_established_before_it_has_left(stamp):
    book, _ = a_batch(stamp)
    assert stretches(book, EndPoint.ESTABLISHED) == [(10, 0, None)]
    end = Closing(batch=ONE, utc_ms=STUCK_MS + DAY_MS, outcome=Outcome.FAILED)
    book = fold(book, close(book, end, stamp))
    assert stretches(book, EndPoint.ESTABLISHED) == [(10, 1, None)]


def test_a_batch_that_is_not_stuck_reached_nothing(stamp):
    batch = Batch(crop="quince", kind=BatchKind.HARDWOOD)
    book = fold(Book(), add_batch(Book(), batch, stamp))
    for end_point in EndPoint:
        assert reached(batch_in(book, ONE), end_point) == []
