"""The shown season, tiny: plants of little need, told, foretold, compared, reported."""

import re
import xml.etree.ElementTree as ET

import pytest

from controller.cli.forecast_job import foretold_in
from tests.campaigns import shown_season
from tests.campaigns.showing.bench import BEGIN_MS, Api
from tests.campaigns.showing.windows import Window

pytestmark = pytest.mark.timeout(120)

PACE = 40
"""All plants need so many times less: a season of 40 days in one of the bench."""


@pytest.fixture(scope="module")
def shown(tmp_path_factory):
    """Run the campaign once; keep the season and what it printed."""
    out = tmp_path_factory.mktemp("shown") / "out"
    words = ["--days", "1", "--pace", f"{PACE}", "--pots", "6", "--seed", "3"]
    kept = {}
    go_through = shown_season.Season.go_through

    def keeping(self):
        kept["season"] = self
        go_through(self)

    shown_season.Season.go_through = keeping
    try:
        code = shown_season.main([*words, "--foretell", "7.2", "--out", str(out)])
    finally:
        shown_season.Season.go_through = go_through
    text = (out / "season.txt").read_text(encoding="utf-8")
    return out, text, kept["season"], code


def test_records_come_back_by_the_api_as_they_were_told(shown):
    _, _, season, _ = shown
    with Api(season.log) as api:
        api.at(season.end_ms)
        for one in season.batches:
            file = api.ask("GET", f"/v1/batches/{one.code}")
            assert file["batch"]["cultivar"] == one.stuck.cultivar
            assert file["batch"]["count"] == len(one.roots)
            assert file["closing"]["rooted"] == one.seen["closed"]
            for look in file["looks"]:
                base = look["look"]["base"]
                if base is not None:
                    assert base["roots"] <= sum(at < 1e9 for at in one.roots)
        events = api.ask("GET", "/v1/events?kind=cover-on")["events"]
        assert [one["trays"] for one in events] == [["S1", "S2"]]


def test_the_grower_never_counts_more_than_truly_rooted(shown):
    season = shown[2]
    for one in [*season.batches, *season.pots]:
        assert one.seen["closed"] <= one.rooted_by(season.end_ms)
    assert sum(one.seen["closed"] for one in season.batches) > 0


def test_windows_hold_what_was_true_as_often_as_a_loose_bound_demands(shown):
    _, text, season, code = shown
    scored = season.scored()
    assert len(scored) >= 5
    assert code == 0
    assert sum(within != "out" for *_, within in scored) >= len(scored) / 2
    assert "windows of 90 % held what was true" in text


def test_a_forecast_of_then_knows_nothing_of_what_came_later(shown):
    """Worked out when all is over, as if it were then: the very same windows."""
    season = shown[2]
    at_ms = season.windows[0].at_ms
    told, _, _ = foretold_in(season.log, season.crops, at_ms)
    later = {one.file.code: one.when_ms for one in told}
    then = {one.code: one.when_ms for one in season.windows if one.at_ms == at_ms}
    assert then and then == {code: later[code] for code in then}
    assert set(later) < set(season.grower.plants)  # some were stuck later


def test_the_trial_has_a_verdict_beside_the_truth(shown):
    text = shown[1]
    verdict = text[text.index("\nVerdict: ") :]
    assert re.match(r"\nVerdict: (\S+ beats \S+|no conclusion on) ", verdict)
    assert "In truth coir-perlite was 1.45 times as fast" in text


def test_the_report_and_both_pictures_are_there_and_labelled(shown):
    out = shown[0]
    page = (out / "season.html").read_text(encoding="utf-8")
    assert "Cold Ladder" in page and "gooseberry in two media (invented)" in page
    for name in ("foretold.svg", "trial.svg"):
        text = (out / name).read_text(encoding="utf-8")
        ET.fromstring(text)  # noqa: S314 - our own
        assert "nvented" in text


def test_a_window_is_told_by_the_narrowest_that_holds():
    window = Window("334X", BEGIN_MS, (100, 200, 300, 400, None), ())
    assert window.within(250) == "50"
    assert window.within(10**12) == "90"
    assert window.within(99) == "out"
    assert Window("334X", BEGIN_MS, (None,) * 5, ()).within(99) == "out"


def test_a_folder_with_something_in_it_is_left_alone(tmp_path, capsys):
    (tmp_path / "mine.txt").write_text("mine", encoding="utf-8")
    with pytest.raises(SystemExit) as ended:
        shown_season.main(["--out", str(tmp_path)])
    assert ended.value.code == 2
    assert "name a new folder" in capsys.readouterr().err
