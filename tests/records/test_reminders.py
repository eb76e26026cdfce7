"""What is due and when: of batches, of their plants, and of mats."""

from dataclasses import replace
from datetime import UTC, datetime

import pytest

from controller.core.units import DAY_MS
from controller.records.batch_desk import add_batch, add_look, add_move, close
from controller.records.batches import Batch, BatchKind, Cover, Wrap, WrapMaterial
from controller.records.book import Book, batches, fold
from controller.records.codes import code_of
from controller.records.looks import Base, How, Look, Tops
from controller.records.places import Closing, Move, Outcome
from controller.records.reminders import MatStep, Reminder, reminders
from controller.records.stage_desk import add_stage
from controller.records.stages import Stage, StageKind
from tests.records.conftest import NOW_MS

ONE = code_of(1)
STUCK_MS = NOW_MS - 60 * DAY_MS


@pytest.fixture
def book(stamp):
    """Return what makes a book of one batch, and of what was told of it."""

    def made(*told, **also) -> Book:
        batch = Batch(
            crop="quince",
            kind=also.pop("kind", BatchKind.HARDWOOD),
            count=10,
            tray="N1",
            stuck_utc_ms=STUCK_MS,
            **also,
        )
        kept = fold(Book(), add_batch(Book(), batch, stamp))
        add = {Look: add_look, Move: add_move, Closing: close, Stage: add_stage}
        for one in told:
            kept = fold(kept, add[type(one)](kept, one, stamp))
        return kept

    return made


def due(book: Book) -> dict[str, Reminder]:
    return {one.uid: one for one in reminders(batches(book), [])}


def look(days: int, **also) -> Look:
    at_ms = STUCK_MS + days * DAY_MS
    told = {"how": How.LIFTED, "looked_at": 5, **also}
    return Look(batch=ONE, utc_ms=at_ms, **told)


def test_a_look_is_due_a_week_after_the_last_and_sooner_at_seed(book):
    assert due(book())[f"look-{ONE}"].due_utc_ms == STUCK_MS + 7 * DAY_MS
    later = due(book(look(9, base=Base(callus=5))))[f"look-{ONE}"]
    assert later.due_utc_ms == STUCK_MS + 16 * DAY_MS
    assert "callus on 5 of 5" in later.description
    assert "It stands in N1." in later.description
    seed = due(book(kind=BatchKind.SEED))[f"look-{ONE}"]
    assert seed.due_utc_ms == STUCK_MS + 2 * DAY_MS
    assert "emerges" in seed.summary


def test_what_rooted_is_to_leave_the_heat(book):
    found = due(book(look(20, base=Base(roots=5))))
    assert found[f"off-heat-{ONE}"].due_utc_ms == STUCK_MS + 20 * DAY_MS
    assert f"off-heat-{ONE}" not in due(book(look(20, base=Base(callus=5))))


def test_a_wrap_is_due_once_buds_move_and_not_when_it_is_off(book):
    wax = Wrap(material=WrapMaterial.WAX)
    assert due(book(wrap=wax))[f"wrap-{ONE}"].due_utc_ms == STUCK_MS + 42 * DAY_MS
    moving = look(10, tops=Tops(swelling=5))
    found = due(book(moving, wrap=wax))[f"wrap-{ONE}"]
    assert found.due_utc_ms == STUCK_MS + 10 * DAY_MS
    off = replace(wax, off=datetime.fromtimestamp(STUCK_MS / 1000, UTC).date())
    assert f"wrap-{ONE}" not in due(book(wrap=off))


def test_a_cover_is_opened_a_week_after_the_heat_and_vented_over_leaves(book):
    leafed = look(10, tops=Tops(leafed=5))
    found = due(book(leafed, cover=Cover.CLOSED))
    assert found[f"vent-{ONE}"].due_utc_ms == STUCK_MS + 17 * DAY_MS
    off = Move(batch=ONE, utc_ms=STUCK_MS + 30 * DAY_MS)
    found = due(book(leafed, off, cover=Cover.CLOSED))
    assert found[f"cover-{ONE}"].due_utc_ms == STUCK_MS + 37 * DAY_MS
    assert f"vent-{ONE}" not in found
    assert f"cover-{ONE}" not in due(book(off, cover=Cover.NONE))


def test_after_the_end_only_the_plants_are_counted(book):
    end_ms = STUCK_MS + 10 * DAY_MS
    end = Closing(batch=ONE, utc_ms=end_ms, outcome=Outcome.WEANED, rooted=8)
    potted = Stage(batch=ONE, utc_ms=end_ms, stage=StageKind.POTTED, count=8)
    found = due(book(end, potted, cover=Cover.CLOSED))
    assert list(found) == [f"six-weeks-{ONE}"]
    assert found[f"six-weeks-{ONE}"].due_utc_ms == end_ms + 42 * DAY_MS
    gone = replace(potted, stage=StageKind.GIVEN)
    assert due(book(end, potted, gone)) == {}


def test_a_step_that_ends_is_among_them_in_order_of_time(book):
    step = MatStep("north", 1, STUCK_MS + DAY_MS, "19 °C: grow on")
    found = reminders(batches(book()), [step])
    assert [one.summary for one in found] == [
        "north: step 1 ends, then 19 °C: grow on",
        f"{ONE} quince: look at it",
    ]
    assert [one.due_utc_ms for one in found] == sorted(one.due_utc_ms for one in found)


def test_each_uid_comes_once(book):
    found = reminders(batches(book(wrap=Wrap(material=WrapMaterial.FILM))), [])
    assert len({one.uid for one in found}) == len(found) == 2
