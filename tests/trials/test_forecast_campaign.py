"""The campaign of rooting forecasts: a short run, its worlds, and its table."""

import math
import random

from tests.campaigns import forecast_coverage as campaign

Random = random.Random
"""Draws; no secrets."""


def test_a_short_run_prints_a_row_for_each_way_of_looking(capsys):
    code = campaign.main(["--batches", "2", "--workers", "1"])
    said = capsys.readouterr().out
    assert code in {0, 1}  # of two batches nothing follows
    for when in ("when stuck", campaign.APART, *campaign.WAYS):
        assert when in said
    assert "outside of 85% to 95%" in said


def test_what_lies_outside_of_its_bounds_is_named():
    def rows(when: str, held: int) -> list[campaign.Row]:
        return [campaign.Row(when, n < held, n < 50, 0.1, 1.5) for n in range(100)]

    told = rows("good", 90) + rows("narrow", 84) + rows("wide", 96)
    cells, missed = campaign.told(told + rows(campaign.APART, 40))
    assert missed == ["narrow", "wide"]
    assert cells[0] == ["good", "100", "90.0%", "50.0%", "10 %", "a factor of 1.50"]
    assert cells[-1][2] == "40.0%"


def test_worlds_are_drawn_from_what_the_crop_file_says():
    prior = campaign.PRIORS[0]
    halves = []
    for seed in range(400):
        batch = campaign.World(prior, Random(seed)).batch(0)
        if batch.half is not None:
            halves.append(math.log(batch.half))
    mean = sum(halves) / len(halves)
    assert abs(mean - math.log(prior.median)) < 0.06
    assert campaign.case(7) == campaign.case(7)


def test_looks_tell_what_is_so():
    batch = campaign.Rooted((100.0, 200.0, 300.0, math.inf))
    assert batch.half == 200.0
    census = batch.looked_at("census", [150.0, 250.0], Random(1))
    assert [one.rooted for one in census.seen] == [1, 2]
    assert campaign.Rooted((math.inf,)).half is None
