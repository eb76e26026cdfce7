"""A season over real MQTT at speed: does anything grow?

A daemon in a process of its own, on a mosquitto of its own, keeps the simulated demo
bench (eight probes, two mats) on a clock that runs fast, while somebody looks at its
API. Every bench day its memory, handles, threads, log and processor time for each
scan are written down; the last quarter is held against the second one (the first
warms up). What is scaled: scans are 30 s apart, not 5 s, and time runs --speed times
too fast, so that fewer scans and messages than in a real season pass: their number is
printed. A machine with other work may be too slow for a speed; the scans that came
tell. Needs mosquitto.
"""

import argparse
import asyncio
import json
import os
import shutil
import signal
import socket
import statistics
import subprocess
import sys
import tempfile
import urllib.request
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[2]))

from controller.adapters.bench_on_mqtt import BenchOnMqtt
from controller.adapters.clocks import FastClock
from controller.adapters.settings import load
from controller.cli.paths import config_dir
from controller.ports import Clock
from sim.world import World, WorldOptions

START_UTC_MS = 1_801_126_800_000
BEGUN = "2027-01-28T09:00:00Z"
"""The same instant."""
SCAN_S = 30
DAY_MS = 86_400_000
LOOKED_AT = (
    "/v1/trays",
    "/v1/log?limit=50",
    "/v1/trays/N2/temperatures?points=200",
    "/v1/trays/N2/temperatures?from={begun}&points=200",
    "/v1/mats/north/heat?from={begun}&points=200",
)
"""What people look at; the last two read the whole season."""

TICKS = os.sysconf("SC_CLK_TCK")
GROWTH_MB, SLOWER = 4.0, 1.3
"""Chosen: what the last quarter may have more than the second one: allocators settle
for long, and a leak of 20 bytes a scan over a season of 345,600 would be 7 MB."""


@dataclass(frozen=True)
class Look:
    """A daemon at one moment.

    Attributes:
        day: Bench days since the start.
        resident_mb: Resident memory.
        handles: Open files and sockets.
        threads: Its threads.
        seq: Number of the last scan.
        cpu_s: Processor time it has used, before it was looked at.
        asked_s: Processor time that this look took.
        log_mb: Size of its season log with what belongs to it.
    """

    day: float
    resident_mb: float
    handles: int
    threads: int
    seq: int
    cpu_s: float
    asked_s: float
    log_mb: float


def main() -> int:
    """Run the soak; return 1 when something grew."""
    parser = argparse.ArgumentParser(prog="./dev soak", description=__doc__)
    parser.add_argument("--days", type=float, default=120)
    parser.add_argument("--speed", type=float, default=1_000)
    parser.add_argument("--looks", type=float, default=1.0, help="each so many days")
    parser.add_argument("--out", type=Path, help="write every look as a line of JSON")
    args = parser.parse_args()
    mosquitto = shutil.which("mosquitto", path=os.environ["PATH"] + ":/usr/sbin")
    if mosquitto is None:
        print("soak: mosquitto is not installed", file=sys.stderr)
        return 2
    signal.signal(signal.SIGTERM, lambda *_: sys.exit(2))  # ends what it started
    with tempfile.TemporaryDirectory(prefix="bottomheat-soak-") as folder:
        looks = asyncio.run(soaked(Path(folder), mosquitto, args))
    print("\n".join(told(looks)))
    return 1 if grown(looks) else 0


async def soaked(folder: Path, mosquitto: str, args: argparse.Namespace) -> list[Look]:
    """Keep a bench for so many of its days; return what was seen of the daemon."""
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        port = free.getsockname()[1]
    conf = folder / "mosquitto.conf"
    conf.write_text(
        f"listener {port} 127.0.0.1\nallow_anonymous true\nset_tcp_nodelay true\n"
        "max_queued_messages 100000\n"
    )
    quiet = subprocess.DEVNULL
    broker = subprocess.Popen([mosquitto, "-c", str(conf)], stdout=quiet, stderr=quiet)
    await _answers(port)
    config = _config(folder, port)
    script = Path(__file__).with_name("soak_daemon.py")
    words = [sys.executable, str(script), str(config), str(args.speed)]
    env = os.environ | {
        "PYTHONPATH": str(Path(__file__).parents[2]),
        "MALLOC_ARENA_MAX": "2",
    }
    daemon = await asyncio.create_subprocess_exec(
        *words, str(START_UTC_MS), stdout=asyncio.subprocess.PIPE, env=env
    )
    try:
        assert daemon.stdout is not None
        api = int(await daemon.stdout.readline())
        return await _season(folder, config, daemon.pid, api, args)
    finally:
        with suppress(ProcessLookupError):
            daemon.send_signal(signal.SIGTERM)
        code = await daemon.wait()
        broker.terminate()
        broker.wait()
        print(f"the daemon ended with {code}")


def _config(folder: Path, port: int) -> Path:
    text = (config_dir() / "bench.toml").read_text(encoding="utf-8")
    for old, new in (
        ("mqtt://127.0.0.1:1883", f"mqtt://127.0.0.1:{port}"),
        ('path = "season.db"', f'path = "{folder / "season.db"}"'),
        ("port = 8000", "port = 0"),
        ('scan = "5 s"', f'scan = "{SCAN_S} s"'),
        ('stale_after = "2 min"', 'stale_after = "5 min"'),
    ):
        assert old in text, old
        text = text.replace(old, new)
    config = folder / "bench.toml"
    config.write_text(text, encoding="utf-8")
    return config


async def _answers(port: int) -> None:
    async with asyncio.timeout(20):
        while True:
            with suppress(OSError):
                _, writer = await asyncio.open_connection("127.0.0.1", port)
                writer.close()
                return
            await asyncio.sleep(0.05)


async def _season(
    folder: Path, config: Path, pid: int, api: int, args: argparse.Namespace
) -> list[Look]:
    settings = load(config, {})
    clock = FastClock(args.speed, START_UTC_MS, settings.timezone)
    world = World(settings.plan, WorldOptions(start_temp_c=16.0))
    bench = BenchOnMqtt(world, settings.wiring, clock, step_ms=SCAN_S * 1000)
    playing = asyncio.create_task(bench.serve())
    looks: list[Look] = []
    out = args.out.open("a", encoding="utf-8") if args.out else None
    try:
        while not looks or looks[-1].day < args.days:
            if playing.done():
                playing.result()
            await _day(clock, args)
            look = await asyncio.to_thread(_look, folder, pid, api, clock)
            looks.append(look)
            line = json.dumps(look.__dict__)
            print(line, flush=True)
            if out is not None:
                out.write(line + "\n")
                out.flush()
    finally:
        playing.cancel()
        await asyncio.gather(playing, return_exceptions=True)
        if out is not None:
            out.close()
    return looks


async def _day(clock: Clock, args: argparse.Namespace) -> None:
    """Let a stretch of bench time pass."""
    until_ms = clock.now().run_ms + round(args.looks * DAY_MS)
    await clock.sleep_until(until_ms)


def _look(folder: Path, pid: int, api: int, clock: Clock) -> Look:
    """Look at the API as people do, and at the process as the kernel does."""
    proc = Path("/proc") / str(pid)
    before_s = _cpu_s(proc)
    for path in LOOKED_AT:
        _got(api, path.format(begun=BEGUN))
    bench = json.loads(_got(api, "/v1/bench"))
    fields = (proc / "stat").read_text().rpartition(")")[2].split()
    pages = int((proc / "statm").read_text().split()[1])
    log = sum(f.stat().st_size for f in folder.glob("season.db*"))
    return Look(
        day=clock.now().run_ms / DAY_MS,
        resident_mb=pages * os.sysconf("SC_PAGE_SIZE") / 1e6,
        handles=len(list((proc / "fd").iterdir())),
        threads=int(fields[17]),
        seq=int(bench["scan"]),
        cpu_s=before_s,
        asked_s=_cpu_s(proc) - before_s,
        log_mb=log / 1e6,
    )


def _cpu_s(proc: Path) -> float:
    fields = (proc / "stat").read_text().rpartition(")")[2].split()
    return (int(fields[11]) + int(fields[12])) / TICKS


def _got(api: int, path: str) -> bytes:
    with urllib.request.urlopen(f"http://127.0.0.1:{api}{path}", timeout=60) as answer:
        return answer.read()


def quarters(looks: list[Look]) -> tuple[list[Look], list[Look]]:
    """Return the second quarter and the last one."""
    n = len(looks)
    return looks[n // 4 : n // 2], looks[3 * n // 4 :]


def scan_ms(looks: list[Look]) -> float:
    """Return the processor time of a scan over some looks, without theirs [ms]."""
    scans = looks[-1].seq - looks[0].seq
    used_s = looks[-1].cpu_s - looks[0].cpu_s - sum(one.asked_s for one in looks[:-1])
    return 1000 * used_s / max(scans, 1)


def asked_ms(looks: list[Look]) -> float:
    """Return the processor time of a look in the middle [ms]."""
    return 1000 * _middle(looks, "asked_s")


def grown(looks: list[Look]) -> list[str]:
    """Return what grew."""
    if len(looks) < 8:
        return ["too few looks to tell"]
    before, after = quarters(looks)
    found = []
    if _middle(after, "resident_mb") - _middle(before, "resident_mb") > GROWTH_MB:
        found.append("memory")
    # A request that has just ended may still hold one.
    found += [
        name
        for name in ("handles", "threads")
        if _middle(after, name) > _middle(before, name) + 1
    ]
    if scan_ms(after) > SLOWER * scan_ms(before):
        found.append("scan time")
    return found


def _middle(looks: list[Look], name: str) -> float:
    return statistics.median(float(getattr(look, name)) for look in looks)


def told(looks: list[Look]) -> list[str]:
    """Return what was seen, in words."""
    lines = [
        f"soak: {looks[-1].day:.1f} bench days, {looks[-1].seq:,} scans,"
        f" {looks[-1].cpu_s:.0f} s of processor time, log {looks[-1].log_mb:.1f} MB"
    ]
    if len(looks) >= 8:
        lines += [
            f"  {words} quarter: {_middle(part, 'resident_mb'):.1f} MB,"
            f" {_middle(part, 'handles'):.0f} handles,"
            f" {_middle(part, 'threads'):.0f} threads,"
            f" {scan_ms(part):.1f} ms of processor time for a scan,"
            f" {asked_ms(part):.0f} ms for a look"
            for words, part in zip(("second", "last"), quarters(looks), strict=True)
        ]
    lines.append(f"  grew: {', '.join(grown(looks)) or 'nothing'}")
    return lines


if __name__ == "__main__":
    sys.exit(main())
