"""Many invented benches, answered by one small server, and the page that shows them.

Each bench has an address of its own, a folder of the server's; what it answers, how
late and to whom is a test's to say. The page's own server is the real one.
"""

import json
import threading
from collections.abc import Callable, Mapping
from copy import deepcopy
from dataclasses import dataclass, field
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer

from api.benches_app import create_benches_app
from api.moment import Moment
from api.server import Listen, serve
from api.views import bench_view
from controller.adapters.access import FileAccess
from controller.adapters.clocks import SystemClock
from controller.cli.bench_list import Asked
from controller.cli.benches_page import benches_view
from controller.cli.benches_watch import Watch
from tests.api.conftest import WARM, FakeBench
from tests.page.in_thread import InThread, Parts

EVERY_S = 1.0
WITHIN_S = 4.0
STALE_S = 60.0


def invented_bench() -> dict:
    """Return what /v1/bench says of a small bench on which all is as wanted."""
    snapshot = FakeBench().scan(dict(WARM)).snapshot()
    assert snapshot is not None
    view = bench_view(Moment(snapshot, snapshot.scan.run_ms + 2_000))
    found = json.loads(json.dumps(view))
    for tray in found["trays"]:
        if tray["name"] == "S1":
            tray["temp_c"] = 25.6
    return {**found, "alarms": []}


def alarm(sentence: str, priority: str = "medium", **other: object) -> dict:
    """Return an alarm that rings."""
    return {
        "kind": "probe-lost",
        "priority": priority,
        "state": "active",
        "rings": True,
        "suppressed": False,
        "sentence": sentence,
        **other,
    }


@dataclass
class FarBench:
    """One bench somewhere.

    Attributes:
        body: What it answers; bytes are sent as they are.
        status: With which status.
        due: What /v1/reminders answers.
        token: The token that it wants, if any.
        held: While it is not set nothing is answered.
        heard: What it was shown as Authorization.
    """

    body: dict | bytes = field(default_factory=invented_bench)
    status: int = 200
    due: list = field(default_factory=list)
    token: str | None = None
    held: threading.Event | None = None
    heard: list = field(default_factory=list)

    def answer(self, path: str, shown: str | None) -> tuple[int, bytes]:
        """Return status and body of an answer."""
        self.heard.append(shown)
        if self.held is not None:
            self.held.wait(20)
        if self.token is not None and shown != f"Bearer {self.token}":
            said = {"detail": f"this token is not known: {shown}"}
            return 401, json.dumps(said).encode()
        body = {"reminders": self.due} if path.endswith("/reminders") else self.body
        if isinstance(body, bytes):
            return self.status, body
        return self.status, json.dumps(body).encode()


class FarServer:
    """One server that answers for many benches: http://…/NUMBER is bench NUMBER."""

    def __init__(self, benches: Mapping[int, FarBench]) -> None:
        of = self.benches = dict(benches)

        class Handler(BaseHTTPRequestHandler):
            def do_GET(self) -> None:
                number = int(self.path.split("/")[1])
                status, body = of[number].answer(
                    self.path, self.headers.get("Authorization")
                )
                try:
                    self.send_response(status)
                    self.send_header("Content-Length", str(len(body)))
                    self.end_headers()
                    self.wfile.write(body)
                except OSError:
                    pass  # who asked has given up

            def log_message(self, *_: object) -> None:
                pass

        self.server = ThreadingHTTPServer(("127.0.0.1", 0), Handler)
        self.server.daemon_threads = True
        threading.Thread(target=self.server.serve_forever, daemon=True).start()

    def url(self, number: int) -> str:
        return f"http://127.0.0.1:{self.server.server_port}/{number}"

    def stop(self) -> None:
        for bench in self.benches.values():
            if bench.held is not None:
                bench.held.set()
        self.server.shutdown()
        self.server.server_close()


class BenchesServed(InThread):
    """The page of many benches, its server and its looking in a thread."""

    def __init__(self, benches: list[Asked], access: FileAccess | None = None) -> None:
        self._benches, self._access = benches, access
        self.start()

    def parts(self, took: Callable[[int], None]) -> Parts:
        clock = SystemClock("UTC")
        watch = Watch(
            self._benches,
            clock,
            at_once=16,
            within_s=WITHIN_S,
            stale_s=STALE_S,
            every_s=EVERY_S,
        )
        app = create_benches_app(
            lambda: benches_view(watch.seen(), EVERY_S), clock, self._access
        )
        found = [serve(app, Listen("127.0.0.1", self.port), took), watch.serve()]
        return found if self._access is None else [*found, self._access.serve()]


HOSTILE = "<img src=x onerror=\"document.title='taken'\"><b>Lea</b>"


def many(count: int) -> dict[int, FarBench]:
    """Return so many invented benches, some of them in trouble."""
    found = {number: FarBench() for number in range(count)}
    for number, bench in found.items():
        for tray in bench.body["trays"]:
            if tray["temp_c"] is not None:
                tray["temp_c"] += ((number * 7 + len(tray["name"])) % 9 - 4) / 10
        bench.body["mats"][0]["energised"] = number % 3 == 0
    return found


def troubled(found: dict[int, FarBench]) -> None:
    """Give some of the benches trouble of each kind: numbers 0 to 7."""
    found[0].body["alarms"] = [
        alarm("Mat south heats though it was told to be off: pull its plug.", "high"),
        alarm("Probe N2 was not heard for 11 min."),
    ]
    found[1].body["mats"][0] |= {"mode": "tripped", "mode_text": "locked off"}
    found[1].body["alarms"] = [
        alarm("Mat north is locked off: N1 reached 33.4 °C.", "high", kind="trip")
    ]
    found[2].status, found[2].body = 500, b"<h1>no</h1>"
    found[3].token = "bottomheat-ofAnotherBench"  # noqa: S105
    found[4].body["scan_age_s"] = 7_260
    found[5].body["alarms"] = [
        alarm("Probe S1 was not heard for 6 min."),
        alarm("The root zone of N1 is warm: 30.4 °C.", rings=False),
    ]
    cold = {"N1": 13.9, "N2": 14.2, "S1": 21.3}
    for tray in found[6].body["trays"]:
        tray["temp_c"] = cold.get(tray["name"], tray["temp_c"])
    found[6].due = [{"summary": "Look at KP3, chilli", "overdue": True}]
    found[7] = FarBench(held=threading.Event())
    missing = deepcopy(found[8].body)
    missing["trays"][0] |= {"temp_c": None, "temp_text": "no reading for 4 min"}
    found[8].body = missing
    found[9].due = [{"summary": "Look at QF7, quince", "overdue": False}]
