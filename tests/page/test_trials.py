"""Trials on the page: how arms stand, and what they tell once it is worked out."""

import httpx
import pytest
from playwright.sync_api import expect

from api.app import create_app
from api.context import Beside
from api.record_book import Records
from controller.ports import Compared
from controller.records.codes import code_of
from tests.api.test_comparison_route import RESULT, Answering
from tests.api.test_trial_routes import BATCH, PLAN
from tests.page.conftest import SIZE
from tests.page.served import Served
from tests.page.test_page import violations

ONE = code_of(1)


@pytest.fixture(scope="module")
def comparer() -> Answering:
    return Answering()


@pytest.fixture(scope="module")
def served(comparer):
    """A bench with a trial of two units, one of which was stuck and looked at."""

    def make(bench, reader, kept):
        records = Records(kept, lambda: kept)
        beside = Beside(comparer=comparer)
        return create_app(bench, lambda: reader, bench, records, beside=beside)

    found = Served(make)
    units = [{**PLAN["units"][0], "batch": ONE}, PLAN["units"][1]]
    look = {"at": "2026-02-12T09:00:00Z", "how": "lifted", "looked_at": 1}
    for path, body in (
        ("/v1/batches", BATCH),
        ("/v1/trials", {**PLAN, "units": units}),
        ("/v1/trials", {**PLAN, "title": "one not begun"}),
        (f"/v1/batches/{ONE}/looks", {**look, "base": {"roots": 1}}),
    ):
        httpx.post(found.url + path, json=body).raise_for_status()
    yield found
    found.stop()


@pytest.fixture(autouse=True)
def asked_anew(comparer):
    comparer.answer = Compared(result=RESULT)
    comparer.asked.clear()


def told(served, path, **body):
    httpx.patch(served.url + path, json=body).raise_for_status()


def trial(page, number=2):
    return page.locator(f'#trial-list [data-key="{number}"]')


def ask(page):
    page.reload()
    trial(page).get_by_role("button").click()


def test_arms_stand_in_a_table_and_one_that_has_no_looks_says_so(page):
    page.reload()
    expect(trial(page).locator("h3")).to_contain_text("gooseberry in two media")
    expect(trial(page).locator("tr").nth(1)).to_contain_text("coir-perlite1 of 111")
    expect(trial(page).locator("tr").nth(2)).to_contain_text("bark-sand0 of 100")
    expect(trial(page, 3)).to_contain_text("Nothing of it was looked at yet")
    expect(trial(page, 3).get_by_role("button")).to_have_count(0)


def test_the_verdict_stands_at_its_trial(page, comparer):
    page.reload()
    expect(trial(page).get_by_role("button")).to_be_visible()
    assert comparer.asked == []  # it is worked out for whoever asks
    trial(page).get_by_role("button").click()
    verdict = trial(page).locator(".verdict")
    expect(verdict).to_have_text(RESULT["verdicts"][0]["sentence"])
    expect(trial(page).locator("tr").nth(1)).to_contain_text("12 of 12")
    expect(trial(page)).to_contain_text("finds a difference by chance more often")
    trial(page).locator("summary").click()
    assert violations(page) == []
    page.set_viewport_size({"width": 360, "height": 740})
    assert violations(page) == []
    page.set_viewport_size(SIZE)
    assert [one.trial for one in comparer.asked] == ["2"]


def test_a_verdict_that_is_older_than_what_was_told_says_so(page, served):
    ask(page)
    expect(trial(page).locator(".verdict")).to_be_visible()
    older = trial(page).get_by_text("More was told of it since: ask again.")
    expect(older).to_have_count(0)
    told(served, "/v1/trials/2", text="in the shade")
    page.get_by_text("Looked at N1: tops fine").click()  # asks for all of it again
    page.get_by_text("all fine").click()
    expect(older).to_be_visible()
    trial(page).get_by_role("button").click()
    expect(older).to_have_count(0)


def test_what_takes_longer_is_said_and_asked_again(page, comparer):
    comparer.answer = Compared(working="it is being worked out: ask again soon")
    ask(page)
    expect(trial(page)).to_contain_text("The bench: it is being worked out")
    comparer.answer = Compared(result=RESULT)
    expect(trial(page).locator(".verdict")).to_be_visible()
    assert len(comparer.asked) >= 2


@pytest.mark.parametrize(
    ("answer", "said"),
    [
        (
            Compared(cannot="2: nothing of it was stuck"),
            "It cannot be compared: 2: noth",
        ),
        (
            Compared(failed="it took too long"),
            "It was not worked out: it took too long",
        ),
    ],
)
def test_why_there_is_no_verdict_is_said_in_words(page, comparer, answer, said):
    comparer.answer = answer
    ask(page)
    expect(trial(page)).to_contain_text(said)
    expect(trial(page).locator(".verdict")).to_have_count(0)
    expect(trial(page).get_by_role("button")).to_have_text("What does it tell?")


def test_a_bench_that_cannot_be_heard_is_no_verdict(page):
    page.reload()
    expect(trial(page).get_by_role("button")).to_be_visible()
    page.context.set_offline(True)
    trial(page).get_by_role("button").click()
    expect(page.locator("dialog")).to_contain_text("It was not done")
    expect(trial(page).locator(".verdict")).to_have_count(0)


def test_without_any_trial_the_page_has_no_such_part(open_page):
    page = open_page(
        prepare=lambda context: context.route(
            "**/v1/trials", lambda route: route.fulfill(json={"trials": []})
        )
    )
    expect(page.locator("#tray-list [data-key=N1]")).to_be_visible()
    expect(page.locator("#trials")).to_be_hidden()
