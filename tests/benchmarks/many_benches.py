"""A hundred benches of eight probes on one mosquitto: what broker and daemons take.

A hundred daemons (the core, the MQTT link and a season log of each, without the API)
share one process here, which saves the memory of a hundred interpreters: times are
what counts, and memory is told for each bench on top of one. A second process plays
probes and lease relays for all. Real time, scans of 5 s, readings each 30 s. Needs
mosquitto. Processor time of each process by /proc, messages by the broker's $SYS.
"""

import asyncio
import json
import os
import shutil
import socket
import subprocess
import sys
import tempfile
from dataclasses import replace
from pathlib import Path

import aiomqtt

from controller.adapters.clocks import SystemClock
from controller.adapters.season_log import SeasonLogWriter
from controller.adapters.settings import load
from controller.cli.beginning import beginning
from controller.cli.live import Silent, Stage, daemon_on
from controller.cli.paths import config_dir
from controller.endings import StopOrder

BENCHES = 100
LASTING_S = 90
SETTLING_S = 40
TICKS = os.sysconf("SC_CLK_TCK")


def main() -> None:
    """Measure and print; or be one of the processes."""
    if sys.argv[1:2] == ["daemons"]:
        asyncio.run(daemons(Path(sys.argv[2]), int(sys.argv[3]), int(sys.argv[4])))
    elif sys.argv[1:2] == ["players"]:
        asyncio.run(players(int(sys.argv[3]), int(sys.argv[4])))
    else:
        measured()


def measured() -> None:
    """Start broker, daemons and players, and look at them."""
    mosquitto = shutil.which("mosquitto", path=os.environ["PATH"] + ":/usr/sbin")
    if mosquitto is None:
        print("many_benches: mosquitto is not installed; nothing was measured")
        return
    with tempfile.TemporaryDirectory() as made:
        folder = Path(made)
        with socket.socket() as free:
            free.bind(("127.0.0.1", 0))
            port = free.getsockname()[1]
        conf = folder / "mosquitto.conf"
        conf.write_text(
            f"listener {port} 127.0.0.1\nallow_anonymous true\nsys_interval 5\n"
            "max_queued_messages 100000\n"
        )
        broker = subprocess.Popen([mosquitto, "-c", str(conf)], stderr=-3)
        parts = {"broker": broker}
        try:
            asyncio.run(_looked(folder, port, parts))
        finally:
            for process in reversed(list(parts.values())):
                process.terminate()
                process.wait()


async def _looked(
    folder: Path, port: int, parts: "dict[str, subprocess.Popen[bytes]]"
) -> None:
    await asyncio.sleep(1)
    for role, count in (("players", BENCHES), ("daemons", 1)):
        words = [sys.executable, __file__, role, str(folder), str(port), str(count)]
        parts[role] = subprocess.Popen(words)
        await asyncio.sleep(3)
    await asyncio.sleep(10)
    one_mb = _resident_mb(parts["daemons"].pid)
    parts["daemons"].terminate()
    parts["daemons"].wait()
    words = [sys.executable, __file__, "daemons", str(folder), str(port), str(BENCHES)]
    parts["daemons"] = subprocess.Popen(words)
    await asyncio.sleep(SETTLING_S)
    before = {name: _ticks(one.pid) for name, one in parts.items()}
    async with aiomqtt.Client("127.0.0.1", port) as client:
        heard, scans = await _counted(client)
    print(f"many_benches: {BENCHES} benches, 8 probes each 30 s, 2 mats, scans of 5 s")
    for name, one in parts.items():
        used = (_ticks(one.pid) - before[name]) / TICKS / LASTING_S
        print(
            f"  {name:8} {100 * used:6.2f} % of a core, {_resident_mb(one.pid):6.1f} MB"
        )
    many_mb = _resident_mb(parts["daemons"].pid)
    print(f"  a bench on top of one: {(many_mb - one_mb) / (BENCHES - 1):.2f} MB")
    print(f"  the broker took {heard:.0f} messages a second; {scans:.2f} commands a"
          f" second for each bench (0.4 are right)")  # fmt: skip


async def _counted(client: aiomqtt.Client) -> tuple[float, float]:
    """Return messages a second at the broker, and commands a second of a bench."""
    await client.subscribe("$SYS/broker/messages/received")
    await client.subscribe("+/relay/+")
    counts: list[int] = []
    commands = 0
    try:
        async with asyncio.timeout(LASTING_S):
            async for message in client.messages:
                if str(message.topic).startswith("$SYS"):
                    counts.append(int(message.payload))
                else:
                    commands += 1
    except TimeoutError:
        pass
    took = (counts[-1] - counts[0]) / (5 * (len(counts) - 1)) if len(counts) > 1 else 0
    return took, commands / LASTING_S / BENCHES


async def daemons(folder: Path, port: int, count: int) -> None:
    """Run so many daemons until told to stop."""
    stop = StopOrder()
    asyncio.get_running_loop().add_signal_handler(15, stop.give, "told to")
    clock = SystemClock("UTC")
    async with asyncio.TaskGroup() as group:
        for number in range(count):
            settings = _settings(folder, port, number)
            log = SeasonLogWriter(settings.log.path)
            begun = beginning(settings.log.path, settings.plan, clock.now(), {})
            stage = Stage(
                settings=settings,
                clock=clock,
                begun=begun,
                log=log,
                sources=[],
                watchdog=Silent(),
                on_api=lambda _: None,
            )
            group.create_task(daemon_on(stage).run(stop))


def _settings(folder: Path, port: int, number: int):
    name = f"b{number}"
    text = (config_dir() / "bench.toml").read_text(encoding="utf-8")
    text = text.replace('name = "lean-to"', f'name = "{name}"', 1)
    text = text.replace('"lean-to/', f'"{name}/').replace(":1883", f":{port}")
    file = folder / f"{name}.toml"
    file.write_text(text, encoding="utf-8")
    settings = load(file, {})
    return replace(settings, log=replace(settings.log, path=folder / f"{name}.db"))


async def players(port: int, count: int) -> None:
    """Play the probes and the lease relays of so many benches."""
    probes = ["N1", "N2", "N3", "S1", "S2", "north-mat", "south-mat", "room"]
    async with aiomqtt.Client(
        "127.0.0.1", port, max_queued_incoming_messages=0
    ) as client:
        await client.subscribe("+/relay/+")

        async def obey() -> None:
            state: dict[str, bool] = {}
            async for message in client.messages:
                topic, said = str(message.topic), json.loads(message.payload)
                if state.get(topic) != said["energised"]:
                    state[topic] = said["energised"]
                    word = {"energised": said["energised"], "reason": "command"}
                    word |= {"run": said["run"], "seq": said["seq"]}
                    await client.publish(
                        f"{topic}/state", json.dumps(word), 1, retain=True
                    )

        async def speak() -> None:
            second = 0
            while True:
                for number in range(second % 30, count, 30):
                    for probe in probes:
                        warm = "12.5" if probe == "room" else f"{20 + second % 8 / 16}"
                        await client.publish(f"b{number}/probe/{probe}", warm, 1)
                second += 1
                await asyncio.sleep(1)

        await asyncio.gather(obey(), speak())


def _ticks(pid: int) -> int:
    fields = Path(f"/proc/{pid}/stat").read_text().rpartition(")")[2].split()
    return int(fields[11]) + int(fields[12])


def _resident_mb(pid: int) -> float:
    pages = int(Path(f"/proc/{pid}/statm").read_text().split()[1])
    return pages * os.sysconf("SC_PAGE_SIZE") / 1e6


if __name__ == "__main__":
    main()
