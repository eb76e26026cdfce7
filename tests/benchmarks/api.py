"""How long answers take, and whether the scan keeps its time meanwhile.

A real daemon in a process of its own (embedded broker, season log on the disk, a
scan each second), asked by clients in other processes:

* /v1/trays a hundred times a second, in turn with a bare starlette app that returns
  the very same bytes under the same server, so that both meet the same machine;
* a flood of requests without pause, connections that trickle, and wrong tokens:
  how late scans are is read from the season log afterwards;
* fifty clients that follow /v1/live: memory and handles before and after.

What it prints is of this machine and this moment; both are named.
"""

import argparse
import asyncio
import itertools
import os
import statistics
import subprocess
import sys
import tempfile
import time
from collections.abc import Sequence
from pathlib import Path

from controller.adapters.access import TokenFile, tokens_beside
from controller.adapters.season_log import SeasonLogReader
from controller.ports import May

ROOT = Path(__file__).parents[2]

BENCH = """\
[bench]
name = "timed"
scan = "1 s"
[broker]
url = "embedded"
[log]
path = "{folder}/season.db"
[api]
port = {port}
[[mat]]
name = "north"
power = "100 W"
area = "1.2 m x 0.53 m"
setpoint = "21 °C"
[mat.relay]
topic = "relay/north"
lease = true
"""
TRAY = """
[[tray]]
name = "T{n}"
mat = "north"
[[probe]]
name = "P{n}"
tray = "T{n}"
topic = "probe/P{n}"
"""

BARE = """
import asyncio, sys
sys.path.insert(0, {root!r})
from starlette.applications import Starlette
from starlette.responses import Response
from starlette.routing import Route
from api.server import Listen, serve
body = open({file!r}, "rb").read()
async def get(request):
    return Response(body, media_type="application/json")
app = Starlette(routes=[Route("/v1/trays", get)])
asyncio.run(serve(app, Listen("127.0.0.1", {port}), lambda _: None))
"""

FLOOD = """
import asyncio, sys
async def one(port, head, until):
    n = 0
    loop = asyncio.get_running_loop()
    while loop.time() < until:
        try:
            r, w = await asyncio.open_connection("127.0.0.1", port)
            while loop.time() < until:
                w.write(head)
                found = (await r.readuntil(b"\\r\\n\\r\\n")).lower()
                size = int(found.split(b"content-length: ")[1].split(b"\\r\\n")[0])
                await r.readexactly(size)
                n += 1
        except (OSError, asyncio.IncompleteReadError, IndexError):
            await asyncio.sleep(0.05)
    return n
async def main(port, seconds, count, head):
    until = asyncio.get_running_loop().time() + seconds
    done = await asyncio.gather(*(one(port, head, until) for _ in range(count)))
    print(sum(done))
port, seconds, count, head = sys.argv[1:]
head = head.encode().decode("unicode_escape").encode("latin-1")
asyncio.run(main(int(port), float(seconds), int(count), head))
"""

TRICKLE = """
import asyncio, sys
async def one(port, until):
    loop = asyncio.get_running_loop()
    while loop.time() < until:
        try:
            r, w = await asyncio.open_connection("127.0.0.1", port)
            for c in b"POST /v1/mats/north/hold HTTP/1.1\\r\\nHost: 127.0.0.1" * 9:
                w.write(bytes([c]))
                await asyncio.sleep(0.5)
                if loop.time() > until:
                    break
            w.close()
        except OSError:
            await asyncio.sleep(0.2)
async def main(port, seconds, count):
    until = asyncio.get_running_loop().time() + seconds
    await asyncio.gather(*(one(port, until) for _ in range(count)))
    print(count)
asyncio.run(main(int(sys.argv[1]), float(sys.argv[2]), int(sys.argv[3])))
"""


def main(words: Sequence[str] | None = None) -> None:
    """Time all of it and print it."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--seconds", type=float, default=30.0, help="of each phase")
    parser.add_argument("--live-seconds", type=float, default=180.0)
    args = parser.parse_args(words)
    print(f"{os.cpu_count()} cores, load {os.getloadavg()[0]:.1f} at the start")
    with tempfile.TemporaryDirectory() as folder:
        asyncio.run(_timed(Path(folder), args.seconds, args.live_seconds))
    print(f"load {os.getloadavg()[0]:.1f} at the end")


async def _timed(folder: Path, seconds: float, live_seconds: float) -> None:
    port, bare_port = 18_431, 18_432
    config = folder / "bench.toml"
    text = BENCH.format(folder=folder, port=port)
    text += "".join(TRAY.format(n=n) for n in range(8))
    config.write_text(text, encoding="utf-8")
    file = TokenFile(tokens_beside(folder / "season.db"))
    secret = file.add("timer", May.OPERATE, "2027-02-01T09:00:00Z")
    daemon = subprocess.Popen(
        [sys.executable, "-m", "controller", "run", "--config", str(config)],
        cwd=folder,
        env=os.environ | {"PYTHONPATH": str(ROOT)},
        stderr=subprocess.DEVNULL,
    )
    try:
        got = await _first(port, secret)
        (folder / "trays.json").write_bytes(got)
        code = BARE.format(
            root=str(ROOT), file=str(folder / "trays.json"), port=bare_port
        )
        bare = subprocess.Popen([sys.executable, "-c", code])
        try:
            await _first(bare_port, secret)
            await _ratio(port, bare_port, secret, seconds, len(got))
        finally:
            bare.terminate()
            bare.wait()
        phases = await _strained(port, secret, seconds)
        await _live(daemon.pid, port, secret, live_seconds)
    finally:
        daemon.terminate()
        daemon.wait()
    _told_of_scans(folder / "season.db", phases)


async def _first(port: int, secret: str) -> bytes:
    """Wait until somebody answers; return the answer's body."""
    for _ in range(300):
        try:
            return (await _Client(port, secret).get("/v1/trays"))[1]
        except (OSError, ValueError, asyncio.IncompleteReadError):
            await asyncio.sleep(0.1)
    raise TimeoutError(f"nobody answers at {port}")


class _Client:
    """One kept connection."""

    def __init__(self, port: int, secret: str) -> None:
        self._port, self._secret = port, secret
        self._open: tuple[asyncio.StreamReader, asyncio.StreamWriter] | None = None

    async def get(self, path: str) -> tuple[float, bytes]:
        """Return how long an answer took [s], and its body."""
        if self._open is None:
            self._open = await asyncio.open_connection("127.0.0.1", self._port)
        reader, writer = self._open
        before = time.perf_counter()
        head = f"GET {path} HTTP/1.1\r\nHost: 127.0.0.1\r\n"
        head += f"Authorization: Bearer {self._secret}\r\n\r\n"
        writer.write(head.encode())
        found = (await reader.readuntil(b"\r\n\r\n")).lower()
        if b" 200 " not in found.splitlines()[0]:
            self._open = None
            raise ValueError(found[:40])
        size = int(found.split(b"content-length: ")[1].split(b"\r\n")[0])
        body = await reader.readexactly(size)
        return time.perf_counter() - before, body


async def _ratio(
    port: int, bare_port: int, secret: str, seconds: float, size: int
) -> None:
    """Ask both a hundred times a second, in turn, and tell how long each took."""
    took: dict[int, list[float]] = {port: [], bare_port: []}
    clients = {p: [_Client(p, secret) for _ in range(8)] for p in took}
    for turn in range(max(2, round(seconds / 2))):  # a second each, in turn
        await asyncio.gather(
            *(_second(clients[p], took[p]) for p in (port, bare_port)[turn % 2 :][:1])
        )
    for name, values in (("/v1/trays", took[port]), ("bare", took[bare_port])):
        p50, p99 = _quantiles(values)
        print(
            f"{name:9} {len(values):5} answers of {size} bytes at 100/s:"
            f" p50 {p50 * 1e3:6.2f} ms, p99 {p99 * 1e3:6.2f} ms"
        )
    (a50, a99), (b50, b99) = _quantiles(took[port]), _quantiles(took[bare_port])
    print(f"ratio     p50 {a50 / b50:.2f}, p99 {a99 / b99:.2f}")


async def _second(clients: Sequence[_Client], took: list[float]) -> None:
    """Send a hundred requests within a second, each at its own time."""
    start = time.perf_counter()

    async def one(n: int) -> None:
        await asyncio.sleep(max(0.0, start + n / 100 - time.perf_counter()))
        took.append((await clients[n % len(clients)].get("/v1/trays"))[0])

    # A connection carries one request at a time: eight, each every eighth.
    async def lane(first: int) -> None:
        for n in range(first, 100, len(clients)):
            await one(n)

    await asyncio.gather(*(lane(n) for n in range(len(clients))))


def _quantiles(values: Sequence[float]) -> tuple[float, float]:
    cuts = statistics.quantiles(values, n=100)
    return cuts[49], cuts[98]


async def _strained(
    port: int, secret: str, seconds: float
) -> list[tuple[str, float, float]]:
    """Let one thing after the other happen; return what was from when to when."""
    right = f"Authorization: Bearer {secret}\\r\\n"
    get = "GET /v1/bench HTTP/1.1\\r\\nHost: 127.0.0.1\\r\\n"
    wrong = get + "Authorization: Bearer bottomheat-guess\\r\\n\\r\\n"
    phases = []
    for name, script, words in (
        ("nothing", None, []),
        ("flood, 32 clients", FLOOD, ["32", get + right + "\\r\\n"]),
        ("wrong tokens, 32", FLOOD, ["32", wrong]),
        ("trickle, 64 clients", TRICKLE, ["64"]),
    ):
        began = time.time()
        if script is None:
            await asyncio.sleep(seconds)
        else:
            one = [sys.executable, "-c", script, str(port), str(seconds), *words]
            found = await asyncio.to_thread(
                subprocess.run, one, capture_output=True, text=True, check=True
            )
            print(f"{name}: {int(found.stdout) / seconds:.0f} a second")
        phases.append((name, began, time.time()))
    return phases


async def _live(pid: int, port: int, secret: str, seconds: float) -> None:
    """Follow the bench fifty times; tell memory and handles before and after."""

    async def follow(until: float) -> int:
        reader, writer = await asyncio.open_connection("127.0.0.1", port)
        head = "GET /v1/live HTTP/1.1\r\nHost: 127.0.0.1\r\n"
        writer.write(f"{head}Authorization: Bearer {secret}\r\n\r\n".encode())
        seen = 0
        while time.time() < until:
            seen += (await reader.read(65_536)).count(b"event: bench")
        writer.close()
        return seen

    print(f"before {_process(pid)}")
    until = time.time() + seconds
    following = [asyncio.create_task(follow(until)) for _ in range(50)]
    for _ in range(3):
        await asyncio.sleep(seconds / 4)
        print(f"50 follow: {_process(pid)}")
    seen = await asyncio.gather(*following)
    await asyncio.sleep(3)
    print(f"after  {_process(pid)}; each saw {min(seen)} to {max(seen)} events")


def _process(pid: int) -> str:
    status = Path(f"/proc/{pid}/status").read_text(encoding="utf-8")
    rss = next(line for line in status.splitlines() if line.startswith("VmRSS"))
    handles = len(list(Path(f"/proc/{pid}/fd").iterdir()))
    return f"{int(rss.split()[1]) / 1024:.1f} MB resident, {handles} handles"


def _told_of_scans(log: Path, phases: Sequence[tuple[str, float, float]]) -> None:
    reader = SeasonLogReader(log)
    (run,) = reader.runs()
    scans = [(s.scan.utc_ms / 1000, s.scan.run_ms) for s in reader.scans(run.run)]
    first = scans[0][1]
    for name, began, ended in phases:
        late = [(run_ms - first) % 1000 for at, run_ms in scans if began <= at < ended]
        late = [ms - 1000 if ms > 900 else ms for ms in late]
        inside = [at for at, _ in scans if began <= at < ended]
        longest = max(b - a for a, b in itertools.pairwise(inside))
        due = round(ended - began)
        print(
            f"{name:20} {len(late)} of {due} scans; late by"
            f" {statistics.median(late):.0f} ms in the middle, {max(late)} at most;"
            f" longest pause {longest:.2f} s"
        )


if __name__ == "__main__":
    main()
