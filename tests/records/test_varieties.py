"""What came of each variety, and how many to stick, held to other arithmetic."""

import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from controller.core.units import DAY_MS
from controller.records.batch_desk import add_batch, add_look, close
from controller.records.batches import Batch, BatchKind
from controller.records.book import Book, batches, fold
from controller.records.codes import code_of
from controller.records.looks import Base, How, Look
from controller.records.places import Closing, Outcome
from controller.records.stage_desk import add_stage
from controller.records.stages import Stage, StageKind
from controller.records.sticking import (
    Counted,
    at_least,
    at_least_seen,
    chance_below,
    how_many,
    how_many_seen,
)
from controller.records.varieties import (
    Result,
    Verdict,
    area_mm2,
    follows,
    result,
    varieties,
)
from tests.records.conftest import NOW_MS

STUCK_MS = NOW_MS - 120 * DAY_MS
COUNTS = st.integers(0, 60).flatmap(
    lambda of: st.builds(Counted, good=st.integers(0, of), of=st.just(of))
)


@pytest.mark.oracle
@pytest.mark.parametrize(("rate", "stuck"), [(0.3, 16), (0.5, 9), (0.6, 7), (0.8, 5)])
def test_for_three_plants_with_ninety_percent_surety(rate, stuck):
    """The fewest by scipy.stats.binom, counted up one by one."""
    fewest = next(n for n in range(1, 99) if stats.binom.sf(2, n, rate) >= 0.9)
    assert how_many(3, 0.9, rate) == stuck == fewest


@pytest.mark.oracle
@given(plants=st.integers(0, 40), stuck=st.integers(0, 200), rate=st.floats(0, 1))
def test_the_chance_is_the_exact_binomial_s(plants, stuck, rate):
    """Against scipy.stats.binom."""
    expected = stats.binom.sf(plants - 1, stuck, rate)
    assert at_least(plants, stuck, rate) == pytest.approx(expected, abs=1e-9)


@pytest.mark.oracle
@given(plants=st.integers(0, 40), stuck=st.integers(0, 200), seen=COUNTS)
def test_the_widened_chance_is_the_beta_binomial_s(plants, stuck, seen):
    """Against scipy.stats.betabinom with a uniform prior."""
    a, b = seen.good + 1, seen.of - seen.good + 1
    expected = stats.betabinom.sf(plants - 1, stuck, a, b)
    assert at_least_seen(plants, stuck, seen) == pytest.approx(expected, abs=1e-8)


@pytest.mark.oracle
@given(rate=st.floats(0, 1), seen=COUNTS)
def test_the_chance_of_a_rate_is_the_beta_distribution_s(rate, seen):
    """Against scipy.stats.beta, and so NIST DLMF 8.17.5."""
    expected = stats.beta.cdf(rate, seen.good + 1, seen.of - seen.good + 1)
    assert chance_below(rate, seen) == pytest.approx(expected, abs=1e-9)


@given(plants=st.integers(1, 20), surety=st.floats(0.5, 0.99), seen=COUNTS)
def test_one_fewer_would_not_do(plants, surety, seen):
    found = how_many_seen(plants, surety, seen)
    if found is not None:
        assert at_least_seen(plants, found, seen) >= surety
        assert found == plants or at_least_seen(plants, found - 1, seen) < surety


@given(plants=st.integers(1, 10), half=st.integers(1, 30))
def test_what_was_seen_on_few_asks_for_more_than_a_certain_rate(plants, half):
    few = how_many_seen(plants, 0.9, Counted(half, 2 * half))
    many = how_many_seen(plants, 0.9, Counted(1000 * half, 2000 * half))
    assert few >= many >= how_many(plants, 0.9, 0.5)


def test_where_nothing_takes_no_number_will_do_and_none_wanted_needs_none():
    assert how_many(3, 0.9, 0.0) is None
    assert how_many(0, 0.9, 0.5) == 0
    assert how_many(5, 0.9, 1.0) == 5


@pytest.mark.parametrize(
    ("plants", "surety", "rate", "words"),
    [
        (-1, 0.9, 0.5, "plants: found -1"),
        (3, 1.0, 0.5, "surety: found 1"),
        (3, 0.9, 1.5, "rate: found 1.5"),
    ],
)
def test_what_cannot_be_is_refused(plants, surety, rate, words):
    with pytest.raises(ValueError, match=words):
        how_many(plants, surety, rate)
    with pytest.raises(ValueError, match="found 3 of 2"):
        Counted(3, 2)


# --------------------------------------------------------------------------- results


def batch(count: int, **also) -> Batch:
    return Batch(
        crop="gooseberry",
        cultivar="Hollow Lane",
        kind=BatchKind.HARDWOOD,
        count=count,
        stuck_utc_ms=STUCK_MS,
        **also,
    )


@pytest.fixture
def book(stamp) -> Book:
    """Two batches that ended, one that goes on, and one that is not stuck."""
    kept = Book()
    told = [
        batch(20, wanted=3, medium="coir-perlite", source="hedge"),
        batch(10, medium="bark-sand", source="hedge"),
        batch(8, wanted=2, medium="bark-sand"),
        Batch(crop="quince", kind=BatchKind.HARDWOOD),
    ]
    for one in told:
        kept = fold(kept, add_batch(kept, one, stamp))
    one, two, _ = code_of(1), code_of(2), code_of(3)
    end_ms = STUCK_MS + 40 * DAY_MS
    look = Look(
        batch=two,
        utc_ms=end_ms,
        how=How.LIFTED,
        looked_at=5,
        base=Base(roots=4, callus=1),
    )
    kept = fold(kept, add_look(kept, look, stamp))
    for code, rooted in ((one, 12), (two, None)):
        end = Closing(batch=code, utc_ms=end_ms, outcome=Outcome.WEANED, rooted=rooted)
        kept = fold(kept, close(kept, end, stamp))
    for kind, count, reason in (
        (StageKind.POTTED, 10, ""),
        (StageKind.DEAD, 3, "slugs"),
        (StageKind.GIVEN, 1, ""),
    ):
        stage = Stage(batch=one, utc_ms=end_ms, stage=kind, count=count, reason=reason)
        kept = fold(kept, add_stage(kept, stage, stamp))
    return kept


def test_results_are_counted_of_what_has_ended_only(book):
    ((one),) = varieties(batches(book), NOW_MS, lambda _: "2026-09")
    found = one.result
    assert (found.batches, found.open, found.wanted, found.stuck) == (3, 1, 5, 38)
    assert found.rooted == Counted(12 + 4, 30)
    assert found.at_least  # nobody counted the second one's
    assert found.alive == Counted(7, 20)
    assert found.basis == found.alive
    assert found.here == 6
    assert [(row.key, row.result.stuck) for row in one.by_medium] == [
        ("bark-sand", 18),
        ("coir-perlite", 20),
    ]
    assert [row.key for row in one.by_source] == ["hedge", "not told"]
    assert [(row.key, row.result.stuck) for row in one.by_month] == [("2026-09", 38)]


def test_before_the_six_weeks_are_over_the_rooted_count(book):
    soon_ms = STUCK_MS + 41 * DAY_MS
    found = result(batches(book)[:1], soon_ms)
    assert (found.alive, found.basis) == (Counted(0, 0), Counted(12, 20))
    assert not found.from_alive


def ended(good: int, of: int, wanted: int | None, here: int = 0):
    return Result(1, 0, wanted, of, Counted(good, of), False, Counted(0, 0), here)


@pytest.mark.parametrize(
    ("found", "verdict", "words"),
    [
        (ended(0, 0, 3), Verdict.WAIT, "no batch has ended"),
        (ended(10, 20, None), Verdict.TELL_WANTED, "say how many"),
        (ended(10, 20, 0), Verdict.DROP, "none are wanted"),
        (ended(0, 40, 3), Verdict.DROP, "0 of 40 rooted: drop it, or change how"),
        (ended(18, 20, 3), Verdict.FEWER, "for 3 plants, not 20"),
        (ended(5, 10, 8), Verdict.MORE, "for 8 plants, not 10"),
        (ended(6, 12, 3), Verdict.KEEP, "12 were about right"),
    ],
)
def test_what_follows_is_one_of_few_words_with_its_numbers(found, verdict, words):
    then = follows(found, 0.9)
    assert then.verdict is verdict
    assert words in then.sentence


def test_what_is_more_than_wanted_is_to_give_away():
    assert follows(ended(18, 20, 3, here=15), 0.9).give_away == 12
    assert follows(ended(18, 20, 3, here=2), 0.9).give_away == 0
    assert follows(ended(18, 20, None, here=15), 0.9).give_away == 0


def test_a_few_failures_do_not_condemn_a_variety():
    assert follows(ended(0, 5, 3), 0.9).verdict is not Verdict.DROP


def test_room_is_the_square_of_the_spacing_for_each():
    assert area_mm2(16, 50) == 40_000
    with pytest.raises(ValueError, match="from 1 to 1000"):
        area_mm2(16, 0)
