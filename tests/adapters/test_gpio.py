"""Pins of this board, on gpiozero's own mock pins."""

import asyncio
import sys

import pytest
from gpiozero import Device
from gpiozero.pins.mock import MockFactory

from controller.adapters.clocks import ManualClock, SystemClock
from controller.adapters.gpio import Pin, PinError, PinRelays, pin_relays
from controller.core.decisions import Cause, Command
from controller.core.plan import RelayKind
from controller.wiring import BrokerWire, RelayWire, Wiring

ON = Command("north", True, Cause.BELOW_BAND)
OFF = Command("north", False, Cause.ABOVE_BAND)


@pytest.fixture
def board():
    """A board of mock pins, and what each pin has been told."""
    factory = MockFactory()
    before, Device.pin_factory = Device.pin_factory, factory
    yield factory
    factory.reset()
    Device.pin_factory = before


def wiring(*relays: RelayWire) -> Wiring:
    return Wiring(bench="test", broker=BrokerWire(), probes=(), relays=relays)


def a_pin(*, active_low: bool = False) -> RelayWire:
    return RelayWire(
        mat="north", kind=RelayKind.PIN, pin="GPIO17", active_low=active_low
    )


async def until(condition) -> None:
    clock = SystemClock("UTC")
    async with asyncio.timeout(15):
        while not condition():
            await clock.sleep_until(clock.now().run_ms + 5)


@pytest.mark.parametrize("active_low", [False, True])
def test_a_pin_is_off_from_the_start_whatever_its_off_level_is(board, active_low):
    pin = Pin("GPIO17", active_low=active_low)
    assert board.pin(17).function == "output"
    assert board.pin(17).state is active_low
    assert True not in [s.state is not active_low for s in board.pin(17).states[1:]]
    pin.on()
    assert board.pin(17).state is not active_low
    pin.off()
    assert board.pin(17).state is active_low


@pytest.mark.parametrize("name", ["GPIO99", "nonsense"])
def test_a_pin_that_is_none_is_refused_by_name(board, name):
    with pytest.raises(PinError, match=f"pin {name} cannot be used: .* such as GPIO17"):
        Pin(name)


def test_a_pin_is_given_once(board):
    kept = Pin("GPIO17")
    with pytest.raises(
        PinError, match=r"pin BOARD11 cannot be used: .* already in use"
    ):
        Pin("BOARD11")
    kept.off()


def test_without_gpiozero_it_says_what_to_install(monkeypatch):
    monkeypatch.setitem(sys.modules, "gpiozero", None)
    with pytest.raises(PinError, match="gpiozero is not installed; it needs bottom"):
        Pin("GPIO17")


def test_a_bench_without_pins_needs_no_gpiozero(monkeypatch):
    monkeypatch.setitem(sys.modules, "gpiozero", None)
    lease = RelayWire(mat="north", kind=RelayKind.LEASE, topic="r")
    relays = pin_relays(wiring(lease), ManualClock(), run="r1", valid_for_ms=15_000)
    assert relays is None


class Serving:
    """The relay of mat north on GPIO17, being served."""

    def __init__(self, board: MockFactory, clock) -> None:
        relays = pin_relays(wiring(a_pin()), clock, run="r1", valid_for_ms=15_000)
        assert isinstance(relays, PinRelays)
        self.relays = relays
        self.pin = board.pin(17)

    async def __aenter__(self):
        self.task = asyncio.create_task(self.relays.serve())
        await self.relays.send([], 0)
        await until(lambda: self.relays._contacts._open)
        return self

    async def __aexit__(self, *_) -> None:
        self.task.cancel()
        await asyncio.gather(self.task, return_exceptions=True)


async def test_commands_switch_the_pin_and_other_mats_do_not(board):
    async with Serving(board, ManualClock()) as bench:
        other = Command("south", True, Cause.BELOW_BAND)
        await bench.relays.send([other], 1)
        assert not bench.pin.state
        await bench.relays.send([ON], 2)
        assert bench.pin.state
        await bench.relays.send([OFF], 3)
        assert not bench.pin.state
        assert bench.relays.take().relay_reports == ()
        assert bench.relays.link_up()


async def test_a_pin_drops_out_when_renewals_stop_and_the_core_is_told(board):
    clock = ManualClock()
    async with Serving(board, clock) as bench:
        await bench.relays.send([ON], 7)
        clock.advance(14_999)
        assert bench.pin.state
        clock.advance(1)
        await until(lambda: not bench.pin.state)
        (report,) = bench.relays.take().relay_reports
        assert (report.mat, report.energised, report.seq) == ("north", False, 7)
        assert report.reason == "lease"
        assert bench.relays.take().relay_reports == ()


async def test_a_loop_that_hangs_does_not_hold_the_pin_on(board):
    """Nothing of asyncio runs meanwhile: the thread alone opens the contact."""
    clock = ManualClock()
    async with Serving(board, clock) as bench:
        await bench.relays.send([ON], 1)
        clock.advance(15_000)
        looks = 0
        while bench.pin.state and looks < 10_000:
            bench.relays._contacts.lease("north")  # lets the watch have its turn
            bench.relays._contacts._watch.join(0.001)
            looks += 1
        assert not bench.pin.state


async def test_the_pin_is_off_at_the_end(board):
    async with Serving(board, ManualClock()) as bench:
        await bench.relays.send([ON], 1)
    assert not bench.pin.state


async def test_a_pin_that_cannot_be_switched_ends_the_daemon(board, monkeypatch):
    clock = ManualClock()
    async with Serving(board, clock) as bench:
        await until(lambda: clock.wakes_at() is not None)

        def broken(_) -> None:
            raise OSError("the pin is gone")

        monkeypatch.setattr(bench.pin, "_set_state", broken)
        await bench.relays.send([ON], 1)
        clock.advance(1_000)
        with pytest.raises(PinError, match=r"mat north: .* the pin is gone"):
            await bench.task
