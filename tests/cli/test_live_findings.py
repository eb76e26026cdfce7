"""What is thought of a bench that was listened to."""

import os
from dataclasses import replace
from pathlib import Path

import pytest

from controller.adapters.board import BoardFacts, board_facts
from controller.cli.live_check import Met
from controller.cli.live_findings import (
    BrokerHeard,
    Finding,
    ProbeHeard,
    board_findings,
    broker_findings,
    probe_findings,
)
from controller.cli.live_words import in_words
from controller.core.plan import Plan, ProbePlan
from controller.core.scan import Quality, Reading, Refusal

EVERY_MS = 30_000
PLAN = Plan(bench="lean-to")
WELL = BoardFacts(clock_ok=True, folder=Path(), free_bytes=10**10, writable=True)


def heard(name: str, milli: int = 20_000, *, pause_ms: int = EVERY_MS, **changed):
    times = tuple(range(0, 4 * pause_ms, pause_ms))
    readings = tuple(Reading(name, t, milli) for t in times)
    found = ProbeHeard(
        ProbePlan(name=name, every_ms=EVERY_MS), f"t/{name}", readings, (), times
    )
    return replace(found, **changed)


def said(*probes: ProbeHeard, topics: tuple[str, ...] = ()) -> list[str]:
    return [str(f) for f in probe_findings(PLAN, probes, 70_000, topics)]


def test_probes_that_do_as_the_configuration_says_are_well():
    assert said(heard("N1"), heard("N2", 21_000), heard("room", 12_000)) == []


def test_a_silent_one_is_told_with_topics_that_look_alike():
    silent = heard("N1", readings=(), live_at_ms=())
    (text,) = said(silent, topics=("bench/n1", "t/N2"))
    assert "said nothing in 70 s on t/N1" in text
    assert "Heard: bench/n1" in text
    assert "t/N2" not in text


def test_what_the_broker_had_kept_is_no_word_of_now():
    kept = (Reading("N1", 0, 20_000, Quality.UNCERTAIN, "retained by the broker"),)
    (text,) = said(heard("N1", readings=kept, live_at_ms=()))
    assert "says nothing now" in text


def test_of_two_that_are_far_apart_both_are_named():
    """68 °F in a room, and the configuration says °C."""
    (text,) = said(heard("N1", 20_500), heard("room", 68_000))
    assert text.startswith("probes N1 and room: say 20.5 °C and 68.0 °C. Where")
    assert said(heard("N1", 40_000), heard("room", 11_000)) == []
    assert said(heard("N1", 68_000)) == []


def test_a_question_is_no_sentence_with_a_full_stop():
    found = Met(findings=[Finding("a", "b", "Is it?"), Finding("c", "d", "Mend it")])
    assert [line.strip() for line in in_words(found)][-4:] == [
        "- a: b.",
        "Is it?",
        "- c: d.",
        "Mend it.",
    ]


@pytest.mark.parametrize(("pause_ms", "told"), [(62_000, "62 s"), (5_000, "5 s")])
def test_another_pace_than_configured_is_told(pause_ms, told):
    (text,) = said(heard("N1", pause_ms=pause_ms))
    assert f"speaks every {told}, the configuration says 30 s" in text
    assert f'every = "{told}"' in text


@pytest.mark.parametrize("milli", [85_000, -127_000, 127_937])
def test_the_words_of_a_probe_that_did_not_measure_are_known(milli):
    assert "no measurement" in said(heard("N1", milli))[0]


def test_a_number_in_another_unit_is_noticed():
    """68 °F, configured as °C, among others that say 20 °C."""
    (text,) = said(heard("N1", 68_000), heard("N2"), heard("N3"))
    assert "in the unit" in text
    (text,) = said(heard("N1", 293_150), heard("N2"), heard("N3"))
    assert "no bench has" in text


def test_what_was_refused_is_told_with_its_reason():
    refusals = (Refusal("N1", 0, "found hello: must be a number"),)
    (text,) = said(heard("N1", readings=(), live_at_ms=(0,), refusals=refusals))
    assert "found hello" in text
    (text,) = said(heard("N1", refusals=refusals))
    assert "1 messages were no readings" in text


def test_one_word_is_too_few_to_know_a_pace():
    (text,) = said(heard("N1", live_at_ms=(0,)))
    assert "heard only once" in text


@pytest.mark.parametrize(
    ("changed", "told"),
    [
        ({"clock_ok": False}, "night setpoints wait"),
        ({"free_bytes": 10**6}, "only 1 MB"),
        ({"writable": False}, "nothing can be written"),
        ({"fs_errors": 3}, "3 errors"),
        ({"life_used": 9}, "life is used"),
        ({"reserve": 2}, "life is used"),
        ({"low_supply": True}, "voltage"),
    ],
)
def test_each_trouble_of_a_board_is_one_finding(changed, told):
    assert list(board_findings(WELL, nights=True)) == []
    (finding,) = board_findings(replace(WELL, **changed), nights=True)
    assert told in str(finding)
    assert finding.mend


def test_a_broker_that_only_this_board_reaches_may_let_anybody_in():
    assert list(broker_findings(BrokerHeard(False, True, ("north",)))) == []
    texts = [str(f) for f in broker_findings(BrokerHeard(True, True, ("north",)))]
    assert "anybody in your network may enter" in texts[0]
    assert "may command the relay of mat north" in texts[1]
    assert list(broker_findings(BrokerHeard(True, False))) == []


def test_the_kernels_files_are_read(tmp_path):
    """An ext4 partition on a soldered card, and a supply that sagged."""
    number = tmp_path.stat().st_dev
    part = tmp_path / "devices" / "mmcblk0" / "mmcblk0p2"
    (part / "..").resolve().mkdir(parents=True)
    part.mkdir()
    (part / "partition").write_text("2\n")
    device = part.parent / "device"
    device.mkdir()
    (device / "life_time").write_text("0x02 0x09\n")
    (device / "pre_eol_info").write_text("0x01\n")
    blocks = tmp_path / "dev" / "block"
    blocks.mkdir(parents=True)
    (blocks / f"{os.major(number)}:{os.minor(number)}").symlink_to(part)
    errors = tmp_path / "fs" / "ext4" / "mmcblk0p2"
    errors.mkdir(parents=True)
    (errors / "errors_count").write_text("7\n")
    chip = tmp_path / "class" / "hwmon" / "hwmon1"
    chip.mkdir(parents=True)
    (chip / "name").write_text("rpi_volt\n")
    (chip / "in0_lcrit_alarm").write_text("1\n")
    facts = board_facts(tmp_path, clock_ok=True, sys=tmp_path)
    assert (facts.fs_errors, facts.life_used, facts.reserve) == (7, 9, 1)
    assert facts.low_supply is True


def test_a_board_that_says_nothing_is_no_trouble(tmp_path):
    facts = board_facts(tmp_path, clock_ok=True, sys=tmp_path / "none")
    assert (facts.fs_errors, facts.life_used, facts.low_supply) == (None, None, None)
    assert list(board_findings(replace(facts, free_bytes=10**10), nights=False)) == []


def test_a_board_without_any_time_service_is_told_how_to_get_one():
    """A Debian made by debootstrap has none, and set-ntp then fails."""
    (found,) = board_findings(replace(WELL, clock_ok=False), nights=False)
    assert found.mend.index("set-ntp true") < found.mend.index("systemd-timesyncd")
