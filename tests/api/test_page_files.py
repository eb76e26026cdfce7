"""The page's files as they are sent: types, tags, packing, and what may run in them."""

import gzip
import re

import pytest

from api.page_files import FOLDER, TYPES, page_files

HTML = (FOLDER / "index.html").read_text(encoding="utf-8")


async def test_the_page_is_at_the_root(client):
    answer = await client.get("/")
    assert answer.status_code == 200
    assert answer.headers["content-type"] == "text/html; charset=utf-8"
    assert answer.text == HTML
    policy = answer.headers["content-security-policy"]
    assert "default-src 'none'" in policy
    assert "script-src 'self'" in policy
    assert "unsafe" not in policy


def test_every_file_of_the_folder_is_sent_and_has_a_type():
    found = {path.name for path in FOLDER.iterdir() if path.is_file()}
    assert found == set(page_files())
    assert {path.rpartition(".")[2] for path in found} <= {t[1:] for t in TYPES}


@pytest.mark.parametrize("name", sorted(page_files()))
async def test_a_file_comes_packed_to_who_takes_it(client, name):
    packed = await client.get(f"/page/{name}", headers={"accept-encoding": "br, gzip"})
    plain = await client.get(f"/page/{name}", headers={"accept-encoding": "identity"})
    assert packed.headers["content-encoding"] == "gzip"
    assert "content-encoding" not in plain.headers
    assert packed.content == plain.content == (FOLDER / name).read_bytes()
    assert packed.headers["etag"] != plain.headers["etag"]
    for answer in (packed, plain):
        assert "Accept-Encoding" in answer.headers["vary"]
        assert answer.headers["cache-control"] == "no-cache"
        assert answer.headers["x-content-type-options"] == "nosniff"


async def test_a_file_that_is_known_is_not_sent_again(client):
    first = await client.get("/page/style.css", headers={"accept-encoding": "gzip"})
    tag = first.headers["etag"]
    again = await client.get(
        "/page/style.css",
        headers={"accept-encoding": "gzip", "if-none-match": f'"older", W/{tag}'},
    )
    assert (again.status_code, again.content) == (304, b"")
    assert again.headers["etag"] == tag
    other = await client.get("/page/style.css", headers={"if-none-match": '"older"'})
    assert other.status_code == 200


async def test_a_head_has_no_body(client):
    answer = await client.head("/page/main.js")
    assert answer.status_code == 200
    assert answer.content == b""


async def test_a_question_to_a_file_is_refused(client, as_problem):
    as_problem(await client.get("/page/main.js?v=2"), 400)


def test_what_is_packed_is_the_same_each_time():
    """So that an entity tag of one start holds after the next."""
    for file in page_files().values():
        assert gzip.decompress(file.packed) == file.plain
        assert gzip.compress(file.plain, 9, mtime=0) == file.packed


def test_nothing_of_the_page_is_inline_or_elsewhere():
    """What the policy forbids is not there; nothing comes from another place."""
    assert not re.search(r"<script(?![^>]*\bsrc=)", HTML)
    assert not re.search(r"<style|\sstyle=|\son[a-z]+=", HTML)
    for path in FOLDER.iterdir():
        text = path.read_text(encoding="utf-8")
        links = set(re.findall(r"https?://[^\s\"')]+", text))
        assert links <= {"http://www.w3.org/2000/svg"}, path.name


def test_modules_name_files_that_are_there():
    for path in FOLDER.glob("*.js"):
        for name in re.findall(r'from "\./([^"]+)"', path.read_text(encoding="utf-8")):
            assert (FOLDER / name).is_file(), f"{path.name}: {name}"


def test_all_modules_are_asked_for_at_once():
    """The page names them, or each would wait for the one that imports it."""
    named = set(re.findall(r'href="/page/([a-z_]+\.js)"', HTML))
    assert named == {path.name for path in FOLDER.glob("*.js")} - {"main.js"}
