"""Every mode meets every condition that it can meet, in whole scans."""

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from unittest.mock import patch

import pytest

from controller.core import requests, step
from controller.core.plan import OnLogFailure
from controller.core.scan import Hold, Reset, SetEnabled
from controller.core.state import MODE_TABLE, Condition, Mode
from tests.builders import Bench, Said, tripped, uncertain, warm, warm_heating
from tests.core.test_step_properties import Watch, a_whole_bench, lived

Pair = tuple[Mode, Condition]

UNREACHABLE: dict[Pair, str] = {
    **{
        (mode, Condition.RESET): "a reset is granted to a mat that is locked off"
        for mode in Mode
        if mode is not Mode.TRIPPED
    },
    **{
        (Mode.TRIPPED, condition): "while it is locked off nothing else is looked at"
        for condition in Condition
        if condition not in {Condition.TRIP, Condition.RESET}
    },
    (Mode.REGULATING, Condition.UNREADY): "who runs has passed its start",
    (Mode.INHIBITED, Condition.UNREADY): "who runs has passed its start",
}
"""Pairs that the table answers and no scan brings about, with the reason."""


@contextmanager
def noted() -> Iterator[set[Pair]]:
    """Give the pairs that are looked up in the table meanwhile."""
    seen: set[Pair] = set()

    class Row(dict[Condition, Mode]):
        def __init__(self, mode: Mode) -> None:
            super().__init__(MODE_TABLE[mode])
            self.mode = mode

        def __getitem__(self, condition: Condition) -> Mode:
            seen.add((self.mode, condition))
            return super().__getitem__(condition)

    table = {mode: Row(mode) for mode in Mode}
    with (
        patch.object(step, "MODE_TABLE", table),
        patch.object(requests, "MODE_TABLE", table),
    ):
        yield seen


def too_hot_twice(bench: Bench) -> Bench:
    """Let tray N1 be read above the cut-out twice within one scan."""
    first = bench.reading("n1", Said(33.1, ago_s=-1))
    return bench.scan([first], n1=33.2, n2=28.0)


BENCHES: dict[Mode, Callable[[], Bench]] = {
    Mode.STARTING: lambda: warm().scan(),
    Mode.REGULATING: warm_heating,
    Mode.INHIBITED: lambda: warm_heating().scan(n1=uncertain(33.5), n2=28.0),
    Mode.HELD: lambda: warm_heating().scan(ask=[Hold("north", 600_000)]),
    Mode.OFF: lambda: warm_heating().scan(ask=[SetEnabled("north", False)]),
    Mode.TRIPPED: tripped,
}
FREE = [Hold("north", 0), SetEnabled("north", True)]
"""Ends what a person began, where something was begun."""

MEET: dict[Condition, Callable[[Bench], Bench]] = {
    Condition.TRIP: too_hot_twice,
    Condition.DISABLED: lambda bench: bench.scan(
        ask=[*FREE, SetEnabled("north", False)]
    ),
    Condition.HOLD: lambda bench: bench.scan(ask=[*FREE, Hold("north", 60_000)]),
    Condition.UNREADY: lambda bench: bench.scan(ask=FREE),
    Condition.INHIBIT: lambda bench: bench.scan(n1=33.0, n2=28.0, ask=FREE),
    Condition.CLEAR: lambda bench: bench.scan(n1=31.0, n2=28.0, ask=FREE),
    Condition.RESET: lambda bench: bench.run(60, n1=28.0, n2=28.0).scan(
        n1=28.0, n2=28.0, ask=[Reset("north")]
    ),
}
"""Lets a condition be the strongest thing that is true of a bench."""


@pytest.mark.parametrize("condition", Condition)
@pytest.mark.parametrize("mode", Mode)
def test_step_goes_from_each_mode_on_each_condition_where_the_table_says(
    mode, condition
):
    bench = BENCHES[mode]()
    assert bench.mode is mode
    with noted() as seen:
        MEET[condition](bench)
    if (mode, condition) in UNREACHABLE:
        assert (mode, condition) not in seen
    else:
        assert (mode, condition) in seen
        if condition is not Condition.RESET:  # from it the same scan goes further
            assert bench.mode is MODE_TABLE[mode][condition]


def test_no_scan_of_long_and_likely_runs_brings_an_unreachable_pair_about():
    with noted() as seen:
        for seed in range(4):
            watch = Watch(a_whole_bench(list(OnLogFailure)[seed % 2]))
            lived(seed, 200, watch)
            watch.resume(3_600_000, known=True)
            lived(seed + 10, 50, watch)
    assert seen & set(UNREACHABLE) == set()
    assert len(seen) > 15  # of the other pairs most were there
