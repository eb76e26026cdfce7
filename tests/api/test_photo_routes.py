"""Photos over HTTP: taken in, given out, and what is tried against both."""

import asyncio
import contextlib
import errno
import hashlib
import io
import shutil
from collections.abc import AsyncIterator

import httpx
import pytest
from PIL import Image

from api import photos as routes
from api.context import Context
from api.record_book import Records
from api.server import Listen, serve
from controller.adapters.memory_records import MemoryRecords
from controller.adapters.photos import PhotoFolder, folder, photos_beside

JPEG = {"content-type": "image/jpeg"}
PHOTOS = "/v1/photos"


def picture(kind="JPEG", size=(60, 40), **options) -> bytes:
    file = io.BytesIO()
    Image.linear_gradient("L").resize(size).convert("RGB").save(file, kind, **options)
    return file.getvalue()


def noise(size: int) -> bytes:
    """Return a picture of at least so many bytes."""
    file = io.BytesIO()
    side = int((size / 1.55) ** 0.5)  # 1.6 bytes a pixel
    image = Image.effect_noise((side, side), 90)
    image.save(file, "JPEG", quality=100)
    assert file.tell() >= size
    return file.getvalue()


def files(place) -> list[str]:
    return sorted(path.name for path in place.iterdir())


@pytest.fixture
def place(tmp_path):
    return photos_beside(tmp_path / "season.db")


@pytest.fixture
async def client(shared_app, connect, bench, reader, place):
    kept = MemoryRecords()
    shared_app.state.context = Context(
        bench,
        lambda: reader,
        bench,
        records=Records(kept, lambda: kept, PhotoFolder(place)),
    )
    async with connect(shared_app) as found:
        yield found


async def put(client, content, kind="image/jpeg", **more):
    headers = {"content-type": kind, **more}
    return await client.post(PHOTOS, content=content, headers=headers)


async def test_a_photo_is_found_again_under_its_location(client, place):
    assert place.name == "season.photos"
    answer = await put(client, picture())
    assert answer.status_code == 201, answer.text
    name = answer.json()["name"]
    assert answer.headers["location"] == answer.json()["href"] == f"{PHOTOS}/{name}"
    found = await client.get(answer.headers["location"])
    assert found.status_code == 200
    assert found.headers["content-type"] == "image/jpeg"
    assert found.headers["x-content-type-options"] == "nosniff"
    assert found.headers["content-security-policy"].startswith("default-src 'none'")
    assert "private" in found.headers["cache-control"]
    assert "immutable" in found.headers["cache-control"]
    assert "content-encoding" not in found.headers
    assert Image.open(io.BytesIO(found.content)).size == (60, 40)
    assert name == hashlib.sha256(found.content).hexdigest() + ".jpg"
    assert files(place) == [name]


@pytest.mark.parametrize(
    ("kind", "ending"), [("JPEG", "jpg"), ("PNG", "png"), ("WEBP", "webp")]
)
async def test_each_kind_is_given_out_as_what_it_is(client, kind, ending):
    media_type = f"image/{kind.lower()}"
    answer = await put(client, picture(kind), f"{media_type}; charset=binary")
    assert answer.json()["name"].endswith(f".{ending}")
    found = await client.get(answer.headers["location"])
    assert found.headers["content-type"] == media_type


async def test_where_it_was_taken_does_not_reach_the_disk(client, place):
    told = Image.Exif()
    told.get_ifd(0x8825)[29] = "2027:02:03 taken at home"
    content = picture(exif=told)
    assert b"taken at home" in content
    assert (await put(client, content)).status_code == 201
    (file,) = place.iterdir()
    assert b"taken at home" not in file.read_bytes()


async def test_the_same_photo_twice_is_one_file(client, place):
    first, second = await put(client, picture()), await put(client, picture())
    assert first.json() == second.json()
    assert (first.status_code, second.status_code) == (201, 201)
    assert len(files(place)) == 1


async def test_a_photo_that_is_known_is_not_sent_again(client):
    href = (await put(client, picture())).headers["location"]
    tag = (await client.get(href)).headers["etag"]
    for known in (tag, f'"other", W/{tag}', "*"):
        again = await client.get(href, headers={"if-none-match": known})
        assert (again.status_code, again.content) == (304, b"")
    changed = await client.get(href, headers={"if-none-match": '"other"'})
    assert changed.status_code == 200
    head = await client.head(href)
    assert (head.status_code, head.content) == (200, b"")


async def test_an_event_and_a_look_carry_the_name(client):
    name = (await put(client, picture())).json()["name"]
    event = {"kind": "photo", "trays": ["N1"], "photo": name}
    told = await client.post("/v1/events", json=event)
    assert told.json()["photo"] == name
    batch = {"crop": "quince", "kind": "hardwood", "count": 9, "tray": "N1"}
    batch["stuck_at"] = "2026-02-01T10:00:00Z"
    code = (await client.post("/v1/batches", json=batch)).json()["code"]
    look = {"how": "tops-only", "looked_at": 9, "photo": name}
    found = await client.post(f"/v1/batches/{code}/looks", json=look)
    assert found.status_code == 201, found.text
    assert found.json()["looks"][0]["look"]["photo"] == name


async def test_a_look_tells_no_way_to_a_file(client, as_problem):
    batch = {"crop": "quince", "kind": "hardwood", "count": 9, "tray": "N1"}
    code = (await client.post("/v1/batches", json=batch)).json()["code"]
    look = {"how": "tops-only", "looked_at": 9, "photo": "../../etc/passwd"}
    answer = await client.post(f"/v1/batches/{code}/looks", json=look)
    assert as_problem(answer, 422)["errors"][0]["pointer"] == "#/photo"


# ------------------------------------------------------------- tried against coming in


@pytest.mark.parametrize(
    "kind",
    [
        "application/json",
        "text/html",
        "image/svg+xml",
        "image/gif",
        "image/jpeg/../html",
        "multipart/form-data; boundary=x",
        "",
    ],
)
async def test_another_type_is_not_taken(client, as_problem, place, kind):
    body = as_problem(await put(client, picture(), kind), 415)
    assert "image/jpeg or image/png or image/webp" in body["detail"]
    assert not place.exists()


async def test_json_is_told_elsewhere_and_a_picture_only_here(client, as_problem):
    as_problem(await client.post("/v1/events", content=picture(), headers=JPEG), 415)
    large = b" " * 70_000
    headers = {"content-type": "application/json"}
    as_problem(await client.post("/v1/events", content=large, headers=headers), 413)
    answer = await client.post(f"{PHOTOS}/x", content=large, headers=JPEG)
    assert answer.status_code in (405, 413, 415)


@pytest.mark.parametrize(
    "content",
    [
        b"",
        b"<!doctype html><script>alert(1)</script>",
        b"\xff\xd8\xff<html><script>alert(1)</script>",
        picture("PNG"),
        picture()[:-200],
        picture()[:-2],
        picture()[:20],
    ],
)
async def test_what_is_no_whole_picture_is_refused_and_leaves_nothing(
    client, as_problem, place, content
):
    as_problem(await put(client, content), 422)
    assert files(place) == []


async def test_a_photo_of_ten_megabytes_is_taken(client, place):
    content = noise(10_000_000)
    answer = await put(client, content)
    assert answer.status_code == 201, answer.text
    assert (place / answer.json()["name"]).stat().st_size == len(content)


async def test_a_photo_that_says_it_is_too_large_is_refused_by_its_head(
    client, as_problem, place
):
    as_problem(await put(client, bytes(12_000_001)), 413)
    assert not place.exists()


async def test_a_photo_without_a_length_is_refused_where_it_gets_too_large(
    client, as_problem, place
):
    given = 0

    async def endless() -> AsyncIterator[bytes]:
        nonlocal given
        while True:
            given += 1
            yield bytes(100_000)

    as_problem(await put(client, endless()), 413)
    assert given <= 122
    assert files(place) == []


async def test_who_sends_too_slowly_is_hung_up_on(
    client, as_problem, place, monkeypatch
):
    monkeypatch.setattr(routes, "PIECE_WITHIN_S", 0.05)

    async def silent() -> AsyncIterator[bytes]:
        yield picture()[:100]
        await asyncio.Event().wait()

    answer = await put(client, silent())
    as_problem(answer, 408)
    assert answer.headers["connection"] == "close"
    assert files(place) == []


async def test_a_trickle_ends_too(client, as_problem, place, monkeypatch):
    monkeypatch.setattr(routes, "PHOTO_WITHIN_S", 0.2)

    async def trickle() -> AsyncIterator[bytes]:
        while True:
            yield b"\xff"
            with contextlib.suppress(TimeoutError):
                await asyncio.wait_for(asyncio.Event().wait(), 0.01)

    as_problem(await put(client, trickle()), 408)
    assert files(place) == []


async def test_only_so_many_come_at_once(client, as_problem, place):
    go = asyncio.Event()

    async def waiting() -> AsyncIterator[bytes]:
        await go.wait()
        yield picture()

    first = [asyncio.create_task(put(client, waiting())) for _ in range(4)]
    while not place.exists() or len(files(place)) < 4:
        await asyncio.to_thread(place.exists)
    answer = await put(client, picture())
    as_problem(answer, 503)
    assert answer.headers["retry-after"] == "5"
    go.set()
    assert [one.status_code for one in await asyncio.gather(*first)] == [201] * 4
    assert len(files(place)) == 1


@pytest.mark.parametrize("broken", ["fsync", "replace", "write"])
async def test_a_full_disk_keeps_nothing_and_says_so(
    client, as_problem, place, monkeypatch, broken
):
    def full(*_: object) -> None:
        raise OSError(errno.ENOSPC, "No space left on device")

    if broken == "write":
        monkeypatch.setattr(PhotoFolder, "_written", full)
    else:
        monkeypatch.setattr(folder.os, broken, full)
    body = as_problem(await put(client, picture()), 507)
    assert "full" in body["detail"]
    monkeypatch.undo()
    assert files(place) == []
    assert (await put(client, picture())).status_code == 201


async def test_a_disk_that_fails_is_told_of(client, as_problem, monkeypatch):
    def failing(*_: object) -> None:
        raise OSError(errno.EIO, "Input/output error")

    monkeypatch.setattr(folder.os, "fsync", failing)
    body = as_problem(await put(client, picture()), 503)
    assert "Input/output error" in body["detail"]


async def test_the_season_log_has_room_left(client, as_problem, place, monkeypatch):
    left = shutil.disk_usage(place.parent)._replace(free=200_000_000)
    monkeypatch.setattr(folder.shutil, "disk_usage", lambda _: left)
    body = as_problem(await put(client, picture()), 507)
    assert "200 MB left" in body["detail"]


async def test_all_photos_together_are_bounded(
    client, as_problem, shared_app, bench, place
):
    content = picture()
    small = Records(None, None, PhotoFolder(place, most_bytes=len(content) + 10))
    shared_app.state.context = Context(bench, None, bench, records=small)
    assert (await put(client, content)).status_code == 201
    body = as_problem(await put(client, picture(size=(61, 40))), 507)
    assert "season.photos holds" in body["detail"]
    assert (await put(client, content)).status_code == 201  # it is there already
    assert len(files(place)) == 1


async def test_what_a_power_cut_left_is_cleared_away(client, place):
    place.mkdir()
    (place / "0011223344556677.part").write_bytes(b"half")
    (place / "notes.txt").write_text("a person's own")
    name = (await put(client, picture())).json()["name"]
    assert sorted(files(place)) == sorted([name, "notes.txt"])


async def test_a_bench_without_a_folder_keeps_none(
    client, shared_app, bench, as_problem
):
    shared_app.state.context = Context(bench, None, bench)
    as_problem(await put(client, picture()), 503)


# ------------------------------------------------------------ tried against going out


@pytest.mark.parametrize(
    "name",
    [
        "..%2Fseason.db",
        "%2e%2e%2fseason.db",
        "..\\season.db",
        "season.db",
        "notes.txt",
        "0" * 64 + ".jpg",
        "0" * 64 + ".jpg%0a",
        "0" * 64 + ".svg",
        "0" * 64 + ".jpg%00.png",
        "A" * 64 + ".jpg",
        "0011223344556677.part",
        "%2fetc%2fpasswd",
        "%ff%fe",
    ],
)
async def test_only_photos_are_given_out(client, place, as_problem, name):
    place.mkdir()
    (place.parent / "season.db").write_bytes(b"secret")
    (place / "notes.txt").write_bytes(b"secret")
    answer = await client.get(f"{PHOTOS}/{name}")
    as_problem(answer, 404)
    assert b"secret" not in answer.content


async def test_a_link_or_a_folder_under_a_right_name_is_not_followed(
    client, place, as_problem
):
    place.mkdir()
    (place.parent / "season.db").write_bytes(b"secret")
    (place / f"{'1' * 64}.jpg").symlink_to(place.parent / "season.db")
    (place / f"{'2' * 64}.jpg").mkdir()
    as_problem(await client.get(f"{PHOTOS}/{'1' * 64}.jpg"), 404)
    as_problem(await client.get(f"{PHOTOS}/{'2' * 64}.jpg"), 404)


# ---------------------------------------------------------------------- who may do it


@pytest.fixture
def guarded_photos(guarded, shared_app, place):
    before: Context = shared_app.state.context
    shared_app.state.context = Context(
        before.bench,
        before.reader,
        before.clock,
        reception=before.reception,
        records=Records(None, None, PhotoFolder(place)),
    )
    return guarded


async def test_who_may_read_sends_none_but_sees_them(
    guarded_photos, stranger, as_problem, place
):
    keeper, looker = guarded_photos.bearer("keeper"), guarded_photos.bearer("looker")
    as_problem(await put(stranger, picture()), 401)
    as_problem(await put(stranger, picture(), **looker), 403)
    assert not place.exists()
    answer = await put(stranger, picture(), **keeper)
    assert answer.status_code == 201
    href = answer.headers["location"]
    as_problem(await stranger.get(href), 401)
    assert (await stranger.get(href, headers=looker)).status_code == 200


async def test_a_page_needs_the_word_of_its_session(
    guarded_photos, stranger, as_problem
):
    opened = await stranger.post(
        "/v1/session", json={"token": guarded_photos.secrets["keeper"]}
    )
    assert opened.status_code < 300, opened.text
    as_problem(await put(stranger, picture()), 403)
    csrf = (await stranger.get("/v1/session")).json()["csrf"]
    answer = await put(stranger, picture(), **{"x-csrf-token": csrf})
    assert answer.status_code == 201


async def test_a_page_of_another_site_sends_none(client, as_problem, place):
    as_problem(await put(client, picture(), origin="http://elsewhere.example"), 403)
    assert not place.exists()


# --------------------------------------------------------------------- on a real socket


async def test_a_refusal_is_heard_also_by_who_still_sends(
    client, shared_app, place, monkeypatch
):
    """An answer before the end of a body would be lost in a connection's reset."""
    left = shutil.disk_usage(place.parent)._replace(free=0)
    monkeypatch.setattr(folder.shutil, "disk_usage", lambda _: left)
    ready: asyncio.Future[int] = asyncio.get_running_loop().create_future()
    task = asyncio.create_task(
        serve(shared_app, Listen("127.0.0.1", 0), ready.set_result)
    )
    url = f"http://127.0.0.1:{await ready}{PHOTOS}"
    async with httpx.AsyncClient(trust_env=False) as real:
        answer = await real.post(url, content=noise(5_000_000), headers=JPEG)
        assert answer.status_code == 507
        monkeypatch.undo()
        answer = await real.post(url, content=noise(5_000_000), headers=JPEG)
        assert answer.status_code == 201
        href = url.removesuffix(PHOTOS) + answer.headers["location"]
        found = await real.get(href)
        assert int(found.headers["content-length"]) == len(found.content) > 5_000_000
        part = await real.get(href, headers={"range": "bytes=0-2"})
        assert (part.status_code, part.content) == (206, b"\xff\xd8\xff")
    task.cancel()
    await asyncio.gather(task, return_exceptions=True)
