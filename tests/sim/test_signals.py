"""What becomes of a probe's words on their way."""

import pytest

from controller.core.scan import Quality, Reading
from controller.ports import Arrivals
from sim.faults import Fault
from sim.kinds import Kind
from sim.signals import SIGNALS, Signals

HOUR = 3_600_000
DAY = 24 * HOUR


def a_fault(kind, *, flags=None, other="", at_ms=0, **sizes):
    milli = {key: round(1000 * value) for key, value in sizes.items()}
    return Fault(
        kind=kind,
        at_ms=at_ms,
        subject="N1",
        other=other,
        sizes=milli,
        flags=flags or {},
    )


def passed(fault, *said, signals=None, now_ms=None):
    """What arrives of readings (time [s], probe, °C), each passed by itself."""
    signals = signals or Signals(seed=1)
    readings, refusals = [], []
    for at_s, probe, temp_c in said:
        reading = Reading(probe, at_s * 1000, round(temp_c * 1000))
        now = at_s * 1000 if now_ms is None else now_ms
        arrived = signals.passed(Arrivals((reading,)), {0: fault}, now)
        readings += arrived.readings
        refusals += arrived.refusals
    return readings, refusals


def shown(readings):
    return [(r.at_ms // 1000, r.probe, r.milli / 1000) for r in readings]


def test_other_probes_are_left_as_they_are():
    for kind in SIGNALS - {Kind.PROBES_SWAPPED}:
        sizes = {"by": 3} if kind is not Kind.PROBE_SAYS else {}
        readings, refusals = passed(a_fault(kind, **sizes), (30, "N2", 20.0))
        assert shown(readings) == [(30, "N2", 20.0)]
        assert refusals == []


def test_a_stuck_probe_says_what_it_last_said():
    signals = Signals(seed=1)
    signals.note([Reading("N1", 0, 19_000)])
    readings, _ = passed(
        a_fault(Kind.PROBE_STUCK), (30, "N1", 20.0), (60, "N1", 25.0), signals=signals
    )
    assert [r.milli for r in readings] == [19_000, 19_000]


def test_a_probe_stuck_from_its_first_word_says_that():
    readings, _ = passed(a_fault(Kind.PROBE_STUCK), (30, "N1", 20.0), (60, "N1", 25.0))
    assert [r.milli for r in readings] == [20_000, 20_000]


def test_a_jump_is_there_at_once_and_a_drift_grows_by_the_day():
    readings, _ = passed(a_fault(Kind.PROBE_JUMPS, by=-4), (0, "N1", 20.0))
    assert readings[0].milli == 16_000
    drift = a_fault(Kind.PROBE_DRIFTS, by=2)
    readings, _ = passed(drift, (0, "N1", 20.0), (43_200, "N1", 20.0))
    assert [r.milli for r in readings] == [20_000, 21_000]


def test_a_wet_probe_reads_hotter_and_hotter_and_unsteadily():
    said = [(n * 600, "N1", 20.0) for n in range(40)]
    readings, _ = passed(a_fault(Kind.PROBE_WET, by=8), *said)
    temps = [r.milli / 1000 for r in readings]
    assert temps[0] == 20.0
    late = temps[13:]
    assert sum(late) / len(late) == pytest.approx(28.0, abs=0.4)
    assert len(set(late)) > 20


def test_noise_has_the_spread_that_was_asked_for():
    said = [(n, "N1", 20.0) for n in range(2_000)]
    readings, _ = passed(a_fault(Kind.PROBE_NOISY, by=2), *said)
    temps = [r.milli / 1000 for r in readings]
    mean = sum(temps) / len(temps)
    variance = sum((t - mean) ** 2 for t in temps) / len(temps)
    assert variance**0.5 == pytest.approx(2.0, rel=0.1)
    assert mean == pytest.approx(20.0, abs=0.2)


def test_what_a_probe_says_when_it_did_not_measure():
    readings, _ = passed(a_fault(Kind.PROBE_SAYS), (0, "N1", 20.0))
    assert readings[0].milli == 85_000
    readings, _ = passed(a_fault(Kind.PROBE_SAYS, value=-127), (0, "N1", 20.0))
    assert readings[0].milli == -127_000
    readings, _ = passed(a_fault(Kind.PROBE_NO_VALUE), (0, "N1", 20.0))
    assert (readings[0].milli, readings[0].quality) == (None, Quality.BAD)
    assert passed(a_fault(Kind.PROBE_SILENT), (0, "N1", 20.0)) == ([], [])


def test_nan_is_refused_at_the_door():
    readings, refusals = passed(a_fault(Kind.PROBE_REFUSED), (0, "N1", 20.0))
    assert readings == []
    assert [(refusal.source, refusal.raw) for refusal in refusals] == [("N1", "nan")]


def test_fahrenheit_is_taken_for_celsius():
    """24 °C is 75.2 °F, from the definition of the scale."""
    readings, _ = passed(a_fault(Kind.PROBE_FAHRENHEIT), (0, "N1", 24.0))
    assert readings[0].milli == 75_200


def test_swapped_probes_bear_each_others_names():
    swap = a_fault(Kind.PROBES_SWAPPED, other="S1")
    readings, _ = passed(swap, (0, "N1", 20.0), (1, "S1", 26.0), (2, "N2", 21.0))
    assert [r.probe for r in readings] == ["S1", "N1", "N2"]


def test_a_doubled_message_comes_twice():
    readings, _ = passed(a_fault(Kind.PROBE_DOUBLED), (0, "N1", 20.0))
    assert shown(readings) == [(0, "N1", 20.0)] * 2


@pytest.mark.parametrize(("stamped", "times"), [(True, [0]), (False, [600])])
def test_a_late_message_comes_late_with_or_without_its_own_time(stamped, times):
    late = a_fault(Kind.PROBE_LATE, by=600, flags={"stamped": stamped})
    signals = Signals(seed=1)
    said = [(at_s, "N1", 20.0) for at_s in (0, 30, 599)]
    assert passed(late, *said, signals=signals) == ([], [])
    arrived = signals.passed(Arrivals(), {0: late}, 600_000)
    assert [r.at_ms // 1000 for r in arrived.readings] == times
    assert len(signals.released(0)) == 2
    assert signals.released(0) == ()


def test_of_two_messages_the_later_comes_first():
    said = [(0, "N1", 20.0), (30, "N1", 21.0), (60, "N1", 22.0)]
    readings, _ = passed(a_fault(Kind.PROBE_REORDERED), *said)
    assert [r.at_ms // 1000 for r in readings] == [30, 0]
    unstamped = a_fault(Kind.PROBE_REORDERED, flags={"stamped": False})
    readings, _ = passed(unstamped, *said)
    assert [(r.at_ms // 1000, r.milli) for r in readings] == [
        (30, 21_000),
        (30, 20_000),
    ]


def test_what_the_broker_had_kept_comes_once_and_is_uncertain():
    kept = a_fault(Kind.PROBE_RETAINED, value=15)
    readings, _ = passed(kept, (30, "N1", 20.0), (60, "N1", 20.0))
    assert [(r.milli, r.quality) for r in readings] == [
        (15_000, Quality.UNCERTAIN),
        (20_000, Quality.GOOD),
        (20_000, Quality.GOOD),
    ]
    assert readings[0].at_ms < readings[1].at_ms


def test_a_reading_without_a_value_stays_without_one():
    signals = Signals(seed=1)
    for kind in (Kind.PROBE_JUMPS, Kind.PROBE_FAHRENHEIT):
        reading = Reading("N1", 0, None, Quality.BAD)
        arrived = signals.passed(Arrivals((reading,)), {0: a_fault(kind, by=1)}, 0)
        assert arrived.readings[0].milli is None
