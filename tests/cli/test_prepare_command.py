"""`bottomheat prepare`: amounts in words and as JSON, and what is refused."""

import json

import pytest

from controller import cli


def prepared(capsys, *words: object) -> str:
    assert cli.main(["prepare", *map(str, words)]) == 0
    return capsys.readouterr().out


def test_the_whole_sheet_fits_on_paper(capsys):
    said = prepared(capsys)
    assert max(map(len, said.splitlines())) <= 78
    for words in ("1 part + 9.5 parts", "never with acid", "squeeze", "overnight"):
        assert words in said
    assert set(json.loads(prepared(capsys, "--json"))) == {
        "bleach",
        "medium",
        "hormone",
        "cuttings",
    }


def test_amounts_come_as_json(capsys):
    bleach = prepared(
        capsys,
        "bleach",
        "--stock",
        "5 %",
        "--want",
        "500ppm",
        "--volume",
        "1 l",
        "--json",
    )
    assert json.loads(bleach).items() >= {"parts_of_water": 99, "bleach_ml": 10}.items()
    medium = ["medium", "2 perlite + 1 coir", "--containers", 3, "--each", 4]
    found = json.loads(prepared(capsys, *medium, "--json"))
    assert (found["litres"], found["parts"][0]["litres"]) == (12, 8.8)
    hormone = ["hormone", "--stock", "1 %", "--want", "0,3 %", "--salt", "--json"]
    found = json.loads(prepared(capsys, *hormone))
    assert (found["stock_ml"], found["solvent"]) == (15, "water")
    light = json.loads(
        prepared(capsys, "light", "--ppfd", 400, "--hours", 14, "--json")
    )
    assert light["mol_per_m2_day"] == 20.16
    about = prepared(capsys, "light", "--lux", 5400, "--lamp", "sun", "--hours", 10)
    assert about.startswith("about 3.60 mol/m²d")


@pytest.mark.parametrize(
    ("words", "complaint"),
    [
        (["bleach", "--stock", "5.25"], "write a number and its unit, % or ppm"),
        (["bleach", "--stock", "60 %"], "household bleach has 5 to 9 %"),
        (["bleach", "--want", "6 %"], "water makes nothing stronger"),
        (["bleach", "--volume", "1 gal"], "ml or l"),
        (["medium", "2 % peat"], "such as 2 perlite + 1 coir"),
        (["medium", "--litres", "5", "--each", "2"], "--containers with --each"),
        (["light", "--hours", "12"], "give --ppfd, or --lux"),
        (["light", "--lux", "5", "--hours", "12"], "little without --lamp"),
        (["light", "--ppfd", "5", "--hours", "25"], "0 to 24 hours"),
    ],
)
def test_what_is_not_understood_is_refused_with_what_is_right(words, complaint, capsys):
    assert cli.main(["prepare", *words]) == 2
    assert complaint in capsys.readouterr().err
