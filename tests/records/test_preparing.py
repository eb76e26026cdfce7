"""Amounts before sticking, held to published dilutions."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from controller.records.preparing import (
    BLEACH_CAUTIONS,
    CUTS,
    WATER_ML_PER_L,
    ambiguity,
    dilution,
    hormone_points,
    mix,
    strength_of,
)


@pytest.mark.oracle
@pytest.mark.parametrize(
    ("stock", "wanted", "parts"),
    [
        (5.0, 0.05, 99),  # WHO, Annex G table G.1 (NBK214356): 1 part + 99 parts
        (2.5, 0.05, 49),  # the same table: 2 + 98
        (5.25, 0.525, 9),  # 1:10 gives 0.53 % (safety fact sheet; Stanford manual)
        (6.0, 0.857, 6),  # a nursery's label bulletin: 6 % stock, 1 + 6, 0.85 %
        (1.0, 0.3, 7 / 3),  # 1 % = 10 000 ppm, 0.3 % = 3000 ppm (arithmetic)
    ],
)
def test_parts_are_those_of_published_dilutions(stock, wanted, parts):
    found = dilution(stock, wanted, 1000)
    assert found.parts == pytest.approx(parts, rel=1e-3)
    assert found.stock_ml + found.other_ml == pytest.approx(1000)


@pytest.mark.oracle
def test_one_to_ten_is_told_both_ways():
    """Of 5.25 %: 0.525 % as 1 + 9, 0.477 % as 1 + 10 (arithmetic); 1 part household
    bleach in 10 parts of water is about 0.5 % (common practice)."""
    assert strength_of(5.25, 9) == pytest.approx(0.525)
    assert strength_of(5.25, 10) == pytest.approx(0.4773, abs=1e-4)
    said = ambiguity(5.25)
    assert "0.525 %" in said and "0.477 %" in said and "say 1 + n" in said


@pytest.mark.oracle
def test_of_525_to_615_percent_one_to_100_is_525_to_615_ppm():
    """CDC guideline as quoted: 5.25-6.15 % at 1:100 is 525-615 ppm, read as 1 + 99."""
    assert strength_of(5.25, 99) * 10_000 == pytest.approx(525)
    assert strength_of(6.15, 99) * 10_000 == pytest.approx(615)


@given(
    stock=st.floats(0.01, 100),
    share=st.floats(0.001, 1),
    volume_ml=st.floats(1, 1e5),
)
def test_diluted_it_has_the_strength_that_was_wanted(stock, share, volume_ml):
    found = dilution(stock, stock * share, volume_ml)
    got = stock * found.stock_ml / (found.stock_ml + found.other_ml)
    assert got == pytest.approx(stock * share)
    assert found.other_ml / found.stock_ml == pytest.approx(found.parts, abs=1e-6)


@pytest.mark.parametrize(
    ("stock", "wanted", "volume_ml", "words"),
    [
        (5, 6, 1000, "water makes nothing stronger than its stock, 5"),
        (0, 1, 1000, "stock: found 0: must be more than 0"),
        (5, float("nan"), 1000, "wanted: found nan"),
        (5, 1, -1, "volume: found -1"),
    ],
)
def test_a_dilution_that_cannot_be_is_refused(stock, wanted, volume_ml, words):
    with pytest.raises(ValueError, match=words):
        dilution(stock, wanted, volume_ml)


def test_a_medium_is_measured_out_by_its_recipe_with_some_to_settle():
    found = mix([("perlite", 2), ("coir", 1)], 12)
    assert [part.litres for part in found.parts] == pytest.approx([8.8, 4.4])
    assert found.water_ml == pytest.approx(8.8 * 150 + 4.4 * 350)
    assert found.water_ml_per_l == pytest.approx(found.water_ml / 12)
    alone = mix([("washed sand", 1)], 6)
    assert alone.parts[0].litres == 6
    assert alone.water_ml_per_l == WATER_ML_PER_L["sand"]
    assert mix([("rockdust", 1)], 1).water_ml == 250


@pytest.mark.parametrize(
    ("recipe", "litres", "words"),
    [
        ([], 6, "recipe is empty"),
        ([("coir", 0)], 6, "coir: found 0 parts"),
        ([("coir", 1)], 0, "must be more than 0"),
        ([("coir", 1)], float("inf"), "at most 10,000"),
    ],
)
def test_a_medium_that_cannot_be_is_refused(recipe, litres, words):
    with pytest.raises(ValueError, match=words):
        mix(recipe, litres)


def test_cautions_stand_where_bleach_is_met():
    said = " ".join(BLEACH_CAUTIONS)
    for word in ("acid", "ammonia", "window", "gloves", "label", "tools, pots"):
        assert word in said


def test_common_practice_of_cutting_is_told_with_its_numbers():
    said = " ".join(CUTS)
    for words in (
        "four to eight nodes",
        "one or two of them below",
        "12 mm",
        "3 to 12",
    ):
        assert words in said


def test_a_hormone_in_alcohol_is_not_thinned_with_water_alone():
    assert "falls out" in hormone_points(3000, alcohol=True)[0]
    assert "with water" in hormone_points(3000, alcohol=False)[0]
    assert "3000 ppm is 0.3 %" in " ".join(hormone_points(3000, alcohol=True))
