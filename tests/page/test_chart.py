"""The strip chart in a real browser: stretched, moved, and what it shows."""

import re

import pytest
from playwright.sync_api import expect

DAY_MS = 86_400_000


@pytest.fixture
def chart(page):
    chosen(page, "N1")
    # The season's length is known when it can be shown.
    page.click("[data-span=season]")
    page.wait_for_function(f"() => {LASTING} > 4.9 * {DAY_MS}")
    found = page.locator("#chart")
    found.scroll_into_view_if_needed()  # a mouse outside of the window is nowhere
    return found


def chosen(page, name):
    if (
        page.locator(f"#plan [data-tray={name}]").get_attribute("aria-pressed")
        == "false"
    ):
        page.click(f"#plan [data-tray={name}]")
    page.wait_for_selector(f"#chart[data-shown][aria-label^='Tray {name},']")


LASTING = """(() => {
    const [from, to] = document.querySelector('#chart').dataset.shown.split('-');
    return to - from;
})()"""


def lasting(page):
    return page.evaluate(LASTING)


def begins(chart):
    return int(chart.get_attribute("data-shown").split("-")[0])


def begins_earlier(page, before, least_ms):
    """Wait for a window to its left: it goes right by itself, with the time."""
    page.wait_for_function(
        """([before, least]) => {
            const shown = document.querySelector('#chart').dataset.shown;
            return before - shown.split('-')[0] > least;
        }""",
        arg=[before, least_ms],
    )


def test_a_season_has_its_curve_gap_heat_and_setpoint(page, chart):
    for part in (".band", ".mean", ".wanted", ".heat .on", ".gap"):
        assert chart.locator(part).first.get_attribute("d") != "", part
    expect(chart.locator(".gap")).to_have_count(1)
    label = chart.get_attribute("aria-label")
    assert re.search(r"heat on 67.% of the time", label), label
    assert "a gap in the readings" in label


def test_heat_stands_below_the_time_axis_and_the_curve_above(page, chart):
    axis = chart.locator(".axis").bounding_box()
    heat = chart.locator(".heat .on").bounding_box()
    mean = chart.locator(".mean").bounding_box()
    assert heat["y"] > axis["y"] > mean["y"] + mean["height"] - 1
    fill = chart.locator(".heat .on").evaluate("one => getComputedStyle(one).fill")
    assert "#hatch" in fill


def test_the_wheel_stretches_about_what_is_under_it(page, chart):
    long = lasting(page)
    box = chart.bounding_box()
    page.mouse.move(box["x"] + box["width"] / 2, box["y"] + 100)
    page.mouse.wheel(0, -240)
    page.wait_for_function(f"long => {LASTING} < 0.9 * long", arg=long)
    for _ in range(16):
        page.mouse.wheel(0, -400)
    page.wait_for_function(f"() => {LASTING} < 3_600_000")
    page.mouse.wheel(0, 4_000)


def test_dragging_moves_it_and_its_length_stays(page, chart):
    page.click("[data-span=day]")
    page.wait_for_function(f"() => {LASTING} === {DAY_MS}")
    before = begins(chart)
    box = chart.bounding_box()
    page.mouse.move(box["x"] + 300, box["y"] + 100)
    page.mouse.down()
    page.mouse.move(box["x"] + 500, box["y"] + 100, steps=4)
    page.mouse.up()
    begins_earlier(page, before, 0.1 * DAY_MS)
    assert lasting(page) == pytest.approx(DAY_MS, rel=0.001)


def test_keys_move_and_stretch_it(page, chart):
    chart.focus()
    long = lasting(page)
    page.keyboard.press("+")
    page.wait_for_function(f"long => {LASTING} < 0.7 * long", arg=long)
    before = begins(chart)
    page.keyboard.press("ArrowLeft")
    begins_earlier(page, before, 0.1 * long)
    page.keyboard.press("Home")
    page.wait_for_function(f"() => {LASTING} > 4.9 * {DAY_MS}")


def test_two_fingers_pinch_it(page, chart):
    long = lasting(page)
    chart.evaluate(
        """svg => {
            const box = svg.getBoundingClientRect();
            const fire = (type, id, x) => svg.dispatchEvent(new PointerEvent(type, {
                pointerId: id, clientX: box.left + x, clientY: box.top + 90,
                pointerType: 'touch', bubbles: true, isPrimary: id === 11 }));
            svg.setPointerCapture = () => {};
            fire('pointerdown', 11, 300);
            fire('pointerdown', 12, 400);
            for (let n = 1; n <= 10; n += 1) {
                fire('pointermove', 11, 300 - 10 * n);
                fire('pointermove', 12, 400 + 10 * n);
            }
            fire('pointerup', 11, 200);
            fire('pointerup', 12, 500);
        }"""
    )
    page.wait_for_function(
        f"long => Math.abs({LASTING} - long / 3) < 0.05 * long", arg=long
    )


def test_what_is_under_the_pointer_is_read_out(page, chart):
    box = chart.bounding_box()
    page.mouse.move(box["x"] + 200, box["y"] + 100)
    readout = page.locator("#chart-readout")
    expect(readout).to_contain_text(
        re.compile(r"20\.\d\d.°C · .*wanted 21\.0.°C · heat on")
    )


def test_the_log_cannot_be_read_and_the_chart_says_so(page, chart, served):
    served.reader.error = ValueError("a page is damaged")
    try:
        page.click("[data-span=day]")
        expect(page.locator("#chart-trouble")).to_contain_text("cannot be read")
    finally:
        served.reader.error = None
    page.click("[data-span=week]")
    expect(page.locator("#chart-trouble")).to_be_empty()


def test_two_curves_of_a_tray_with_two_probes_become_one_envelope(page):
    chosen(page, "N2")
    expect(page.locator("#chart .mean")).to_have_count(1)
    expect(page.locator("#chart")).to_have_attribute(
        "aria-label", re.compile("Tray N2")
    )
