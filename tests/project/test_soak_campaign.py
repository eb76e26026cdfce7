"""The soak: a little of it for real, and what it calls growth."""

import os
import shutil
from argparse import Namespace

import pytest

from tests.campaigns import soak
from tests.campaigns.soak import Look, grown, quarters, told

MOSQUITTO = shutil.which("mosquitto", path=os.environ["PATH"] + ":/usr/sbin")


def season(**grows: float) -> list[Look]:
    """Forty looks at a daemon; what is named grows by so much from look to look."""
    return [
        Look(
            day=float(n),
            resident_mb=70 + n * grows.get("memory", 0.0),
            handles=13 + round(n * grows.get("handles", 0)),
            threads=5 + round(n * grows.get("threads", 0)),
            seq=n * 100,
            cpu_s=n * 0.5 + n * n * grows.get("scan", 0.0),
            asked_s=0.1,
            log_mb=1.0,
        )
        for n in range(1, 41)
    ]


def test_a_daemon_that_stays_as_it_is_has_not_grown():
    assert grown(season()) == []
    assert "grew: nothing" in told(season())[-1]


@pytest.mark.parametrize(
    ("what", "named"),
    [
        ({"memory": 0.3}, "memory"),
        ({"handles": 0.2}, "handles"),
        ({"threads": 0.2}, "threads"),
        ({"scan": 0.01}, "scan time"),
    ],
)
def test_each_kind_of_growth_is_found(what, named):
    assert grown(season(**what)) == [named]


def test_a_short_soak_says_nothing():
    assert grown(season()[:5]) == ["too few looks to tell"]
    second, last = quarters(season())
    assert (second[0].day, last[-1].day) == (11.0, 40.0)


@pytest.mark.slow
@pytest.mark.broker
@pytest.mark.timeout(60)
@pytest.mark.skipif(MOSQUITTO is None, reason="mosquitto is not installed")
async def test_a_daemon_is_soaked_for_real(tmp_path):
    args = Namespace(days=0.06, speed=600.0, looks=0.02, out=tmp_path / "looks.jsonl")
    looks = await soak.soaked(tmp_path, str(MOSQUITTO), args)
    assert looks[-1].day >= 0.06
    assert looks[-1].seq > looks[0].seq > 0
    assert looks[-1].log_mb > 0
    lines = (tmp_path / "looks.jsonl").read_text().splitlines()
    assert len(lines) == len(looks)
