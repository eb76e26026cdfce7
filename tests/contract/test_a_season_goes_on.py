"""A running season, brought up from an older schema, or back from a stick elsewhere.

Whole daemons on a real broker: one is stopped with a mat locked off, a programme in
its second step, a person's setpoint and degree-hours; the next one has them all.
"""

import asyncio
import contextlib
import io
import json
import shutil
import socket
import sqlite3
import urllib.error
import urllib.request
from contextlib import closing

import pytest

from controller.adapters.season_log import is_former
from controller.cli import main
from controller.cli.run import BRINGING_UP_S
from tests.contract.test_run_as_a_service import a_service, service  # noqa: F401
from tests.contract.test_run_on_mosquitto import PROBE
from tests.log.test_migration import as_schema_2

pytestmark = [pytest.mark.broker, pytest.mark.timeout(90)]

STEPS = """
[[mat.step]]
setpoint = "21 °C"
until = "10 days"
[[mat.step]]
setpoint = "19 °C"
"""


def as_schema_3(source, path):
    """Write a log as the version before this one did: without records."""
    shutil.copy(source, path)
    with closing(sqlite3.connect(path)) as db, db:
        db.execute("DROP TABLE record")
        db.execute("DELETE FROM meta WHERE key = 'records'")
        db.execute("PRAGMA user_version = 3")
        db.execute("UPDATE meta SET value = '3' WHERE key = 'schema_version'")


def asked(port: int, path: str, method: str = "GET", body: object = None) -> dict:
    request = urllib.request.Request(
        f"http://127.0.0.1:{port}{path}",
        data=None if body is None else json.dumps(body).encode(),
        headers={"Content-Type": "application/json"},
        method=method,
    )
    with urllib.request.urlopen(request, timeout=10) as answer:  # noqa: S310
        return json.loads(answer.read())


def known(port: int) -> dict[str, object]:
    """Return what must go on: trip, step, a person's setpoint, degree-hours."""
    mat, tray = asked(port, "/v1/mats/north"), asked(port, "/v1/trays/N1")
    return {
        "mode": mat["mode"],
        "trip": (mat["trip"] or {}).get("cause"),
        "step": mat["step"]["number"],
        "heat": tray["degree_hours"]["degree_hours_k_h"],
    }


async def until(work, wanted) -> dict:
    async with asyncio.timeout(30):
        while not wanted(found := await asyncio.to_thread(work)):
            await asyncio.to_thread(int)
    return found


async def first_known(service) -> dict[str, object]:  # noqa: F811
    """Return what a daemon knows after its first scan; before, it answers 503."""
    port = await service.api_port()

    def ask() -> dict[str, object] | None:
        try:
            return known(port)
        except urllib.error.HTTPError as error:
            assert error.code == 503, error
            return None

    return await until(ask, lambda found: found is not None)


@pytest.fixture
async def ended(service):  # noqa: F811
    """A season that was stopped in the middle; what was known then, and its folder."""
    text = service.config.read_text(encoding="utf-8")
    setpoint = 'setpoint = "21 °C"\n'
    assert setpoint in text
    head, sign, tail = text.replace(setpoint, "").partition("[[tray]]")
    service.config.write_text(f"{head}{STEPS}{sign}{tail}", encoding="utf-8")
    await service.start()
    port = await service.api_port()
    await service.relay_says("18.5", energised=True, times=3)
    await asyncio.to_thread(asked, port, "/v1/mats/north/step", "POST", {})
    await service.relay_says("18.5", energised=True, times=3)
    speaking = asyncio.create_task(said_often(service, "34.0"))
    try:
        before = await until(lambda: known(port), lambda k: k["mode"] == "tripped")
    finally:
        speaking.cancel()
    service.signal(15)
    assert await service.ended() == 0
    # What was counted between the last question and the stop must be kept as well.
    return service, {**before, "heat": counted_in(service.log)}


def counted_in(log) -> float:
    """Return the degree-hours of a log at rest."""
    with contextlib.redirect_stdout(io.StringIO()) as told:
        assert main(["degree-hours", str(log), "--json"]) == 0
    (tray,) = json.loads(told.getvalue())["trays"]
    return tray["degree_hours_k_h"]


async def said_often(service, reading: str) -> None:  # noqa: F811
    while True:
        await service._client.publish(PROBE, reading, qos=1)
        await asyncio.to_thread(lambda: None)
        async with asyncio.timeout(5):
            await anext(aiter(service._client.messages))


@pytest.mark.parametrize("as_former", [as_schema_2, as_schema_3])
async def test_a_running_season_of_a_former_schema_goes_on(ended, tmp_path, as_former):
    service, before = ended  # noqa: F811
    newer = service.log.with_name("newer.db")
    service.log.rename(newer)
    as_former(newer, service.log)
    assert is_former(service.log)
    name = str(tmp_path / "notify")
    with socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM) as manager:
        manager.bind(name)
        manager.settimeout(30)
        await service.start(NOTIFY_SOCKET=name)
        first = (await asyncio.to_thread(manager.recv, 4096)).decode()
    assert first.startswith(f"EXTEND_TIMEOUT_USEC={BRINGING_UP_S * 1_000_000}\n")
    await service.says("had an older schema and was brought up")
    after = await first_known(service)
    goes_on(before, after)
    service.signal(15)
    assert await service.ended() == 0
    assert main(["audit", str(service.log)]) == 0
    assert counted_in(service.log) == before["heat"]


async def test_a_season_goes_on_on_another_board(ended, mosquitto, tmp_path):
    service, before = ended  # noqa: F811
    stick = tmp_path / "stick"
    stick.mkdir()
    assert main(["backup", str(service.log), str(stick)]) == 0
    (copy,) = stick.glob("season-*.db")
    async with a_service(tmp_path / "other", mosquitto.port) as other:
        text = service.config.read_text(encoding="utf-8")
        text = text.replace(str(service.log), str(other.log))
        other.config.write_text(text, encoding="utf-8")
        shutil.copy(copy, other.log)
        trips = copy.with_name(copy.stem + ".trips.json")
        shutil.copy(trips, other.log.with_name("season.trips.json"))
        await other.start()
        after = await first_known(other)
        goes_on(before, after)
        other.signal(15)
        assert await other.ended() == 0
        assert main(["audit", str(other.log)]) == 0
        assert counted_in(other.log) == before["heat"]


def goes_on(before: dict[str, object], after: dict[str, object]) -> None:
    assert before["trip"] is not None
    assert (after["mode"], after["trip"]) == ("tripped", before["trip"])
    assert after["step"] == before["step"] == 2
    assert before["heat"] > 0
    assert after["heat"] == round(before["heat"], 3)  # as it is shown
