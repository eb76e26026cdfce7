"""What a board must give: memory, processor, and the time to a first decision.

Needs mosquitto. The demo bench's configuration runs in real time on a broker of its
own, bound to one core and, for root with cgroup v2, held to a memory limit. Eight
probes speak every ten seconds. First nobody looks; then a page does: its files, an
event stream, the bench every two seconds, a day of temperatures and /metrics; then
all that the page and other programs can ask is asked, a season of every tray and of
heat among it, of a log of 120 days that is made first (some minutes; --days 10 is
sooner, --log FILE takes one that is there already); at last /openapi.json.

Memory is the kernel's count (/proc/PID/smaps_rollup): resident, what of it is shared
out among processes (PSS), and what is this process's alone and no file's ("own"): the
rest are pages of files, which a kernel short of memory gives back and reads again.
Processor time does not depend on what else the machine does.
"""

import argparse
import asyncio
import contextlib
import os
import shutil
import socket
import subprocess
import sys
import tempfile
import urllib.error
import urllib.request
from collections.abc import Iterator
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[2]))

import aiomqtt

from controller.adapters.clocks import run_clock_ns
from controller.adapters.season_log import DirectSeasonLog
from controller.adapters.settings import load
from controller.cli.paths import config_dir
from controller.core.units import HOUR_MS
from tests.benchmarks.invented.season import write

SETTLING_S = 20
SCAN_S = 5
LIMIT_MB = 128
CONFIG = config_dir() / "bench.toml"
TICKS = os.sysconf("SC_CLK_TCK")
CGROUPS = Path("/sys/fs/cgroup")
BUDGET_MB, BUDGET_SHARE, BUDGET_START_S = 64, 0.02, 5

SEASON = "from=2027-02-01T00:00:00Z&to=2027-06-01T00:00:00Z"
"""The invented season's days."""

TRAYS, MATS = ("N1", "N2", "N3", "S1", "S2"), ("north", "south")
PAGE = ("/", "/page/main.js", "/page/chart.js", "/page/plan.js", "/page/style.css")
USED = (
    "/v1/bench",
    "/v1/session",
    "/v1/trays",
    "/v1/mats",
    "/v1/alarms",
    "/v1/health",
    "/v1/events?limit=40",
    "/v1/log?limit=50",
    "/v1/batches?open=true",
    "/v1/forecast",
    "/v1/advice",
    "/v1/reminders",
    "/v1/trials",
    "/v1/varieties",
    "/metrics",
    "/calendar.ics",
    *(f"/v1/trays/{t}/kept" for t in TRAYS),
    *(f"/v1/trays/{t}/temperatures?{SEASON}&points=400" for t in TRAYS),
    *(f"/v1/mats/{m}/heat?{SEASON}&points=400" for m in MATS),
    *(f"/v1/mats/{m}/why" for m in MATS),
    f"/v1/trays/N1/degree-hours?{SEASON}&base=5",
)


def main() -> None:
    """Measure and print."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--days", type=int, default=120)
    parser.add_argument("--log", type=Path, help="a season log that is there already")
    parser.add_argument("--seconds", type=int, default=120, help="of each part")
    args = parser.parse_args()
    mosquitto = shutil.which("mosquitto", path=os.environ["PATH"] + ":/usr/sbin")
    if mosquitto is None:
        print("board: mosquitto is not installed; nothing was measured")
        return
    with tempfile.TemporaryDirectory() as folder, _limited() as group:
        if args.log is None:
            _made(Path(folder) / "season.db", args.days)
        else:
            shutil.copy(args.log, Path(folder) / "season.db")
        asyncio.run(_measured(Path(folder), mosquitto, group, args.seconds))


def _made(path: Path, days: int) -> None:
    log = DirectSeasonLog(path, fold_after_ms=6 * HOUR_MS)
    write(log, days)
    log.close()


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


async def _measured(
    folder: Path, mosquitto: str, group: Path | None, seconds: int
) -> None:
    port, api = _free_port(), _free_port()
    conf = folder / "mosquitto.conf"
    conf.write_text(f"listener {port} 127.0.0.1\nallow_anonymous true\n")
    broker = subprocess.Popen([mosquitto, "-c", str(conf)], stderr=subprocess.DEVNULL)
    await asyncio.sleep(1)
    began_ns, daemon = run_clock_ns(), _daemon(folder, port, api)
    if group is not None:
        (group / "cgroup.procs").write_text(str(daemon.pid))
    try:
        await _told(daemon.pid, began_ns, (port, api), seconds)
    finally:
        daemon.terminate()
        daemon.wait()
        broker.terminate()
        broker.wait()
    if group is not None and (peak := group / "memory.peak").exists():
        print(f"  its cgroup, limit {LIMIT_MB} MB, files included: {peak.read_text()}")


def _daemon(folder: Path, port: int, api: int) -> subprocess.Popen[bytes]:
    env = _unit_environment() | os.environ
    env |= {
        "BOTTOMHEAT_BROKER__URL": f"mqtt://127.0.0.1:{port}",
        "BOTTOMHEAT_LOG__PATH": str(folder / "season.db"),
        "BOTTOMHEAT_API__PORT": str(api),
    }
    words = ["taskset", "-c", "0", sys.executable, "-m", "controller", "run"]
    return subprocess.Popen([*words, "--config", str(CONFIG)], env=env)


def _unit_environment() -> dict[str, str]:
    """Return what the unit for systemd sets of the allocator."""
    unit = config_dir() / "systemd" / "bottomheat.service"
    words = "Environment=MALLOC_"
    lines = unit.read_text(encoding="utf-8").splitlines()
    told = [line.removeprefix("Environment=") for line in lines if words in line]
    return dict(line.split("=", 1) for line in told)


async def _told(pid: int, began_ns: int, at: tuple[int, int], seconds: int) -> None:
    port, api = at
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
            f" processor time, load {os.getloadavg()[0]:.0f}), with the second scan:"
            f" the first finds no broker; budget of a decision {BUDGET_START_S} s"
        )
        await _lived(client, topics, api, SETTLING_S, looked=False)
        for words, looked in (("at rest", False), ("looked at", True)):
            before = _ticks(pid)
            await _lived(client, topics, api, seconds, looked=looked)
            used = (_ticks(pid) - before) / TICKS / seconds
            print(f"  {words:15} {_memory(pid)}, {100 * used:.2f} % of a core")
        for words, asked in (("asked for all", USED), ("and for all", USED)):
            await asyncio.to_thread(_all_got, api, asked)
            await _lived(client, topics, api, SETTLING_S, looked=False)
            print(f"  {words:15} {_memory(pid)}")
        await asyncio.to_thread(_got, api, "/openapi.json")
        await _lived(client, topics, api, SETTLING_S, looked=False)
        print(f"  its document    {_memory(pid)}")
        print(f"  budget          {BUDGET_MB:5.1f} resident, {100 * BUDGET_SHARE} %")


def _free_port() -> int:
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        return int(free.getsockname()[1])


async def _lived(
    client: aiomqtt.Client, topics: list[str], api: int, seconds: int, *, looked: bool
) -> None:
    stream = None
    if looked:
        await asyncio.to_thread(_all_got, api, PAGE)
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
            await asyncio.to_thread(_got, api, "/metrics")
        await asyncio.sleep(1)
    if stream is not None:
        stream[1].close()


def _all_got(api: int, paths: tuple[str, ...]) -> None:
    for path in paths:
        _got(api, path)


def _got(api: int, path: str) -> None:
    try:
        with urllib.request.urlopen(
            f"http://127.0.0.1:{api}{path}", timeout=60
        ) as answer:
            answer.read()
    except urllib.error.HTTPError as error:
        print(f"  {path}: {error.code} {error.read()[:200]!r}")


def _ticks(pid: int) -> int:
    fields = Path(f"/proc/{pid}/stat").read_text().rpartition(")")[2].split()
    return int(fields[11]) + int(fields[12])


def _memory(pid: int) -> str:
    """Return what the kernel counts of a process's memory, in words [MB]."""
    lines = Path(f"/proc/{pid}/smaps_rollup").read_text().splitlines()[1:]
    kb = {line.split(":")[0]: int(line.split()[1]) for line in lines}
    rss, pss, own = (kb[name] * 1024 / 1e6 for name in ("Rss", "Pss", "Private_Dirty"))
    return f"{rss:5.1f} MB resident, {pss:5.1f} PSS, {own:5.1f} own"


if __name__ == "__main__":
    main()
