"""Wishes in plain words: read strictly."""

from datetime import date

import pytest

from sim.tuning.wishes import (
    AtMostEnergy,
    AtMostOperations,
    Goal,
    NeverAbove,
    NeverBelow,
    RootedBy,
    SumBy,
    WishError,
    YearDay,
    read_wish,
)

DAY = date(2027, 3, 20)


@pytest.mark.parametrize(
    ("text", "goal", "constraints"),
    [
        ("least energy", Goal.ENERGY, ()),
        ("Steadiest", Goal.DEVIATION, ()),
        ("rooted by 20 March 2027 at least energy", Goal.ENERGY, (RootedBy(DAY),)),
        (
            "rooted by 20 March at least energy",
            Goal.ENERGY,
            (RootedBy(YearDay(3, 20)),),
        ),
        ("most even trays, rooted by 2027-03-20", Goal.UNEVEN, (RootedBy(DAY),)),
        (
            "fewest relay operations with coolest tray never below 20 °C"
            " and no tray above 82.4 °F",
            Goal.OPERATIONS,
            (NeverBelow(20.0), NeverAbove(28.0)),
        ),
        (
            "N2 has 300 K·h by 20 mar 2027; fewest operations at most 40 kWh,"
            " at most 5000 relay operations",
            Goal.OPERATIONS,
            (SumBy("N2", 300.0, DAY), AtMostEnergy(40.0), AtMostOperations(5000.0)),
        ),
        (
            "N-2_b has 540 °F·h by 2027-03-20 but steadiest",
            Goal.DEVIATION,
            (SumBy("N-2_b", 300.0, DAY),),
        ),
    ],
)
def test_a_wish_is_read(text, goal, constraints):
    wish = read_wish(text)
    assert (wish.goal, wish.constraints) == (goal, constraints)


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("", "^it is empty; write one of"),
        ("cheapest", "^'cheapest': not understood from 'cheapest' on; write one of"),
        ("least energy please", "not understood from 'please' on"),
        ("least energy and", "not understood from ' and' on"),
        ("least energyrooted by 2027-03-20", "not understood from 'least energyroo"),
        ("least energy steadiest", 'has "least energy" and "steadiest" for a goal'),
        ("no tray above 28 °C", "has none for a goal"),
        ("least energy, no tray above 28", "not understood from 'no tray above 28' on"),
        ("steadiest, rooted by 31 February 2027", "'rooted by 31 February 2027': day"),
        ("steadiest, rooted by 31 February", "'rooted by 31 February': day is out"),
        ("steadiest, rooted by 3 Ma 2027", "Ma is no month"),
        ("steadiest, rooted by 3 Ma", "Ma is no month"),
        ("steadiest, N2 has 0 K·h by 2027-03-20", "a sum must be above 0"),
        ("steadiest, rooted by 3 Jux 2027", "Jux is no month"),
    ],
)
def test_what_is_not_understood_is_refused_with_its_place(text, says):
    with pytest.raises(WishError, match=says.replace("(", r"\(")):
        read_wish(text)


def test_a_constraint_said_again_is_read_alike():
    text = (
        "steadiest, coolest tray never below 20.5 °C, no tray above 28 °C, rooted by"
        " 2027-03-20, N2 has 300 K·h by 29 February, at most 40 kWh, at most 5000"
        " relay operations"
    )
    wish = read_wish(text)
    again = ", ".join(["steadiest", *map(str, wish.constraints)])
    assert read_wish(again).constraints == wish.constraints
