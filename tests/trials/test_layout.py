"""Plans: blocks of neighbours along warmth, a shuffle that a seed gives again."""

from collections import Counter

import pytest

from controller.trials.foresight import Design, Difference, foreseen
from controller.trials.layout import (
    Place,
    block_sizes,
    fitting_block,
    from_cold_to_warm,
    in_blocks,
    shuffled,
)
from controller.trials.verdict import Chosen

ARMS = ("coir-perlite", "bark-sand")


def pots(**trays):
    """Return pots by tray: how many, and how warm."""
    return [
        Place(f"{tray}-{n}", tray, n, temp)
        for tray, (count, temp) in trays.items()
        for n in range(1, count + 1)
    ]


def test_places_stand_from_cold_to_warm_and_those_of_a_tray_stay_beside_each_other():
    places = pots(N1=(3, 21.0), N2=(2, 20.4), N3=(2, 21.0))
    order = [place.name for place in from_cold_to_warm(places)]
    assert order == ["N2-1", "N2-2", "N1-1", "N1-2", "N1-3", "N3-1", "N3-2"]


def test_where_warmth_is_not_known_the_order_is_as_told():
    places = [Place("b", "b", 1, 20.0), Place("a", "a", 1, None)]
    assert from_cold_to_warm(places) == places


def test_every_block_has_every_arm_equally_often_and_holds_neighbours():
    placed = shuffled(in_blocks(pots(N1=(12, 20.5), N2=(12, 21.5)), 4), ARMS, 7)
    blocks = Counter((one.block, one.arm) for one in placed)
    assert set(blocks.values()) == {2}
    for block in {one.block for one in placed}:
        own = [one.place for one in placed if one.block == block]
        assert len({place.tray for place in own}) == 1
        assert [place.position for place in own] == list(
            range(own[0].position, own[0].position + 4)
        )


def test_a_seed_gives_the_same_plan_again_and_another_gives_another():
    placed = in_blocks(pots(N1=(24, 20.0)), 2)
    assert shuffled(placed, ARMS, 11) == shuffled(placed, ARMS, 11)
    plans = {tuple(one.arm for one in shuffled(placed, ARMS, n)) for n in range(40)}
    assert len(plans) == 40


def test_a_stored_seed_means_this_plan_for_ever():
    """Plans that stand in logs are made again by their seeds: never to be changed."""
    placed = shuffled(in_blocks(pots(N1=(8, 20.0)), 2), "ab", 20_270_201)
    assert "".join(one.arm for one in placed) == "abbaabab"


def test_arms_fall_to_each_place_equally_often():
    placed = in_blocks(pots(N1=(4, 20.0)), 2)
    first = [shuffled(placed, "ab", seed)[0].arm for seed in range(400)]
    assert 160 <= first.count("a") <= 240


def test_cultivars_take_turns_and_never_share_a_block():
    placed = in_blocks(pots(N1=(12, 20.0)), 2, ("red", "white", "green"))
    by_block = {one.block: one.cultivar for one in placed}
    assert list(by_block.values()) == ["red", "white", "green"] * 2
    assert all(by_block[one.block] == one.cultivar for one in placed)


@pytest.mark.parametrize(
    ("units", "size"),
    [
        (24, 2),  # twelve pairs: 0.0005
        (16, 2),  # eight pairs: 2 / 2^8 = 0.0078
        (12, 4),  # six pairs only 0.031, three blocks of 2 + 2 0.0093
        (8, 8),  # four pairs 0.125, all in one block 0.029
        (4, 4),  # nothing helps: the smallest there is
    ],
)
def test_blocks_are_as_fine_as_a_small_p_allows(units, size):
    assert fitting_block(units, ARMS) == size


def test_blocks_hold_whole_sets_of_arms():
    assert block_sizes(12, 3) == [3, 6, 12]


@pytest.mark.parametrize(
    ("count", "size", "cultivars"), [(5, 2, ("",)), (0, 2, ("",)), (6, 2, ("a", "b"))]
)
def test_what_does_not_come_out_even_is_refused(count, size, cultivars):
    with pytest.raises(ValueError, match=r"do not make blocks|cannot be shared"):
        in_blocks(pots(N1=(count, 20.0)), size, cultivars)
    with pytest.raises(ValueError, match="cannot be shared by 3 arms"):
        shuffled(in_blocks(pots(N1=(4, 20.0)), 2), "abc", 1)


# ----------------------------------------------------------------------- foresight


def design(blocks, cuttings, chosen, arms=2):
    return Design(blocks, cuttings, arms, chosen, seed=1)


def test_two_containers_cannot_answer():
    found = foreseen(design([{"a": 1, "b": 1}], 24, Chosen.SHARES), Difference(), 10)
    assert (found.smallest, found.can_answer, found.power) == (1, False, 0)
    assert found.effect == pytest.approx(2.15)


def test_twelve_and_twelve_by_boschloo():
    """0.172 at 60 against 80 per cent, 90 an arm by Fisher: worked out with scipy."""
    blocks = [{"a": 12, "b": 12}]
    found = foreseen(design(blocks, 1, Chosen.BOSCHLOO), Difference())
    assert found.power == pytest.approx(0.172, abs=6e-4)
    assert found.needed == 90


def test_time_to_root_tells_more_than_a_count():
    """About two of three against nine in a hundred for twelve an arm: 1.5 times as
    fast with weekly looks was found in 66 % of 1000 simulated trials of others."""
    blocks = [{"a": 12, "b": 12}]
    stated = Difference(until_days=42)
    found = foreseen(design(blocks, 1, Chosen.TIMES), stated, 200)
    assert found.power == pytest.approx(0.66, abs=0.1)
    assert found.needed is None


def test_trays_of_cuttings_are_not_so_many_replicates():
    blocks = [{"a": 4, "b": 4}]
    alone = foreseen(design(blocks, 12, Chosen.SHARES), Difference(alike=0.0), 300)
    alike = foreseen(design(blocks, 12, Chosen.SHARES), Difference(alike=0.2), 300)
    assert alone.smallest == pytest.approx(2 / 70)
    assert alone.power > alike.power + 0.1
    assert alike.effect == pytest.approx(3.2)


def test_many_trays_are_labelled_at_random_to_foresee():
    blocks = [{"a": 8, "b": 8}]
    found = foreseen(design(blocks, 12, Chosen.SHARES), Difference(0.3, 0.9), 60)
    assert found.power > 0.9


def test_of_three_arms_each_pair_has_its_share_of_alpha():
    found = foreseen(
        design([{"a": 4, "b": 4}], 12, Chosen.SHARES, arms=3), Difference(), 10
    )
    assert found.alpha == pytest.approx(0.05 / 3)
    assert not found.can_answer
