"""README's picture of the page of many benches: six invented benches.

python tests/page/take_benches_picture.py
"""

import sys
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[2]))

from playwright.sync_api import sync_playwright

from controller.cli.bench_list import Asked
from tests.benchmarks.page import CHROMIUM
from tests.page.far_benches import BenchesServed, FarServer, alarm, many
from tests.page.take_pictures import kept

NAMES = ("lean-to", "cold frame", "porch", "tunnel", "attic", "cellar shelf")
VIEW = {"width": 1180, "height": 800}


def main() -> None:
    """Take it."""
    found = many(len(NAMES))
    for bench in found.values():
        bench.body["mats"].pop()  # the one that is only watched, and what is on it
        bench.body["trays"] = bench.body["trays"][:3]
    found[1].body["mats"][1] |= {"mode": "tripped", "mode_text": "locked off"}
    found[1].body["trays"][2]["temp_c"] = 19.4
    said = "Mat south is locked off: the heat it gave was not felt at S1."
    found[1].body["alarms"] = [alarm(said, "high", kind="trip")]
    said = "Probe N2 has said nothing for 11 min: no reading of it is used."
    found[4].body["alarms"] = [alarm(said)]
    found[4].body["trays"][1] |= {"temp_c": None, "temp_text": "no reading for 11 min"}
    for tray, temp_c in zip(found[3].body["trays"], (16.2, 17.9, 26.1), strict=True):
        tray["temp_c"] = temp_c
    found[3].due = [{"summary": "Look at KP3, chilli (Ember Lane)", "overdue": True}]
    server = FarServer(found)
    asked = [Asked(name, server.url(n)) for n, name in enumerate(NAMES)]
    asked[2] = Asked("porch", "http://127.0.0.1:1")
    served = BenchesServed(asked)
    try:
        with sync_playwright() as started:
            browser = started.chromium.launch(
                executable_path=CHROMIUM, args=["--no-sandbox"]
            )
            page = browser.new_context(viewport=VIEW).new_page()
            page.goto(served.url)
            page.wait_for_selector(".part-rest")
            kept("benches", page.screenshot())
            browser.close()
    finally:
        served.stop()
        server.stop()


if __name__ == "__main__":
    main()
