"""Answers made smaller: compressed, and not sent again to who has them."""

import gzip
import json

import pytest

GZIP = {"accept-encoding": "gzip"}
PLAIN = {"accept-encoding": "identity"}


async def raw(client, path, headers):
    """Return an answer with its body as it came over the wire."""
    async with client.stream("GET", path, headers=headers) as answer:
        return answer, b"".join([part async for part in answer.aiter_raw()])


async def test_a_large_answer_is_compressed_for_who_takes_that(client):
    plain, body = await raw(client, "/openapi.json", PLAIN)
    small, packed = await raw(client, "/openapi.json", GZIP)
    assert "content-encoding" not in plain.headers
    assert small.headers["content-encoding"] == "gzip"
    assert "Accept-Encoding" in small.headers["vary"]
    assert gzip.decompress(packed) == body
    assert int(small.headers["content-length"]) == len(packed) < len(body) / 5


async def test_what_holds_a_secret_is_never_compressed(client):
    """Its length would tell of the secret (the attack called BREACH)."""
    answer, body = await raw(client, "/v1/session", GZIP)
    assert "content-encoding" not in answer.headers
    assert json.loads(body)["csrf"]


KEPT = ["/openapi.json", "/v1/log", "/v1/trays/N1/temperatures?to=2026-02-14T09:00:00Z"]


@pytest.mark.parametrize("path", KEPT)
async def test_what_changes_rarely_is_asked_for_by_its_tag(client, path):
    first = await client.get(path)
    tag = first.headers["etag"]
    assert first.headers["cache-control"] == "private, no-cache"
    assert {"Authorization", "Cookie"} <= set(first.headers["vary"].split(", "))
    for known in (tag, f'"other", {tag}', tag.removeprefix("W/"), "*"):
        again = await client.get(path, headers={"if-none-match": known})
        assert (again.status_code, again.content) == (304, b""), known
        assert again.headers["etag"] == tag
        assert "content-length" not in again.headers
        assert "content-security-policy" in again.headers
    for other in ('"other"', "", tag[:-2] + '"', tag.strip('W/"')):
        again = await client.get(path, headers={"if-none-match": other})
        assert again.status_code == 200, other


async def test_a_tag_is_of_the_bytes_whatever_their_coding(client):
    plain, _ = await raw(client, "/openapi.json", PLAIN)
    packed, _ = await raw(client, "/openapi.json", GZIP)
    assert plain.headers["etag"] == packed.headers["etag"]
    assert plain.headers["etag"].startswith('W/"')


async def test_another_body_has_another_tag(client, reader):
    reader.series = {"n1": [(1_771_059_485_000 - 60_000, 20_000)]}
    path = "/v1/trays/N1/temperatures?to=2026-02-14T09:00:00Z"
    before = (await client.get(path)).headers["etag"]
    reader.series["n1"].append((1_771_059_485_000 - 50_000, 21_000))
    answer = await client.get(path, headers={"if-none-match": before})
    assert answer.status_code == 200
    assert answer.headers["etag"] != before


@pytest.mark.parametrize("path", ["/v1/bench", "/v1/mats/north/why", "/v1/session"])
async def test_what_changes_with_each_scan_is_never_kept(client, path):
    answer = await client.get(path, headers={"if-none-match": "*"})
    assert answer.status_code == 200
    assert answer.headers["cache-control"] == "no-store"
    assert "etag" not in answer.headers


async def test_an_error_is_never_kept(client, as_problem):
    path = "/v1/trays/N1/temperatures?points=1"
    answer = await client.get(path, headers={"if-none-match": "*"})
    as_problem(answer, 400)
    assert answer.headers["cache-control"] == "no-store"


async def test_head_has_the_tag_and_no_body(client):
    answer = await client.head("/openapi.json")
    assert answer.headers["etag"]
    assert answer.content == b""
