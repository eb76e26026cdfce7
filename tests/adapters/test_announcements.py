"""What is told on MQTT, and that it is told once."""

import json

from controller.adapters.announcements import Announcer
from controller.core.scan import Scan
from controller.ports import Snapshot
from tests.builders import Bench


def snapshot(bench: Bench) -> Snapshot:
    return Snapshot(
        run="r1",
        plan=bench.plan,
        scan=Scan(bench.seq, bench.state.run_ms, 0, True, 0, 0),
        state=bench.state,
        decisions=bench.decisions,
        timezone="UTC",
        display_unit="°C",
        refused=0,
    )


def told_by(announcer: Announcer, bench: Bench, told: list) -> dict[str, str]:
    told.clear()
    announcer(snapshot(bench))
    return dict(told)


def test_trays_and_mats_are_told_when_they_change_and_alarms_while_they_last():
    told: list[tuple[str, str]] = []
    announcer = Announcer(lambda topic, payload: told.append((topic, payload)))
    bench = Bench()
    mat = bench.plan.mats[0].name
    bench.heating()
    first = told_by(announcer, bench, told)
    assert json.loads(first[f"mat/{mat}"])["energised"] is True
    # What a broker may still keep of an earlier run is taken back.
    assert first[f"alarm/trip-{mat}"] == ""
    assert told_by(announcer, bench, told) == {}
    bench.run(300.0)  # every probe is silent
    lost = told_by(announcer, bench, told)
    assert json.loads(lost["alarm/probe-lost-n1"])["subject"] == "n1"
    assert json.loads(lost[f"mat/{mat}"])["energised"] is False
    bench.scan(n1=20.0, n2=20.0)
    assert told_by(announcer, bench, told)["alarm/probe-lost-n1"] == ""
