"""What may be told of a batch, and where it stood when."""

from dataclasses import replace
from datetime import date
from itertools import pairwise

import pytest
from hypothesis import given
from hypothesis import strategies as st

from controller.record_wire import batch_of, decode_value, encode_value, fields_of
from controller.records.batches import (
    Batch,
    BatchKind,
    Carrier,
    Cover,
    Hormone,
    Wounds,
    Wrap,
    WrapMaterial,
    check_batch,
)
from controller.records.faults import RecordError
from controller.records.places import Closing, Move, Outcome, Stay, stays
from controller.wire import from_text, to_text
from tests.records.conftest import NOW_MS

HOUR_MS = 3_600_000

WHOLE = Batch(
    crop="gooseberry",
    cultivar="Hollow Lane",
    kind=BatchKind.HARDWOOD,
    source="own hedge",
    mother="row 2, plant 3",
    collected=date(2026, 12, 3),
    storage="damp sand, 2 °C",
    count=24,
    sentinels=3,
    nodes=6,
    length_mm=200,
    thickness_mm=8.5,
    nodes_below=3,
    base_depth_mm=90,
    basal_cut="straight, below a node",
    wounds=Wounds(sides=2, length_mm=20),
    hormone=Hormone(active="IBA", ppm=3_000, carrier=Carrier.DIP, seconds=5),
    disinfection="none",
    wrap=Wrap(material=WrapMaterial.WAX, down_mm=60, off=date(2027, 3, 1)),
    cover=Cover.VENTED,
    medium="coir and perlite 1:1",
    container="flat, 40 by 60 cm",
    tray="N1",
    place="left half",
    stuck_utc_ms=NOW_MS - HOUR_MS,
    base_mc=7_000,
    upper_mc=30_000,
    text="all of one bush",
)
PLAIN = Batch(crop="chilli", kind=BatchKind.SEED)


@pytest.mark.parametrize("batch", [WHOLE, PLAIN])
def test_what_is_right_is_taken_and_comes_back_from_json_exactly(batch):
    check_batch(batch)
    assert decode_value("batch", from_text(to_text(encode_value(batch)))) == batch
    assert batch_of(fields_of(batch)) == batch


def changed(**fields: object) -> Batch:
    return replace(WHOLE, **fields)  # type: ignore[arg-type]


@pytest.mark.parametrize(
    ("batch", "field", "words"),
    [
        (changed(crop=" "), "crop", "must say what it is"),
        (changed(cultivar="x" * 121), "cultivar", "at most 120"),
        (changed(medium="two\nlines"), "medium", "plain text"),
        (changed(count=0), "count", "1 to 100000"),
        (changed(count=None), "count", "how many were stuck"),
        (changed(nodes_below=7), "nodes_below", "than the cutting has, 6"),
        (changed(base_depth_mm=201), "base_depth_mm", "than the cutting is long"),
        (changed(wounds=Wounds(sides=0)), "wounds.sides", "1 to 8"),
        (
            changed(hormone=Hormone(active="", carrier=Carrier.GEL)),
            "hormone.active",
            "must name",
        ),
        (
            changed(hormone=Hormone(active="IBA", carrier=Carrier.POWDER, seconds=5)),
            "hormone.seconds",
            "only a dip takes time",
        ),
        (changed(tray="N 1"), "tray", "1 to 32 of letters"),
        (changed(base_mc=None), "base_mc", "an upper needs a base"),
        (changed(upper_mc=7_000), "upper_mc", "must lie above the base, 7 °C"),
        (changed(base_mc=-20_000), "base_mc", "from -10 to 70"),
        (changed(stuck_utc_ms=5), "stuck_utc_ms", "after 2000"),
        (replace(PLAIN, nodes=3), "nodes", "a seed has none"),
        (replace(PLAIN, basal_cut="heel"), "basal_cut", "a seed has none"),
    ],
)
def test_what_is_wrong_is_refused_with_its_place_and_what_is_right(batch, field, words):
    with pytest.raises(RecordError) as refused:
        check_batch(batch)
    (found,) = refused.value.faults
    assert found.field == field
    assert words in found.right


def test_every_fault_is_told_at_once():
    with pytest.raises(RecordError) as refused:
        check_batch(changed(crop="", count=0, nodes=-1, thickness_mm=0))
    fields = {found.field for found in refused.value.faults}
    assert fields == {"crop", "count", "nodes", "thickness_mm", "nodes_below"}


# -------------------------------------------------------------------------- places


def move(hours: int, tray: str = "", **fields: object) -> Move:
    at = WHOLE.stuck_utc_ms + hours * HOUR_MS
    return Move(batch="3347", utc_ms=at, tray=tray, **fields)  # type: ignore[arg-type]


def in_hours(found: tuple[Stay, ...]) -> list[tuple[str, int, int | None]]:
    begin = WHOLE.stuck_utc_ms
    return [
        (
            stay.tray,
            (stay.from_utc_ms - begin) // HOUR_MS,
            None if stay.to_utc_ms is None else (stay.to_utc_ms - begin) // HOUR_MS,
        )
        for stay in found
    ]


def closing(hours: int, **fields: object) -> Closing:
    at = WHOLE.stuck_utc_ms + hours * HOUR_MS
    whole = Closing(batch="3347", utc_ms=at, outcome=Outcome.WEANED)
    return replace(whole, **fields)  # type: ignore[arg-type]


def test_a_batch_stands_where_it_was_stuck_until_it_is_moved_or_ends():
    assert in_hours(stays(WHOLE, [])) == [("N1", 0, None)]
    moves = [move(10, "S1"), move(5), move(20, "N1")]
    assert in_hours(stays(WHOLE, moves)) == [
        ("N1", 0, 5),
        ("", 5, 10),
        ("S1", 10, 20),
        ("N1", 20, None),
    ]
    assert in_hours(stays(WHOLE, moves, closing(12)))[-1] == ("S1", 10, 12)
    assert in_hours(stays(WHOLE, moves, closing(12, withdrawn=True)))[-1] == (
        "N1",
        20,
        None,
    )


def test_a_move_within_its_tray_or_that_was_withdrawn_changes_nothing():
    moves = [move(5, "N1", place="right half"), move(6, "S1", withdrawn=True)]
    assert in_hours(stays(WHOLE, moves)) == [("N1", 0, None)]


def test_of_moves_at_the_same_moment_the_later_told_holds():
    assert in_hours(stays(WHOLE, [move(0, "S1"), move(0, "S2")])) == [("S2", 0, None)]
    moves = [move(4, "S1"), move(4, "N1")]
    assert in_hours(stays(WHOLE, moves)) == [("N1", 0, None)]


def test_what_is_not_stuck_stands_nowhere():
    assert stays(replace(WHOLE, stuck_utc_ms=None), [move(1, "S1")]) == ()


MOVES = st.lists(
    st.builds(
        move,
        st.integers(-5, 60),
        st.sampled_from(["", "N1", "N2", "S1"]),
        withdrawn=st.booleans(),
    ),
    max_size=12,
)


@given(moves=MOVES, end=st.none() | st.integers(1, 70))
def test_stays_follow_each_other_without_holes_and_each_is_somewhere_else(moves, end):
    found = stays(WHOLE, moves, None if end is None else closing(end))
    assert found[0].from_utc_ms == WHOLE.stuck_utc_ms
    ends = None if end is None else WHOLE.stuck_utc_ms + end * HOUR_MS
    assert found[-1].to_utc_ms == ends
    for before, after in pairwise(found):
        assert before.to_utc_ms == after.from_utc_ms
        assert before.tray != after.tray
        assert before.from_utc_ms < before.to_utc_ms


@given(moves=MOVES, at=st.integers(0, 60))
def test_at_any_moment_it_stands_where_the_last_move_brought_it(moves, at):
    moment = WHOLE.stuck_utc_ms + at * HOUR_MS
    past = [
        one
        for one in moves
        if not one.withdrawn and WHOLE.stuck_utc_ms <= one.utc_ms <= moment
    ]
    last = max(past, key=lambda one: one.utc_ms, default=None)
    alike = [one.tray for one in past if last and one.utc_ms == last.utc_ms]
    expected = alike[-1] if alike else "N1"
    (here,) = (
        stay.tray
        for stay in stays(WHOLE, moves)
        if stay.from_utc_ms <= moment
        and (stay.to_utc_ms is None or moment < stay.to_utc_ms)
    )
    assert here == expected
