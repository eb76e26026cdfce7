"""A bench of real processes for the kill campaign, and what is checked of it."""

import asyncio
import json
import os
import shutil
import signal
import socket
import sqlite3
import subprocess
import sys
import urllib.error
import urllib.request
from contextlib import closing, suppress
from dataclasses import dataclass
from pathlib import Path

import aiomqtt

from controller.adapters.clocks import run_clock_ns

LEASE_S = 3.0
"""Three scans of 1 s."""

SETPOINT_C = 22.5
"""What a person sets on mat north [°C]."""

NORTH_C, BASE_C = 18.5, 10.0
"""What its probe says all the time, and the usual base of degree-hours [°C]."""

ROOT = Path(__file__).parents[2]

CONFIG = (
    """
[bench]
name = "{name}"
scan = "1 s"
[broker]
url = "mqtt://127.0.0.1:{broker}"
[log]
path = "season.db"
commit_every = "1 s"
[api]
port = {api}
[[mat]]
name = "north"
power = "100 W"
area = "1.2 m x 0.53 m"
min_on = "0 s"
min_off = "0 s"
stale_after = "5 s"
[mat.relay]
topic = "b/relay/north"
reports_on = "b/relay/north/state"
lease = true
[[mat.step]]
setpoint = "20 °C"
until = "by hand"
[[mat.step]]
setpoint = "21 °C"
until = "by hand"
[[mat.step]]
setpoint = "23 °C"
"""
    + "".join(
        f"""
[[mat]]
name = "{name}"
power = "100 W"
area = "1.2 m x 0.53 m"
setpoint = "21 °C"
min_on = "0 s"
min_off = "0 s"
stale_after = "5 s"
[mat.relay]
topic = "b/relay/{name}"
reports_on = "b/relay/{name}/state"
lease = true
"""
        for name in ("trip", "off")
    )
    + "".join(
        f"""
[[tray]]
name = "{name}"
mat = "{name}"
[[probe]]
name = "{name}"
tray = "{name}"
topic = "b/probe/{name}"
every = "1 s"
"""
        for name in ("north", "trip", "off")
    )
)

_TABLES = (
    "run",
    "scan",
    "reading",
    "command",
    "request",
    "answer",
    "alarm_change",
    "relay_report",
)
"""Tables of the season log whose rows never change once they are there."""


class BenchError(Exception):
    """A promise was broken; the message says which."""


@dataclass(frozen=True)
class Memory:
    """What is known of a bench at one moment, before a fault.

    Attributes:
        rows: What a reader of the season log sees, by table.
        degree_hours: Of tray north, as its daemon says [K·h].
        ahead: How many scans the daemon is ahead of the log.
        known: What persons and guards have decided.
    """

    rows: dict[str, frozenset[tuple[object, ...]]]
    degree_hours: float
    ahead: int
    known: tuple[object, ...]


class Bench:
    """Processes, a hand on each, and the record of the relays' contacts."""

    START_S = 20.0
    """A relay node's start is measured but not promised; more is a fault [s]."""

    MOSQUITTO = shutil.which("mosquitto", path=os.environ["PATH"] + ":/usr/sbin")

    def __init__(self, folder: Path, name: str) -> None:
        folder.mkdir()
        self._folder = folder
        self._broker, self._api = _free_port(), _free_port()
        text = CONFIG.format(name=name, broker=self._broker, api=self._api)
        (folder / "bench.toml").write_text(text, encoding="utf-8")
        (folder / "mosquitto.conf").write_text(
            f"listener {self._broker} 127.0.0.1\nallow_anonymous true\n"
            "persistence false\nuser root\n",
            encoding="utf-8",
        )
        self._trace = folder / "trace.txt"
        self._name = name
        self._processes: dict[str, subprocess.Popen[bytes]] = {}
        self._temps = {"north": NORTH_C, "trip": 34.0, "off": 25.0}
        self._probes: asyncio.Task[None] | None = None
        self._forbidden_ns: int | None = None
        self.most_ahead = 0

    # -------------------------------------------------------------- processes

    async def started(self, what: str) -> None:
        """Start the daemon, the broker or the relay node."""
        relays = [
            word
            for number, mat in enumerate(("north", "trip", "off"), start=17)
            for word in ("--relay", f"b/relay/{mat}=GPIO{number}")
        ]
        url = f"mqtt://127.0.0.1:{self._broker}"
        program = [sys.executable, "-m", "controller"]
        words: dict[str, list[str]] = {
            "broker": [str(self.MOSQUITTO), "-c", "mosquitto.conf"],
            "daemon": [*program, "run", "--config", "bench.toml"],
            "node": [
                *(*program, "relay-keeper", "--broker", url),
                *(*relays, "--trace", "trace.txt"),
            ],
        }
        log = (self._folder / f"{what}.log").open("ab")
        env = {k: v for k, v in os.environ.items() if "BOTTOMHEAT" not in k}
        env |= {"GPIOZERO_PIN_FACTORY": "mock", "PYTHONPATH": str(ROOT)}
        with log:
            self._processes[what] = subprocess.Popen(
                words[what], cwd=self._folder, env=env, stdout=log, stderr=log
            )

    async def struck(self, what: str, word: str) -> int:
        """Send a signal; return when [ns]."""
        process = self._processes[what]
        at_ns = run_clock_ns()
        process.send_signal(getattr(signal, f"SIG{word}"))
        if word == "KILL":
            await asyncio.to_thread(process.wait)
        return at_ns

    async def mended(self) -> None:
        """Have everything run again after a failure."""
        for what in ("broker", "node", "daemon"):
            process = self._processes[what]
            process.send_signal(signal.SIGCONT)
            if process.poll() is not None:
                await self.started(what)

    async def ended(self) -> None:
        """End every process."""
        if self._probes is not None:
            self._probes.cancel()
            await asyncio.gather(self._probes, return_exceptions=True)
        for what in ("daemon", "node", "broker"):
            process = self._processes.get(what)
            if process is not None:
                process.send_signal(signal.SIGCONT)
                process.terminate()
                with suppress(subprocess.TimeoutExpired):
                    await asyncio.to_thread(process.wait, 30)
                process.kill()

    async def prepared(self) -> None:
        """Bring mats into states that must last: tripped, switched off, set."""
        await self.started("broker")
        self._probes = asyncio.create_task(self._speak())
        await self.started("node")
        await self.started("daemon")
        await self._until(lambda: self._mode("trip") == "tripped", 60, "no trip")
        await self._asked("PUT", "/v1/mats/off/enabled", {"enabled": False})
        await self._asked("POST", "/v1/mats/north/step", {})
        await self._until(lambda: self._mode("off") == "off", 20, "not switched off")
        body = {"setpoint_c": SETPOINT_C}
        await self._asked("PUT", "/v1/mats/north/setpoint", body)
        wanted = ("tripped", "off", SETPOINT_C, 2)
        await self._until(lambda: self._known() == wanted, 20, "not as asked")
        self._forbidden_ns = run_clock_ns()
        self._temps |= {"trip": 18.5, "off": 18.5}
        await self.heats()

    async def _speak(self) -> None:
        """Be the probes, for ever, with a new connection after each loss."""
        while True:
            with suppress(aiomqtt.MqttError):
                async with aiomqtt.Client("127.0.0.1", self._broker, timeout=3) as c:
                    while True:
                        for name, temp_c in self._temps.items():
                            await c.publish(f"b/probe/{name}", f"{temp_c}", qos=1)
                        await asyncio.sleep(0.5)
            await asyncio.sleep(0.5)

    # --------------------------------------------------------------- contacts

    def now_ns(self) -> int:
        """Return the time of the trace [ns]."""
        return run_clock_ns()

    def _switchings(self) -> list[tuple[int, str, str, str]]:
        """Return nanoseconds, on or off, why and which mat, of each."""
        if not self._trace.exists():
            return []
        lines = self._trace.read_text(encoding="utf-8").splitlines()
        words = [line.split() for line in lines if line.count(" ") == 3]
        return [(int(w[0]), w[1], w[2], w[3].rpartition("/")[2]) for w in words]

    def _is_on(self) -> bool:
        return [w[1] for w in self._switchings() if w[3] == "north"][-1:] == ["on"]

    async def heats(self) -> None:
        """Wait until mat north's contact is closed and the daemon says so too."""
        await self._until(
            lambda: self._is_on() and self._mat("north")["energised"],
            90,
            "did not heat again within 90 s",
        )

    async def off_after(self, at_ns: int, within_s: float, reason: str = "") -> float:
        """Return how long after a moment the contact opened [s].

        Args:
            at_ns: The moment.
            within_s: Later is a broken promise [s].
            reason: Why it must have opened; empty: any.
        """

        def opened() -> list[int]:
            return [
                w[0]
                for w in self._switchings()
                if (w[1], w[3]) == ("off", "north")
                and w[0] > at_ns
                and reason in ("", w[2])
            ]

        await self._until(opened, within_s + 10, f"still on {within_s + 10:g} s later")
        off_s = (opened()[0] - at_ns) / 1e9
        if off_s > within_s:
            message = f"off after {off_s:.2f} s, more than {within_s:g} s"
            raise BenchError(message)
        return off_s

    # ---------------------------------------------------------------- memory

    async def remembered(self) -> Memory:
        """Return what must not be lost from now on."""
        if not self._is_on():
            message = "heat ended by itself before the fault"
            raise BenchError(message)
        known, degree_hours = self._known(), self._degree_hours()
        scan = self._got("/v1/bench")["scan"]
        rows = await self._rows()
        last, run = (max(row[0] for row in rows[table]) for table in ("scan", "run"))
        ahead = max(0, scan - (last - run))
        self.most_ahead = max(self.most_ahead, ahead)
        return Memory(rows, degree_hours, ahead, known)

    async def still_knows(self, before: Memory) -> None:
        """Raise BenchError for what was lost."""
        after = await self._rows()
        for table, rows in before.rows.items():
            lost = rows - after[table]
            if lost:
                message = f"{len(lost)} rows of {table} are lost, such as {min(lost)}"
                raise BenchError(message)
        if self._known() != before.known:
            message = f"known before: {before.known}; now: {self._known()}"
            raise BenchError(message)
        # They go on from the last scan that was committed; the API says three
        # decimals, and one more scan may have passed while it was asked.
        uncommitted = (before.ahead + 1) * (NORTH_C - BASE_C) / 3600 + 0.001
        if self._degree_hours() < before.degree_hours - uncommitted:
            message = (
                f"degree-hours fell from {before.degree_hours} to"
                f" {self._degree_hours()}, with {before.ahead} scans not committed"
            )
            raise BenchError(message)
        self._never_on()

    def last_checks(self) -> list[str]:
        """Return what is wrong with the contacts or the log at the very end."""
        found = []
        try:
            self._never_on()
        except BenchError as error:
            found.append(f"{self._name}: {error}")
        if self._is_on():
            found.append(f"{self._name}: the relay is on after the end")
        words = [sys.executable, "-m", "controller", "audit", "season.db"]
        done = subprocess.run(
            words, cwd=self._folder, capture_output=True, text=True, check=False
        )
        if done.returncode != 0:
            found.append(f"{self._name}: audit: {done.stdout[:500]}{done.stderr[:500]}")
        return found

    def _never_on(self) -> None:
        """Raise BenchError if a tripped or switched-off mat was on."""
        since_ns = self._forbidden_ns
        for at_ns, word, _, mat in self._switchings():
            if since_ns and at_ns > since_ns and word == "on" and mat != "north":
                message = f"mat {mat} was on, which it must never be"
                raise BenchError(message)

    async def _rows(self) -> dict[str, frozenset[tuple[object, ...]]]:
        return await asyncio.to_thread(self._rows_now)

    def _rows_now(self) -> dict[str, frozenset[tuple[object, ...]]]:
        path = self._folder / "season.db"
        with closing(sqlite3.connect(f"file:{path}?mode=ro", uri=True)) as db:
            db.execute("BEGIN")
            return {
                table: frozenset(db.execute(f"SELECT * FROM {table}"))  # noqa: S608
                for table in _TABLES
            }

    # -------------------------------------------------------------------- API

    def _known(self) -> tuple[object, ...]:
        """Return what persons and guards have decided, to be compared."""
        north = self._mat("north")
        override = north["setpoint"]["override"] or {}
        return (
            self._mode("trip"),
            self._mode("off"),
            override.get("setpoint_c"),
            north["step"]["number"],
        )

    def _degree_hours(self) -> float:
        tray = self._got("/v1/trays/north")
        return float(tray["degree_hours"]["degree_hours_k_h"])

    def _mode(self, mat: str) -> str:
        return str(self._mat(mat)["mode"])

    def _mat(self, mat: str) -> dict:
        return self._got(f"/v1/mats/{mat}")

    def _got(self, path: str) -> dict:
        url = f"http://127.0.0.1:{self._api}{path}"
        with urllib.request.urlopen(url, timeout=5) as answer:
            return json.load(answer)

    async def _asked(self, method: str, path: str, body: object) -> None:
        request = urllib.request.Request(
            f"http://127.0.0.1:{self._api}{path}",
            data=json.dumps(body).encode(),
            method=method,
            headers={"Content-Type": "application/json"},
        )

        def ask() -> None:
            with urllib.request.urlopen(request, timeout=5):  # noqa: S310
                pass

        await asyncio.to_thread(ask)

    async def _until(self, condition, within_s: float, otherwise: str) -> None:
        """Wait; a daemon that does not answer yet is not an error."""
        end_ns = run_clock_ns() + within_s * 1e9
        while True:
            with suppress(OSError, urllib.error.URLError, KeyError):
                if await asyncio.to_thread(condition):
                    return
            if run_clock_ns() > end_ns:
                raise BenchError(otherwise)
            await asyncio.sleep(0.1)


def _free_port() -> int:
    with socket.socket() as taken:
        taken.bind(("127.0.0.1", 0))
        return int(taken.getsockname()[1])
