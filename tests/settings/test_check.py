"""`bottomheat check` says a configuration in words, and what to see to."""

import argparse
import json
from pathlib import Path

import pytest

from controller.cli import check

BENCH = Path(__file__).parents[2] / "config" / "bench.toml"
LEASE = "lease = true\n"
ON_MAT = '[[probe]]\nname = "M1"\nmat = "north"\ntopic = "probe/M1"\n'


@pytest.fixture
def check_text(tmp_path, monkeypatch, capsys):
    """Run the command on a text; return its exit status and what it printed."""
    monkeypatch.chdir(tmp_path)
    parser = argparse.ArgumentParser()
    check.add_parser(parser.add_subparsers())

    def run(text: str, *flags: str) -> tuple[int, str, str]:
        Path("bench.toml").write_text(text, encoding="utf-8")
        args = parser.parse_args(["check", "bench.toml", *flags])
        status = args.run(args)
        out, err = capsys.readouterr()
        return status, out, err

    return run


@pytest.fixture
def sound(small):
    """A configuration with nothing to see to."""
    return small.replace(LEASE, LEASE + 'reports_on = "r/n"\n') + ON_MAT


def test_the_demo_bench_is_said_in_words(check_text):
    status, out, err = check_text(BENCH.read_text(encoding="utf-8"))
    assert (status, err) == (0, "")
    for line in (
        "Bench lean-to, looked at every 5 s; broker at 127.0.0.1:1883",
        'Mat north "North mat, dormant hardwood"',
        "  100 W on 1.2 m x 0.53 m",
        "  Keeps tray N2 at 21 °C",
        "  by one dose of heat in every 10 min (PID)",
        "  by switching on and off, 0.25 K apart",
        "  Relay on lean-to/relay/north: drops out 15 s after the last command to heat",
        '  Tray S1 "Chilli, seed" in peat-perlite: probe S1, degree-hours from 13 °C '
        "to 32 °C",
        "  At 30 °C in any root zone: a warning",
        "  4 K above the setpoint in any root zone: heat waits until it is cooler",
        "  At 42 °C on its surface: heat waits; at 50 °C: locked off likewise",
        "  Silent for 2 min, it counts as lost: probe N1, N2, N3, north-mat",
        "Nobody is told of alarms: a table [[notify]] would name somebody",
        "Nothing in it to see to.",
    ):
        assert line in out.splitlines()


def test_it_says_who_is_told_and_no_secret(check_text, sound):
    hook = '[[notify]]\nurl = "https://hooks.example/secret"\n'
    status, out, _ = check_text(sound + hook)
    assert status == 0
    assert "  notify-1 (https://hooks.example): high and medium alarms\n" in out
    _, as_json, _ = check_text(sound + hook, "--json")
    assert json.loads(as_json)["notify"][0] == "Who is told of alarms"
    assert "secret" not in out + as_json


def test_an_address_that_cannot_be_read_is_an_error(check_text, sound):
    status, out, err = check_text(sound + '[[notify]]\nurl_file = "gone"\n')
    assert (status, out) == (2, "")
    assert err == (
        "notify notify-1: url_file gone: cannot be read: No such file or directory\n"
    )


@pytest.mark.parametrize(
    "words",
    [
        "not a safety device",
        "independent thermal cut-out",
        "RCD (GFCI)",
        "listed heat mat",
        "mat's instructions",
        "local codes",
        "licensed electrician",
    ],
)
def test_the_cautions_are_always_said(check_text, sound, words):
    _, out, _ = check_text(sound)
    assert words in out


def test_the_writers_unit_is_spoken(check_text, sound):
    _, out, _ = check_text(
        sound.replace('name = "small"', 'name = "small"\ndisplay_unit = "°F"')
    )
    assert "  Keeps the middle one of its trays at 75 °F" in out
    assert "  At 86 °F in any root zone: a warning" in out
    assert "  7.2 °F above the setpoint in any root zone" in out
    assert "  by switching on and off, 0.45 °F apart" in out
    assert "23.9" not in out


def test_errors_go_to_standard_error_and_exit_2(check_text, sound):
    status, out, err = check_text(sound.replace('"75 °F"', "75"))
    assert (status, out) == (2, "")
    assert err == (
        "bench.toml: mat north: setpoint = 75: write a temperature with its unit, "
        'such as "75 °F" or "24 °C"; a bare number could cook cuttings\n'
    )


def test_errors_are_words_even_where_json_was_asked_for(check_text):
    status, out, err = check_text("", "--json")
    assert (status, out) == (2, "")
    assert err.startswith("bench.toml: ")


def test_the_environment_of_the_process_counts(check_text, sound, monkeypatch):
    monkeypatch.setenv("BOTTOMHEAT_RUBBISH", "x")
    status, _, err = check_text(sound)
    assert status == 2
    assert err.startswith("environment: BOTTOMHEAT_RUBBISH: after BOTTOMHEAT_: no such")


FINDINGS = [
    (
        ON_MAT,
        ON_MAT + '[[notify]]\nurl = "https://x.example"\nall_is_well = "08:00"\n',
        "notify goes by the time of day but there is no timezone: UTC counts",
    ),
    (
        ON_MAT,
        ON_MAT + '[[notify]]\nurl = "mqtt"\n',
        "whoever is told of alarms hears nothing when the broker is lost",
    ),
    (
        LEASE,
        'on = "1"\noff = "0"\n',
        "mat north: CANNOT BE SURE TO FAIL OFF: a plain relay that last heard its on "
        "word stays on when nobody speaks to it any more; the broker says its off word "
        "when this program dies, but not when the broker or the network does: set the "
        "relay's own auto-off timer to a few minutes, or use one with leases",
    ),
    (
        'topic = "relay/north"\nlease = true\nreports_on = "r/n"\n',
        'pin = "GPIO17"\n',
        "mat north: CANNOT BE SURE TO FAIL OFF: a pin keeps its level while the board "
        "hangs, and from when this program is killed until it is started again; switch "
        "on the board's hardware watchdog, or use a relay with leases",
    ),
    (
        ON_MAT,
        "",
        "mat north has no surface probe: its surface limits cannot act",
    ),
    (
        'reports_on = "r/n"\n',
        "",
        "mat north: its relay reports nothing: whether it obeys is not known",
    ),
    (
        ON_MAT,
        ON_MAT + '[[tray]]\nname = "bare"\nmat = "north"\n',
        "tray bare has no probe: its temperature is not known",
    ),
    (
        'setpoint = "75 °F"\n',
        'setpoint = "75 °F"\nnight_setpoint = "65 °F"\n',
        "there are night setpoints but no timezone: night is told by UTC",
    ),
]


@pytest.mark.parametrize(
    ("old", "new", "finding"),
    FINDINGS,
    ids=[
        "no zone",
        "only mqtt",
        "plain",
        "pin",
        "no surface",
        "no reports",
        "bare tray",
        "no timezone",
    ],
)
def test_a_finding_is_told_and_exits_1(check_text, sound, old, new, finding):
    assert old in sound
    status, out, err = check_text(sound.replace(old, new))
    assert (status, err) == (1, "")
    told = out.split("To see to:\n")[1].split("\n\n")[0].splitlines()
    assert told == [f"  - {finding}"]


def test_json_holds_the_same_words(check_text, small):
    status, out, _ = check_text(small, "--json")
    told = json.loads(out)
    assert status == 1
    assert (told["config"], told["bench"]) == ("bench.toml", "small")
    assert told["mats"][0]["name"] == "north"
    assert "Keeps the middle one of its trays at 75 °F" in told["mats"][0]["in_words"]
    assert len(told["findings"]) == 2
    assert told["cautions"] == list(check.CAUTIONS)
    assert told["written"]["mat north: setpoint"] == "75 °F"


def test_what_a_second_probe_would_tell_is_said(check_text, sound):
    _, out, _ = check_text(sound)
    assert "by one probe alone" in out
    assert "with a probe in the room" in out
    room = '[[probe]]\nname = "R"\nroom = true\ntopic = "probe/R"\n'
    other = (
        '[[tray]]\nname = "N9"\nmat = "north"\n'
        '[[probe]]\nname = "P9"\ntray = "N9"\ntopic = "probe/P9"\n'
    )
    _, out, _ = check_text(sound + other + room)
    assert "by one probe alone" not in out
    assert "with a probe in the room" not in out


def test_steps_nights_and_ramps_are_said(check_text, sound):
    text = (
        sound.replace('name = "small"', 'name = "small"\ntimezone = "UTC"')
        .replace('setpoint = "75 °F"\n', 'policy = "pid"\nnight = "21:00-06:30"\n')
        .replace(
            LEASE + 'reports_on = "r/n"\n',
            LEASE
            + 'reports_on = "r/n"\n'
            + '[[mat.step]]\nsetpoint = "24 °C"\nuntil = "10 days"\n'
            + '[[mat.step]]\nsetpoint = "20 °C"\nnight_setpoint = "18 °C"\n'
            + '[[mat.step]]\nsetpoint = "12 °C"\n',
        )
    )
    status, out, _ = check_text(text)
    assert status == 0
    assert (
        "  Keeps the middle one of its trays at 24 °C for 10 days; then at 20 °C (by "
        "night, 21:00 to 06:30, 18 °C) until a person goes on; then at 12 °C\n"
    ) in out
    assert "  nearing a new setpoint at 3 K/h\n" in out


def test_a_time_is_said_in_whole_units_where_it_can_be(check_text, sound):
    _, out, _ = check_text(
        sound.replace(
            'setpoint = "75 °F"\n',
            'setpoint = "75 °F"\nmin_on = "90500 ms"\nmin_off = "1 h"\n',
        )
    )
    assert "  on for at least 90.5 s, off for 1 h\n" in out


def test_what_is_on_no_mat_is_said_too(check_text, sound):
    _, out, _ = check_text(
        '[log]\non_failure = "heat-off"\n[broker]\nurl = "embedded"\n'
        + sound
        + '[[tray]]\nname = "sill"\n'
        + '[[probe]]\nname = "air"\nroom = true\ntopic = "a"\n'
        + '[[probe]]\nname = "damp"\nquantity = "humidity"\ntopic = "b"\n'
        + '[[mat]]\nname = "spare"\npower = "8 W"\narea = "1 m x 1 m"\n'
        + 'setpoint = "20 °C"\n'
    )
    for line in (
        "If the season log cannot be written: heat off, with an alarm.",
        "broker embedded in it",
        "  Tray sill: no probe, degree-hours from 10 °C",
        "  Probe air in the room",
        "  Probe damp measures humidity: logged only",
        "  Watched only: it has no relay, and is never commanded",
    ):
        assert line in out


@pytest.mark.parametrize(
    ("way", "words"),
    [
        ("mean", "the mean of its trays"),
        ("coolest", "its coolest tray"),
        ("warmest", "its warmest tray"),
        ("N1", "tray N1"),
    ],
)
def test_what_drives_a_mat_is_said(check_text, sound, way, words):
    setpoint = 'setpoint = "75 °F"\n'
    _, out, _ = check_text(sound.replace(setpoint, f'{setpoint}driven_by = "{way}"\n'))
    assert f"  Keeps {words} at 75 °F\n" in out
