"""What is due, advice, and batches that are told, moved and closed by the page."""

import httpx
import pytest
from playwright.sync_api import expect

STUCK = {"stuck_at": "2026-02-01T10:00:00Z", "kind": "hardwood"}


def told(served, path, **body):
    """Tell something over HTTP, as another person would."""
    return httpx.post(served.url + path, json=body).raise_for_status().json()


def asked(served, path):
    return httpx.get(served.url + path).raise_for_status().json()


# ----------------------------------------------------------------- what is due


@pytest.mark.parametrize(
    ("due", "zone", "text"),
    [
        ("2026-02-13T00:30:00Z", "UTC", "today"),
        ("2026-02-13T23:30:00Z", "UTC", "today"),
        ("2026-02-13T23:30:00Z", "Europe/Paris", "tomorrow"),
        ("2026-02-16T01:00:00Z", "UTC", "in 3 days"),
        ("2026-02-12T23:00:00Z", "UTC", "overdue since yesterday"),
        ("2026-02-08T23:00:00Z", "UTC", "overdue for 5 days"),
    ],
)
def test_a_date_is_told_by_the_days_of_the_benchs_calendar(page, due, zone, text):
    now = "Date.parse('2026-02-13T12:00:00Z')"
    call = f"m.dueText(Date.parse('{due}'), {now}, '{zone}')"
    script = f"async () => {{ const m = await import('/page/due.js'); return {call}; }}"
    assert page.evaluate(script) == text


def test_what_is_due_is_listed_with_advice_and_a_look_takes_it_away(page, served):
    """A look is due a week after sticking, and a week after the look before."""
    code = told(served, "/v1/batches", crop="quince", count=9, tray="N1", **STUCK)
    code = code["code"]
    page.reload()
    line = page.locator(f'#due-list [data-key="look-{code}"]')
    expect(line).to_contain_text(f"{code} quince: look at it")
    expect(line).to_contain_text("overdue for")
    batch = page.locator(f'#tray-list [data-key="{code}"]')
    advice = batch.locator(".advice")
    expect(advice.locator("summary")).to_contain_text("no roots seen: leave it on")
    expect(advice.locator("li").first).to_be_hidden()
    advice.locator("summary").click()
    expect(advice).to_contain_text("no tug: look through the wall")
    page.get_by_text("Looked at N1: tops fine").click()
    page.get_by_text("all fine").click()
    expect(line).to_contain_text("in 7 days")
    expect(advice.locator("li").first).to_be_visible()  # it stays open


def test_where_nothing_is_told_of_it_the_page_is_as_it_was(open_page):
    def without(context):
        for path in ("reminders", "advice"):
            context.route(f"**/v1/{path}", lambda route: route.fulfill(status=500))

    page = open_page(prepare=without)
    expect(page.locator("#tray-list [data-key=N1]")).to_be_visible()
    page.wait_for_timeout(500)
    expect(page.locator("#due")).to_be_hidden()
    expect(page.locator("dialog")).to_be_hidden()
