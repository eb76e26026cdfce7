"""Tries to get in without belonging there; each must fail, and change nothing.

Whatever is not about bytes on a socket is tried on the app itself; smuggling, slow
and broken senders on the real server.
"""

import asyncio
import base64
import json
import re
import ssl
import subprocess
from contextlib import asynccontextmanager

import httpx
import pytest

from api import bodies, server
from api.app import create_app
from api.bodies import LARGEST_BODY
from api.failures import MOST_FAILURES, WINDOW_MS, Failures
from api.reach import Reach
from api.server import Listen, ListenError, serve
from controller.adapters.access import AccessError, FileAccess, TokenFile
from controller.adapters.access.gate import LOOK_EVERY_MS
from controller.ports import May

JSON = {"content-type": "application/json"}
HOLD = "/v1/mats/north/hold"

PUBLIC = {("GET", "/"), ("GET", "/page/{name}"), ("GET", "/v1")}
PUBLIC |= {("POST", "/v1/session")}
"""What may be asked without a token: the page's files, where to look, to log in."""


def headers_for(path):
    """Return what the door wants to see of a body's kind before anything else."""
    return {"content-type": "image/jpeg"} if path == "/v1/photos" else JSON


def operations(app):
    return [
        (method.upper(), path)
        for path, methods in app.openapi()["paths"].items()
        for method in methods
    ]


def spelled(path):
    """Return a path with something in the place of each of its names."""
    values = {"{number}": "1", "{code}": "334X", "{tray}": "N1", "{mat}": "north"}
    return re.sub(r"\{\w+\}", lambda m: values.get(m.group(0), "x"), path)


# ------------------------------------------------------- no token, or the wrong one


async def test_every_route_but_the_door_itself_wants_a_token(
    guarded, stranger, as_problem, bench
):
    """Taken from the document, so that no route to come is forgotten."""
    asked = [one for one in operations(guarded.app) if one not in PUBLIC]
    assert len(asked) > 35
    for method, path in asked:
        answer = await stranger.request(
            method, spelled(path), headers=headers_for(path)
        )
        assert answer.status_code == 401, (method, path)
        as_problem(answer, 401)
        assert answer.headers["www-authenticate"].startswith(
            'Bearer realm="bottomheat"'
        )
    assert bench.waiting == []


async def test_every_change_wants_one_who_may_operate(
    guarded, stranger, as_problem, bench
):
    reader = guarded.bearer("looker")
    changes = [
        (method, path)
        for method, path in operations(guarded.app)
        if method not in {"GET", "HEAD"} and path != "/v1/session"
    ]
    assert len(changes) > 15
    for method, path in changes:
        answer = await stranger.request(
            method, spelled(path), content=b"{}", headers=headers_for(path) | reader
        )
        as_problem(answer, 403)
        assert 'error="insufficient_scope"' in answer.headers["www-authenticate"]
    assert bench.waiting == []


async def test_who_belongs_gets_in_and_stands_in_the_log_with_name_and_place(
    guarded, stranger, bench
):
    for name in ("looker", "keeper"):
        answer = await stranger.get("/v1/bench", headers=guarded.bearer(name))
        assert answer.status_code == 200
    asked = await stranger.post(HOLD, headers=JSON | guarded.bearer("keeper"))
    assert asked.status_code == 202
    assert [wish.who for wish in bench.waiting] == ["keeper, from 127.0.0.1"]


WRONG = [
    "",
    "Bearer",
    "Bearer ",
    "Bearer x",
    "Bearer null",
    "Bearer bottomheat-" + "A" * 32,
    "Bearer " + "x" * 5_000,
    "bearer é".encode("latin-1").decode("latin-1"),
    "Basic " + base64.b64encode(b"keeper:keeper").decode(),
    "Digest username=keeper",
    "Token x",
]


@pytest.mark.parametrize("shown", WRONG)
async def test_what_is_no_token_of_ours_is_turned_away(
    guarded, stranger, as_problem, shown
):
    headers = [(b"authorization", shown.encode("latin-1"))]
    as_problem(await stranger.get("/v1/bench", headers=headers), 401)


async def test_neither_a_name_nor_a_hash_is_a_token(guarded, stranger, as_problem):
    """Whoever reads the file of tokens has nothing to show."""
    (first, *_) = json.loads(guarded.file.path.read_text())["tokens"]
    secret = guarded.secrets["looker"]
    for shown in (
        first["name"],
        first["sha256"],
        secret[:-1],
        secret + "A",
        secret.upper(),
        secret.removeprefix("bottomheat-"),
    ):
        headers = {"authorization": f"Bearer {shown}"}
        as_problem(await stranger.get("/v1/bench", headers=headers), 401)
    assert secret not in guarded.file.path.read_text()
    assert guarded.file.path.stat().st_mode & 0o777 == 0o600


async def test_a_revoked_token_is_none_within_a_look(guarded, stranger, as_problem):
    guarded.file.revoke("keeper")
    looking = asyncio.create_task(guarded.access.serve())
    headers = guarded.bearer("keeper")
    async with asyncio.timeout(5):
        # The file is read in a thread: until then the token still stands.
        while (await stranger.get("/v1/bench", headers=headers)).status_code == 200:
            guarded.clock.advance(LOOK_EVERY_MS)
            await asyncio.wait({looking}, timeout=0.01)
    looking.cancel()
    as_problem(await stranger.get("/v1/bench", headers=headers), 401)
    assert (
        await stranger.get("/v1/bench", headers=guarded.bearer("looker"))
    ).status_code == 200


async def test_a_token_made_a_moment_ago_is_known_at_once(guarded, stranger):
    secret = guarded.file.add("new", May.READ, "2026-02-14T10:00:00Z")
    headers = {"authorization": f"Bearer {secret}"}
    assert (await stranger.get("/v1/bench", headers=headers)).status_code == 200


@pytest.mark.parametrize("what", ["deleted", "emptied", "damaged", "writable"])
async def test_a_file_that_is_gone_or_unfit_lets_nobody_in(
    guarded, stranger, as_problem, what
):
    path = guarded.file.path
    if what == "deleted":
        path.unlink()
    elif what == "emptied":
        path.write_text("")
    elif what == "damaged":
        path.write_text(path.read_text().replace('"name"', '"nam"'))
    else:
        path.chmod(0o666)
        path.touch()
    await guarded.access.look()
    answer = await stranger.get("/v1/bench", headers=guarded.bearer("keeper"))
    as_problem(answer, 401)
    as_problem(await stranger.post(HOLD, headers=JSON), 401)


@pytest.mark.parametrize(
    "query", ["token={}", "access_token={}", "x=1&TOKEN={}", "bottomheat_session={}"]
)
async def test_a_token_in_an_address_is_refused_even_if_it_is_right(
    guarded, stranger, as_problem, query
):
    path = "/v1/bench?" + query.format(guarded.secrets["keeper"])
    for headers in ({}, guarded.bearer("keeper")):
        found = as_problem(await stranger.get(path, headers=headers), 400)
        assert guarded.secrets["keeper"] not in json.dumps(found)


async def test_two_authorizations_are_none(guarded, stranger, as_problem):
    right = guarded.bearer("keeper")["authorization"].encode()
    headers = [(b"authorization", right), (b"authorization", right)]
    as_problem(await stranger.get("/v1/bench", headers=headers), 400)


@pytest.mark.parametrize("path", ["/metrics", "/calendar.ics"])
async def test_collectors_and_calendars_may_show_a_token_as_a_password(
    guarded, stranger, path
):
    pair = base64.b64encode(f"anybody:{guarded.secrets['looker']}".encode()).decode()
    headers = {"authorization": f"Basic {pair}"}
    assert (await stranger.get(path, headers=headers)).status_code in {200, 503}
    asked = await stranger.get(path)
    assert asked.status_code == 401
    assert 'Basic realm="bottomheat"' in asked.headers["www-authenticate"]
    elsewhere = await stranger.get("/v1/bench", headers=headers)
    assert elsewhere.status_code == 401


@pytest.mark.parametrize("pair", ["", "*", "bm8gY29sb24=", "w6Q6/w==", "/////w=="])
async def test_rubbish_in_basic_is_turned_away(guarded, stranger, as_problem, pair):
    headers = {"authorization": f"Basic {pair}"}
    as_problem(await stranger.get("/metrics", headers=headers), 401)


# ------------------------------------------------------------- cookies, other sites


@pytest.mark.parametrize(
    "cookie",
    [
        "bottomheat_session=",
        "bottomheat_session=x",
        "bottomheat_session=null; other=1",
        "bottomheat_session=" + "A" * 32,
        "bottomheat_session=" + "A" * 5_000,
        "BOTTOMHEAT_SESSION={right}",
        "x=bottomheat_session={right}",
        "bottomheat_session={right}; bottomheat_session={right}",
        "bottomheat_session={right}x",
        'bottomheat_session="{right}"',
    ],
)
async def test_a_forged_cookie_is_nobody(guarded, stranger, as_problem, cookie):
    holder = await guarded.access.holder(guarded.secrets["keeper"])
    right = await guarded.access.open_session(holder)
    headers = {"cookie": cookie.replace("{right}", right)}
    as_problem(await stranger.get("/v1/bench", headers=headers), 401)
    as_problem(await stranger.post(HOLD, headers=JSON | headers), 401)


async def test_the_token_itself_and_kept_hashes_are_no_cookies(
    guarded, stranger, as_problem, tmp_path
):
    holder = await guarded.access.holder(guarded.secrets["keeper"])
    await guarded.access.open_session(holder)
    kept = json.loads((tmp_path / "season.sessions.json").read_text())["sessions"]
    for value in (guarded.secrets["keeper"], kept[0]["sha256"], kept[0]["token"]):
        headers = {"cookie": f"bottomheat_session={value}"}
        as_problem(await stranger.get("/v1/bench", headers=headers), 401)


async def test_a_wrong_token_is_not_made_good_by_a_right_cookie(
    guarded, stranger, as_problem
):
    holder = await guarded.access.holder(guarded.secrets["keeper"])
    right = await guarded.access.open_session(holder)
    headers = {
        "cookie": f"bottomheat_session={right}",
        "authorization": "Bearer x",
    }
    as_problem(await stranger.get("/v1/bench", headers=headers), 401)


FOREIGN = [
    {"origin": "https://elsewhere.example"},
    {"origin": "null"},
    {"origin": "http://127.0.0.1:8000.elsewhere.example"},
    {"origin": "http://127.0.0.1:8001"},
    {"sec-fetch-site": "cross-site"},
    {"sec-fetch-site": "same-site"},
]


@pytest.mark.parametrize("foreign", FOREIGN)
async def test_a_page_of_another_site_changes_nothing_with_a_right_cookie(
    guarded, stranger, bench, as_problem, foreign
):
    await stranger.post("/v1/session", json={"token": guarded.secrets["keeper"]})
    csrf = (await stranger.get("/v1/session")).json()["csrf"]
    headers = JSON | foreign | {"x-csrf-token": csrf}
    as_problem(await stranger.post(HOLD, headers=headers), 403)
    assert bench.waiting == []


@pytest.mark.parametrize(
    "form", ["application/x-www-form-urlencoded", "multipart/form-data", "text/plain"]
)
async def test_a_form_changes_nothing(guarded, stranger, bench, as_problem, form):
    """What a page of another site can send without being asked for permission."""
    await stranger.post("/v1/session", json={"token": guarded.secrets["keeper"]})
    csrf = (await stranger.get("/v1/session")).json()["csrf"]
    headers = {"content-type": form, "x-csrf-token": csrf}
    as_problem(await stranger.post(HOLD, content=b"{}", headers=headers), 415)
    assert bench.waiting == []


async def test_no_other_site_is_told_that_it_may_ask(guarded, stranger):
    answer = await stranger.options(
        HOLD,
        headers={
            "origin": "https://elsewhere.example",
            "access-control-request-method": "POST",
            "access-control-request-headers": "authorization",
        },
    )
    assert answer.status_code == 405
    assert not [n for n in answer.headers if n.startswith("access-control-")]


@pytest.mark.parametrize("path", ["/", "/v1/session", "/nowhere", "/v1/bench"])
async def test_every_answer_forbids_frames_and_scripts_of_others(
    guarded, stranger, path
):
    headers = (await stranger.get(path)).headers
    policy = dict(
        part.strip().split(" ", 1)
        for part in headers["content-security-policy"].split(";")
    )
    assert policy["default-src"] == policy["frame-ancestors"] == "'none'"
    for kind in ("script-src", "style-src", "connect-src", "form-action"):
        assert policy[kind] == "'self'"
    assert policy["img-src"] == "'self' data:"
    assert policy["base-uri"] == "'none'"
    assert headers["x-content-type-options"] == "nosniff"
    assert headers["referrer-policy"] == "no-referrer"
    assert headers["x-frame-options"] == "DENY"
    assert headers["cross-origin-resource-policy"] == "same-origin"


# ------------------------------------------------------------------ paths and hosts


TRICKS = [
    "//v1/bench",
    "/v1//bench",
    "/V1/bench",
    "/v1/bench/",
    "/v1/./bench",
    "/v1/session/../bench",
    "/%76%31/bench",
    "/v1%2fbench",
    "/v1/bench%00",
    "/v1/bench;x=/v1/session",
    "/v1/bench%3f",
    "/v1/session%2f..%2fbench",
    "/./v1/bench",
    "/../v1/bench",
    "/v1/bench#/v1/session",
    "/openapi.json/../v1/bench",
    "\\v1\\bench",
]


@pytest.mark.parametrize("path", TRICKS)
async def test_no_spelling_of_a_path_slips_by(served, path):
    """Bytes as they are on the wire, since a client would tidy them up."""
    status, body = await raw_status(served, f"GET {path} HTTP/1.1")
    assert status in {400, 401, 404}, (path, status)
    assert b"lean-to" not in body


@pytest.mark.parametrize(
    "path",
    ["/v1/session/", "//v1/session", "/v1/session%2f", "/V1/SESSION", "/v1/session;"],
)
async def test_only_logging_in_itself_is_open_to_writes(served, path):
    status, _ = await raw_status(
        served,
        f"POST {path} HTTP/1.1",
        "Content-Type: application/json",
        "Content-Length: 2",
        body=b"{}",
    )
    assert status == 401


@pytest.mark.parametrize("method", ["BREW", "get", "TRACE", "CONNECT", "PROPFIND"])
async def test_an_odd_method_changes_nothing(served, bench, method):
    status, _ = await raw_status(served, f"{method} {HOLD} HTTP/1.1")
    assert status in {400, 401, 405}
    assert bench.waiting == []


@pytest.mark.parametrize(
    "host",
    [
        "evil.example",
        "127.0.0.1.evil.example",
        "localhost@evil.example",
        "[::1]evil.example",
        "0177.0.0.1",
        "2130706433",
        "127.1",
        "192.0.2.7",
        "127.0.0.1:８０",  # noqa: RUF001 - digits of another script
    ],
)
async def test_a_name_that_was_made_to_point_here_is_not_answered(served, host):
    status, _ = await raw_status(served, "GET /v1/session HTTP/1.1", host=host)
    assert status in {400, 421}


def test_beyond_this_machine_addresses_and_listed_names_will_do():
    reach = Reach(names=frozenset({"bench.home.arpa"}), addresses=True)
    ours = ["192.0.2.7", "192.0.2.7:8000", "[2001:db8::7]:8000", "bench.home.arpa"]
    ours += ["BENCH.home.arpa:443", "bench.home.arpa."]
    assert all(map(reach.is_ours, ours))
    others = ["evil.example", "2001:db8::7", "[192.0.2.7]", "[bench.home.arpa]", ""]
    others += ["192.0.2.7.evil.example", "bench.home.arpa.evil.example", "3221225991"]
    assert not any(map(reach.is_ours, others))


# ------------------------------------------------------------ an open bench, proxies


@pytest.mark.parametrize("name", ["x-forwarded-for", "forwarded", "via"])
async def test_an_open_bench_is_closed_to_whoever_comes_by_a_proxy(
    client, bench, as_problem, name
):
    headers = JSON | {name: "for=192.0.2.7"}
    as_problem(await client.post(HOLD, headers=headers), 403)
    as_problem(await client.get("/v1/bench", headers={name: "1.1 cache"}), 403)
    assert bench.waiting == []


async def test_an_open_bench_answers_its_own_machine_alone(
    shared_app, client, as_problem
):
    transport = httpx.ASGITransport(shared_app, client=("192.0.2.7", 50_000))
    base = "http://127.0.0.1:8000"
    async with httpx.AsyncClient(transport=transport, base_url=base) as other:
        as_problem(await other.get("/v1/bench"), 403)


@pytest.mark.parametrize(
    ("proxies", "address"), [((), "127.0.0.1"), (("127.0.0.1",), "198.51.100.7")]
)
async def test_only_a_proxy_of_ours_is_believed(
    guarded, bench, reader, connect, proxies, address
):
    reach = Reach(proxies=proxies)
    app = create_app(bench, lambda: reader, bench, access=guarded.access, reach=reach)
    forged = {
        "x-forwarded-for": "203.0.113.9, 198.51.100.7",
        "x-forwarded-proto": "https",
    }
    async with connect(app) as client:
        await client.post(HOLD, headers=JSON | guarded.bearer("keeper") | forged)
        body = {"token": guarded.secrets["keeper"]}
        answer = await client.post("/v1/session", json=body, headers=forged)
    assert bench.waiting[0].who == f"keeper, from {address}"
    assert ("secure" in answer.headers["set-cookie"].lower()) is bool(proxies)


# --------------------------------------------------------------- guessing, and limits


async def test_guessing_is_stopped_and_the_stop_ends(
    guarded, stranger, bench, as_problem
):
    wrong = {"authorization": "Bearer bottomheat-guess"}
    for _ in range(MOST_FAILURES):
        as_problem(await stranger.get("/v1/bench", headers=wrong), 401)
    answer = await stranger.get("/v1/bench", headers=wrong)
    as_problem(answer, 429)
    assert int(answer.headers["retry-after"]) == WINDOW_MS / 1000
    # A right guess would not be seen to be one, either as a token or at the page.
    right = guarded.bearer("keeper")
    as_problem(await stranger.get("/v1/bench", headers=right), 429)
    body = {"token": guarded.secrets["keeper"]}
    as_problem(await stranger.post("/v1/session", json=body), 429)
    bench.run_ms += WINDOW_MS - 1
    as_problem(await stranger.get("/v1/bench", headers=right), 429)
    bench.run_ms += 1
    assert (await stranger.get("/v1/bench", headers=right)).status_code == 200


async def test_who_is_in_already_is_not_locked_out_by_others_guesses(
    guarded, stranger, as_problem
):
    right = guarded.bearer("keeper")
    assert (await stranger.get("/v1/bench", headers=right)).status_code == 200
    wrong = {"authorization": "Bearer bottomheat-guess"}
    for _ in range(MOST_FAILURES + 5):
        await stranger.get("/v1/bench", headers=wrong)
    assert (await stranger.get("/v1/bench", headers=right)).status_code == 200
    as_problem(await stranger.get("/v1/bench", headers=guarded.bearer("looker")), 429)


def test_failures_of_one_household_count_together_and_are_bounded():
    failures = Failures()
    for n in range(MOST_FAILURES):
        failures.failed(f"2001:db8::{n:x}", 0)
    assert failures.wait_ms("2001:db8::ffff", 1) == WINDOW_MS - 1
    assert failures.wait_ms("2001:db8:0:1::1", 1) == 0
    assert failures.wait_ms("::ffff:192.0.2.1", 1) == 0
    for n in range(5_000):
        failures.failed(f"2001:db8:{n:x}::1", 0)
    assert len(failures._places) <= 1_000


async def test_a_body_of_a_stranger_is_not_even_read(guarded, as_problem):
    """It would cost memory and time that only those who belong may cost."""
    sent = []

    async def receive():
        pytest.fail("the body was asked for")

    async def send(message):
        sent.append(message)

    scope = {
        "type": "http",
        "method": "POST",
        "scheme": "http",
        "path": HOLD,
        "query_string": b"",
        "headers": [(b"host", b"localhost"), (b"content-type", b"application/json")],
        "client": ("127.0.0.1", 1),
    }
    await guarded.app(scope, receive, send)
    assert sent[0]["status"] == 401


# --------------------------------------------------------------- the socket itself


@asynccontextmanager
async def serving(app, **files):
    ready = asyncio.get_running_loop().create_future()
    at = Listen("127.0.0.1", 0, guarded=True, **files)
    task = asyncio.create_task(serve(app, at, ready.set_result))
    try:
        yield await ready
    finally:
        task.cancel()
        await asyncio.gather(task, return_exceptions=True)


@pytest.fixture
async def served(guarded):
    async with serving(guarded.app) as port:
        yield port


async def exchanged(port, text: bytes) -> bytes:
    reader, writer = await asyncio.open_connection("127.0.0.1", port)
    try:
        writer.write(text)
        async with asyncio.timeout(5):
            return await reader.read()
    finally:
        writer.close()


async def raw_status(port, line, *headers, host="127.0.0.1", body=b""):
    head = [line, f"Host: {host}", "Connection: close", *headers]
    text = "\r\n".join(head).encode() + b"\r\n\r\n" + body
    answer = await exchanged(port, text)
    return int(answer.split(b" ", 2)[1]), answer


HOLD_HEAD = (
    f"POST {HOLD} HTTP/1.1\r\nHost: 127.0.0.1\r\nContent-Type: application/json\r\n"
)

SMUGGLED = {
    "two lengths": "Content-Length: 2\r\nContent-Length: 60\r\n\r\n{}",
    "a list of lengths": "Content-Length: 2, 60\r\n\r\n{}",
    "a length with a sign": "Content-Length: +2\r\n\r\n{}",
    "a length below none": "Content-Length: -1\r\n\r\n{}",
    "length and chunks": (
        "Content-Length: 4\r\nTransfer-Encoding: chunked\r\n\r\n0\r\n\r\n"
    ),
    "chunks twice": "Transfer-Encoding: chunked, chunked\r\n\r\n0\r\n\r\n",
    "chunks under another name": "Transfer-Encoding: xchunked\r\n\r\n0\r\n\r\n",
    "chunks, with a space before": "Transfer-Encoding : chunked\r\n\r\n0\r\n\r\n",
    "a chunk whose size is no number": "Transfer-Encoding: chunked\r\n\r\nzz\r\n\r\n",
    "a chunk of huge size": (
        "Transfer-Encoding: chunked\r\n\r\nffffffffffffffffffffffff\r\n\r\n"
    ),
    "a header without a name": ": x\r\nContent-Length: 2\r\n\r\n{}",
    "a zero byte": "X-A: b\0c\r\nContent-Length: 2\r\n\r\n{}",
}
"""RFC 9112, sections 5 and 6: what two programs in a row may read differently."""


@pytest.mark.parametrize("what", SMUGGLED)
async def test_what_could_be_read_in_two_ways_ends_the_connection(
    served, guarded, bench, what
):
    """The second request behind it, with a right token, must never be heard."""
    token = f"Authorization: {guarded.bearer('keeper')['authorization']}\r\n"
    second = (
        f"PUT /v1/mats/north/enabled HTTP/1.1\r\nHost: 127.0.0.1\r\n{token}"
        "Content-Type: application/json\r\nContent-Length: 18\r\n\r\n"
        '{"enabled": false}'
    )
    text = HOLD_HEAD + token + SMUGGLED[what] + second
    answer = await exchanged(served, text.encode("latin-1"))
    assert answer.startswith(b"HTTP/1.1 4"), answer[:80]
    assert answer.count(b"HTTP/1.1 ") == 1
    assert bench.waiting == []


async def test_a_huge_body_is_not_taken(served, guarded):
    token = f"Authorization: {guarded.bearer('keeper')['authorization']}"
    status, _ = await raw_status(
        served,
        f"POST {HOLD} HTTP/1.1",
        token,
        "Content-Type: application/json",
        f"Content-Length: {LARGEST_BODY + 1}",
    )
    assert status == 413  # told by its head alone


async def test_many_headers_are_not_taken(served):
    filler = [f"X-{n}: {'x' * 90}" for n in range(400)]
    status, _ = await raw_status(served, "GET /v1/bench HTTP/1.1", *filler)
    assert status == 431


async def test_a_body_that_trickles_is_not_waited_for(
    guarded, bench, reader, monkeypatch
):
    app = create_app(bench, lambda: reader, bench, access=guarded.access)
    monkeypatch.setattr(bodies, "BODY_WITHIN_S", 0.05)
    token = f"Authorization: {guarded.bearer('keeper')['authorization']}\r\n"
    text = HOLD_HEAD + token + "Content-Length: 50\r\n\r\n{"
    async with serving(app) as port:
        answer = await exchanged(port, text.encode())
    assert answer.startswith(b"HTTP/1.1 408")
    assert b"connection: close" in answer.lower()


async def test_who_takes_nothing_of_an_answer_is_dropped(monkeypatch):
    monkeypatch.setattr(server, "STUCK_S", 0.05)
    ended = asyncio.Event()

    async def app(scope, receive, send):
        await send({"type": "http.response.start", "status": 200, "headers": []})
        part = {"type": "http.response.body", "body": b"x" * 65_536, "more_body": True}
        for _ in range(1_000):  # held up at the first ones until the client is gone
            await send(part)
        ended.set()

    async with serving(app) as port:
        _, writer = await asyncio.open_connection("127.0.0.1", port)
        writer.transport.pause_reading()
        writer.write(b"GET / HTTP/1.1\r\nHost: 127.0.0.1\r\n\r\n")
        async with asyncio.timeout(5):
            await ended.wait()
        writer.transport.abort()


async def test_more_connections_than_may_be_told_so_are_dropped(guarded, monkeypatch):
    monkeypatch.setattr(server, "MOST_CONNECTIONS", 2)
    monkeypatch.setattr(server, "SPARE_CONNECTIONS", 1)
    async with serving(guarded.app) as port:
        held = [await asyncio.open_connection("127.0.0.1", port) for _ in range(3)]
        for reader, writer in held[:2]:  # they are taken, and answered
            writer.write(b"GET /v1/session HTTP/1.1\r\nHost: 127.0.0.1\r\n\r\n")
            assert (await reader.readline()).startswith(b"HTTP/1.1 401")
        held.append(await asyncio.open_connection("127.0.0.1", port))
        async with asyncio.timeout(5):
            assert await held[-1][0].read() == b""
        for _, writer in held:
            writer.close()


# ------------------------------------------------------------- starting, and TLS


@pytest.fixture
def certificate(tmp_path):
    """A certificate for localhost, made with the openssl program."""
    cert, key = tmp_path / "cert.pem", tmp_path / "key.pem"
    words = ["openssl", "req", "-x509", "-newkey", "ec", "-pkeyopt"]
    words += ["ec_paramgen_curve:prime256v1", "-nodes", "-days", "2", "-subj"]
    words += ["/CN=localhost", "-addext", "subjectAltName=DNS:localhost,IP:127.0.0.1"]
    words += ["-keyout", str(key), "-out", str(cert)]
    subprocess.run(words, check=True, capture_output=True)
    return cert, key


async def test_by_tls_nothing_can_be_read_on_the_way(guarded, certificate):
    cert, key = certificate
    trusting = ssl.create_default_context(cafile=str(cert))
    async with (
        serving(guarded.app, tls_cert=cert, tls_key=key) as port,
        httpx.AsyncClient(
            verify=trusting, base_url=f"https://localhost:{port}"
        ) as client,
    ):
        answer = await client.get("/v1/bench", headers=guarded.bearer("looker"))
        assert answer.status_code == 200
        body = {"token": guarded.secrets["keeper"]}
        cookie = (await client.post("/v1/session", json=body)).headers["set-cookie"]
        assert "; secure" in cookie.lower()
        plain = await exchanged(port, b"GET / HTTP/1.1\r\nHost: localhost\r\n\r\n")
    assert b"HTTP/1.1 2" not in plain


async def test_a_certificate_of_no_use_is_a_clear_error(guarded, tmp_path):
    rubbish = tmp_path / "cert.pem"
    rubbish.write_text("no certificate")
    for cert in (rubbish, tmp_path / "missing.pem"):
        at = Listen("127.0.0.1", 0, guarded=True, tls_cert=cert, tls_key=cert)
        with pytest.raises(ListenError, match=r"^\[api\] tls_cert = .*PEM"):
            await serve(guarded.app, at, print)


async def test_without_a_token_nobody_else_is_listened_to(guarded):
    for host in ("0.0.0.0", "::"):  # noqa: S104
        with pytest.raises(ListenError, match="there is no token"):
            await serve(guarded.app, Listen(host, 0, guarded=False), print)


def test_a_damaged_file_of_tokens_is_no_start(guarded, tmp_path):
    guarded.file.path.write_text("{")
    with pytest.raises(AccessError, match="is damaged"):
        FileAccess(guarded.file, tmp_path / "s.json", guarded.clock, print)


def test_a_damaged_file_of_sessions_is_told_and_ends_them(guarded, tmp_path):
    sessions = tmp_path / "other.json"
    sessions.write_text('{"sessions": [{}]}')
    told = []
    FileAccess(guarded.file, sessions, guarded.clock, told.append)
    assert "must show a token again" in told[0]


@pytest.mark.parametrize("name", ["", "a b", "x" * 33, "ä", "../x", "a\n"])
def test_a_name_that_is_none_makes_no_token(tmp_path, name):
    file = TokenFile(tmp_path / "t.json")
    with pytest.raises(AccessError, match="is no name for a token"):
        file.add(name, May.READ, "2026-02-14T08:00:00Z")
    assert file.load() is None


def test_a_name_is_given_once(guarded):
    with pytest.raises(AccessError, match="there is a token keeper already"):
        guarded.file.add("keeper", May.READ, "2026-02-14T08:00:00Z")


def test_what_there_is_not_cannot_be_revoked(guarded):
    with pytest.raises(AccessError, match="there are: looker, keeper"):
        guarded.file.revoke("gate")
