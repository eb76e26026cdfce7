"""`bottomheat varieties`, its route, and `prepare stick`."""

import json

import pytest

from controller import cli
from tests.cli.test_batch_command import ADD, ONE, STUCK, kept, typed, url

__all__ = ["kept", "url"]  # fixtures


@pytest.fixture
def bench(url, capsys) -> str:
    told = ["--cultivar", "Hollow Lane", "--wanted", 3, "--medium", "coir-perlite"]
    typed(*ADD, *told, "--url", url)
    typed("add", "quince", "--kind", "hardwood", *STUCK, "--url", url)
    typed("close", ONE, "weaned", "--rooted", 18, "--url", url)
    typed("plants", ONE, "potted", 9, "--url", url)
    capsys.readouterr()
    return url


def test_results_are_a_table_and_sentences(bench, capsys):
    assert cli.main(["varieties", "--by", "medium", "--url", bench]) == 0
    said = capsys.readouterr().out
    head, _, one, part, two = said.splitlines()[:5]
    assert head.split()[:4] == ["variety", "wanted", "stuck", "rooted"]
    assert one.split()[:6] == ["gooseberry", "Hollow", "Lane", "3", "20", "18/20"]
    assert part.split()[0] == "coir-perlite"
    assert "wait" in two
    assert "18 of 20 rooted: stick 5 for 3 plants, not 20 (4 if that rate" in said
    assert "6 more than are wanted: to give away" in said
    assert "of the mats'" in said


def test_results_come_as_json_and_of_a_stretch_of_time(bench, capsys):
    words = ["--surety", "99", "--spacing", "100", "--json", "--url", bench]
    assert cli.main(["varieties", *words]) == 0
    found = json.loads(capsys.readouterr().out)
    assert (found["surety"], found["spacing_mm"]) == (0.99, 100)
    assert found["varieties"][0]["next"]["area_m2"] == pytest.approx(
        found["varieties"][0]["next"]["stick_widened"] * 0.01
    )
    assert cli.main(["varieties", "--from", "2026-03-01", "--url", bench]) == 0
    assert capsys.readouterr().out == "no batch was stuck in that time\n"
    assert cli.main(["varieties", "--to", "2026-03-01", "--url", bench]) == 0
    assert "gooseberry" in capsys.readouterr().out


def test_what_cannot_be_asked_is_refused(bench, capsys):
    assert cli.main(["varieties", "--surety", "100", "--url", bench]) == 2
    assert "surety: Input should be less than 1" in capsys.readouterr().err


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (["--rate", "50 %"], "stick 9 for 3 plants with 90 % surety, if 50 % take"),
        (["--seen", "9/20"], "stick 12 for 3 plants with 90 % surety, after 9 of 20"),
        (["--rate", "0.0 %"], "no number will do for 3 plants"),
        (["--seen", "9"], "such as 9/20"),
        (["--seen", "9/3"], "found 9 of 3"),
        ([], "give --rate, or --seen"),
    ],
)
def test_how_many_to_stick_is_answered_without_a_bench(words, said, capsys):
    cli.main(["prepare", "stick", "--plants", "3", *words])
    found = capsys.readouterr()
    assert said in " ".join((found.out + found.err).split())
