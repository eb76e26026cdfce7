"""What the demo's grower told beforehand: through the API, and all of it."""

import json
import threading
from contextlib import contextmanager
from datetime import datetime, timedelta
from http.server import BaseHTTPRequestHandler, HTTPServer

import pytest

from controller.cli import demo_records
from controller.cli.over_http import AskError
from tests.campaigns.showing.bench import BEGIN_MS, Api, simulate


@pytest.fixture(scope="module")
def bench(tmp_path_factory):
    """An hour of the demo bench, and the real API over its log."""
    log = tmp_path_factory.mktemp("demo") / "season.db"
    simulate(log, 1 / 24, 1)
    with Api(log) as api:
        yield api


@contextmanager
def served(answer):
    """Answer every call with what a function makes of it: status and object."""

    class Handler(BaseHTTPRequestHandler):
        def do_POST(self):
            body = self.rfile.read(int(self.headers["Content-Length"]))
            status, found = answer(self.path, json.loads(body))
            self.send_response(status)
            self.end_headers()
            self.wfile.write(json.dumps(found).encode())

        def log_message(self, *_):
            pass

    server = HTTPServer(("127.0.0.1", 0), Handler)
    thread = threading.Thread(target=server.serve_forever, daemon=True)
    thread.start()
    try:
        yield f"http://127.0.0.1:{server.server_port}"
    finally:
        server.shutdown()
        server.server_close()
        thread.join()


def test_the_real_api_takes_all_of_it_and_shows_batches_varieties_and_a_trial(bench):
    code = ""
    for path, body in demo_records._steps(BEGIN_MS):
        found = bench.ask("POST", path.format(code=code), body)
        code = str(found.get("code") or code)
    batches = bench.ask("GET", "/v1/batches")["batches"]
    standing = [one for one in batches if one["state"] != "closed"]
    assert {one["tray"] for one in standing} == {"N1", "N2", "N3", "S1", "S2"}
    assert len(batches) - len(standing) == 2
    assert all("invented" in one["batch"]["text"] for one in batches)
    (trial,) = bench.ask("GET", "/v1/trials")["trials"]
    arms = [unit["arm"] for unit in trial["trial"]["units"]]
    assert arms.count("coir-perlite") == arms.count("bark-sand") == 6
    rows = bench.ask("GET", "/v1/varieties")["varieties"]
    assert any(row["result"]["rooted"] for row in rows)


def test_everything_lies_before_the_demo_begins():
    began = datetime.fromtimestamp(BEGIN_MS / 1000).astimezone()
    for _, body in demo_records._steps(BEGIN_MS):
        at = body.get("at") or body.get("stuck_at")
        if at is not None:
            told = datetime.fromisoformat(at)
            assert timedelta() < began - told < timedelta(days=60)


def test_a_refusal_ends_the_telling_and_is_raised():
    paths = []

    def answer(path, _body):
        paths.append(path)
        return (201, {"code": "334X"}) if len(paths) < 3 else (503, {"detail": "full"})

    with served(answer) as url, pytest.raises(AskError, match="503: full"):
        demo_records.tell(url, BEGIN_MS)
    assert paths == ["/v1/batches", "/v1/batches/334X/looks", "/v1/batches/334X/move"]
