"""Looks are evidence: what each way of looking bounds, and what it does not."""

from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from controller.record_wire import decode_value, encode_value
from controller.records.evidence import (
    Rooted,
    Rooting,
    dead_in,
    rooted_in,
    rootings,
    tugged_in,
)
from controller.records.faults import RecordError
from controller.records.looks import (
    Base,
    Dead,
    How,
    Look,
    Sentinels,
    Tops,
    Tug,
    check_look,
)
from controller.wire import from_text, to_text
from tests.records.conftest import NOW_MS

DAY_MS = 86_400_000
STUCK_MS = NOW_MS


def look(day: int = 10, how: How = How.LIFTED, **fields: object) -> Look:
    whole = Look(batch="3347", utc_ms=STUCK_MS + day * DAY_MS, how=how, looked_at=10)
    return replace(whole, **fields)  # type: ignore[arg-type]


WHOLE = look(
    base=Base(none=2, callus=5, roots=3),
    tops=Tops(dormant=4, swelling=3, leafed=2, wilted=1),
    tug=Tug(held=6, gave=4),
    dead=Dead(rotted_base=1, mould=1),
    sentinels=Sentinels(lifted=2, rooted=1),
    who="M.",
    text="white tips",
)


def test_what_is_right_is_taken_and_comes_back_from_json_exactly():
    check_look(WHOLE)
    check_look(look(how=How.TOPS_ONLY, tops=Tops(leafed=10)))
    check_look(look(how=How.DRAIN_HOLE, base=Base(roots=1)))
    check_look(look(how=How.TUG, tug=Tug(held=1, gave=2)))
    assert decode_value("look", from_text(to_text(encode_value(WHOLE)))) == WHOLE


@pytest.mark.parametrize(
    ("wrong", "field", "words"),
    [
        (look(base=Base(roots=11)), "base", "looked at, 10"),
        (look(base=Base(roots=-1)), "base.roots", "0 to"),
        (look(tops=Tops(leafed=6, wilted=5)), "tops", "looked at, 10"),
        (look(dead=Dead(missing=11)), "dead", "looked at, 10"),
        (look(how=How.TOPS_ONLY, base=Base(roots=1)), "base", "shows no base"),
        (
            look(how=How.TUG, tug=Tug(held=1), base=Base(roots=1)),
            "base",
            "shows no base",
        ),
        (look(how=How.TUG), "tug", "how many held"),
        (look(how=How.THROUGH_WALL, tug=Tug(held=1)), "tug", "nothing is tugged"),
        (look(how=How.DRAIN_HOLE, base=Base(callus=1)), "base", "roots or nothing"),
        (
            look(sentinels=Sentinels(lifted=1, rooted=2)),
            "sentinels.rooted",
            "than were lifted, 1",
        ),
    ],
)
def test_what_is_wrong_is_refused_with_its_place_and_what_is_right(wrong, field, words):
    with pytest.raises(RecordError) as refused:
        check_look(wrong)
    (found,) = refused.value.faults
    assert found.field == field
    assert words in found.right


# ---------------------------------------------------------------- what a look bounds


def test_leaves_say_nothing_of_roots():
    leafed = look(how=How.TOPS_ONLY, tops=Tops(leafed=10))
    assert rooted_in(leafed) == Rooted(0, 10, 10)


def test_a_tug_bounds_nothing_whether_it_holds_or_gives():
    for tug in (Tug(held=10), Tug(gave=10)):
        assert rooted_in(look(how=How.TUG, tug=tug)) == Rooted(0, 10, 10)


@pytest.mark.parametrize("how", [How.THROUGH_WALL, How.DRAIN_HOLE])
def test_roots_that_were_seen_are_there_and_others_may_be(how):
    assert rooted_in(look(how=how, base=Base(roots=3))) == Rooted(3, 10, 10)
    assert rooted_in(look(how=how, base=Base())) == Rooted(0, 10, 10)


def test_no_roots_at_a_wall_are_not_no_roots():
    seen = look(how=How.THROUGH_WALL, base=Base(none=8, callus=2))
    assert rooted_in(seen) == Rooted(0, 10, 10)


def test_lifting_tells_both_and_callus_is_no_root():
    assert rooted_in(WHOLE) == Rooted(3, 3, 10)
    some = look(base=Base(callus=2, roots=1))  # three of ten were lifted
    assert rooted_in(some) == Rooted(1, 8, 10)


def test_what_was_not_looked_at_or_was_withdrawn_bounds_nothing():
    assert rooted_in(look()) == Rooted(0, 10, 10)
    assert rooted_in(replace(WHOLE, withdrawn=True)) == Rooted(0, 10, 10)


def test_a_tug_suggests_a_share_with_its_errors_beside_it():
    found = tugged_in(look(how=How.TUG, tug=Tug(held=6, gave=4)), 0.9, 0.2)
    assert (found.held, found.gave) == (6, 4)
    # (0.6 - 0.2) / (0.9 - 0.2), worked by hand
    assert found.share == pytest.approx(0.571_428_571)
    assert (found.held_if_rooted, found.held_if_not) == (0.9, 0.2)


def test_a_share_stays_between_none_and_all():
    assert tugged_in(look(how=How.TUG, tug=Tug(gave=9))).share == 0.0
    assert tugged_in(look(how=How.TUG, tug=Tug(held=9))).share == 1.0
    assert tugged_in(look(how=How.TUG, tug=Tug())).share is None
    assert tugged_in(look()) is None


@pytest.mark.parametrize(("rooted", "not_"), [(0.5, 0.5), (0.2, 0.8), (1.1, 0)])
def test_chances_that_tell_nothing_are_refused(rooted, not_):
    with pytest.raises(ValueError, match="holds more often"):
        tugged_in(look(how=How.TUG, tug=Tug(held=1)), rooted, not_)


# --------------------------------------------------------- when how many had rooted


def days(found: list[Rooting]) -> list[tuple[int, int, int | None]]:
    return [
        (
            one.count,
            (one.after_utc_ms - STUCK_MS) // DAY_MS,
            None if one.by_utc_ms is None else (one.by_utc_ms - STUCK_MS) // DAY_MS,
        )
        for one in found
    ]


def lifted(day: int, roots: int, without: int) -> Look:
    return look(day, looked_at=roots + without, base=Base(none=without, roots=roots))


def test_without_a_look_nothing_is_known():
    assert days(rootings(10, STUCK_MS, [])) == [(10, 0, None)]


def test_a_census_by_lifting_puts_each_between_two_looks():
    looks = [lifted(14, 0, 10), lifted(21, 4, 6), lifted(28, 9, 1)]
    assert days(rootings(10, STUCK_MS, looks)) == [
        (4, 14, 21),
        (5, 21, 28),
        (1, 28, None),
    ]


def test_a_few_that_were_lifted_bound_as_many_and_no_more():
    # Of 10, 3 lifted: 1 with roots. So 1 to 8 of the 10 had rooted by then.
    looks = [look(14, looked_at=3, base=Base(none=2, roots=1))]
    assert days(rootings(10, STUCK_MS, looks)) == [
        (1, 0, 14),
        (7, 0, None),
        (2, 14, None),
    ]


def test_roots_seen_through_a_wall_bound_from_one_side():
    looks = [look(14, How.THROUGH_WALL, base=Base(none=7, roots=3))]
    assert days(rootings(10, STUCK_MS, looks)) == [(3, 0, 14), (7, 0, None)]


def test_leaves_and_tugs_change_nothing():
    looks = [
        look(7, How.TOPS_ONLY, tops=Tops(leafed=10)),
        look(14, How.TUG, tug=Tug(held=10)),
    ]
    assert days(rootings(10, STUCK_MS, looks)) == [(10, 0, None)]


def test_looks_that_cannot_both_be_true_are_told():
    looks = [lifted(14, 4, 6), lifted(21, 1, 9)]
    found = rootings(10, STUCK_MS, looks)
    assert sum(one.count for one in found if not one.agrees) == 3


LOOKS = st.lists(
    st.builds(
        lambda day, looked, roots, how: look(
            day,
            how,
            looked_at=looked,
            base=Base(roots=min(roots, looked), none=max(0, looked - roots))
            if how is How.LIFTED
            else Base(roots=min(roots, looked)),
        ),
        st.integers(1, 60),
        st.integers(0, 20),
        st.integers(0, 20),
        st.sampled_from([How.LIFTED, How.THROUGH_WALL]),
    ),
    max_size=8,
)


@given(
    times=st.lists(st.integers(1, 60) | st.none(), min_size=20, max_size=20),
    seen=st.lists(st.tuples(st.integers(0, 70), st.integers(0, 20)), max_size=6),
)
def test_the_truth_is_always_within_what_honest_looks_bound(times, seen):
    """Cuttings that root on known days, some of them lifted at each look."""
    looks = []
    for day, first in seen:
        some = times[:first]
        roots = sum(at is not None and at <= day for at in some)
        looks.append(lifted(day, roots, len(some) - roots))
    found = rootings(20, STUCK_MS, looks)
    assert sum(one.count for one in found) == 20
    assert all(one.agrees for one in found)
    in_order = sorted(at if at is not None else 10_000 for at in times)
    bounds = [one for one in found for _ in range(one.count)]
    for true, bound in zip(in_order, bounds, strict=True):
        at_ms = STUCK_MS + true * DAY_MS
        assert bound.after_utc_ms < at_ms or bound.after_utc_ms == STUCK_MS
        if bound.by_utc_ms is not None:
            assert at_ms <= bound.by_utc_ms


@given(looks=LOOKS, count=st.integers(1, 30))
def test_every_cutting_is_told_of_once(looks, count):
    found = rootings(count, STUCK_MS, looks)
    assert sum(one.count for one in found) == count
    assert all(one.count > 0 for one in found)


def test_the_dead_are_counted_by_cause_over_all_looks():
    looks = [
        look(dead=Dead(rotted_base=1, mould=2)),
        look(dead=Dead(rotted_base=2, missing=1)),
        look(dead=Dead(shrivelled=9), withdrawn=True),
    ]
    assert dead_in(looks) == {
        "rotted_base": 3,
        "shrivelled": 0,
        "mould": 2,
        "missing": 1,
    }
