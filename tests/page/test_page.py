"""The page in a real browser: what is shown of a bench, and how alive that is."""

import re

import pytest
from playwright.sync_api import expect


def tray(page, name):
    return page.locator(f"#plan [data-tray={name}]")


def near(value):
    return pytest.approx(value, rel=0.02)


def test_the_bench_is_drawn_to_scale_with_words_and_figures(page):
    expect(page.locator("#name")).to_have_text("lean-to")
    expect(tray(page, "N1")).to_have_attribute(
        "aria-label", re.compile(r"Tray N1.*20\.5.°C, as wanted")
    )
    north = page.locator("#plan [data-key=mat-north] .edge").bounding_box()
    south = page.locator("#plan [data-key=mat-south] .edge").bounding_box()
    # Lines cross at the corners, by five pixels on each side.
    assert (north["width"] - 10) / (south["width"] - 10) == near(1200 / 900)
    assert (north["width"] - 10) / (north["height"] - 10) == near(1200 / 530)
    expect(tray(page, "W1")).to_contain_text("no probe")
    expect(page.locator("#mat-list")).to_contain_text("The root zone is at")
    expect(page.locator("footer")).to_contain_text("no safety device")


def test_it_lives(page, bench):
    bench.temps["s1"] = 22.25
    expect(tray(page, "S1")).to_contain_text("22.3")
    expect(tray(page, "S1")).to_contain_text("3.8 K under")
    # Whichever it is depends on what the tray was before.
    expect(page.locator("#lead")).to_contain_text(
        re.compile("S1 is (too cool|warming)")
    )
    expect(page.locator("#fresh")).to_contain_text("just now")


def test_without_a_stream_it_asks_again_and_again(open_page, bench):
    def without(context):
        context.route("**/v1/live", lambda route: route.fulfill(status=404))

    page = open_page(prepare=without)
    expect(tray(page, "S1")).to_contain_text("24.0")
    bench.temps["s1"] = 23.0
    expect(tray(page, "S1")).to_contain_text("23.0")


def test_what_has_the_focus_keeps_it_while_the_bench_lives_on(page, bench):
    tray(page, "N2").focus()
    bench.temps["n1"] = 20.25
    expect(tray(page, "N1")).to_contain_text("20.3")
    assert page.evaluate("document.activeElement.dataset.tray") == "N2"


def test_a_page_that_hears_nothing_does_not_look_live_and_recovers(page, bench, served):
    expect(page.locator("#notlive")).to_be_hidden()
    served.stop()
    expect(page.locator("#notlive")).to_contain_text(
        "Not live. The bench was last heard"
    )
    expect(page.locator("#fresh")).to_contain_text("not live: as of")
    assert "stale" in page.locator("body").get_attribute("class")
    assert (
        page.locator("#sheet").evaluate("one => getComputedStyle(one).filter") != "none"
    )
    bench.temps["n1"] = 20.0
    served.start()
    expect(page.locator("#notlive")).to_be_hidden()
    expect(tray(page, "N1")).to_contain_text("20.0")
    assert "stale" not in (page.locator("body").get_attribute("class") or "")


def test_a_controller_that_stands_still_does_not_look_live(page, bench):
    bench.frozen = True
    expect(page.locator("#notlive")).to_contain_text(
        "The controller has made no scan since"
    )
    bench.frozen = False
    expect(page.locator("#notlive")).to_be_hidden()


def test_a_probe_that_falls_silent_is_said_in_words(page, bench):
    bench.temps["n1"] = 85.0
    bench.begun_ms -= 200_000  # more than two minutes, after which a probe is lost
    expect(tray(page, "N1")).to_contain_text("no reading for 3 min")
    expect(tray(page, "N1")).to_have_class(re.compile("unknown"))
    expect(page.locator("#lead")).to_contain_text("N1 is without a reading")


def test_degrees_are_those_of_the_bench(page, bench):
    bench.display_unit = "°F"
    try:
        expect(tray(page, "N1")).to_contain_text("68.9\u00a0°F")
        expect(tray(page, "S1")).to_contain_text("3.6\u00a0°F under")
    finally:
        bench.display_unit = "°C"


def test_light_and_dark_follow_the_device_until_a_person_says_otherwise(open_page):
    page = open_page(color_scheme="dark")
    page.wait_for_selector("#plan [data-tray=N1]")

    def paper():
        return page.locator("body").evaluate(
            "one => getComputedStyle(one).backgroundColor"
        )

    dark = paper()
    page.click("#theme")
    light = paper()
    assert light != dark
    page.reload()
    page.wait_for_selector("#plan [data-tray=N1]")
    assert paper() == light
    page.emulate_media(color_scheme="light")
    page.click("#theme")
    assert paper() == dark


PHONE = {
    "viewport": {"width": 390, "height": 844},
    "device_scale_factor": 2,
    "has_touch": True,
    "is_mobile": True,
}


def test_on_a_phone_nothing_is_cut_off_and_fingers_find_the_buttons(open_page):
    page = open_page(**PHONE)
    page.wait_for_selector("#plan [data-tray=N1]")
    assert page.evaluate("document.documentElement.scrollWidth") == 390
    for name in ("event", "hold"):
        box = page.locator(f"#doing [data-do={name}]").bounding_box()
        assert box["height"] >= 56
        assert box["y"] + box["height"] <= 844
    low = page.locator("main button:visible").evaluate_all(
        "all => all.map((one) => one.offsetHeight).filter((high) => high < 44)"
    )
    assert low == []
    sizes = page.locator("#plan .temp").evaluate_all(
        "all => all.map((one) => parseFloat(getComputedStyle(one).fontSize))"
    )
    assert min(sizes) >= 18


def violations(page):
    from axe_playwright_python.sync_playwright import Axe  # noqa: PLC0415

    found = Axe().run(page).response["violations"]
    return [
        (one["id"], one["impact"], [node["target"] for node in one["nodes"]][:4])
        for one in found
        if one["impact"] in ("serious", "critical")
    ]


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_axe_finds_nothing_serious(open_page, scheme):
    page = open_page("/#tray=N1", color_scheme=scheme)
    page.wait_for_selector("#chart[data-shown]")
    assert violations(page) == []
    page.click("#doing [data-do=event]")
    page.wait_for_selector("dialog[open]")
    assert violations(page) == []


def test_it_is_used_by_keys_alone(page):
    tray(page, "N2").focus()
    page.keyboard.press("Enter")
    expect(page.locator("#tray-h")).to_contain_text("N2")
    page.locator("#hold-button").focus()
    page.keyboard.press("Space")
    expect(page.locator("#dialog-h")).to_have_text("Hands on the bench")
    page.keyboard.press("Escape")
    expect(page.locator("dialog")).to_be_hidden()
    assert page.evaluate("document.activeElement.id") == "hold-button"


def test_under_the_policy_nothing_of_the_page_is_refused(open_page):
    said = []
    page = open_page(
        prepare=lambda context: context.on("console", lambda m: said.append(m.text))
    )
    page.wait_for_selector("#plan [data-tray=N1]")
    page.click("#plan [data-tray=N1]")
    page.wait_for_selector("#chart[data-shown]")
    assert [text for text in said if "Content Security" in text] == []
