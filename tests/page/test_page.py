"""The page in a real browser: what is shown, what is asked, what is written."""

import re

from playwright.sync_api import expect


def tray(page, name):
    return page.locator(f"#plan [data-tray={name}]")


def spoken(page):
    return page.locator("#spoken")


def test_the_bench_is_drawn_to_scale_with_words_and_figures(page):
    expect(page.locator("#name")).to_have_text("lean-to")
    expect(tray(page, "N1")).to_have_attribute(
        "aria-label", re.compile(r"Tray N1.*20\.5.°C, as wanted")
    )
    north = page.locator("#plan .mat[data-key=mat-north] .edge").bounding_box()
    south = page.locator("#plan .mat[data-key=mat-south] .edge").bounding_box()
    assert (north["width"] - 10) / (south["width"] - 10) == pytest_near(1200 / 900)
    assert (north["width"] - 10) / (north["height"] - 10) == pytest_near(1200 / 530)
    expect(tray(page, "W1")).to_contain_text("no probe")
    expect(page.locator("#mat-list")).to_contain_text("The root zone is at")


def pytest_near(value):
    import pytest

    return pytest.approx(value, rel=0.02)


def test_it_lives(page, bench):
    bench.temps["s1"] = 22.25
    expect(tray(page, "S1")).to_contain_text("22.3")
    expect(tray(page, "S1")).to_contain_text("3.8 K under")
    expect(page.locator("#lead")).to_contain_text("S1 is too cool")
    expect(page.locator("#fresh")).to_contain_text("just now")
