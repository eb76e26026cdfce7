"""What one does from afar: acknowledge, hold, setpoints, events, looks, all by hand."""

import io
import re

import httpx
import pytest
from PIL import Image
from playwright.sync_api import expect

from controller.core.scan import Acknowledge, Hold, SetSetpoint, Shelve


def dialog(page):
    return page.locator("dialog")


def choose(page, name, value):
    page.locator(f'dialog input[name="{name}"][value="{value}"]').check(force=True)


def submit(page):
    dialog(page).locator("button.main").click()


@pytest.fixture
def wishes(bench):
    """The wishes that reach the bench, in order."""
    found, ask = [], bench.request

    def request(who, wish):
        found.append(wish)
        return ask(who, wish)

    bench.request = request
    yield found
    del bench.request


def changes(served):
    return served.kept.changes(0)


def told(served, path, **body):
    """Tell something over HTTP, as another person would."""
    return httpx.post(served.url + path, json=body).raise_for_status().json()


@pytest.fixture
def alarm(bench):
    """A root zone that is too warm, until the test is over."""
    bench.temps["s1"] = 31.0
    yield "root-zone-warm.s1"
    bench.temps["s1"] = 24.0


def test_an_alarm_is_seen_and_silenced(page, alarm, wishes):
    line = page.locator(f'#alarms [data-key="{alarm}"]')
    expect(line).to_contain_text("warnings begin at")
    expect(page).to_have_title(r"(2) lean-to · bottomheat", timeout=8_000)
    line.get_by_text("Silence it until").click()
    expect(dialog(page)).to_contain_text("Silence it until when?")
    choose(page, "minutes", 180)
    submit(page)
    page.locator("#alarm-count").click()
    expect(line).to_contain_text("silenced until")
    line.get_by_text("Let it ring again").click()
    expect(line).not_to_contain_text("silenced until")
    line.get_by_text("I have seen it").click()
    expect(line).to_contain_text("seen")
    expect(line.get_by_text("I have seen it")).to_have_count(0)
    assert wishes == [
        Shelve("root-zone-warm", "s1", 180 * 60_000),
        Shelve("root-zone-warm", "s1", 0),
        Acknowledge("root-zone-warm", "s1"),
    ]


def test_a_hold_is_asked_shown_and_ended(page, wishes):
    page.click("#hold-button")
    choose(page, "minutes", 30)
    submit(page)
    expect(dialog(page)).to_be_hidden()
    expect(page.locator("#hold-button")).to_contain_text("Held until")
    expect(page.locator("#mat-list")).to_contain_text("hands on the bench until")
    page.click("#hold-button")
    submit(page)
    expect(page.locator("#hold-button")).to_have_text("Hold: hands on the bench")
    assert wishes == [
        Hold("north", 30 * 60_000),
        Hold("south", 30 * 60_000),
        Hold("north", 0),
        Hold("south", 0),
    ]


def test_a_setpoint_is_changed_after_a_second_word(page, wishes):
    page.click("[data-do=setpoint][data-mat=south]")
    page.fill("dialog [name=wanted]", "24")
    choose(page, "hours", 12)
    submit(page)
    expect(dialog(page)).to_contain_text("Is that right?")
    expect(dialog(page)).to_contain_text("from 26.0\u00a0°C to 24.0\u00a0°C, until")
    assert wishes == []  # nothing is asked before
    submit(page)
    note = page.locator('#mat-list [data-key="south"]')
    expect(note).to_contain_text("24.0\u00a0°C, set by")
    assert wishes == [SetSetpoint("south", 24_000, 12 * 3_600_000)]
    note.get_by_text("Back to its programme").click()
    submit(page)
    expect(note).not_to_contain_text("set by")


@pytest.mark.parametrize("wanted", ["75", "4", "", "30.1"])
def test_a_setpoint_out_of_bounds_is_refused_with_the_bounds(page, wishes, wanted):
    page.click("[data-do=setpoint][data-mat=south]")
    page.fill("dialog [name=wanted]", wanted)
    submit(page)
    words = "5.0\u00a0°C to 30.0\u00a0°C" if wanted else "A temperature is needed"
    expect(dialog(page).locator(".trouble")).to_contain_text(words)
    assert wishes == []


def test_what_the_bench_refuses_is_said_in_its_own_words(page, bench):
    """The page's bounds are those of the plan; the bench has the last word."""
    page.click("[data-do=setpoint][data-mat=south]")
    page.fill("dialog [name=wanted]", "29")
    submit(page)
    page.route(
        "**/v1/mats/south/setpoint",
        lambda route: route.fulfill(
            status=422,
            content_type="application/problem+json",
            body='{"detail": "south: setpoint: 29 °C; not today"}',
        ),
    )
    submit(page)
    expect(dialog(page).locator(".trouble")).to_contain_text("not today")


def test_watering_is_written_and_then_put_right(page, served):
    before = len(changes(served))
    page.click("#doing [data-do=event]")
    choose(page, "trays", "N1")
    choose(page, "trays", "N2")
    page.fill("dialog [name=water_ml]", "200")
    choose(page, "ago", "60")
    page.fill("dialog [name=who]", "M.")
    submit(page)
    lines = page.locator("#event-list li")
    line = lines.filter(has_text="watered 200\u00a0ml · N1, N2")
    expect(line).to_be_visible()
    (change,) = changes(served)[before:]
    assert change.value.water_ml == 200
    assert change.value.trays == ("N1", "N2")
    ago_s = (served.bench.now().utc_ms - change.value.utc_ms) / 1000
    assert ago_s == pytest.approx(3_600, abs=30)
    line.get_by_text("correct").click()
    page.fill("dialog [name=water_ml]", "250")
    submit(page)
    corrected_line = lines.filter(has_text="watered 250\u00a0ml")
    expect(corrected_line).to_be_visible()
    corrected = changes(served)[-1].value
    assert (corrected.water_ml, corrected.utc_ms) == (250, change.value.utc_ms)
    corrected_line.get_by_text("correct").last.click()
    dialog(page).get_by_text("It was told by mistake").click()
    expect(page.locator("#event-list")).not_to_contain_text("250")
    assert changes(served)[-1].value.withdrawn


def test_water_by_weight_and_a_time_of_ones_own(page, served):
    page.click("#doing [data-do=event]")
    choose(page, "trays", "N1")
    page.fill("dialog [name=weight_before_g]", "1200")
    submit(page)
    expect(dialog(page).locator(".trouble")).to_contain_text("Both weights are needed")
    page.fill("dialog [name=weight_after_g]", "1450.5")
    choose(page, "ago", "at")
    # 07:30 in Lisbon in February is 07:30 UTC.
    page.fill("dialog [name=at]", "2026-02-13T07:30")
    submit(page)
    expect(page.locator("#event-list")).to_contain_text("07:30 on 13\u00a0Feb")
    event = changes(served)[-1].value
    assert event.given_ml == 250.5
    assert event.utc_ms == 1_770_967_800_000


@pytest.mark.parametrize(
    ("kind", "trouble"),
    [
        ("watered", "Which trays, or which mat?"),
        ("swapped", "Which two trays"),
        ("probe-moved", "Which probe was moved?"),
        ("note", "What is to be noted?"),
        ("photo", "Which photo is it?"),
    ],
)
def test_what_is_missing_is_asked_for(page, served, kind, trouble):
    before = len(changes(served))
    page.click("#doing [data-do=event]")
    choose(page, "kind", kind)
    submit(page)
    expect(dialog(page).locator(".trouble")).to_contain_text(trouble)
    assert len(changes(served)) == before


def test_a_container_is_looked_at_with_one_tap_and_exceptions_by_label(page, served):
    stuck = {"stuck_at": "2026-02-01T10:00:00Z", "tray": "N1", "kind": "hardwood"}
    first = told(served, "/v1/batches", crop="quince", count=12, **stuck)["code"]
    second = told(served, "/v1/batches", crop="grapevine", count=9, **stuck)["code"]
    page.reload()
    listed = page.locator('#tray-list [data-key="N1"]')
    expect(listed).to_contain_text(f"{first} 12 quince")
    expect(listed).to_contain_text("no date yet: no source and no own batches")
    listed.get_by_text("Looked at N1: tops fine").click()
    expect(dialog(page)).to_contain_text("written, tops fine")
    choose(page, "code", second)
    choose(page, "seen", "dead.mould")
    page.fill("dialog [name=count]", "2")
    submit(page)
    expect(dialog(page)).to_be_hidden()
    looks = {
        one.value.batch: one.value
        for one in changes(served)
        if one.kind.value == "look"
    }
    assert (looks[first].looked_at, looks[first].fine) == (12, True)
    assert looks[first].tops is looks[first].base is None
    assert (looks[second].dead.mould, looks[second].fine) == (2, False)
    assert looks[second].utc_ms == looks[first].utc_ms


def test_a_forecast_is_a_bracket_about_its_dates(page, served):
    stuck = {"stuck_at": "2026-02-01T10:00:00Z", "tray": "N2", "kind": "hardwood"}
    code = told(served, "/v1/batches", crop="gooseberry", count=24, **stuck)["code"]
    dates = {"from_90": "2026-02-20", "from_50": "2026-02-24", "median": "2026-02-27"}
    dates |= {"to_50": "2026-03-02", "to_90": "2026-03-08"}
    foretold = {"code": code, "half_rooted": dates, "why_none": None}
    body = {"at": None, "words": "", "batches": [foretold | {"share_rooted": None}]}
    page.route("**/v1/forecast", lambda route: route.fulfill(json=body))
    page.reload()
    bar = page.locator(f'#tray-list [data-key="{code}"] .bar')
    expect(bar.locator(".bracket")).to_have_count(1)
    now, begin, median = (
        bar.locator(part).bounding_box() for part in (".gone", ".bracket", ".median")
    )
    end = begin["x"] + begin["width"]
    assert now["x"] + now["width"] <= begin["x"] < median["x"] < end
    expect(bar).to_have_attribute("aria-label", re.compile("20.Feb and 8.Mar"))


def test_what_is_told_without_a_connection_is_sent_later_and_once(page, served):
    before = len(changes(served))
    served.stop()
    expect(page.locator("#notlive")).to_be_visible()
    page.click("#doing [data-do=event]")
    choose(page, "kind", "misted")
    choose(page, "trays", "N2")
    submit(page)
    expect(dialog(page)).to_be_hidden()
    expect(page.locator("#waiting")).to_contain_text("Waits on this device")
    served.start()
    expect(page.locator("#waiting")).to_be_empty()
    expect(page.locator("#event-list")).to_contain_text("misted · N2")
    assert len(changes(served)) == before + 1


def test_an_answer_that_got_lost_makes_no_second_record(page, served):
    """The bench wrote it, and the page never heard: it asks before it tells again."""
    before = len(changes(served))
    lost = []

    def lose(route):
        if route.request.method == "POST" and not lost:
            lost.append(route.fetch().status)
            route.abort("connectionreset")
        else:
            route.continue_()

    page.route("**/v1/events", lose)
    page.click("#doing [data-do=event]")
    choose(page, "kind", "turned")
    choose(page, "trays", "S1")
    submit(page)
    expect(page.locator("#event-list")).to_contain_text("turned · S1")
    expect(page.locator("#waiting")).to_be_empty()
    assert lost == [201]
    assert len(changes(served)) == before + 1


def opened_again(page, served):
    """Close the page without a connection, open it with one; see what waited sent."""
    page.goto("about:blank")
    page.context.set_offline(False)
    with page.expect_response(told_event):
        page.goto(served.url)


def told_event(answer):
    return answer.request.method == "POST" and answer.url.endswith("/v1/events")


def test_what_waits_outlives_the_page(page, served):
    before = len(changes(served))
    page.context.set_offline(True)
    page.click("#doing [data-do=event]")
    choose(page, "kind", "note")
    page.fill("dialog [name=text]", "fan on")
    submit(page)
    expect(page.locator("#waiting")).to_contain_text("note · fan on")
    opened_again(page, served)
    expect(page.locator("#event-list")).to_contain_text("fan on")
    assert len(changes(served)) == before + 1


def test_a_wish_is_never_kept_for_later(page, wishes):
    """A hold that came an hour late would be a surprise, not a help."""
    page.context.set_offline(True)
    page.click("#hold-button")
    submit(page)
    expect(dialog(page).locator(".trouble")).to_contain_text("does not answer")
    page.context.set_offline(False)
    page.wait_for_timeout(1_500)
    assert wishes == []


# -------------------------------------------------------------------------- photos


def taken_photo(size=(2_600, 1_300)):
    """A photo as a phone takes it: on its side, and telling where."""
    file, told = io.BytesIO(), Image.Exif()
    told[0x0112] = 6  # to be turned by a quarter
    told[0x010F] = "taken at home"
    Image.linear_gradient("L").resize(size).convert("RGB").save(file, "JPEG", exif=told)
    return {"name": "IMG 1.jpg", "mimeType": "image/jpeg", "buffer": file.getvalue()}


def tell_photo(page, file):
    page.click("#doing [data-do=event]")
    choose(page, "kind", "photo")
    choose(page, "trays", "N1")
    if file:
        page.set_input_files("dialog [name=photo]", file)
    submit(page)


def kept_photo(served, name):
    answer = httpx.get(f"{served.url}/v1/photos/{name}").raise_for_status()
    assert b"taken at home" not in answer.content
    return Image.open(io.BytesIO(answer.content))


def test_a_photo_is_made_smaller_sent_and_seen(page, served):
    before = len(changes(served))
    tell_photo(page, taken_photo())
    expect(dialog(page)).to_be_hidden()
    image = page.locator("#event-list .photo img").first
    expect(image).to_have_attribute("alt", "Photo: photo · N1")
    event = changes(served)[before].value
    assert len(changes(served)) == before + 1
    assert kept_photo(served, event.photo).size == (1_000, 2_000)
    # By its name each time: the list is drawn anew while it is looked at.
    page.evaluate("document.querySelector('.photo img').scrollIntoView()")
    shows = "e => e.complete && e.naturalWidth === 1000"
    page.wait_for_function(f"() => ({shows})(document.querySelector('.photo img'))")
    link = page.locator("#event-list .photo").first
    expect(link).to_have_attribute("href", f"/v1/photos/{event.photo}")
    expect(page.locator("#event-list li").first).not_to_contain_text(event.photo)


def test_what_no_browser_can_read_is_not_sent(page, served):
    before = len(changes(served))
    rubbish = {"name": "x.txt", "mimeType": "text/plain", "buffer": b"<script>"}
    tell_photo(page, rubbish)
    trouble = dialog(page).locator(".trouble")
    expect(trouble).to_contain_text("JPEG, PNG or WebP is right")
    broken = {"name": "x.jpg", "mimeType": "image/jpeg", "buffer": b"<script>"}
    page.set_input_files("dialog [name=photo]", broken)
    submit(page)
    expect(trouble).to_contain_text("not image/jpeg")
    assert len(changes(served)) == before
    expect(page.locator("#waiting")).to_be_empty()


def test_a_photo_waits_for_the_bench_outlives_the_page_and_is_sent_once(page, served):
    expect(page.locator("#fresh")).to_contain_text("just now")
    before = len(changes(served))
    page.context.set_offline(True)
    tell_photo(page, taken_photo())
    expect(dialog(page)).to_be_hidden()
    expect(page.locator("#waiting")).to_contain_text("Waits on this device")
    opened_again(page, served)
    expect(page.locator("#waiting")).to_be_empty()
    expect(page.locator("#event-list .photo img").first).to_be_visible()
    (change,) = changes(served)[before:]
    assert kept_photo(served, change.value.photo).size == (1_000, 2_000)


BUSY = """() => {
    dispatchEvent(new PageTransitionEvent("pagehide", { persisted: false }));
    const waits = Object.entries(localStorage).filter(([k]) => k.includes(".waiting."));
    return [localStorage.getItem("bottomheat.sending"), waits.map(([, one]) => {
        return JSON.parse(one).busyUntil;
    })];
}"""


def test_a_page_that_ends_while_its_photo_goes_leaves_it_to_the_next(page, served):
    """And not until a photo that goes slowly would have been given up."""
    before = len(changes(served))
    page.context.set_offline(True)
    tell_photo(page, taken_photo((60, 40)))
    expect(page.locator("#waiting")).to_contain_text("Waits on this device")
    page.route("**/v1/photos", lambda route: None)  # it goes, and goes
    with page.expect_request("**/v1/photos"):
        page.context.set_offline(False)
    assert page.evaluate(BUSY) == [None, [0]]
    page.goto("about:blank")
    page.unroute("**/v1/photos")
    with page.expect_response(told_event):
        page.goto(served.url)
    expect(page.locator("#waiting")).to_be_empty()
    (change,) = changes(served)[before:]
    assert kept_photo(served, change.value.photo).size == (40, 60)


BREAKS_OFF = """() => {
    const read = Response.prototype.json;
    Response.prototype.json = function () {
        if (this.status !== 201) return read.call(this);
        Response.prototype.json = read;
        return Promise.reject(new TypeError("Failed to fetch"));
    };
}"""


def test_an_answer_that_breaks_off_is_no_refusal_and_nothing_is_told_twice(
    page, served
):
    before = len(changes(served))
    page.evaluate(BREAKS_OFF)
    page.click("#doing [data-do=event]")
    choose(page, "kind", "note")
    page.fill("dialog [name=text]", "window shut")
    submit(page)
    expect(dialog(page)).to_be_hidden()
    expect(page.locator("#event-list")).to_contain_text("window shut")
    expect(page.locator("#waiting")).to_be_empty()
    assert len(changes(served)) == before + 1


def test_where_a_device_keeps_no_photo_it_is_said_and_nothing_is_lost(page, served):
    before = len(changes(served))
    page.evaluate("() => { IDBFactory.prototype.open = () => { throw 1; }; }")
    page.context.set_offline(True)
    tell_photo(page, taken_photo())
    expect(dialog(page).locator(".trouble")).to_contain_text("keep it in the camera")
    expect(page.locator("#waiting")).to_be_empty()
    page.context.set_offline(False)
    submit(page)
    expect(dialog(page)).to_be_hidden()
    assert len(changes(served)) == before + 1
    page.reload()  # the tests after this one want a device that keeps photos
    expect(page.locator("#fresh")).to_contain_text("just now")


def test_a_photo_of_a_look_and_one_that_takes_anothers_place(page, served):
    stuck = {"stuck_at": "2026-02-01T10:00:00Z", "tray": "S1", "kind": "hardwood"}
    code = told(served, "/v1/batches", crop="quince", count=12, **stuck)["code"]
    page.reload()
    page.get_by_text("Looked at S1: tops fine").click()
    page.set_input_files("dialog [name=photo]", taken_photo((400, 300)))
    submit(page)
    expect(dialog(page)).to_be_hidden()
    looks = httpx.get(f"{served.url}/v1/batches/{code}").json()["looks"]
    assert kept_photo(served, looks[0]["look"]["photo"]).size == (300, 400)
    assert looks[0]["look"]["fine"] is True
    tell_photo(page, taken_photo((400, 300)))
    expect(dialog(page)).to_be_hidden()
    first = changes(served)[-1].value.photo
    newest = page.locator("#event-list li").first
    expect(newest.locator(f'[data-key="{first}"]')).to_be_visible()
    newest.locator("[data-do=correct]").click()
    page.set_input_files("dialog [name=photo]", taken_photo((200, 100)))
    submit(page)
    expect(dialog(page)).to_be_hidden()
    second = changes(served)[-1].value.photo
    assert first != second
    assert kept_photo(served, second).size == (100, 200)
