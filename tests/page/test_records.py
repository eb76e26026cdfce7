"""What is due, advice, and batches that are told, moved and closed by the page."""

import httpx
import pytest
from playwright.sync_api import expect

from tests.page.test_page import violations

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


# ------------------------------------------------------------ batches by the page


def dialog(page):
    return page.locator("dialog")


def choose(page, name, value):
    page.locator(f'dialog input[name="{name}"][value="{value}"]').check(force=True)


def submit(page):
    dialog(page).locator("button.main").click()


def unfold(page, title):
    """Unfold a part of a form, or fold it again."""
    page.locator("dialog summary").filter(has_text=title).click()


def stick(page, crop, tray="S1", count="20"):
    page.get_by_text("Stick a batch", exact=True).click()
    page.fill("dialog [name=crop]", crop)
    choose(page, "kind", "hardwood")
    page.fill("dialog [name=count]", count)
    choose(page, "tray", tray)


def written(served, crop):
    batches = asked(served, "/v1/batches")["batches"]
    return [one for one in batches if one["batch"]["crop"] == crop]


def test_a_batch_is_stuck_and_its_label_code_shown_large(page, served):
    stick(page, "elder")
    page.fill("dialog [name=cultivar]", "Dusk")
    page.fill("dialog [name=medium]", "sand")
    unfold(page, "Hormone, and against rot")
    unfold(page, "Wrap and cover")
    page.fill('dialog [name="hormone.active"]', "IBA")
    choose(page, "hormone.carrier", "dip")
    page.fill('dialog [name="hormone.ppm"]', "2000")
    page.fill('dialog [name="hormone.seconds"]', "5")
    choose(page, "wrap.material", "film")
    choose(page, "cover", "vented")
    submit(page)
    expect(page.locator("#dialog-h")).to_have_text("Write it on the label")
    (batch,) = written(served, "elder")
    expect(page.locator(".label-code")).to_have_text(batch["code"])
    page.get_by_text("it is on the label").click()
    listed = page.locator('#tray-list [data-key="S1"]')
    expect(listed).to_contain_text(f"{batch['code']} 20 elder \u2018Dusk\u2019")
    told_of = batch["batch"]
    assert (told_of["count"], told_of["medium"], batch["tray"]) == (20, "sand", "S1")
    assert told_of["hormone"] == {
        "active": "IBA",
        "ppm": 2000,
        "carrier": "dip",
        "seconds": 5,
    }
    assert (told_of["wrap"]["material"], told_of["cover"]) == ("film", "vented")
    assert batch["days_since_stuck"] == pytest.approx(0, abs=0.01)


def test_what_the_bench_finds_wrong_is_said_at_its_field(page, served):
    stick(page, "alder", count="0")
    unfold(page, "Hormone, and against rot")
    page.fill('dialog [name="hormone.active"]', "IBA")
    choose(page, "hormone.carrier", "powder")
    page.fill('dialog [name="hormone.seconds"]', "5")
    unfold(page, "Hormone, and against rot")  # folded again
    submit(page)
    expect(page.locator("#fault-count")).to_contain_text("1")
    expect(page.locator("dialog [name=count]")).to_have_attribute(
        "aria-invalid", "true"
    )
    fault = page.locator('[id="fault-hormone.seconds"]')
    expect(fault).to_be_visible()
    expect(fault).to_contain_text("nly a dip takes time")
    assert written(served, "alder") == []
    assert violations(page) == []
    page.fill("dialog [name=count]", "3")
    page.fill('dialog [name="hormone.seconds"]', "")
    submit(page)
    expect(page.locator(".label-code")).to_be_visible()
    assert len(written(served, "alder")) == 1


def test_a_batch_does_not_wait_and_a_lost_answer_makes_no_second_one(page, served):
    page.context.set_offline(True)
    stick(page, "hazel")
    submit(page)
    trouble = dialog(page).locator("form > .trouble")
    expect(trouble).to_contain_text("Leave this open and try again")
    expect(page.locator("#waiting")).to_be_empty()
    page.context.set_offline(False)
    lost = []

    def lose(route):
        if route.request.method == "POST" and not lost:
            lost.append(route.fetch().status)
            route.abort("connectionreset")
        else:
            route.continue_()

    page.route("**/v1/batches", lose)
    submit(page)
    expect(trouble).to_contain_text("Leave this open and try again")
    assert lost == [201]
    page.fill("dialog [name=cultivar]", "Late")
    submit(page)
    expect(page.locator(".label-code")).to_be_visible()
    (batch,) = written(served, "hazel")
    assert batch["batch"]["cultivar"] == "Late"


def test_a_batch_is_moved_off_the_heat_and_closed(page, served):
    code = told(served, "/v1/batches", crop="willow", count=8, tray="N2", **STUCK)
    code = code["code"]
    page.reload()
    page.get_by_label(f"move {code} willow").click()
    choose(page, "tray", "")
    page.fill("dialog [name=place]", "cold frame")
    submit(page)
    away = page.locator('#tray-list [data-key="not in a tray"]')
    expect(away).to_contain_text(f"{code} 8 willow")
    file = asked(served, f"/v1/batches/{code}")
    assert (file["tray"], file["moves"][0]["move"]["place"]) == (None, "cold frame")
    page.get_by_label(f"close {code} willow").click()
    submit(page)
    expect(dialog(page).locator("form > .trouble")).to_contain_text("How did it end?")
    choose(page, "outcome", "weaned")
    page.fill("dialog [name=rooted]", "9")
    submit(page)
    expect(page.locator("#fault-rooted")).to_be_visible()
    page.fill("dialog [name=rooted]", "6")
    submit(page)
    expect(away.get_by_text(code)).to_have_count(0)
    closing = asked(served, f"/v1/batches/{code}")["closing"]
    assert (closing["outcome"], closing["rooted"]) == ("weaned", 6)


def test_a_move_whose_answer_got_lost_is_written_once(page, served):
    code = told(served, "/v1/batches", crop="rowan", count=8, tray="N2", **STUCK)
    code = code["code"]
    page.reload()
    lost = []

    def lose(route):
        if lost:
            route.continue_()
            return
        lost.append(route.fetch().status)
        route.abort("connectionreset")

    page.route("**/move", lose)
    page.get_by_label(f"move {code} rowan").click()
    choose(page, "tray", "N1")
    submit(page)
    expect(page.locator('#tray-list [data-key="N1"]')).to_contain_text("8 rowan")
    expect(page.locator("#waiting")).to_be_empty()
    assert lost == [201]
    assert len(asked(served, f"/v1/batches/{code}")["moves"]) == 1
