"""Many looks at once: all of them, or none, and none twice."""

from dataclasses import replace

import pytest

from controller.records.batch_desk import RowsError, add_batch, add_look, close
from controller.records.batches import Batch, BatchKind
from controller.records.book import Book, batch_in, fold
from controller.records.codes import code_of
from controller.records.desk import Stamp
from controller.records.look_rows import add_looks
from controller.records.looks import Base, How, Look
from controller.records.places import Closing, Outcome

DAY_MS = 86_400_000
NOW_MS = 1_771_059_485_000
STAMP = Stamp(NOW_MS, "a test")
ONE, TWO = code_of(1), code_of(2)
LOOK = Look(
    batch=ONE,
    utc_ms=NOW_MS - 2 * DAY_MS,
    how=How.LIFTED,
    looked_at=3,
    base=Base(roots=3),
)


@pytest.fixture
def book() -> Book:
    """Two batches of five, stuck ten days ago; the second one has a look."""
    found = Book()
    for _ in range(2):
        batch = Batch(
            crop="quince",
            kind=BatchKind.HARDWOOD,
            count=5,
            stuck_utc_ms=NOW_MS - 10 * DAY_MS,
        )
        found = fold(found, add_batch(found, batch, STAMP))
    return fold(found, add_look(found, replace(LOOK, batch=TWO), STAMP))


def test_looks_of_several_batches_come_in_their_order(book):
    later = replace(LOOK, utc_ms=LOOK.utc_ms + DAY_MS)
    looks = [later, replace(LOOK, batch=TWO.lower(), utc_ms=later.utc_ms), LOOK]
    changes, rows = add_looks(book, looks, STAMP)
    after = fold(book, changes)  # what does not follow would be refused here
    assert [row.batch for row in rows] == [ONE, TWO, ONE]
    assert [row.number for row in rows] == ["4", "5", "6"]
    assert all(row.new for row in rows)
    assert [look for _, look in batch_in(after, ONE).looks] == [LOOK, later]


def test_what_is_told_already_is_not_told_again(book):
    looks = [replace(LOOK, batch=TWO), LOOK, LOOK]
    changes, rows = add_looks(book, looks, STAMP)
    assert [(row.number, row.new) for row in rows] == [
        ("3", False),
        ("4", True),
        ("4", False),
    ]
    assert len(changes) == 1
    again, rows = add_looks(fold(book, changes), looks, STAMP)
    assert again == ()
    assert not any(row.new for row in rows)


def test_every_row_that_is_not_right_is_told_and_none_is_taken(book):
    end = Closing(batch=ONE, utc_ms=NOW_MS - DAY_MS, outcome=Outcome.FAILED)
    book = fold(book, close(book, end, STAMP))
    looks = [
        LOOK,
        replace(LOOK, batch="0O1I"),
        replace(LOOK, batch=code_of(9)),
        replace(LOOK, looked_at=6, utc_ms=NOW_MS - 3 * DAY_MS),
        replace(LOOK, batch=TWO, looked_at=4),
        replace(LOOK, utc_ms=NOW_MS),
        replace(LOOK, utc_ms=NOW_MS + DAY_MS, batch=TWO),
    ]
    with pytest.raises(RowsError) as told:
        add_looks(book, looks, STAMP)
    said = {at: str(error) for at, error in told.value.rows}
    assert list(said) == [1, 2, 3, 4, 5, 6]
    assert said[1].startswith("batch: found '0O1I'")
    assert "there is no such batch" in said[2]
    assert said[3].startswith("looked_at: found 6: must not be more than were stuck, 5")
    assert "look 3 at batch" in said[4]
    assert "must not lie after its end" in said[5]
    assert "must not lie in the future" in said[6]
