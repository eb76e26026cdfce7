"""A good configuration becomes the plan and the wiring that it describes."""

# Plain numbers stand for the core's units here.
# pyright: reportArgumentType=false

import dataclasses
import tomllib
from pathlib import Path

import pytest

from controller.adapters.settings import ApiSettings, known_keys
from controller.core.plan import (
    DrivenBy,
    MatPlan,
    Night,
    OnLogFailure,
    OnOff,
    Pid,
    Plan,
    ProbePlan,
    Quantity,
    RelayKind,
    StepPlan,
    TrayPlan,
    all_probes,
    all_trays,
)
from controller.core.plan_rules import problems
from controller.wiring import (
    BrokerWire,
    NumberPayload,
    PointerPayload,
    ProbeWire,
    RelayWire,
    SenmlPayload,
    TemperatureUnit,
)

BENCH = Path(__file__).parents[2] / "config" / "bench.toml"
SETPOINT = 'setpoint = "75 °F"\n'
RELAY = '[mat.relay]\ntopic = "relay/north"\nlease = true\n'


def test_the_smallest_configuration_is_the_plans_own_defaults(loaded, small):
    probe = ProbePlan(name="P1")
    mat = MatPlan(
        name="north",
        power_mw=100_000,
        length_mm=1_200,
        width_mm=530,
        policy=OnOff(),
        programme=(StepPlan(23_889),),
        relay=RelayKind.LEASE,
        trays=(TrayPlan(name="N1", probes=(probe,)),),
    )
    assert loaded(small).plan == Plan(bench="small", mats=(mat,))


def test_a_pid_mat_has_the_plans_own_defaults_but_for_its_times(loaded, small):
    (mat,) = loaded(small.replace(SETPOINT, SETPOINT + 'policy = "pid"\n')).plan.mats
    assert mat.policy == Pid()
    assert (mat.min_on_ms, mat.min_off_ms) == (60_000, 60_000)
    assert mat.ramp_mk_per_h == 3_000


def test_what_was_written_is_echoed_in_the_writers_unit(loaded, small):
    settings = loaded(small.replace('"75 °F"', '"75degF"'))
    assert settings.plan.mats[0].programme[0].setpoint_mc == 23_889
    assert settings.written["mat north: setpoint"] == "75 °F"
    assert settings.written["mat north: area"] == "1.2 m x 0.53 m"
    assert "mat north: cutout" not in settings.written


def test_the_rest_of_the_settings_has_its_defaults(loaded, small):
    settings = loaded(small)
    assert (settings.source, settings.timezone) == ("bench.toml", "UTC")
    assert settings.display_unit == "°C"
    assert settings.api == ApiSettings(host="127.0.0.1", port=8000)
    assert (settings.log.path, settings.log.commit_every_ms) == (
        Path("season.db"),
        60_000,
    )
    assert settings.wiring.broker == BrokerWire()
    assert settings.wiring.bench == "small"


def test_every_key_of_a_mat_is_heard(loaded, small):
    text = small.replace(
        SETPOINT,
        """\
title = "North mat"
policy = "pid"
setpoint = "22 °C"
night_setpoint = "18 °C"
night = "21:30-05:45"
driven_by = "coolest"
min_on = "30 s"
min_off = "90 s"
cycle = "5 min"
ramp = "2 K/h"
warn = "28 °C"
tray_limit = "3 K"
cutout = "31 °C"
surface_limit = "40 °C"
surface_cutout = "45 °C"
settle = "30 min"
heat_allowance = "3 K"
rise_limit = "2 K"
stray_heat = "2 K"
disagreement = "9 °F"
longest_on = "10 h"
daily_on = "18 h"
stale_after = "5 min"
pid = { gain_per_k = 0.5, integral_time = "2 h", derivative_time = "1 min" }
""",
    ).replace("lease = true\n", 'lease = true\nreports_on = "r/n"\n')
    (mat,) = loaded(text).plan.mats
    assert dataclasses.replace(mat, trays=()) == MatPlan(
        name="north",
        title="North mat",
        power_mw=100_000,
        length_mm=1_200,
        width_mm=530,
        policy=Pid(0.5, 7_200.0, 60.0, 300_000),
        programme=(StepPlan(22_000, 18_000),),
        night=Night(21 * 60 + 30, 5 * 60 + 45),
        driven_by=DrivenBy.COOLEST,
        relay=RelayKind.LEASE,
        reports=True,
        min_on_ms=30_000,
        min_off_ms=90_000,
        ramp_mk_per_h=2_000,
        warn_mc=28_000,
        tray_limit_mk=3_000,
        cutout_mc=31_000,
        surface_limit_mc=40_000,
        surface_cutout_mc=45_000,
        settle_ms=1_800_000,
        heat_allowance_mk=3_000,
        rise_limit_mk=2_000,
        stray_heat_mk=2_000,
        disagreement_mk=5_000,
        longest_on_ms=36_000_000,
        daily_on_ms=64_800_000,
    )
    assert mat.trays[0].probes[0].stale_after_ms == 300_000


def test_every_key_of_a_tray_and_a_probe_is_heard(loaded, small):
    text = small.replace(
        'mat = "north"\n',
        'mat = "north"\ntitle = "Quince"\nmedium = "bark-sand"\ndepth = "8 cm"\n'
        'place = [2, 3]\nbase = "50 °F"\nupper = "30 °C"\n',
    )
    text += (
        'depth = "4 cm"\noffset = "-0.3 K"\noffset_date = 2026-01-31\n'
        'every = "10 s"\nsentinels = false\nunit = "°F"\nstuck_after = "6 h"\n'
    )
    settings = loaded(text)
    (tray,) = settings.plan.mats[0].trays
    probe = ProbePlan(
        name="P1",
        depth_mm=40,
        offset_mk=-300,
        every_ms=10_000,
        stuck_after_ms=21_600_000,
        one_wire=False,
    )
    assert tray == TrayPlan(
        name="N1",
        title="Quince",
        medium="bark-sand",
        depth_mm=80,
        row=2,
        column=3,
        base_mc=10_000,
        upper_mc=30_000,
        probes=(probe,),
    )
    assert settings.written["probe P1: offset_date"] == "2026-01-31"
    assert settings.wiring.probes[0].unit is TemperatureUnit.FAHRENHEIT


def test_a_programme_has_steps_that_last_days_or_wait_for_a_person(loaded, small):
    steps = """\
[[mat.step]]
title = "callus"
setpoint = "75 °F"
until = "10 days"
[[mat.step]]
setpoint = "22 °C"
night_setpoint = "18 °C"
until = "by hand"
[[mat.step]]
setpoint = "12 °C"
"""
    settings = loaded(small.replace(SETPOINT + RELAY, RELAY + steps))
    assert settings.plan.mats[0].programme == (
        StepPlan(23_889, None, 10.0, "callus"),
        StepPlan(22_000, 18_000),
        StepPlan(12_000),
    )
    assert settings.written["mat north: step 1: setpoint"] == "75 °F"


def test_a_ramp_may_be_none(loaded, small):
    text = small.replace(SETPOINT, SETPOINT + 'policy = "pid"\nramp = "none"\n')
    assert loaded(text).plan.mats[0].ramp_mk_per_h is None


def test_a_mat_is_driven_by_a_tray_of_its_own(loaded, small):
    (mat,) = loaded(small.replace(SETPOINT, SETPOINT + 'driven_by = "N1"\n')).plan.mats
    assert (mat.driven_by, mat.driving_tray) == (DrivenBy.TRAY, "N1")


def test_trays_without_a_place_stand_side_by_side(loaded, small):
    text = small + "".join(
        f'[[tray]]\nname = "N{n}"\nmat = "north"\n{place}'
        for n, place in ((2, "place = [1, 2]\n"), (3, ""), (4, ""))
    )
    (mat,) = loaded(text).plan.mats
    assert [(tray.row, tray.column) for tray in mat.trays] == [
        (1, 1),
        (1, 2),
        (1, 3),
        (1, 4),
    ]


def test_probes_stand_where_they_are_said_to(loaded, small):
    settings = loaded(
        small
        + '[[tray]]\nname = "sill"\n'
        + '[[probe]]\nname = "on-mat"\nmat = "north"\ntopic = "a"\n'
        + '[[probe]]\nname = "on-sill"\ntray = "sill"\none_wire = "28-0000051d3a2f"\n'
        + '[[probe]]\nname = "air"\nroom = true\ntopic = "b"\nevery = "5 min"\n'
        + '[[probe]]\nname = "damp"\nquantity = "humidity"\ntopic = "c"\n'
        + '[[probe]]\nname = "wet"\nquantity = "moisture"\ntray = "N1"\ntopic = "d"\n'
    )
    plan = settings.plan
    assert [probe.name for probe in plan.mats[0].surface] == ["on-mat"]
    assert [probe.name for probe in plan.mats[0].trays[0].probes] == ["P1"]
    assert [probe.name for probe in plan.trays[0].probes] == ["on-sill"]
    assert [probe.name for probe in plan.witnesses] == ["damp", "wet"]
    assert plan.witnesses[0].quantity is Quantity.HUMIDITY
    (air,) = plan.room
    assert air.stale_after_ms == 750_000  # 2.5 times 5 min
    assert settings.wiring.probes[2] == ProbeWire(
        probe="on-sill", one_wire="28-0000051d3a2f"
    )
    assert settings.wiring.probes[4] == ProbeWire(
        probe="damp", topic="c", is_temperature=False
    )


@pytest.mark.parametrize(
    ("keys", "payload"),
    [
        ("", NumberPayload()),
        ('payload = "number"', NumberPayload()),
        ('payload = "/data/0/t~1x"', PointerPayload("/data/0/t~1x")),
        ('payload = ""', PointerPayload("")),
        ('payload = "senml"', SenmlPayload()),
        ('payload = "senml"\nsenml_name = "dev:1"', SenmlPayload("dev:1")),
    ],
)
def test_a_payload_has_one_of_three_formats(loaded, small, keys, payload):
    assert loaded(f"{small}{keys}\n").wiring.probes[0].payload == payload


@pytest.mark.parametrize(
    ("one", "other"),
    [
        ('payload = "/a"', 'payload = "/b"'),
        (
            'payload = "senml"\nsenml_name = "a"',
            'payload = "senml"\nsenml_name = "b"',
        ),
    ],
    ids=["pointers", "SenML names"],
)
def test_two_probes_may_share_a_topic_if_they_read_different_numbers(
    loaded, small, one, other
):
    second = f'[[probe]]\nname = "P2"\ntray = "N1"\ntopic = "probe/P1"\n{other}\n'
    settings = loaded(f"{small}{one}\n{second}")
    assert [wire.topic for wire in settings.wiring.probes] == ["probe/P1"] * 2


@pytest.mark.parametrize(
    ("relay", "wire"),
    [
        (
            'topic = "r"\nlease = true\nreports_on = "s"',
            RelayWire(mat="north", kind=RelayKind.LEASE, topic="r", reports_on="s"),
        ),
        ('topic = "r"', RelayWire(mat="north", kind=RelayKind.PLAIN, topic="r")),
        (
            'topic = "r"\non = "1"\noff = "0"',
            RelayWire(
                mat="north", kind=RelayKind.PLAIN, topic="r", on_word="1", off_word="0"
            ),
        ),
        (
            'pin = "GPIO17"',
            RelayWire(mat="north", kind=RelayKind.PIN, pin="GPIO17"),
        ),
        (
            'pin = "GPIO17"\nactive_low = true\npower_on = "w"',
            RelayWire(
                mat="north",
                kind=RelayKind.PIN,
                pin="GPIO17",
                active_low=True,
                power_on="w",
            ),
        ),
        (
            'topic = "r"\npower_on = "r/power"',
            RelayWire(mat="north", kind=RelayKind.PLAIN, topic="r", power_on="r/power"),
        ),
    ],
    ids=["lease", "plain", "plain with words", "pin", "low pin", "wattmeter"],
)
def test_a_relay_is_reached_in_one_of_three_ways(loaded, small, relay, wire):
    settings = loaded(small.replace(RELAY, f"[mat.relay]\n{relay}\n"))
    assert settings.wiring.relays == (wire,)
    assert settings.plan.mats[0].relay is wire.kind
    assert settings.plan.mats[0].reports is (wire.reports_on is not None)


def test_a_mat_without_a_relay_is_only_watched(loaded, small):
    settings = loaded(small.replace(RELAY, ""))
    assert settings.plan.mats[0].relay is None
    assert settings.wiring.relays == ()


@pytest.mark.parametrize(
    ("keys", "wire"),
    [
        ('url = "mqtt://garden"', BrokerWire(host="garden")),
        ('url = "mqtt://garden:1884/"', BrokerWire(host="garden", port=1884)),
        ('url = "mqtt://[::1]:1884"', BrokerWire(host="::1", port=1884)),
        ('url = "mqtts://garden"', BrokerWire(host="garden", port=8883, tls=True)),
        ('url = "embedded"', BrokerWire(embedded=True, port=0)),
        (
            'url = "mqtts://garden"\nca_file = "ca"\nusername = "me"\n'
            'password_file = "pw"',
            BrokerWire(
                host="garden",
                port=8883,
                tls=True,
                username="me",
                password_file=Path("pw"),
                ca_file=Path("ca"),
            ),
        ),
    ],
)
def test_a_broker_is_reached_by_its_address(loaded, small, keys, wire):
    assert loaded(f"[broker]\n{keys}\n{small}").wiring.broker == wire


@pytest.mark.parametrize(
    "url",
    [
        "mqtt://",
        "mqtt:garden",
        "mqtt://garden:0",
        "mqtt://garden:99999",
        "mqtt://[::1",
        "mqtt://garden/path",
        "mqtt://garden?x=1",
        "mqtt://gar den",
        "",
    ],
)
def test_an_address_that_leads_to_no_broker_is_refused(complaints, small, url):
    (line,) = complaints(f'[broker]\nurl = "{url}"\n{small}')
    assert line.startswith(f'bench.toml: [broker] url = "{url}": write "mqtt://host"')


def test_the_embedded_broker_asks_for_no_name(complaints, small):
    assert complaints(f'[broker]\nurl = "embedded"\nusername = "me"\n{small}') == [
        'bench.toml: [broker] username = "me": leave it out: the embedded broker asks '
        "for no name"
    ]


def test_a_home_is_put_for_a_tilde(loaded, small, monkeypatch):
    monkeypatch.setenv("HOME", "/srv/grower")
    settings = loaded(f'[log]\npath = "~/season.db"\n{small}')
    assert settings.log.path == Path("/srv/grower/season.db")


def test_a_byte_order_mark_and_dos_lines_do_no_harm(loaded, small):
    assert loaded("\ufeff" + small.replace("\n", "\r\n")).plan == loaded(small).plan


# --------------------------------------------------------------- the environment


def test_the_environment_overrides_the_four_single_tables(loaded, small):
    settings = loaded(
        '[api]\nport = 1\n[log]\npath = "old.db"\n' + small,
        {
            "BOTTOMHEAT_BENCH__NAME": "other",
            "BOTTOMHEAT_BENCH__DISPLAY_UNIT": "°F",
            "BOTTOMHEAT_BENCH__SCAN": "10 s",
            "BOTTOMHEAT_BENCH__TIMEZONE": "Etc/GMT-1",
            "BOTTOMHEAT_BROKER__URL": "mqtt://garden:1884",
            "BOTTOMHEAT_LOG__PATH": "new.db",
            "BOTTOMHEAT_LOG__COMMIT_EVERY": "5 s",
            "BOTTOMHEAT_LOG__ON_FAILURE": "heat-off",
            "BOTTOMHEAT_API__PORT": "9000",
            "BOTTOMHEAT_API__NAMES": "Bench.home.arpa, bench.local",
            "BOTTOMHEAT_API__PROXIES": "127.0.0.1",
            "BOTTOMHEAT_TOKEN": "for commands that ask, and no setting",
            "PATH": "/bin",
        },
    )
    assert settings.plan.bench == settings.wiring.bench == "other"
    assert settings.plan.scan_ms == 10_000
    assert settings.plan.on_log_failure is OnLogFailure.HEAT_OFF
    assert (settings.timezone, settings.display_unit) == ("Etc/GMT-1", "°F")
    assert settings.wiring.broker == BrokerWire(host="garden", port=1884)
    assert settings.log.path == Path("new.db")
    assert settings.log.commit_every_ms == 5_000
    assert settings.api == ApiSettings(
        host="127.0.0.1",
        port=9000,
        names=("bench.home.arpa", "bench.local"),
        proxies=("127.0.0.1",),
    )


def test_the_process_own_environment_is_not_looked_at(loaded, small, monkeypatch):
    monkeypatch.setenv("BOTTOMHEAT_API__PORT", "9000")
    monkeypatch.setenv("BOTTOMHEAT_RUBBISH", "x")
    assert loaded(small).api.port == 8000


@pytest.mark.parametrize(
    ("name", "value", "line"),
    [
        (
            "BOTTOMHEAT_API__PORT",
            "many",
            'BOTTOMHEAT_API__PORT = "many": write a TCP port from 1 to 65535, or 0 for '
            "any free one",
        ),
        (
            "BOTTOMHEAT_BENCH__SCAN",
            "5",
            'BOTTOMHEAT_BENCH__SCAN = "5": write a time span with its unit, such as '
            '"30 s", "10 min" or "2 h"; a bare number could be seconds or minutes',
        ),
        (
            "BOTTOMHEAT_BENCH__SCAN",
            "5 min",
            'BOTTOMHEAT_BENCH__SCAN = "5 min": from 1 s to 30 s',
        ),
        (
            "BOTTOMHEAT_LOG__COMMIT_EVERY",
            "1 h",
            'BOTTOMHEAT_LOG__COMMIT_EVERY = "1 h": from 1 s to 10 min: it is what a '
            "power cut can lose",
        ),
        (
            "BOTTOMHEAT_BENCH__NAM",
            "x",
            "BOTTOMHEAT_BENCH__NAM: after BOTTOMHEAT_: no such key; did you mean "
            "BENCH__NAME?",
        ),
        (
            "bottomheat_api__port",
            "9000",
            "bottomheat_api__port: write it in capitals: BOTTOMHEAT_API__PORT",
        ),
        (
            "BOTTOMHEAT_API",
            '{"port": 9000}',
            "BOTTOMHEAT_API: after BOTTOMHEAT_: no such key; known here: API__HOST, "
            "API__NAMES, API__PORT, API__PROXIES, API__TLS_CERT, API__TLS_KEY",
        ),
        (
            "BOTTOMHEAT_API__PORT__X",
            "9000",
            "BOTTOMHEAT_API__PORT__X: after BOTTOMHEAT_: no such key; did you mean "
            "API__PORT?",
        ),
        (
            "BOTTOMHEAT_MAT__0__SETPOINT",
            "24 °C",
            "BOTTOMHEAT_MAT__0__SETPOINT: mats, trays, probes, notify and crops are"
            " set in the file only",
        ),
        (
            "BOTTOMHEAT_MAT",
            "[]",
            "BOTTOMHEAT_MAT: mats, trays, probes, notify and crops are set in the file"
            " only",
        ),
    ],
    ids=lambda value: value if str(value).startswith("BOTTOM") else "",
)
def test_a_variable_that_is_wrong_or_unknown_is_refused(
    complaints, small, name, value, line
):
    assert complaints(small, {name: value}) == [f"environment: {line}"]


def test_a_variable_may_right_what_the_file_has_wrong(loaded, small):
    settings = loaded(f"[api]\nport = 70000\n{small}", {"BOTTOMHEAT_API__PORT": "80"})
    assert settings.api.port == 80


# ---------------------------------------------------------------- the demo bench


def test_the_demo_bench_is_a_good_configuration(loaded):
    settings = loaded(BENCH.read_text(encoding="utf-8"))
    plan = settings.plan
    assert problems(plan) == ()
    north, south = plan.mats
    assert isinstance(north.policy, Pid)
    assert isinstance(south.policy, OnOff)
    assert (north.power_mw, south.power_mw) == (100_000, 80_000)
    assert (north.programme[0].setpoint_mc, south.programme[0].setpoint_mc) == (
        21_000,
        26_000,
    )
    assert {mat.relay for mat in plan.mats} == {RelayKind.LEASE}
    assert [tray.name for tray in all_trays(plan)] == ["N1", "N2", "N3", "S1", "S2"]
    assert all(len(tray.probes) == 1 for tray in all_trays(plan))
    assert all(len(mat.surface) == 1 and mat.reports for mat in plan.mats)
    assert len(plan.room) == 1
    assert len(all_probes(plan)) == len(settings.wiring.probes) == 8


def test_the_demo_bench_says_that_it_is_invented():
    assert BENCH.read_text(encoding="utf-8").startswith("# An invented bench")


def test_the_known_keys_are_those_that_files_may_hold():
    keys = known_keys()
    assert len(set(keys)) == len(keys)
    assert {"bench.name", "mat.setpoint", "mat.relay.topic", "probe.every"} <= {*keys}
    used = {
        f"{table}.{key}"
        for table, content in tomllib.loads(BENCH.read_text(encoding="utf-8")).items()
        for item in (content if isinstance(content, list) else [content])
        for key in item
        if key != "relay"
    }
    assert used <= {*keys}
