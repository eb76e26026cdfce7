"""Sessions of browsers: shown a token once, let in by a cookie from then on."""

import pytest

from controller.adapters.access import FileAccess
from controller.adapters.access.gate import SESSION_LASTS_MS
from controller.ports import May

HOLD = "/v1/mats/north/hold"


async def logged_in(client, guarded, name="keeper"):
    answer = await client.post("/v1/session", json={"token": guarded.secrets[name]})
    assert answer.status_code == 204, answer.text
    return answer


async def test_an_open_bench_tells_that_anybody_here_may_operate(client):
    answer = await client.get("/v1/session")
    told = answer.json()
    assert (told["name"], told["may"]) == (None, "operate")
    assert len(told["csrf"]) >= 16
    assert answer.headers["cache-control"] == "no-store"


async def test_on_an_open_bench_there_is_nothing_to_log_in_to(client, as_problem):
    as_problem(await client.post("/v1/session", json={"token": "x"}), 409)


async def test_a_token_opens_a_session_that_reads_and_operates(
    guarded, stranger, bench
):
    answer = await logged_in(stranger, guarded)
    assert answer.content == b""
    cookie = answer.headers["set-cookie"]
    assert cookie.startswith("bottomheat_session=")
    for word in ("HttpOnly", "SameSite=strict", "Path=/", "Max-Age=17280000"):
        assert word.lower() in cookie.lower()
    assert "secure" not in cookie.lower()  # this one came by plain HTTP
    told = (await stranger.get("/v1/session")).json()
    assert (told["name"], told["may"]) == ("keeper", "operate")
    assert (await stranger.get("/v1/bench")).status_code == 200
    csrf = {"X-CSRF-Token": told["csrf"]}
    assert (await stranger.post(HOLD, json={}, headers=csrf)).status_code == 202
    assert bench.waiting[0].who == "keeper, from 127.0.0.1"


async def test_over_tls_the_cookie_is_for_tls_alone(guarded, stranger):
    answer = await stranger.post(
        "https://127.0.0.1:8000/v1/session", json={"token": guarded.secrets["keeper"]}
    )
    assert "; secure" in answer.headers["set-cookie"].lower()


@pytest.mark.parametrize(
    "headers", [{}, {"X-CSRF-Token": ""}, {"X-CSRF-Token": "a" * 64}]
)
async def test_a_change_by_cookie_needs_the_pages_own_word(
    guarded, stranger, bench, as_problem, headers
):
    await logged_in(stranger, guarded)
    as_problem(await stranger.post(HOLD, json={}, headers=headers), 403)
    assert bench.waiting == []


async def test_another_sessions_word_will_not_do(
    guarded, stranger, connect, bench, as_problem
):
    await logged_in(stranger, guarded)
    async with connect(guarded.app) as other:
        await logged_in(other, guarded)
        word = (await other.get("/v1/session")).json()["csrf"]
    headers = {"X-CSRF-Token": word}
    as_problem(await stranger.post(HOLD, json={}, headers=headers), 403)
    assert bench.waiting == []


async def test_a_session_of_a_reader_reads_only_but_may_log_out(
    guarded, stranger, as_problem
):
    await logged_in(stranger, guarded, "looker")
    told = (await stranger.get("/v1/session")).json()
    assert told["may"] == "read"
    csrf = {"X-CSRF-Token": told["csrf"]}
    as_problem(await stranger.post(HOLD, json={}, headers=csrf), 403)
    answer = await stranger.delete("/v1/session", headers=csrf)
    assert answer.status_code == 204


async def test_logging_out_ends_the_session_on_the_bench_too(
    guarded, stranger, as_problem
):
    await logged_in(stranger, guarded)
    told = (await stranger.get("/v1/session")).json()
    kept = stranger.cookies["bottomheat_session"]
    answer = await stranger.delete(
        "/v1/session", headers={"X-CSRF-Token": told["csrf"]}
    )
    assert "max-age=0" in answer.headers["set-cookie"].lower()
    stranger.cookies.set("bottomheat_session", kept)  # somebody copied it before
    as_problem(await stranger.get("/v1/session"), 401)


async def test_logging_in_anew_ends_the_session_before(guarded, stranger, as_problem):
    await logged_in(stranger, guarded)
    before = stranger.cookies["bottomheat_session"]
    await logged_in(stranger, guarded, "looker")
    assert (await stranger.get("/v1/session")).json()["name"] == "looker"
    stranger.cookies.clear()
    stranger.cookies.set("bottomheat_session", before)
    as_problem(await stranger.get("/v1/bench"), 401)


async def test_a_session_outlives_the_daemon(guarded, stranger, tmp_path, as_problem):
    await logged_in(stranger, guarded)
    again = FileAccess(
        guarded.file, tmp_path / "season.sessions.json", guarded.clock, print
    )
    found = again.visitor(stranger.cookies["bottomheat_session"])
    assert found is not None
    assert found.name == "keeper"


async def test_a_session_ends_after_a_season(guarded, stranger, as_problem):
    await logged_in(stranger, guarded)
    guarded.clock.step_wall_clock(SESSION_LASTS_MS + 1)
    as_problem(await stranger.get("/v1/bench"), 401)


async def test_a_revoked_token_ends_its_sessions_and_a_new_one_of_its_name_none(
    guarded, stranger, as_problem
):
    await logged_in(stranger, guarded)
    guarded.file.revoke("keeper")
    await guarded.access.look()
    as_problem(await stranger.get("/v1/bench"), 401)
    guarded.file.add("keeper", May.OPERATE, "2026-02-15T08:00:00Z")
    await guarded.access.look()
    as_problem(await stranger.get("/v1/bench"), 401)


@pytest.mark.parametrize(
    ("body", "status"),
    [
        ({"token": "bottomheat-not-this-one"}, 401),
        ({"token": ""}, 422),
        ({"token": "x" * 201}, 422),
        ({"token": 7}, 422),
        ({}, 422),
        ({"token": "x", "also": 1}, 422),
    ],
)
async def test_what_is_no_token_opens_nothing(
    guarded, stranger, as_problem, body, status
):
    answer = await stranger.post("/v1/session", json=body)
    as_problem(answer, status)
    assert "set-cookie" not in answer.headers


async def test_a_session_cannot_be_opened_from_another_site(
    guarded, stranger, as_problem
):
    answer = await stranger.post(
        "/v1/session",
        json={"token": guarded.secrets["keeper"]},
        headers={"origin": "https://elsewhere.example"},
    )
    as_problem(answer, 403)
    assert "set-cookie" not in answer.headers
