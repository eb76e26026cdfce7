"""The daemon with a relay on a pin of its own board (gpiozero's mock pins)."""

import asyncio
import json
import os
import signal
import sys
from pathlib import Path

import aiomqtt
import pytest

pytestmark = pytest.mark.broker

ROOT = Path(__file__).parents[2]
CONFIG = """
[bench]
name = "test"
scan = "1 s"
[broker]
url = "mqtt://127.0.0.1:{port}"
[log]
path = "{log}"
[api]
port = 0
[[mat]]
name = "north"
power = "100 W"
area = "1.2 m x 0.53 m"
setpoint = "21 °C"
min_on = "0 s"
min_off = "0 s"
stale_after = "4 s"
[mat.relay]
pin = "GPIO17"
active_low = true
[[tray]]
name = "N1"
mat = "north"
[[probe]]
name = "N1"
tray = "N1"
topic = "t/probe/N1"
every = "1 s"
"""


async def daemon(port: int, folder: Path, factory: str) -> asyncio.subprocess.Process:
    config = folder / "bench.toml"
    text = CONFIG.format(port=port, log=folder / "season.db")
    config.write_text(text, encoding="utf-8")
    env = {k: v for k, v in os.environ.items() if "BOTTOMHEAT" not in k}
    return await asyncio.create_subprocess_exec(
        sys.executable,
        *("-m", "controller", "run", "--config", str(config)),
        cwd=ROOT,
        env={**env, "GPIOZERO_PIN_FACTORY": factory},
        stderr=asyncio.subprocess.PIPE,
    )


async def test_a_mat_on_a_pin_is_heated(mosquitto, tmp_path):
    process = await daemon(mosquitto.port, tmp_path, "mock")
    async with aiomqtt.Client("127.0.0.1", mosquitto.port) as client:
        await client.subscribe("bottomheat/test/#", qos=1)
        async with asyncio.timeout(20):
            async for message in client.messages:
                await client.publish("t/probe/N1", "18.5", qos=1)
                mat = message.topic.matches("bottomheat/test/mat/north")
                if mat and json.loads(message.payload)["energised"]:
                    break
    process.send_signal(signal.SIGTERM)
    _, said = await process.communicate()
    assert process.returncode == 0, said.decode()


async def test_a_pin_that_cannot_be_used_is_told_before_anything_runs(tmp_path):
    process = await daemon(1, tmp_path, "nonsense")
    _, said = await process.communicate()
    assert process.returncode == 2
    assert said.decode().startswith("bottomheat run: pin GPIO17 cannot be used: ")
    assert "Traceback" not in said.decode()
