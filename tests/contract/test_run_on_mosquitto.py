"""The daemon as a process on a real broker: cold, warm, rubbish, silent, killed."""

import asyncio
import json
import os
import signal
import sys
from pathlib import Path

import aiomqtt
import pytest

from controller.adapters.season_log import SeasonLogReader
from controller.cli import main

pytestmark = [pytest.mark.broker, pytest.mark.timeout(90)]

ROOT = Path(__file__).parents[2]
PROBE, RELAY = "t/probe/N1", "t/relay/north"
CONFIG = """
[bench]
name = "test"
scan = "1 s"
[broker]
url = "mqtt://127.0.0.1:{port}"
[log]
path = "{log}"
commit_every = "1 s"
[api]
port = 0
[[mat]]
name = "north"
power = "100 W"
area = "1.2 m x 0.53 m"
policy = "on-off"
setpoint = "21 °C"
min_on = "0 s"
min_off = "0 s"
stale_after = "4 s"
[mat.relay]
topic = "t/relay/north"
lease = true
[[tray]]
name = "N1"
mat = "north"
[[probe]]
name = "N1"
tray = "N1"
topic = "t/probe/N1"
every = "1 s"
"""


class Stage:
    """A daemon in a process of its own, and a hand on the broker."""

    def __init__(self, config: Path, client: aiomqtt.Client) -> None:
        self._config = config
        self._client = client
        self.process: asyncio.subprocess.Process | None = None

    async def start(self) -> None:
        self.process = await asyncio.create_subprocess_exec(
            sys.executable,
            *("-m", "controller", "run", "--config", str(self._config)),
            cwd=ROOT,
            env={k: v for k, v in os.environ.items() if "BOTTOMHEAT" not in k},
            stderr=asyncio.subprocess.PIPE,
        )

    async def end(self, number: signal.Signals) -> int:
        assert self.process is not None
        self.process.send_signal(number)
        return await self.process.wait()

    async def relay_says(
        self,
        reading: str | None,
        *,
        energised: bool,
        times: int = 1,
        not_of: str | None = None,
    ) -> dict:
        """Publish a reading after every command until the relay has heard this.

        Commands of a run that is over may still be on their way: not_of.
        """
        async with asyncio.timeout(30):
            async for message in self._client.messages:
                command = json.loads(message.payload)
                assert not message.retain
                if command["run"] == not_of:
                    continue
                times -= command["energised"] is energised
                if times == 0:
                    return command
                if reading is not None:
                    await self._client.publish(PROBE, reading, qos=1)
        raise AssertionError("the broker ended")


@pytest.fixture
async def stage(mosquitto, tmp_path):
    config = tmp_path / "bench.toml"
    text = CONFIG.format(port=mosquitto.port, log=tmp_path / "season.db")
    config.write_text(text, encoding="utf-8")
    async with aiomqtt.Client("127.0.0.1", mosquitto.port) as client:
        await client.subscribe(RELAY)
        stage = Stage(config, client)
        await stage.start()
        yield stage
        if stage.process is not None and stage.process.returncode is None:
            await stage.end(signal.SIGKILL)


async def test_the_relay_is_told_what_it_should(stage, tmp_path):
    on = await stage.relay_says("18.5", energised=True)  # cold
    assert on["valid_for_s"] == 3
    off = await stage.relay_says("22.5", energised=False)  # warm
    assert "valid_for_s" not in off
    await stage.relay_says("19.0", energised=True)
    await stage.relay_says("rubbish", energised=False)  # refused: falls silent
    await stage.relay_says("19.5", energised=True)
    await stage.relay_says(None, energised=False)  # silent
    assert await stage.end(signal.SIGTERM) == 0
    reader = SeasonLogReader(tmp_path / "season.db")
    (run,) = reader.runs()
    assert any(r.scan.refusals for r in reader.scans(run.run))
    assert main(["audit", str(tmp_path / "season.db")]) == 0


async def test_a_killed_daemon_goes_on_where_it_was(stage, tmp_path):
    first = await stage.relay_says("18.5", energised=True, times=4)
    assert await stage.end(signal.SIGKILL) == -signal.SIGKILL
    await stage.start()
    await stage.relay_says("18.5", energised=True, not_of=first["run"])
    assert await stage.end(signal.SIGINT) == 0
    reader = SeasonLogReader(tmp_path / "season.db")
    killed, second = reader.runs()
    before = [r.scan.run_ms for r in reader.scans(killed.run)][-1]
    assert second.started_run_ms >= before
    assert main(["audit", str(tmp_path / "season.db")]) == 0


async def test_a_second_daemon_on_one_log_is_refused(stage):
    await stage.relay_says("18.5", energised=True)
    other = Stage(stage._config, stage._client)
    await other.start()
    assert other.process is not None
    _, said = await asyncio.wait_for(other.process.communicate(), 20)
    assert other.process.returncode == 2
    assert "is being written by another program" in said.decode()
