"""Where things stand on the table: read, refused, told of, and no matter of control."""

import argparse
import json
from pathlib import Path

import pytest

from controller.cli import check
from controller.tabletop import Millimetres, Stand

AREA = 'area = "1.2 m x 0.53 m"\n'
TRAY = 'name = "N1"\nmat = "north"\n'
LIES = 'at = ["10 cm", "5 in"]\n'
STANDS = 'at = ["12 cm", "0.15 m"]\nsize = ["38 cm", "240 mm"]\n'


@pytest.fixture
def laid(small):
    """A configuration whose mat and tray say where they stand."""
    return small.replace(AREA, AREA + LIES).replace(TRAY, TRAY + STANDS)


def test_places_and_sizes_are_read_in_any_unit(loaded, laid):
    settings = loaded(laid)
    north = settings.tabletop.mats["north"]
    assert north == Stand(Millimetres(100, 127), Millimetres(1_200, 530))
    tray = settings.tabletop.trays["N1"]
    assert tray == Stand(Millimetres(120, 150), Millimetres(380, 240))
    assert settings.written["tray N1: size"] == "38 cm, 240 mm"


def test_without_them_nothing_stands_anywhere(loaded, small):
    top = loaded(small).tabletop
    assert (top.mats, top.trays) == ({}, {})


def test_a_mats_first_side_runs_from_left_to_right(loaded, laid):
    settings = loaded(laid.replace("1.2 m x 0.53 m", "0.53 m x 1.2 m"))
    assert settings.tabletop.mats["north"].size_mm == (530, 1_200)
    (mat,) = settings.plan.mats
    assert (mat.length_mm, mat.width_mm) == (1_200, 530)


def test_control_and_the_log_know_nothing_of_it(loaded, small, laid):
    assert loaded(laid).plan == loaded(small).plan
    assert loaded(laid).wiring == loaded(small).wiring


PAIR = (
    "write two lengths, from the left and from the near edge of the table, such as"
    ' ["0 cm", "5 cm"]'
)
SIZE = 'write two lengths, left to right and near to far, such as ["40 cm", "30 cm"]'


@pytest.mark.parametrize(
    ("written", "instead", "where", "allowed"),
    [
        (LIES, 'at = ["10 cm"]\n', "mat north: at", PAIR),
        (LIES, 'at = "10 cm, 5 cm"\n', "mat north: at", PAIR),
        (LIES, 'at = ["1 cm", "1 cm", "1 cm"]\n', "mat north: at", PAIR),
        (
            LIES,
            'at = ["-1 cm", "5 cm"]\n',
            "mat north: at",
            f"{PAIR}; it cannot be negative",
        ),
        (
            LIES,
            "at = [10, 5]\n",
            "mat north: at",
            f"{PAIR}; a bare number could be millimetres or inches",
        ),
        (LIES, 'at = ["1 cm", "101 m"]\n', "mat north: at", "each from 0 mm to 100 m"),
        ('["38 cm", "240 mm"]', '["38 cm", "2 K"]', "tray N1: size", SIZE),
        (
            '["38 cm", "240 mm"]',
            '["38 cm", "0 mm"]',
            "tray N1: size",
            "each from 50 mm to 5 m",
        ),
        (
            '["38 cm", "240 mm"]',
            '["5.1 m", "1 m"]',
            "tray N1: size",
            "each from 50 mm to 5 m",
        ),
        (
            'size = ["38 cm", "240 mm"]\n',
            "",
            "tray N1: size",
            'missing, but at is there; write it, such as ["40 cm", "30 cm"]',
        ),
        (
            'at = ["12 cm", "0.15 m"]\n',
            "",
            "tray N1: at",
            'missing, but size is there; write it, such as ["0 cm", "5 cm"]',
        ),
        (LIES, "", "tray N1: at", "leave it out, or write at of mat north, too"),
    ],
)
def test_half_of_it_and_nonsense_are_refused(
    complaints, laid, written, instead, where, allowed
):
    assert written in laid
    (line,) = complaints(laid.replace(written, instead))
    assert line.startswith(f"bench.toml: {where}")
    assert line.endswith(f": {allowed}")


@pytest.fixture
def checked(tmp_path, monkeypatch, capsys):
    """Check a text; return the exit status, and what it says as JSON and in words."""
    monkeypatch.chdir(tmp_path)
    parser = argparse.ArgumentParser()
    check.add_parser(parser.add_subparsers())

    def run(text: str) -> tuple[int, list[str], str]:
        Path("bench.toml").write_text(text, encoding="utf-8")
        args = parser.parse_args(["check", "bench.toml"])
        status = args.run(args)
        said = capsys.readouterr().out
        args.json = True
        args.run(args)
        return status, json.loads(capsys.readouterr().out)["findings"], said

    return run


@pytest.fixture
def sound(laid):
    """The same with nothing to see to."""
    probe = '[[probe]]\nname = "M1"\nmat = "north"\ntopic = "probe/M1"\n'
    return laid.replace("lease = true", 'lease = true\nreports_on = "r/n"') + probe


def test_check_says_where_things_stand(checked, sound):
    status, findings, said = checked(sound)
    assert (status, findings) == (0, [])
    assert "  Mat north at 10 cm, 5 in: 1.2 m x 0.53 m\n" in said
    assert "  Tray N1 at 12 cm, 0.15 m: 38 cm x 240 mm\n" in said


def test_check_says_nothing_of_a_table_where_nothing_is_told(checked, small):
    assert "On the table" not in checked(small)[2]


# The mat covers 10 to 130 cm, 12.7 to 65.7 cm.
@pytest.mark.parametrize(
    ("at", "beside"),
    [
        ('["130 cm", "15 cm"]', True),
        ('["129 cm", "15 cm"]', False),
        ('["12 cm", "66 cm"]', True),
        ('["12 cm", "65 cm"]', False),
    ],
)
def test_a_tray_wholly_off_its_mat_is_something_to_see_to(checked, sound, at, beside):
    status, findings, _ = checked(sound.replace('["12 cm", "0.15 m"]', at))
    assert status == int(beside)
    told = [one for one in findings if one.startswith("tray N1 stands wholly beside")]
    assert len(told) == int(beside) == len(findings)


def test_what_stands_in_one_another_is_told(checked, sound):
    extra = (
        '[[tray]]\nname = "W1"\nat = ["40 cm", "20 cm"]\nsize = ["30 cm", "30 cm"]\n'
        '[[probe]]\nname = "P2"\ntray = "W1"\ntopic = "probe/P2"\n'
        '[[mat]]\nname = "south"\npower = "50 W"\narea = "0.5 m x 0.5 m"\n'
        'at = ["1.2 m", "0 m"]\nsetpoint = "20 °C"\n'
        '[[tray]]\nname = "S1"\nmat = "south"\n'
        '[[probe]]\nname = "P3"\ntray = "S1"\ntopic = "probe/P3"\n'
    )
    status, findings, _ = checked(sound + extra)
    assert status == 1
    assert findings == [
        "mats north and south lie on one another",
        "trays N1 and W1 stand in one another",
        "tray W1 stands on mat north but is on none by its settings: the limits of"
        " that mat do not know it",
    ]
