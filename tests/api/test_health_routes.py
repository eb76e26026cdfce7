"""Health for supervisors: alive while scans go on, ready while the bench is kept."""

import pytest

from api.context import Context

LIVE, READY = "/v1/health/live", "/v1/health/ready"


@pytest.mark.parametrize("path", [LIVE, READY])
async def test_a_bench_that_is_kept_is_both(client, path):
    answer = await client.get(path)
    assert answer.status_code == 200
    assert answer.json() == {"status": "ok", "reasons": []}


async def test_before_the_first_scan_it_is_alive_and_not_ready(
    client, bench, as_problem
):
    bench.current = None
    assert (await client.get(LIVE)).status_code == 200
    as_problem(await client.get(READY), 503)


async def test_when_scans_stop_it_is_neither(client, bench, as_problem):
    bench.run_ms += 3 * 5_000 + 1
    for path in (LIVE, READY):
        assert (
            "the last scan was made"
            in as_problem(await client.get(path), 503)["detail"]
        )


async def test_a_broker_that_is_away_is_no_reason_to_restart(
    client, bench, warm, as_problem
):
    bench.scan(warm, link_up=False)
    assert (await client.get(LIVE)).status_code == 200
    assert "the broker" in as_problem(await client.get(READY), 503)["detail"]


async def test_a_bench_that_waits_for_readings_says_for_which_mats(
    client, make_bench, shared_app, reader, as_problem
):
    fresh = make_bench().scan({})
    shared_app.state.context = Context(fresh, lambda: reader, fresh)
    detail = as_problem(await client.get(READY), 503)["detail"]
    assert detail.startswith("waiting for good readings: north, south")
