"""A real browser before a served bench: one browser for all, a page for each test."""

import os
import shutil
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

from tests.page.served import Served

CHROMIUM = "/usr/bin/chromium"
WAIT_MS = 20_000
LONGEST_S = 240
"""A browser can stand still for most of a minute where memory is taken from it."""


def pytest_collection_modifyitems(items):
    """Give tests of this folder that long; each wait in them has its own bound."""
    for item in items:
        if item.path.parent == Path(__file__).parent:
            item.add_marker(pytest.mark.timeout(LONGEST_S))


def _missing() -> str | None:
    """Return what is not installed, or None."""
    if shutil.which(CHROMIUM) is None:
        return "chromium is not installed (apt-get install chromium)"
    try:
        import playwright.sync_api  # noqa: F401, PLC0415
    except ImportError:
        return "playwright is not installed (the extra test)"
    return None


@pytest.fixture(scope="module")
def browser():
    """Chromium, headless; where it must be, its lack is an error.

    While it is there its driver's loop runs in this thread, which other tests
    could not bear: hence one for each module.
    """
    missing = _missing()
    if missing is not None:
        (pytest.fail if os.environ.get("CI") else pytest.skip)(missing)
    from playwright.sync_api import expect, sync_playwright  # noqa: PLC0415

    expect.set_options(timeout=WAIT_MS)
    with sync_playwright() as started:
        chromium = started.chromium.launch(
            executable_path=CHROMIUM, args=["--no-sandbox", "--disable-gpu"]
        )
        yield chromium
        chromium.close()


@pytest.fixture(scope="module")
def served() -> Iterator[Served]:
    """A bench that needs no login."""
    found = Served()
    yield found
    found.stop()


@pytest.fixture
def bench(served):
    """Its bench, back as it was after each test."""
    before = dict(served.bench.temps)
    yield served.bench
    served.bench.temps = before
    served.bench.frozen = False


SIZE = {"width": 1200, "height": 900}


class Complaints(list[str]):
    """What pages complained of: errors of their scripts that nobody caught."""

    def watch(self, page) -> None:
        page.on("pageerror", lambda error: self.append(str(error)))


@pytest.fixture
def open_page(browser, served) -> Iterator[Callable]:
    """Return how to open the page; whatever it complains of fails the test."""
    contexts, complaints = [], Complaints()

    def opened(path="/", prepare=None, **options):
        context = browser.new_context(**{"viewport": SIZE, **options})
        contexts.append(context)
        page = _new_page(context, complaints)
        if prepare is not None:
            prepare(context)
        page.goto(served.url + path)
        return page

    yield opened
    for context in contexts:
        context.close()
    assert complaints == []


def _new_page(context, complaints: Complaints):
    context.set_default_timeout(WAIT_MS)
    page = context.new_page()
    complaints.watch(page)
    return page


@pytest.fixture(scope="module")
def one_page(browser, served):
    """A page that a module's tests share: to load one takes longer than most."""
    complaints = Complaints()
    context = browser.new_context(viewport=SIZE)
    page = _new_page(context, complaints)
    page.goto(served.url)
    page.wait_for_selector("#plan [data-tray=N1]")
    yield page, complaints
    context.close()


@pytest.fixture
def page(one_page):
    """The page with the bench on it, no dialog open, nothing waiting."""
    found, complaints = one_page
    del complaints[:]
    yield found
    found.unroute_all(behavior="ignoreErrors")
    found.context.set_offline(False)
    found.evaluate(
        "() => { document.querySelector('dialog').close(); localStorage.clear(); }"
    )
    assert complaints == []
