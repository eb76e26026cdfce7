"""The one table of modes, held against rules that were written without it."""

import itertools

import pytest

from controller.core.state import MODE_TABLE, Condition, Mode

PAIRS = list(itertools.product(Mode, Condition))
RUNNING = {Mode.REGULATING, Mode.INHIBITED}
AFTER_HANDS = {Mode.HELD, Mode.OFF}


BY_HAND = {
    Condition.DISABLED: Mode.OFF,
    Condition.HOLD: Mode.HELD,
    Condition.RESET: Mode.STARTING,
}


def ruled(mode: Mode, condition: Condition) -> Mode:
    """Say in sentences where a mat goes; the table must agree."""
    # A mat that is locked off stays so until a person resets it, whatever else;
    # and what is too hot twice locks off from everywhere.
    locked = mode is Mode.TRIPPED and condition is not Condition.RESET
    if locked or condition is Condition.TRIP:
        return Mode.TRIPPED
    # A person's switch, hold and reset work from everywhere else.
    if condition in BY_HAND:
        return BY_HAND[condition]
    return ruled_by_itself(mode, condition)


def ruled_by_itself(mode: Mode, condition: Condition) -> Mode:
    # From a person's off or hold there is one way back: through a new start.
    if mode in AFTER_HANDS:
        return Mode.STARTING
    # Who is running and loses what a start needs does not start again.
    if condition is Condition.UNREADY:
        return Mode.INHIBITED if mode in RUNNING else Mode.STARTING
    return Mode.INHIBITED if condition is Condition.INHIBIT else Mode.REGULATING


@pytest.mark.parametrize(("mode", "condition"), PAIRS)
def test_every_mode_and_condition_lead_where_the_rules_say(mode, condition):
    assert MODE_TABLE[mode][condition] is ruled(mode, condition)


def test_table_knows_every_pair_and_nothing_else():
    assert set(MODE_TABLE) == set(Mode)
    for row in MODE_TABLE.values():
        assert set(row) == set(Condition)


def test_heat_is_reached_only_by_a_clear_condition_and_never_from_hands_or_a_trip():
    ways = {pair for pair in PAIRS if MODE_TABLE[pair[0]][pair[1]] is Mode.REGULATING}
    assert ways == {
        (Mode.STARTING, Condition.CLEAR),
        (Mode.INHIBITED, Condition.CLEAR),
        (Mode.REGULATING, Condition.CLEAR),
    }


def test_only_a_reset_leads_out_of_a_trip_and_only_to_a_start():
    ways = {
        (c, to) for c, to in MODE_TABLE[Mode.TRIPPED].items() if to is not Mode.TRIPPED
    }
    assert ways == {(Condition.RESET, Mode.STARTING)}


@pytest.mark.parametrize("condition", Condition)
def test_condition_that_lasts_settles_within_two_steps(condition):
    for mode in Mode:
        once = MODE_TABLE[mode][condition]
        twice = MODE_TABLE[once][condition]
        assert MODE_TABLE[twice][condition] is twice
