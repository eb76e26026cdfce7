"""The page of many benches in a real browser: what is shown, and how alive it is."""

import re
import threading

import pytest
from playwright.sync_api import expect

from controller.adapters.access import FileAccess, TokenFile
from controller.adapters.clocks import SystemClock
from controller.cli.bench_list import Asked
from controller.ports import May
from tests.page.far_benches import (
    HOSTILE,
    BenchesServed,
    FarServer,
    invented_bench,
    many,
    troubled,
)
from tests.page.test_page import PHONE, violations

NAMES = ("lean-to", "north house", "south house", "old frame", "gully", "cellar",
         "tunnel", "attic", "porch", HOSTILE)  # fmt: skip
COUNT = 100
SECRET = "bottomheat-aSecretThatNobodyElseMaySee"  # noqa: S105


@pytest.fixture(scope="module")
def far():
    """A hundred invented benches, some of them in trouble of each kind."""
    found = many(COUNT)
    troubled(found)
    server = FarServer(found)
    yield server
    server.stop()


@pytest.fixture(scope="module")
def served(far, tmp_path_factory):
    """Their page."""
    token = tmp_path_factory.mktemp("tokens") / "old-frame.token"
    token.write_text(SECRET + "\n")
    token.chmod(0o600)
    asked = [
        Asked(
            NAMES[number] if number < len(NAMES) else f"house {number}",
            far.url(number),
            token if number == 3 else None,
            f"http://127.0.0.1:1/{number}",
        )
        for number in range(COUNT)
    ]
    found = BenchesServed(asked)
    yield found
    found.stop()


def row(page, name):
    link = page.locator("a").get_by_text(name, exact=True)
    return page.locator("li.bench").filter(has=link)


@pytest.fixture
def page(open_page):
    found = open_page()
    expect(row(found, "attic")).to_contain_text("no answer within", timeout=30_000)
    expect(found.locator("li.bench")).to_have_count(COUNT)
    return found


def test_what_needs_a_person_stands_first(page):
    expect(page.locator("#lead")).to_have_text(
        "Somebody is needed at 7 of 100 benches: 1 to act on now, 1 locked off,"
        " 3 without an answer, 1 without a new scan, 1 with an alarm."
    )
    states = page.locator("li.bench").evaluate_all(
        "all => all.map((one) => one.className.split('is-')[1])"
    )
    assert states[:8] == [
        "act-now", "locked-off", "no-answer", "no-answer", "no-answer", "stale",
        "alarm", "not-as-wanted",
    ]  # fmt: skip
    assert set(states[8:]) <= {"not-as-wanted", "well"}
    assert page.title().startswith("(7) ")


def test_each_kind_of_trouble_is_told_in_words(page):
    expect(row(page, "lean-to")).to_contain_text(
        "act now: Mat south heats though it was told to be off"
    )
    expect(row(page, "lean-to")).to_contain_text("look at it today: Probe N2")
    expect(row(page, "north house")).to_contain_text("locked off")
    expect(row(page, "south house")).to_contain_text("no bottomheat")
    expect(row(page, "old frame")).to_contain_text("it answered 401: this token is")
    expect(row(page, "gully")).to_contain_text("no scan for 2 h")
    expect(row(page, "cellar")).to_contain_text("goes on, seen or silenced: The root")
    expect(row(page, "tunnel")).to_contain_text("13.9\u00a0°C, 7.1\u00a0K under")
    expect(row(page, "tunnel")).to_contain_text("heat: north")
    expect(row(page, "tunnel")).to_contain_text("due: Look at KP3, chilli (overdue)")
    expect(row(page, "attic")).to_contain_text("It was never heard")
    expect(row(page, "porch")).to_contain_text("no reading for 4 min")
    expect(row(page, "house 11")).to_contain_text(re.compile("N1.*°C.*S1.*°C"))


def test_each_bench_leads_to_its_own_page_and_nothing_is_done_here(page):
    link = page.locator("a").get_by_text("lean-to", exact=True)
    expect(link).to_have_attribute("href", "http://127.0.0.1:1/0/")
    assert page.locator("main button").count() == 0
    assert page.locator("form").count() == 0


def test_html_in_a_name_is_text(page):
    expect(row(page, HOSTILE)).to_have_count(1)
    assert page.locator("main img, main b b").count() == 0
    assert "taken" not in page.title()


def test_no_token_of_a_bench_reaches_the_browser(page, far):
    """The bench repeats what it was shown; the page gets the rest of it."""
    assert f"Bearer {SECRET}" in far.benches[3].heard
    text = page.evaluate("() => fetch('/v1/benches').then((found) => found.text())")
    assert "this token is not known: Bearer …" in text
    assert "bottomheat-aSecret" not in text
    others = [n for n, one in far.benches.items() if n != 3 and any(one.heard)]
    assert others == []


def test_a_bench_that_recovers_moves_down_and_one_that_falls_silent_is_of_then(
    page, far
):
    before = far.benches[40].body
    far.benches[40].status = 503
    far.benches[40].body = {"detail": "starts"}
    try:
        cold = row(page, "house 40")
        expect(cold).to_contain_text("it answered 503: starts", timeout=30_000)
        expect(cold).to_contain_text(re.compile("As it was .* ago:"))
        expect(cold.locator(".said .then")).to_contain_text("N1")
    finally:
        far.benches[40].status, far.benches[40].body = 200, before
    expect(cold).not_to_contain_text("503", timeout=30_000)
    expect(cold.locator(".then")).to_have_count(0)


def test_a_page_that_is_told_nothing_does_not_look_live_and_recovers(page, served):
    expect(page.locator("#notlive")).to_be_hidden()
    served.stop()
    try:
        expect(page.locator("#notlive")).to_contain_text(
            "Not live. This page was last told anything at", timeout=30_000
        )
        expect(page.locator("#fresh")).to_contain_text("not live: as of")
        assert "stale" in page.locator("body").get_attribute("class")
        faded = "one => getComputedStyle(one).filter"
        assert page.locator("#sheet").evaluate(faded) != "none"
    finally:
        served.start()
    expect(page.locator("#notlive")).to_be_hidden(timeout=30_000)


@pytest.mark.slow
def test_a_page_whose_scripts_have_stopped_is_stamped_by_the_browser(page):
    """No script runs on here: no timer, and no answer is taken."""
    shown = "() => getComputedStyle(document.getElementById('lapsed')).opacity"
    assert page.evaluate(shown) == "0"
    page.route("**/v1/benches", lambda route: route.abort())
    page.evaluate(
        "() => { let last = setTimeout(() => {}, 0);"
        " while (last > 0) clearTimeout(last--); }"
    )
    page.wait_for_function(f"() => ({shown})() === '1'", polling=500, timeout=40_000)
    page.unroute_all(behavior="ignoreErrors")


def test_what_has_the_focus_keeps_it_while_the_page_lives_on(page, far):
    link = page.locator("a").get_by_text("house 50", exact=True)
    link.focus()
    before = far.benches[50].body["trays"][0]["temp_c"]
    far.benches[50].body["trays"][0]["temp_c"] = 21.77
    try:
        expect(row(page, "house 50")).to_contain_text("21.8", timeout=30_000)
        assert page.evaluate("document.activeElement.textContent") == "house 50"
    finally:
        far.benches[50].body["trays"][0]["temp_c"] = before


def test_it_is_walked_through_by_keys(page):
    page.keyboard.press("Tab")
    assert page.evaluate("document.activeElement.className") == "skip"
    page.keyboard.press("Enter")
    page.keyboard.press("Tab")
    assert page.evaluate("document.activeElement.textContent") == "lean-to"


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_axe_finds_nothing_serious(open_page, scheme):
    page = open_page(color_scheme=scheme)
    expect(row(page, "attic")).to_contain_text("no answer within", timeout=30_000)
    assert violations(page) == []


def test_on_a_phone_nothing_is_cut_off_and_figures_are_large(open_page):
    page = open_page(**PHONE)
    expect(row(page, "attic")).to_contain_text("no answer within", timeout=30_000)
    assert page.evaluate("document.documentElement.scrollWidth") == 390
    sizes = page.locator(".figure").evaluate_all(
        "all => all.map((one) => parseFloat(getComputedStyle(one).fontSize))"
    )
    assert min(sizes) >= 20
    low = page.locator("main a").evaluate_all(
        "all => all.filter((one) => one.offsetHeight < 44).length"
    )
    assert low == 0


def test_under_the_policy_nothing_is_refused_and_nothing_asked_elsewhere(open_page):
    said, asked = [], []

    def prepare(context):
        context.on("console", lambda message: said.append(message.text))
        context.on("request", lambda request: asked.append(request.url))

    page = open_page(prepare=prepare)
    expect(page.locator("li.bench")).to_have_count(COUNT)
    assert [text for text in said if "Content Security" in text] == []
    assert {url.split("/")[2] for url in asked} == {page.url.split("/")[2]}


@pytest.mark.parametrize(
    ("call", "found"),
    [
        ("m.placeOf(0).x", 120),
        ("m.placeOf(-3).x + m.placeOf(3).x", 240),
        ("[m.placeOf(6).beyond, m.placeOf(6.1).beyond]", [False, True]),
        ("m.placeOf(40).x === m.placeOf(7).x", True),
        ("m.barsOf([{name: 'a', temp_c: null, wanted_c: 20}])", []),
        ("m.barsOf([{name: 'a', temp_c: 20, wanted_c: null}])", []),
        ("m.namesAt(m.barsOf([{name: 'a', temp_c: 20.9, wanted_c: 20}]))", []),
        (
            "m.namesAt(m.barsOf(['a', 'b', 'c', 'd'].map((name, n) =>"
            " ({name, temp_c: 16 + n / 10, wanted_c: 20})))).map((one) => one.text)",
            ["a +3"],
        ),
        (
            "m.namesAt(m.barsOf([{name: 'a', temp_c: 16, wanted_c: 20},"
            " {name: 'b', temp_c: 24, wanted_c: 20}])).map((one) => one.text)",
            ["a", "b"],
        ),
        (  # names of 5 and 8 letters, whose bars are 35 apart: one gives way
            "(([left, right]) => right.x - left.x >= 3.6 * 13)(m.namesAt(m.barsOf("
            "[['S1', 15.9], ['S2', 15.9], ['N1', 18], ['N2', 18], ['N3', 18]].map("
            "([name, temp_c]) => ({name, temp_c, wanted_c: 20})))))",
            True,
        ),
    ],
)
def test_bars_stand_on_one_scale(one_benches_page, call, found):
    asked = f"async () => {{ const m = await import('/page/rule.js'); return {call}; }}"
    assert one_benches_page.evaluate(asked) == found


@pytest.fixture(scope="module")
def one_benches_page(browser, served):
    context = browser.new_context()
    page = context.new_page()
    page.goto(served.url)
    yield page
    context.close()


# ------------------------------------------------------------------ with tokens


def test_without_a_login_nothing_is_shown_and_with_one_all(browser, far, tmp_path):
    file = TokenFile(tmp_path / "benches.tokens.json")
    secret = file.add("phone", May.READ, "2026-02-14T08:00:00Z")
    access = FileAccess(file, tmp_path / "sessions.json", SystemClock("UTC"), print)
    found = BenchesServed([Asked("lean-to", far.url(0), None, far.url(0))], access)
    context = browser.new_context()
    try:
        page = context.new_page()
        page.goto(found.url)
        expect(page.locator("#dialog-h")).to_have_text("Log in to these benches")
        assert page.locator("li.bench").count() == 0
        page.fill("dialog [name=token]", "not-a-token")
        page.click("dialog button.main")
        expect(page.locator("dialog .trouble")).to_contain_text("not known")
        page.fill("dialog [name=token]", secret)
        page.click("dialog button.main")
        expect(row(page, "lean-to")).to_have_count(1)
        expect(page.locator("#session")).to_contain_text("phone, who may look")
        with page.expect_navigation():  # a page closed meanwhile may never end
            page.get_by_text("log out").click()
        expect(page.locator("#dialog-h")).to_have_text("Log in to these benches")
    finally:
        context.close()
        found.stop()


def test_before_the_first_answers_nothing_is_called_well(browser):
    """A bench that keeps everybody waiting is not yet anything."""
    far = FarServer({0: many(1)[0]})
    far.benches[0].body, far.benches[0].held = invented_bench(), threading.Event()
    found = BenchesServed([Asked("lean-to", far.url(0), None, far.url(0))])
    context = browser.new_context()
    try:
        page = context.new_page()
        page.goto(found.url)
        heading = page.locator("main h2")
        expect(heading).to_have_text(re.compile("Not heard yet|Somebody is needed"))
        far.benches[0].held.set()
        expect(heading).to_have_text("As wanted (1)", timeout=30_000)
        expect(page.locator("#lead")).to_have_text("Nobody is needed at the one bench.")
    finally:
        context.close()
        found.stop()
        far.stop()
