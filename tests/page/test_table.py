"""A bench that says where things stand, in a real browser: to scale, and readable."""

import itertools

import pytest
from playwright.sync_api import expect

from controller.tabletop import Millimetres, Stand, Tabletop
from tests.page.served import LiveBench, Served


def stand(x, y, w, h):
    return Stand(Millimetres(x, y), Millimetres(w, h))


MATS = {
    "north": stand(100, 100, 1_200, 530),
    "south": stand(1_400, 50, 450, 900),  # turned: its short side runs along
}
TRAYS = {
    "N1": stand(120, 130, 400, 300),
    "N2": stand(530, 130, 70, 70),
    "S1": stand(1_420, 100, 400, 300),
    "W1": stand(300, 700, 500, 250),  # beside any mat, behind north
}


@pytest.fixture(scope="module")
def served():
    """The invented bench; of its third mat and that one's tray nothing is told."""
    found = Served(bench=LiveBench(tabletop=Tabletop(MATS, TRAYS)))
    yield found
    found.stop()


def boxes_of(page):
    """Return left, far edge, length and depth of all things [px], at one moment."""
    found = page.locator("#plan .mat .edge, #plan .tray .rim").evaluate_all(
        "all => all.map((one) => [one.parentNode.dataset.key,"
        " ...['x', 'y', 'width', 'height'].map((key) => one.getBBox()[key])])"
    )
    # The lines of mats cross at the corners, by five pixels on each side.
    return {
        key: (x, y, w, h) if key.startswith("tray") else (x + 5, y + 5, w - 10, h - 10)
        for key, x, y, w, h in found
    }


SIZES = [{"width": 1200, "height": 900}, {"width": 390, "height": 844}]


@pytest.mark.parametrize("viewport", SIZES, ids=["desk", "phone"])
def test_everything_stands_where_it_was_told_at_one_scale(open_page, viewport):
    page = open_page(viewport=viewport)
    page.wait_for_selector("#plan [data-tray=N1]")
    boxes = boxes_of(page)
    left, far, length, depth = boxes["mat-north"]
    px_per_mm = length / 1_200
    things = {f"mat-{name}": one for name, one in MATS.items()}
    things |= {f"tray-{name}": one for name, one in TRAYS.items()}
    for name, one in things.items():
        x, y, w, h = boxes[name]
        at = (x - left, far + depth - y - h)
        assert [mm / px_per_mm for mm in (*at, w, h)] == pytest.approx(
            (one.at_mm.across - 100, one.at_mm.back - 100, *one.size_mm), abs=0.5
        ), name
    # What is told nothing of is drawn below, at the same scale.
    x, y, w, h = boxes["mat-watched"]
    assert (w / px_per_mm, h / px_per_mm) == pytest.approx((600, 300))
    assert y > far + depth


@pytest.mark.parametrize("viewport", SIZES, ids=["desk", "phone"])
def test_words_and_figures_never_stand_on_one_another(open_page, viewport):
    page = open_page(viewport=viewport)
    page.wait_for_selector("#plan [data-tray=N1]")
    texts = page.locator("#plan text").evaluate_all(
        "all => all.map((one) => ({ text: one.textContent,"
        " size: parseFloat(getComputedStyle(one).fontSize),"
        " ...Object.fromEntries(['x', 'y', 'width', 'height']"
        ".map((key) => [key, one.getBBox()[key]])) }))"
    )
    assert len(texts) > 8
    for one, other in itertools.combinations(texts, 2):
        apart = (
            one["x"] + one["width"] <= other["x"]
            or other["x"] + other["width"] <= one["x"]
            or one["y"] + one["height"] * 0.75 <= other["y"] + other["height"] * 0.25
            or other["y"] + other["height"] * 0.75 <= one["y"] + one["height"] * 0.25
        )
        assert apart, (one, other)
    assert min(one["size"] for one in texts) >= 12.5
    assert page.evaluate("document.documentElement.scrollWidth") == viewport["width"]


def test_a_small_tray_has_a_number_and_its_words_in_the_key(open_page, bench):
    page = open_page()
    small = page.locator("#plan [data-tray=N2] text")
    expect(small).to_have_count(1)
    number = small.text_content()
    line = page.locator("#plan-key [data-tray=N2]")
    expect(line).to_contain_text(number)
    expect(line).to_contain_text("N2 20.5\u00a0°C as wanted")
    expect(page.locator("#plan-key [data-tray=N1]")).to_have_count(0)
    bench.temps |= {"n2a": 18.0, "n2b": 18.0}
    expect(line).to_contain_text("18.0\u00a0°C 3 K under")
    line.click()
    expect(page.locator("#tray-h")).to_contain_text("N2")


def test_on_a_phone_mats_without_room_have_letters_and_fingers_find_the_key(open_page):
    page = open_page(viewport=SIZES[1])
    page.wait_for_selector("#plan-key button")
    assert page.locator("#plan .tag text").all_text_contents() == ["A", "B"]
    expect(page.locator("#plan-key li").first).to_contain_text(
        "120 \u00d7 53 cm, 100 W"
    )
    expect(page.locator("#plan-key")).to_contain_text("mat south 45 \u00d7 90 cm")
    low = page.locator("#plan-key button").evaluate_all(
        "all => all.filter((one) => one.offsetHeight < 44).length"
    )
    assert low == 0


def test_axe_finds_nothing_serious_in_the_key(open_page):
    from axe_playwright_python.sync_playwright import Axe  # noqa: PLC0415

    page = open_page(viewport=SIZES[1])
    page.wait_for_selector("#plan-key button")
    found = Axe().run(page).response["violations"]
    assert [
        one["id"] for one in found if one["impact"] in ("serious", "critical")
    ] == []


@pytest.fixture
def ask(page):
    """Return what the layout gives for trays of one size [mm] at some places."""

    def asked(places, side, width):
        trays = [
            {"name": str(n), "mat": None, "at_mm": list(at), "size_mm": [side, side]}
            for n, at in enumerate(places)
        ]
        return page.evaluate(
            "async ([trays, width]) => (await import('/page/plan_layout.js'))"
            ".laidOut({mats: [], trays}, width)",
            [trays, width],
        )

    return asked


def test_the_sheet_fits_its_width_while_numbers_can_be_read(ask):
    sheet = ask([(0, 0), (900, 0), (1_900, 0)], 100, 340)
    assert sheet["width"] == pytest.approx(340)
    assert [tray["number"] for tray in sheet["trays"]] == [1, 2, 3]


def test_pots_side_by_side_keep_their_numbers_apart_though_the_sheet_is_scrolled(ask):
    sheet = ask([(80 * n, 0) for n in range(30)], 70, 340)
    assert sheet["width"] > 340
    steps = [tray["x"] for tray in sheet["trays"]]
    least = min(after - before for before, after in itertools.pairwise(steps))
    assert least >= 2 * 9  # two digits of 13 px

    # At one and the same place nothing helps; it is drawn all the same.
    assert ask([(0, 0), (0, 0)], 70, 340)["perCm"] == pytest.approx(4.4)
