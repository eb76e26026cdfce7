"""Media: what they may be made of, and what an unknown one says."""

import pytest

from sim.media import DEFAULT_MEDIUM, MEDIA, medium


@pytest.mark.parametrize("name", sorted(MEDIA))
def test_fractions_of_a_medium_leave_room_for_air(name):
    made = MEDIA[name]
    fractions = (made.organic, made.mineral, made.perlite, made.water)
    assert all(fraction >= 0 for fraction in fractions)
    assert 0.1 <= 1 - sum(fractions) < 1


def test_the_three_mixes_of_the_demo_bench_exist():
    assert {"coir-perlite", "bark-sand", "peat-perlite"} <= set(MEDIA)


def test_a_tray_that_names_no_medium_gets_the_usual_one():
    assert medium("") is MEDIA[DEFAULT_MEDIUM]


def test_an_unknown_medium_is_named_with_those_that_are_known():
    with pytest.raises(ValueError, match="'rockwool'") as error:
        medium("rockwool")
    for name in MEDIA:
        assert name in str(error.value)
