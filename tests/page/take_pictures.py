"""README's pictures: the page before an invented bench, at the end of a season.

    python tests/page/take_pictures.py LOG

LOG is a season log of the demo bench, such as `bottomheat simulate config/bench.toml
--days 120 --out LOG` writes. The batches and what was done are invented here, and
written into a copy of it, from which their forecast is worked out.
"""

import argparse
import io
import shutil
import sys
import tempfile
from datetime import UTC, datetime, timedelta
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[2]))

from PIL import Image
from playwright.sync_api import Browser, Page, sync_playwright

from api.app import create_app
from api.context import Beside
from api.record_book import Records
from controller.adapters.settings import load
from controller.cli.asking import ask
from controller.cli.forecast_job import worked_out
from controller.ports import ForecastKept
from tests.benchmarks.page import CHROMIUM, season_bench
from tests.page.served import Served

CONFIG = Path(__file__).parents[2] / "config" / "bench.toml"
PICTURES = Path(__file__).parent / "pictures"
TEMPS = {
    "N1": 21.1,
    "N2": 20.7,
    "N3": 21.5,
    "S1": 25.8,
    "S2": 24.8,
    "north-mat": 27.4,
    "south-mat": 33.1,
    "room": 13.6,
}
BATCHES = (
    ("grapevine", "Kestrel Noir", "hardwood", 18, "N1", 16.4),
    ("gooseberry", "Dusk", "hardwood", 24, "N2", 31),
    ("quince", "Lowfell", "hardwood", 12, "N3", 23),
    ("quince", "Tarn", "hardwood", 12, "N3", 23),
    ("chilli", "Ember Lane", "seed", 30, "S1", 6),
    ("aubergine", "Violet Mill", "seed", 20, "S2", 6),
)
EVENTS = (
    (40.2, {"kind": "watered", "trays": ["N1", "N2", "N3"], "water_ml": 500}),
    (24.1, {"kind": "cover-on", "mats": ["north"]}),
    (9.1, {"kind": "watered", "trays": ["N1", "N2", "N3"], "water_ml": 450}),
    (5.3, {"kind": "cover-off", "trays": ["N2"]}),
    (2.2, {"kind": "mould-removed", "trays": ["N3"], "text": "two leaves"}),
    (0.4, {"kind": "watered", "trays": ["N2"], "water_ml": 150}),
)
DESK = {"viewport": {"width": 1280, "height": 860}}
PHONE = {
    "viewport": {"width": 390, "height": 844},
    "device_scale_factor": 1.5,
    "is_mobile": True,
    "color_scheme": "dark",
}


def told(log: Path, end_ms: int) -> None:
    """Tell a log of its batches and of what was done."""
    end = datetime.fromtimestamp(end_ms / 1000, UTC)
    args = argparse.Namespace(log=log)

    def ago(days: float) -> str:
        return (end - timedelta(days=days)).isoformat().replace("+00:00", "Z")

    for crop, cultivar, kind, count, tray, days in BATCHES:
        batch = {"crop": crop, "cultivar": cultivar, "kind": kind, "count": count}
        ask(args, "POST", "/v1/batches", batch | {"tray": tray, "stuck_at": ago(days)})
    for days, event in EVENTS:
        ask(args, "POST", "/v1/events", event | {"at": ago(days)})


def opened(browser: Browser, served: Served, path: str, **options: object) -> Page:
    page = browser.new_context(**options).new_page()  # type: ignore[arg-type]
    page.goto(served.url + path)
    page.wait_for_selector("#plan [data-tray=N1]")
    page.wait_for_function(
        "() => document.querySelectorAll('#tray-list article h3').length === 5 &&"
        " [...document.querySelectorAll('#tray-list h3')]"
        ".every((one) => one.textContent.includes('of hours'))"
    )
    return page


def kept(name: str, picture: bytes) -> None:
    """Keep a picture small, whatever it was taken as."""
    path = PICTURES / f"{name}.webp"
    Image.open(io.BytesIO(picture)).save(path, quality=82, method=6)
    print(f"{path.name}: {path.stat().st_size / 1000:.0f} kB")  # noqa: T201


def main() -> None:
    with tempfile.TemporaryDirectory() as folder:
        taken(Path(shutil.copy(sys.argv[1], folder)))


def taken(log: Path) -> None:
    """Take the pictures, of a log that may be written."""
    PICTURES.mkdir(exist_ok=True)
    bench, reader = season_bench(log)
    bench.temps, bench.tabletop = dict(TEMPS), load(CONFIG, {}).tabletop
    told(log, bench.end_ms)
    foretold = ForecastKept(worked_out(log, None, bench.end_ms, {}))
    served = Served(
        make=lambda bench, reader, _: create_app(
            bench,
            lambda: reader,
            bench,
            Records(None, lambda: reader),
            beside=Beside(forecast=lambda: foretold),
        ),
        bench=bench,
        reader=reader,
    )
    try:
        with sync_playwright() as started:
            browser = started.chromium.launch(
                executable_path=CHROMIUM, args=["--no-sandbox"]
            )
            browser.new_context().set_default_timeout(120_000)
            page = opened(browser, served, "/", **DESK)
            page.wait_for_selector("#plan .mat.on", timeout=300_000)
            kept("bench", page.screenshot())
            kept("phone", opened(browser, served, "/", **PHONE).screenshot())
            page = opened(browser, served, "/#tray=N2", **DESK)
            page.click("[data-span=season]")
            page.wait_for_timeout(6_000)
            kept("season", page.locator("#tray").screenshot())
            browser.close()
    finally:
        served.stop()


if __name__ == "__main__":
    main()
