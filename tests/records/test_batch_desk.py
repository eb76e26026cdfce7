"""Batches, looks, moves and ends at the desk: what comes into the book."""

from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from controller.records.batch_desk import (
    RowsError,
    add_batch,
    add_batches,
    add_look,
    add_move,
    close,
    revise_batch,
    revise_look,
    revise_move,
)
from controller.records.batches import Batch, BatchKind
from controller.records.book import (
    Book,
    BookError,
    NoSuchRecordError,
    batch_in,
    batches,
    fold,
)
from controller.records.changes import Change, Kind
from controller.records.codes import code_of
from controller.records.desk import Stamp
from controller.records.faults import RecordError
from controller.records.looks import Base, How, Look
from controller.records.places import Closing, Move, Outcome
from tests.records.conftest import NOW_MS

HOUR_MS = 3_600_000
STUCK_MS = NOW_MS - 100 * HOUR_MS
ONE, TWO = code_of(1), code_of(2)

GOOSEBERRY = Batch(
    crop="gooseberry",
    kind=BatchKind.HARDWOOD,
    count=20,
    tray="N1",
    stuck_utc_ms=STUCK_MS,
)
LOOK = Look(
    batch=ONE,
    utc_ms=STUCK_MS + 50 * HOUR_MS,
    how=How.LIFTED,
    looked_at=5,
    base=Base(none=5),
)
MOVE = Move(batch=ONE, utc_ms=STUCK_MS + 20 * HOUR_MS, tray="N2")
END = Closing(batch=ONE, utc_ms=STUCK_MS + 90 * HOUR_MS, outcome=Outcome.WEANED)


@pytest.fixture
def book(stamp) -> Book:
    return fold(Book(), add_batch(Book(), GOOSEBERRY, stamp))


def with_all(book: Book, stamp) -> Book:
    """Return the book with a move, a look and an end: changes 2, 3 and 4."""
    for add, told in ((add_move, MOVE), (add_look, LOOK), (close, END)):
        book = fold(book, add(book, told, stamp))
    return book


def test_each_batch_gets_the_next_code_and_keeps_it(book, stamp):
    book = fold(book, add_batch(book, replace(GOOSEBERRY, crop="quince"), stamp))
    assert [file.code for file in batches(book)] == [ONE, TWO]
    more = replace(GOOSEBERRY, count=19)
    book = fold(book, revise_batch(book, ONE.lower(), more, stamp))
    file = batch_in(book, f" {ONE[:2]} {ONE[2:]} ")
    assert (file.code, file.batch) == (ONE, more)
    assert [change.value for change in file.history] == [GOOSEBERRY, more]
    assert revise_batch(book, ONE, more, stamp) == ()


def test_a_label_that_exists_already_is_taken_once(book, stamp):
    own = code_of(500)
    book = fold(book, add_batch(book, GOOSEBERRY, stamp, own.lower()))
    assert batches(book)[-1].code == own
    with pytest.raises(RecordError, match="another batch has this code"):
        add_batch(book, GOOSEBERRY, stamp, own)
    with pytest.raises(RecordError, match="code: found 'O0O0': 'O' is in no label"):
        add_batch(book, GOOSEBERRY, stamp, "O0O0")
    book = fold(book, add_batch(book, GOOSEBERRY, stamp))
    assert batches(book)[-1].code == code_of(501)


def test_a_withdrawn_batch_is_listed_only_when_asked_for_and_its_code_stays(
    book, stamp
):
    gone = replace(GOOSEBERRY, withdrawn=True)
    book = fold(book, revise_batch(book, ONE, gone, stamp))
    assert batches(book) == []
    assert [file.code for file in batches(book, withdrawn=True)] == [ONE]
    assert add_batch(book, GOOSEBERRY, stamp)[0].subject == TWO
    with pytest.raises(RecordError, match="counts no longer"):
        add_look(book, LOOK, stamp)


def test_a_batch_may_be_told_before_it_is_stuck(stamp):
    bundle = replace(GOOSEBERRY, count=None, stuck_utc_ms=None)
    book = fold(Book(), add_batch(Book(), bundle, stamp))
    assert batch_in(book, ONE).stays == ()
    with pytest.raises(RecordError, match="is not stuck yet"):
        add_look(book, LOOK, stamp)
    book = fold(book, revise_batch(book, ONE, GOOSEBERRY, stamp))
    assert batch_in(book, ONE).stays[0].tray == "N1"


def test_looks_moves_and_the_end_stand_in_the_file_of_their_batch(book, stamp):
    file = batch_in(with_all(book, stamp), ONE)
    assert file.moves == (("2", MOVE),)
    assert file.looks == (("3", LOOK),)
    assert file.closing == END
    assert [(stay.tray, stay.to_utc_ms) for stay in file.stays] == [
        ("N1", MOVE.utc_ms),
        ("N2", END.utc_ms),
    ]


def test_looks_and_moves_are_corrected_and_taken_back(book, stamp):
    book = with_all(book, stamp)
    better = replace(LOOK, base=Base(none=4, roots=1))
    book = fold(book, revise_look(book, "3", better, stamp))
    assert batch_in(book, ONE).looks == (("3", better),)
    assert len(book.history(Kind.LOOK, "3")) == 2
    book = fold(book, revise_look(book, "3", replace(better, withdrawn=True), stamp))
    book = fold(book, revise_move(book, "2", replace(MOVE, withdrawn=True), stamp))
    file = batch_in(book, ONE)
    assert (file.looks, file.moves) == ((), ())
    assert revise_move(book, "2", replace(MOVE, withdrawn=True), stamp) == ()
    with pytest.raises(NoSuchRecordError, match="no look 2"):
        revise_look(book, "2", LOOK, stamp)


def test_an_end_may_be_put_right_or_taken_back(book, stamp):
    book = with_all(book, stamp)
    counted = replace(END, rooted=12)
    book = fold(book, close(book, counted, stamp))
    assert batch_in(book, ONE).closing == counted
    assert close(book, counted, stamp) == ()
    book = fold(book, close(book, replace(counted, withdrawn=True), stamp))
    assert batch_in(book, ONE).closing is None
    with pytest.raises(RecordError, match="there is no end to undo"):
        close(book, replace(counted, withdrawn=True), stamp)


@pytest.mark.parametrize(
    ("add", "told", "words"),
    [
        (add_look, replace(LOOK, utc_ms=STUCK_MS - 1), "not lie before it was stuck"),
        (add_look, replace(LOOK, utc_ms=NOW_MS + HOUR_MS), "not lie in the future"),
        (add_look, replace(LOOK, utc_ms=END.utc_ms + 1), "after its end: it is closed"),
        (add_look, replace(LOOK, looked_at=21), "than were stuck, 20"),
        (add_move, replace(MOVE, tray="N9"), "no such tray; there are: N1, N2"),
        (add_move, replace(MOVE, utc_ms=STUCK_MS - 1), "not lie before it was stuck"),
        (close, replace(END, utc_ms=STUCK_MS - 1), "not lie before it was stuck"),
        (close, replace(END, utc_ms=LOOK.utc_ms - 1), "before its last look or move"),
        (close, replace(END, rooted=21), "than were stuck, 20"),
    ],
)
def test_what_cannot_have_been_is_refused(book, stamp, add, told, words):
    book = with_all(book, stamp)
    with pytest.raises(RecordError, match=words):
        add(book, told, stamp)


@pytest.mark.parametrize("stuck_ms", [None, MOVE.utc_ms + 1])
def test_a_batch_was_stuck_before_anything_happened_to_it(book, stamp, stuck_ms):
    book = with_all(book, stamp)
    with pytest.raises(RecordError, match=r"stuck_utc_ms: found .*must (have|not)"):
        revise_batch(book, ONE, replace(GOOSEBERRY, stuck_utc_ms=stuck_ms), stamp)


@pytest.mark.parametrize("add", [add_look, add_move, close])
def test_a_batch_that_is_not_there_is_named(book, stamp, add):
    told = {add_look: LOOK, add_move: MOVE, close: END}[add]
    with pytest.raises(NoSuchRecordError, match=f"there is no batch {TWO}"):
        add(book, replace(told, batch=TWO), stamp)
    with pytest.raises(NoSuchRecordError, match="no batch '33': a label code has 4"):
        add(book, replace(told, batch="33"), stamp)


# ----------------------------------------------------------------------- many at once


def test_many_batches_come_all_at_once_with_the_labels_they_have(book, stamp):
    told = [(GOOSEBERRY, ""), (GOOSEBERRY, TWO), (GOOSEBERRY, "")]
    after = fold(book, add_batches(book, told, stamp))
    codes = [code_of(number) for number in (1, 3, 2, 4)]
    assert [file.code for file in batches(after)] == codes


def test_of_many_batches_none_comes_if_one_is_wrong(book, stamp):
    told = [
        (GOOSEBERRY, ""),
        (replace(GOOSEBERRY, crop=""), ""),
        (GOOSEBERRY, ONE),
        (GOOSEBERRY, TWO),
        (GOOSEBERRY, TWO),
    ]
    with pytest.raises(RowsError) as refused:
        add_batches(book, told, stamp)
    assert [(at, error.faults[0].field) for at, error in refused.value.rows] == [
        (1, "crop"),
        (2, "code"),
        (4, "code"),
    ]


# ----------------------------------------------------------------- what the book takes


@pytest.mark.parametrize(
    ("change", "words"),
    [
        (Change(2, 0, "", "3x", GOOSEBERRY), "is no label code"),
        (Change(2, 0, "", ONE.lower(), GOOSEBERRY), "is no label code"),
        (Change(2, 0, "", "7", LOOK), "look 7, which is not there"),
        (Change(2, 0, "", "2", replace(LOOK, batch=TWO)), "which is not there"),
        (Change(2, 0, "", TWO, END), "tells of batch"),
        (Change(2, 0, "", TWO, replace(END, batch=TWO)), "which is not there"),
    ],
)
def test_a_change_that_does_not_follow_is_an_error(book, change, words):
    with pytest.raises(BookError, match=words):
        fold(book, [change])


def test_a_look_stays_with_its_batch(book, stamp):
    book = fold(book, add_batch(book, GOOSEBERRY, stamp))
    book = fold(book, [Change(3, 0, "", "3", LOOK)])
    with pytest.raises(BookError, match="is of another batch"):
        fold(book, [Change(4, 0, "", "3", replace(LOOK, batch=TWO))])


WISHES = st.lists(
    st.one_of(
        st.tuples(st.just("batch"), st.integers(1, 30)),
        st.tuples(st.just("count"), st.integers(1, 30)),
        st.tuples(st.just("look"), st.integers(-5, 120)),
        st.tuples(st.just("move"), st.integers(-5, 120)),
        st.tuples(st.just("close"), st.integers(-5, 120)),
        st.tuples(st.just("open"), st.integers(-5, 120)),
    ),
    max_size=15,
)


def tried(book: Book, wish: str, number: int, stamp: Stamp) -> tuple[Change, ...]:
    """Do one wish of a random hand."""
    at = STUCK_MS + number * HOUR_MS
    counted = replace(GOOSEBERRY, count=number)
    if wish == "batch":
        return add_batch(book, counted, stamp)
    if wish == "count":
        return revise_batch(book, ONE, counted, stamp)
    if wish == "look":
        return add_look(book, replace(LOOK, utc_ms=at), stamp)
    if wish == "move":
        return add_move(book, replace(MOVE, utc_ms=at), stamp)
    return close(book, replace(END, utc_ms=at, withdrawn=wish == "open"), stamp)


@given(wishes=WISHES)
def test_whatever_the_desk_takes_the_book_takes_and_keeps_sound(wishes):
    """Random hands at the desk; what they are refused changes nothing."""
    stamp = Stamp(NOW_MS, "somebody")
    changes: list[Change] = []
    book = Book()
    for wish, number in wishes:
        try:
            more = tried(book, wish, number, stamp)
        except (RecordError, NoSuchRecordError):
            continue
        book = fold(book, more)
        changes += more
    assert fold(Book(), changes) == book
    codes = [file.code for file in batches(book)]
    assert len(set(codes)) == len(codes)
    for file in batches(book):
        edges = [one.utc_ms for _, one in (*file.looks, *file.moves)]
        assert all(at >= file.batch.stuck_utc_ms for at in edges)
        if file.closing is not None:
            assert all(at <= file.closing.utc_ms for at in edges)
