"""A daemon at rest: memory, and processor time per scan, with eight probes.

Needs mosquitto. Runs the demo bench's configuration in real time on a broker
of its own, each probe speaking every 30 s, and reads /proc.
"""

import asyncio
import os
import shutil
import socket
import subprocess
import sys
import tempfile
from pathlib import Path

import aiomqtt

from controller.adapters.settings import load
from controller.cli.paths import config_dir

LASTING_S = 90
SCAN_S = 5
TICKS = os.sysconf("SC_CLK_TCK")


def main() -> None:
    """Measure and print."""
    mosquitto = shutil.which("mosquitto", path=os.environ["PATH"] + ":/usr/sbin")
    if mosquitto is None:
        print("at_rest: mosquitto is not installed; nothing was measured")
        return
    with tempfile.TemporaryDirectory() as folder:
        asyncio.run(_measured(Path(folder), mosquitto))


async def _measured(folder: Path, mosquitto: str) -> None:
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        port = free.getsockname()[1]
    conf = folder / "mosquitto.conf"
    conf.write_text(f"listener {port} 127.0.0.1\nallow_anonymous true\n")
    broker = subprocess.Popen([mosquitto, "-c", str(conf)], stderr=subprocess.DEVNULL)
    env = os.environ | {
        "BOTTOMHEAT_BROKER__URL": f"mqtt://127.0.0.1:{port}",
        "BOTTOMHEAT_LOG__PATH": str(folder / "season.db"),
        "BOTTOMHEAT_API__PORT": "0",
    }
    config = config_dir() / "bench.toml"
    words = ["-m", "controller", "run", "--config", str(config)]
    await asyncio.sleep(1)
    daemon = subprocess.Popen([sys.executable, *words], env=env)
    try:
        topics = [w.topic for w in load(config, {}).wiring.probes if w.topic]
        async with aiomqtt.Client("127.0.0.1", port) as client:
            await _spoken(client, topics, 15)
            before = _ticks(daemon.pid)
            await _spoken(client, topics, LASTING_S)
            used_ms = 1000 * (_ticks(daemon.pid) - before) / TICKS
        print(f"at_rest: {len(topics)} probes, every 30 s; scan {SCAN_S} s")
        print(f"  resident memory {_resident_mb(daemon.pid):.0f} MB")
        print(f"  processor time {used_ms / (LASTING_S / SCAN_S):.1f} ms per scan")
    finally:
        daemon.terminate()
        daemon.wait()
        broker.terminate()
        broker.wait()


async def _spoken(client: aiomqtt.Client, topics: list[str], seconds: int) -> None:
    for second in range(seconds):
        for number, topic in enumerate(topics):
            if second % 30 == number * 3:
                await client.publish(topic, "20.5")
        await asyncio.sleep(1)


def _ticks(pid: int) -> int:
    fields = Path(f"/proc/{pid}/stat").read_text().rpartition(")")[2].split()
    return int(fields[11]) + int(fields[12])


def _resident_mb(pid: int) -> float:
    pages = int(Path(f"/proc/{pid}/statm").read_text().split()[1])
    return pages * os.sysconf("SC_PAGE_SIZE") / 1e6


if __name__ == "__main__":
    main()
