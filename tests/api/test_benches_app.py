"""The page of many benches as it is served: files, door, tokens, and what it shows."""

import re

import pytest

from api.benches_app import FOLDER, SHARED, benches_files, create_benches_app
from api.page_files import FOLDER as BENCH_FOLDER
from api.page_files import TYPES
from controller.adapters.access import FileAccess, TokenFile
from controller.adapters.clocks import ManualClock
from controller.ports import May

HTML = (FOLDER / "index.html").read_text(encoding="utf-8")
VIEW = {"needed": 0, "every_s": 10.0, "benches": []}
MADE = "2026-02-14T08:00:00Z"


@pytest.fixture
def open_app():
    """The app as it is on its own machine, without tokens."""
    return create_benches_app(lambda: VIEW, ManualClock())


@pytest.fixture
def guarded_app(tmp_path):
    """The app with a token that may read; and its secret."""
    file = TokenFile(tmp_path / "benches.tokens.json")
    secret = file.add("phone", May.READ, MADE)
    access = FileAccess(file, tmp_path / "sessions.json", ManualClock(), print)
    return create_benches_app(lambda: VIEW, ManualClock(), access), secret


async def test_its_page_and_each_of_its_files_are_sent_under_the_policy(
    open_app, connect
):
    async with connect(open_app) as client:
        page = await client.get("/")
        assert page.text == HTML
        assert "default-src 'none'" in page.headers["content-security-policy"]
        assert page.headers["x-frame-options"] == "DENY"
        for name, file in benches_files().items():
            answer = await client.get(f"/page/{name}")
            assert answer.content == file.plain, name


def test_every_file_is_there_and_of_a_known_type():
    found = {path.name for path in FOLDER.iterdir()}
    assert found | set(SHARED) == set(benches_files())
    assert not found & set(SHARED)
    assert {path.suffix for path in FOLDER.iterdir()} <= set(TYPES)


def test_nothing_is_inline_or_elsewhere_and_all_modules_are_asked_for_at_once():
    assert not re.search(r"<script(?![^>]*\bsrc=)", HTML)
    assert not re.search(r"<style|\sstyle=|\son[a-z]+=", HTML)
    modules = {name for name in benches_files() if name.endswith(".js")}
    named = set(re.findall(r'href="/page/([a-z_]+\.js)"', HTML))
    assert named == modules - {"benches.js"}
    for path in FOLDER.iterdir():
        text = path.read_text(encoding="utf-8")
        assert "://" not in text, path.name
        imported = set(re.findall(r'from "\./([^"]+)"', text))
        assert imported <= modules, path.name
    for name in modules & set(SHARED):
        text = (BENCH_FOLDER / name).read_text(encoding="utf-8")
        assert set(re.findall(r'from "\./([^"]+)"', text)) <= modules, name


async def test_it_only_looks(open_app, connect):
    """Nothing but a login and its end is done by other methods than GET."""
    document = open_app.openapi()
    deeds = {
        (method, path)
        for path, operations in document["paths"].items()
        for method in operations
        if method != "get"
    }
    assert deeds == {("post", "/v1/session"), ("delete", "/v1/session")}


async def test_without_tokens_it_is_for_its_own_machine(open_app, connect, as_problem):
    async with connect(open_app) as client:
        assert (await client.get("/v1/benches")).json() == VIEW
        by_proxy = await client.get("/v1/benches", headers={"via": "1.1 somebody"})
        as_problem(by_proxy, 403)
        rebound = await client.get("/v1/benches", headers={"host": "evil.example"})
        as_problem(rebound, 421)


async def test_with_tokens_nobody_looks_without_one(guarded_app, connect, as_problem):
    app, secret = guarded_app
    async with connect(app) as client:
        as_problem(await client.get("/v1/benches"), 401)
        wrong = {"authorization": "Bearer bottomheat-wrong"}
        as_problem(await client.get("/v1/benches", headers=wrong), 401)
        right = {"authorization": f"Bearer {secret}"}
        assert (await client.get("/v1/benches", headers=right)).status_code == 200


async def test_a_browser_logs_in_looks_and_logs_out(guarded_app, connect, as_problem):
    app, secret = guarded_app
    async with connect(app) as client:
        done = await client.post("/v1/session", json={"token": secret})
        assert done.status_code == 204
        cookie = done.headers["set-cookie"].lower()
        assert "httponly" in cookie
        assert "samesite=strict" in cookie
        assert (await client.get("/v1/benches")).json() == VIEW
        csrf = (await client.get("/v1/session")).json()["csrf"]
        as_problem(await client.delete("/v1/session"), 403)
        gone = await client.delete("/v1/session", headers={"x-csrf-token": csrf})
        assert gone.status_code == 204
        as_problem(await client.get("/v1/benches"), 401)


async def test_a_mistyped_question_is_refused(open_app, connect, as_problem):
    async with connect(open_app) as client:
        as_problem(await client.get("/v1/benches?all=yes"), 400)
        as_problem(await client.get("/page/main.js"), 404)
        as_problem(await client.post("/v1/benches", json={}), 405)
