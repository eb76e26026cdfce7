"""What a board must give: memory, processor, and the time to a first decision.

Needs mosquitto. The demo bench's configuration runs in real time on a broker of its
own, bound to one core and, for root with cgroup v2, held to a memory limit. Eight
probes speak every ten seconds; somebody looks at the page: /v1/bench every two
seconds, an event stream, a day of temperatures and /metrics now and then. Read from
/proc; processor time does not depend on what else the machine does.
"""

import asyncio
import contextlib
import os
import shutil
import socket
import subprocess
import sys
import tempfile
import urllib.request
from collections.abc import Iterator
from pathlib import Path

import aiomqtt

from controller.adapters.clocks import run_clock_ns
from controller.adapters.settings import load
from controller.cli.paths import config_dir

LASTING_S = 120
SETTLING_S = 20
SCAN_S = 5
LIMIT_MB = 128
CONFIG = config_dir() / "bench.toml"
TICKS = os.sysconf("SC_CLK_TCK")
CGROUPS = Path("/sys/fs/cgroup")
BUDGET_MB, BUDGET_SHARE, BUDGET_START_S = 64, 0.02, 5


def main() -> None:
    """Measure and print."""
    mosquitto = shutil.which("mosquitto", path=os.environ["PATH"] + ":/usr/sbin")
    if mosquitto is None:
        print("board: mosquitto is not installed; nothing was measured")
        return
    with tempfile.TemporaryDirectory() as folder, _limited() as group:
        asyncio.run(_measured(Path(folder), mosquitto, group))


@contextlib.contextmanager
def _limited() -> Iterator[Path | None]:
    """Make a cgroup with a memory limit, where we may."""
    group = CGROUPS / f"bottomheat-{os.getpid()}"
    try:
        group.mkdir()
        (group / "memory.max").write_text(str(LIMIT_MB * 10**6))
    except OSError as error:
        print(f"board: no cgroup of our own ({error.strerror}): one core only")
        with contextlib.suppress(OSError):
            group.rmdir()
        yield None
        return
    try:
        yield group
    finally:
        with contextlib.suppress(OSError):
            group.rmdir()


async def _measured(folder: Path, mosquitto: str, group: Path | None) -> None:
    port, api = _free_port(), _free_port()
    conf = folder / "mosquitto.conf"
    conf.write_text(f"listener {port} 127.0.0.1\nallow_anonymous true\n")
    broker = subprocess.Popen([mosquitto, "-c", str(conf)], stderr=subprocess.DEVNULL)
    await asyncio.sleep(1)
    began_ns, daemon = run_clock_ns(), _daemon(folder, port, api)
    if group is not None:
        (group / "cgroup.procs").write_text(str(daemon.pid))
    try:
        await _told(daemon.pid, began_ns, port, api)
    finally:
        daemon.terminate()
        daemon.wait()
        broker.terminate()
        broker.wait()
    if group is not None and (peak := group / "memory.peak").exists():
        print(f"  its cgroup, limit {LIMIT_MB} MB, files included: {peak.read_text()}")


def _daemon(folder: Path, port: int, api: int) -> subprocess.Popen[bytes]:
    env = os.environ | {
        "BOTTOMHEAT_BROKER__URL": f"mqtt://127.0.0.1:{port}",
        "BOTTOMHEAT_LOG__PATH": str(folder / "season.db"),
        "BOTTOMHEAT_API__PORT": str(api),
        "MALLOC_ARENA_MAX": "2",  # as in the unit
    }
    words = ["taskset", "-c", "0", sys.executable, "-m", "controller", "run"]
    return subprocess.Popen([*words, "--config", str(CONFIG)], env=env)


async def _told(pid: int, began_ns: int, port: int, api: int) -> None:
    wires = load(CONFIG, {}).wiring
    topics = [w.topic for w in wires.probes if w.topic]
    async with aiomqtt.Client("127.0.0.1", port) as client:
        await client.subscribe(str(wires.relays[0].topic))
        async with asyncio.timeout(60):
            await anext(aiter(client.messages))
        start_s, start_cpu_s = (run_clock_ns() - began_ns) / 1e9, _ticks(pid) / TICKS
        print(f"board: {len(topics)} probes every 10 s, scan {SCAN_S} s, one core")
        print(
            f"  first command to a relay after {start_s:.1f} s ({start_cpu_s:.1f} s of"
            f" processor time); budget {BUDGET_START_S} s"
        )
        await _lived(client, topics, api, SETTLING_S, looked=False)
        for words, looked in (("at rest", False), ("looked at", True)):
            before = _ticks(pid)
            await _lived(client, topics, api, LASTING_S, looked=looked)
            used = (_ticks(pid) - before) / TICKS / LASTING_S
            print(
                f"  {words:9} {_resident_mb(pid):5.1f} MB resident,"
                f" {100 * used:.2f} % of a core"
            )
        print(f"  budget    {BUDGET_MB:5.1f} MB resident, {100 * BUDGET_SHARE:.2f} %")


def _free_port() -> int:
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        return int(free.getsockname()[1])


async def _lived(
    client: aiomqtt.Client, topics: list[str], api: int, seconds: int, *, looked: bool
) -> None:
    stream = None
    if looked:
        stream = await asyncio.open_connection("127.0.0.1", api)
        stream[1].write(b"GET /v1/live HTTP/1.1\r\nHost: 127.0.0.1\r\n\r\n")
    for second in range(seconds):
        for number, topic in enumerate(topics):
            if second % 10 == number:
                await client.publish(topic, f"{20 + second % 7 / 16:.4f}")
        if looked and second % 2 == 0:
            await asyncio.to_thread(_got, api, "/v1/bench")
        if looked and second % 20 == 10:
            await asyncio.to_thread(_got, api, "/v1/trays/N2/temperatures?points=400")
        await asyncio.sleep(1)
    if stream is not None:
        stream[1].close()


def _got(api: int, path: str) -> None:
    with urllib.request.urlopen(f"http://127.0.0.1:{api}{path}", timeout=20) as answer:
        answer.read()


def _ticks(pid: int) -> int:
    fields = Path(f"/proc/{pid}/stat").read_text().rpartition(")")[2].split()
    return int(fields[11]) + int(fields[12])


def _resident_mb(pid: int) -> float:
    pages = int(Path(f"/proc/{pid}/statm").read_text().split()[1])
    return pages * os.sysconf("SC_PAGE_SIZE") / 1e6


if __name__ == "__main__":
    main()
