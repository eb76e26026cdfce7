"""A bench that asks for tokens: logging in by a link or by hand, and what one may."""

import json
import re

import httpx
import pytest
from playwright.sync_api import expect

from api.app import create_app
from api.record_book import Records
from controller.adapters.access import FileAccess, TokenFile
from controller.adapters.clocks import SystemClock
from controller.ports import May
from tests.page.served import Served

MADE = "2026-02-14T08:00:00Z"


@pytest.fixture(scope="module")
def tokens(tmp_path_factory):
    """The file of tokens of the bench."""
    return TokenFile(tmp_path_factory.mktemp("bench") / "season.tokens.json")


@pytest.fixture(scope="module")
def secrets(tokens):
    """A token that may read, one that may operate."""
    return {
        "looker": tokens.add("looker", May.READ, MADE),
        "keeper": tokens.add("keeper", May.OPERATE, MADE),
    }


@pytest.fixture(scope="module")
def served(tokens, secrets, tmp_path_factory):
    """A bench that asks for tokens."""
    sessions = tmp_path_factory.mktemp("sessions") / "season.sessions.json"
    access = FileAccess(tokens, sessions, SystemClock("UTC"), print)

    def guarded(bench, reader, kept):
        records = Records(kept, lambda: kept)
        return create_app(bench, lambda: reader, bench, records, access=access)

    found = Served(guarded, beside=access.serve)
    yield found
    found.stop()


def drawn(page):
    page.wait_for_selector("#plan [data-tray=N1]")


def test_a_link_logs_in_and_its_secret_leaves_the_address(open_page, secrets):
    page = open_page(f"/#token={secrets['keeper']}")
    drawn(page)
    assert secrets["keeper"] not in page.url
    expect(page.locator("#session")).to_contain_text("keeper")
    expect(page.locator("#doing")).to_be_visible()
    page.reload()
    drawn(page)  # the cookie is enough
    assert "token" not in page.evaluate("document.cookie")


def test_what_is_done_is_done_under_the_name_of_the_token(open_page, secrets, served):
    page = open_page(f"/#token={secrets['keeper']}")
    drawn(page)
    page.click("#doing [data-do=event]")
    page.locator('dialog input[name="trays"][value="N1"]').check(force=True)
    page.locator("dialog button.main").click()
    expect(page.locator("#event-list")).to_contain_text("watered")
    assert served.kept.changes(0)[-1].who.startswith("keeper")


def test_without_a_login_nothing_is_shown_but_the_way_in(open_page):
    page = open_page()
    expect(page.locator("#dialog-h")).to_have_text("Log in to this bench")
    expect(page.locator("#plan [data-tray]")).to_have_count(0)
    page.keyboard.press("Escape")
    expect(page.locator("dialog")).to_be_visible()


def test_a_token_by_hand_wrong_and_then_right(open_page, secrets):
    page = open_page()
    page.fill("dialog [name=token]", "not-a-token")
    page.click("dialog button.main")
    trouble = page.locator("dialog .trouble")
    expect(trouble).to_contain_text("This token is not known, or was revoked")
    page.fill("dialog [name=token]", secrets["keeper"])
    page.click("dialog button.main")
    drawn(page)
    expect(page.locator("dialog")).to_be_hidden()


def test_a_link_with_a_wrong_token_asks_for_a_right_one(open_page):
    page = open_page("/#token=no-such-token")
    expect(page.locator("dialog .trouble")).to_contain_text("not known")
    assert "token" not in page.url


def test_who_may_only_look_is_offered_nothing_to_change(open_page, secrets, served):
    keeper = {"Authorization": f"Bearer {secrets['keeper']}"}
    batch = {"crop": "quince", "kind": "seed", "count": 9, "tray": "N1"}
    batch["stuck_at"] = "2026-02-01T10:00:00Z"
    told = httpx.post(f"{served.url}/v1/batches", json=batch, headers=keeper)
    page = open_page(f"/#token={secrets['looker']}")
    drawn(page)
    expect(page.locator("#due")).to_contain_text(told.json()["code"])
    expect(page.locator("#tray-list .batches")).to_have_count(1)
    # What was told may be read, and not put right.
    expect(page.locator("#tray-list .batches button")).to_have_text("record")
    page.locator("#tray-list .batches button").click()
    expect(page.locator("dialog")).to_contain_text("the batch told")
    expect(page.locator("dialog button")).to_have_text("close")
    page.keyboard.press("Escape")
    expect(page.locator("#sticking")).to_be_hidden()
    expect(page.locator("#session")).to_contain_text("may look and change nothing")
    expect(page.locator("#doing")).to_be_hidden()
    expect(page.locator("#mat-list button")).to_have_count(0)


def test_logging_out_asks_for_a_login_again(open_page, secrets):
    page = open_page(f"/#token={secrets['keeper']}")
    drawn(page)
    with page.expect_navigation():  # a page that is closed meanwhile may never end
        page.get_by_text("log out").click()
    expect(page.locator("#dialog-h")).to_have_text("Log in to this bench")


def test_a_token_that_is_revoked_ends_what_is_open(open_page, tokens):
    secret = tokens.add("guest", May.OPERATE, MADE)
    page = open_page(f"/#token={secret}")
    drawn(page)
    tokens.revoke("guest")
    expect(page.locator("#dialog-h")).to_have_text(
        "Log in to this bench", timeout=15_000
    )
    expect(page.locator("dialog .trouble")).to_have_text(
        re.compile("no longer logged in")
    )


def test_the_secret_is_sent_once_and_only_in_a_body(open_page, secrets):
    seen = []

    def watch(context):
        context.on(
            "request", lambda one: seen.append((one.method, one.url, one.post_data))
        )

    drawn(open_page(f"/#token={secrets['keeper']}", prepare=watch))
    carrying = [one for one in seen if secrets["keeper"] in json.dumps(one)]
    assert [(method, url.rpartition("/v1")[2]) for method, url, _ in carrying] == [
        ("POST", "/session")
    ]
