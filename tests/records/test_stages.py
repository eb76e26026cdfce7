"""What became of rooted plants, and a container looked through with wet hands."""

from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from controller.core.units import DAY_MS
from controller.record_wire import decode_value, encode_value
from controller.records.batch_desk import add_batch, add_move, close
from controller.records.batches import Batch, BatchKind
from controller.records.book import Book, NoSuchRecordError, batch_in, fold
from controller.records.codes import code_of
from controller.records.faults import RecordError
from controller.records.looks import Dead, How, Look, Tops
from controller.records.places import Closing, Move, Outcome
from controller.records.stage_desk import add_stage, look_through, revise_stage
from controller.records.stages import (
    SIX_WEEKS_MS,
    Stage,
    StageKind,
    alive_after_six_weeks,
    plants,
    sum_faults,
)
from tests.records.conftest import NOW_MS

ONE, TWO, THREE = code_of(1), code_of(2), code_of(3)
STUCK_MS = NOW_MS - 90 * DAY_MS
POTTED_MS = NOW_MS - 50 * DAY_MS


def potted(count: int, at_ms: int = POTTED_MS, **also) -> Stage:
    return Stage(batch=ONE, utc_ms=at_ms, stage=StageKind.POTTED, count=count, **also)


def told(stage: StageKind, count: int, days: float = 1, **also) -> Stage:
    reason = "dried out" if stage is StageKind.DEAD else ""
    at_ms = POTTED_MS + round(days * DAY_MS)
    return Stage(
        batch=ONE, utc_ms=at_ms, stage=stage, count=count, reason=reason, **also
    )


@pytest.fixture
def book(stamp) -> Book:
    """Twelve gooseberries and eight quinces in N1, five of those in N2."""
    kept = Book()
    for crop, count, tray in [("gooseberry", 12, "N1"), ("quince", 8, "N1")]:
        batch = Batch(
            crop=crop,
            kind=BatchKind.HARDWOOD,
            count=count,
            tray=tray,
            stuck_utc_ms=STUCK_MS,
        )
        kept = fold(kept, add_batch(kept, batch, stamp))
    other = Batch(
        crop="vine",
        kind=BatchKind.HARDWOOD,
        count=5,
        tray="N2",
        stuck_utc_ms=STUCK_MS,
    )
    return fold(kept, add_batch(kept, other, stamp))


def test_plants_are_summed_up_and_come_back_from_the_wire(book, stamp):
    stages = [
        potted(6, root_score=3),
        potted(2, root_score=1),
        told(StageKind.HARDENED, 7),
        told(StageKind.ESTABLISHED, 5, 20),
        told(StageKind.GIVEN, 2, 30),
        told(StageKind.PLANTED, 1, 31),
        told(StageKind.DEAD, 1, 32),
    ]
    for stage in stages:
        assert decode_value("stage", encode_value(stage)) == stage
        book = fold(book, add_stage(book, stage, stamp))
    found = plants([stage for _, stage in batch_in(book, ONE).stages])
    assert (found.potted, found.hardened, found.established) == (8, 7, 5)
    assert (found.left, found.dead, found.here) == (3, 1, 4)
    assert found.mean_root_score == pytest.approx((6 * 3 + 2 * 1) / 8)


def test_stages_come_after_the_end_on_the_bench_too(book, stamp):
    end = Closing(batch=ONE, utc_ms=POTTED_MS, outcome=Outcome.WEANED, rooted=9)
    book = fold(book, close(book, end, stamp))
    book = fold(book, add_stage(book, potted(9, POTTED_MS + 1), stamp))
    assert batch_in(book, ONE).stages[0][1].count == 9


@pytest.mark.parametrize(
    ("stage", "words"),
    [
        (potted(13), "more would be potted than were stuck, 12"),
        (told(StageKind.HARDENED, 9), "only 8 had been potted"),
        (told(StageKind.DEAD, 9), "only 8 had been potted, and some have left"),
        (told(StageKind.GIVEN, 1, -1), "only 0 had been potted"),
        (replace(potted(1), utc_ms=STUCK_MS - 1), "before it was stuck"),
        (replace(potted(1), utc_ms=NOW_MS + DAY_MS), "not lie in the future"),
        (replace(told(StageKind.DEAD, 1), reason=" "), "why they died"),
        (told(StageKind.GIVEN, 1, root_score=3), "scored when plants are potted"),
        (potted(1, root_score=5), "must be from 0 to 4"),
        (potted(0), "must be from 1"),
    ],
)
def test_what_cannot_be_is_refused_with_why(book, stamp, stage, words):
    book = fold(book, add_stage(book, potted(8), stamp))
    with pytest.raises(RecordError, match=words):
        add_stage(book, stage, stamp)


def test_a_stage_is_put_right_without_counting_itself(book, stamp):
    book = fold(book, add_stage(book, potted(8), stamp))
    number = str(book.newest)
    assert revise_stage(book, number, potted(8), stamp) == ()
    book = fold(book, revise_stage(book, number, potted(12), stamp))
    assert plants([stage for _, stage in batch_in(book, ONE).stages]).potted == 12
    gone = replace(potted(12), withdrawn=True)
    book = fold(book, revise_stage(book, number, gone, stamp))
    assert batch_in(book, ONE).stages == ()


def test_alive_is_counted_six_weeks_after_the_last_was_potted():
    stages = [
        potted(6),
        potted(2, POTTED_MS + 5 * DAY_MS),
        told(StageKind.GIVEN, 3, 10),
        told(StageKind.DEAD, 2, 46.9),
        told(StageKind.DEAD, 1, 47.1),
    ]
    due_ms = POTTED_MS + 5 * DAY_MS + SIX_WEEKS_MS
    assert alive_after_six_weeks(stages, due_ms - 1) is None
    assert alive_after_six_weeks(stages, due_ms) == 6
    assert alive_after_six_weeks([], NOW_MS) is None


@given(
    st.lists(
        st.tuples(st.sampled_from(StageKind), st.integers(1, 9), st.integers(0, 60)),
        max_size=8,
    )
)
def test_where_no_fault_is_found_nobody_is_counted_twice(drawn):
    stages = [told(kind, count, days) for kind, count, days in drawn]
    if not list(sum_faults(stages, 12)):
        found = plants(stages)
        assert 0 <= found.here <= found.potted <= 12
        assert max(found.hardened, found.established) <= found.potted


# ------------------------------------------------------------------ a whole container


def glance(at_ms: int = NOW_MS - DAY_MS) -> Look:
    return Look(batch="", utc_ms=at_ms, how=How.TOPS_ONLY, looked_at=0, who="J")


def test_a_glance_at_a_container_looks_at_every_batch_in_it(book, stamp):
    wilted = Look(
        batch=TWO.lower(),
        utc_ms=glance().utc_ms,
        how=How.TOPS_ONLY,
        looked_at=8,
        tops=Tops(wilted=2),
        dead=Dead(mould=1),
    )
    book = fold(book, look_through(book, "N1", glance(), [wilted], stamp))
    ((_, fine),) = batch_in(book, ONE).looks
    assert (fine.fine, fine.looked_at, fine.tops, fine.who) == (True, 12, None, "J")
    ((_, other),) = batch_in(book, TWO).looks
    assert (other.fine, other.dead.mould) == (False, 1)
    assert batch_in(book, THREE).looks == ()


def test_who_had_moved_or_ended_by_then_is_not_looked_at(book, stamp):
    gone = Move(batch=ONE, utc_ms=NOW_MS - 2 * DAY_MS, tray="N2")
    book = fold(book, add_move(book, gone, stamp))
    book = fold(book, look_through(book, "N1", glance(), [], stamp))
    assert batch_in(book, ONE).looks == ()
    assert len(batch_in(book, TWO).looks) == 1


@pytest.mark.parametrize(
    ("tray", "others", "words"),
    [
        ("N9", [], "there is no such tray"),
        ("N2", [ONE], f"others.0.batch: found '{ONE}': did not stand in N2 then"),
        ("N1", [TWO, TWO], "others.1.batch: .* told of twice"),
    ],
)
def test_a_round_that_does_not_fit_is_refused_whole(book, stamp, tray, others, words):
    looks = [
        Look(
            batch=code,
            utc_ms=glance().utc_ms,
            how=How.TOPS_ONLY,
            looked_at=1,
            tops=Tops(wilted=1),
        )
        for code in others
    ]
    with pytest.raises(RecordError, match=words):
        look_through(book, tray, glance(), looks, stamp)


def test_a_fault_of_one_look_names_its_place(book, stamp):
    many = Look(batch=TWO, utc_ms=glance().utc_ms, how=How.TOPS_ONLY, looked_at=9)
    with pytest.raises(RecordError, match=r"others\.0\.looked_at: .* stuck, 8"):
        look_through(book, "N1", glance(), [many], stamp)
    with pytest.raises(NoSuchRecordError):
        look_through(book, "N1", glance(), [replace(many, batch="333C")], stamp)


def test_what_is_fine_has_nothing_wilted(book, stamp):
    odd = Look(
        batch=TWO,
        utc_ms=glance().utc_ms,
        how=How.TOPS_ONLY,
        looked_at=8,
        tops=Tops(wilted=1),
        fine=True,
    )
    with pytest.raises(RecordError, match="nothing wilted or dead"):
        look_through(book, "N1", glance(), [odd], stamp)


def test_records_of_an_older_program_read_as_before():
    """Rows as they were written before wanted and fine were known."""
    older = {
        "version": 1,
        "batch": {"crop": "quince", "kind": "hardwood", "count": 9},
    }
    assert decode_value("batch", older).wanted is None
    look = {"batch": ONE, "utc_ms": NOW_MS, "how": "tops-only", "looked_at": 3}
    assert decode_value("look", {"version": 1, "look": look}).fine is False
