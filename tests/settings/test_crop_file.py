"""Crop files: what comes with it, one's own, and faults in words.

Seed of the file that comes with it is held against days to emergence of Harrington
and Minges 1954 (Knott's Handbook for Vegetable Growers 1997, reprinted in Teaching
Organic Farming and Gardening, unit 1.3, appendix 4).
"""

import pytest

from controller import cli
from controller.adapters.crop_file import load_crops
from controller.adapters.settings import SettingsError, load
from controller.cli.crop_files import crops_of
from controller.cli.paths import config_dir
from controller.trials.crops import GUESS, find_crop, prior_of
from controller.trials.response_curves import Linear

MINE = """
[[crop]]
name = "kiwi"
also = ["Actinidia"]
from = "cuttings"
kinds = ["softwood"]
curve = "beta"
base = { value = "50 °F", source = "my notes of 2025" }
optimum = { value = "27 °C", source = "no source: a guess" }
ceiling = { value = "35 °C", source = "no source: a guess" }
needs = { value = "6,000 K·h", low = "4000 K·h", high = "9000 K·h", source = "mine" }
spread = { value = 1.3, source = "mine" }
share = { value = "60 %", weight = 10, source = "mine" }
"""
EMERGED = {  # days at °C, of the printed table
    "onion": {10: 13, 15: 7, 20: 5, 25: 4},
    "carrot": {10: 17, 15: 10, 20: 7, 25: 6},
    "beet": {10: 17, 15: 10, 20: 6, 25: 5},
    "lettuce": {10: 7, 15: 4, 20: 3, 25: 2},
    "radish": {10: 11, 15: 6, 20: 4, 25: 4},
    "pea": {10: 14, 15: 9, 20: 8, 25: 6},
    "asparagus": {15: 24, 20: 15, 25: 10},
    "cabbage": {10: 15, 15: 9, 20: 6, 25: 5},
    "corn": {15: 12, 20: 7, 25: 4},
    "tomato": {15: 14, 20: 8, 25: 6, 30: 6},
    "pepper": {15: 25, 20: 13, 25: 8, 30: 8},
    "cucumber": {15: 13, 20: 6, 25: 4},
    "aubergine": {20: 13, 25: 8, 30: 5},
}


@pytest.fixture
def own(tmp_path):
    path = tmp_path / "crops.toml"

    def write(text: str):
        path.write_text(text, encoding="utf-8")
        return path

    return write


@pytest.fixture(scope="module")
def ours():
    return crops_of(None)


def test_every_value_of_the_file_that_comes_with_it_has_a_source(ours):
    for crop in ours:
        keys = {"base", "needs", "spread", "share"}
        assert keys <= set(crop.sources), crop.name
        assert all(source.strip() for source in crop.sources.values())


@pytest.mark.parametrize("name", EMERGED)
def test_seed_comes_up_within_a_day_or_so_of_the_printed_table(ours, name):
    """Its days are whole ones, and one copy truncates where another rounds."""
    crop = find_crop(ours, name, "seed", seed=True)
    assert crop is not None
    for temp_c, printed in EMERGED[name].items():
        days = crop.needs / 24 / crop.curve.warmth(temp_c)
        assert days == pytest.approx(printed, abs=max(1.0, 0.15 * printed)), temp_c


def test_poinsettia_has_the_base_optimum_and_ceiling_of_its_source(ours):
    """Wilkerson et al. 2005, J. Amer. Soc. Hort. Sci. 130: 302-307, abstract."""
    crop = find_crop(ours, "Euphorbia  Pulcherrima", "softwood", seed=False)
    assert crop is not None
    curve = crop.curve
    assert (curve.base_c, curve.optimum_c, curve.ceiling_c) == (21, 28, 32)
    assert crop.curve.warmth(20) == crop.curve.warmth(32) == 0
    assert crop.sources["base"].startswith("Wilkerson")
    assert set(crop.guessed) == {"needs", "spread", "share"}


def test_cuttings_and_seed_of_one_name_are_two_crops(ours):
    assert find_crop(ours, "tomato", "seed", seed=True) is not None
    assert find_crop(ours, "tomato", "softwood", seed=False) is None
    assert find_crop(ours, "gooseberry", "softwood", seed=False) is None
    assert find_crop(ours, "gooseberry", "hardwood", seed=False) is not None


def test_one_s_own_crop_is_added(own, ours):
    crops = crops_of(own(MINE))
    assert len(crops) == len(ours) + 1
    kiwi = find_crop(crops, "actinidia", "softwood", seed=False)
    assert kiwi is not None
    assert (kiwi.curve.base_c, kiwi.needs, kiwi.share) == (10.0, 6_000, 0.6)
    assert kiwi.sources["base"] == "my notes of 2025"
    assert find_crop(crops, "kiwi", "hardwood", seed=False) is None


def test_one_s_own_crop_stands_in_the_place_of_the_same(own, ours):
    text = MINE.replace('"kiwi"', '"Gooseberry"').replace("softwood", "hardwood")
    crops = crops_of(own(text))
    assert len(crops) == len(ours)
    found = find_crop(crops, "gooseberry", "hardwood", seed=False)
    assert found is not None
    assert found.needs == 6_000


def test_one_for_a_kind_of_wood_goes_before_one_for_any(own):
    text = MINE + MINE.replace('kinds = ["softwood"]\n', "").replace("60 %", "20 %")
    crops = load_crops(own(text))
    for kind, share in (("softwood", 0.6), ("hardwood", 0.2)):
        found = find_crop(crops, "kiwi", kind, seed=False)
        assert found is not None
        assert found.share == share


def test_a_line_may_have_an_upper_or_none(own):
    text = MINE.replace('"beta"', '"linear"').replace("optimum", "upper")
    line = "\n".join(one for one in text.splitlines() if "ceiling" not in one)
    assert load_crops(own(line))[0].curve == Linear(10.0, 27.0)


WRONG = {
    'name = "kiwi"': ("", "crop number 1: name: give it a name"),
    'from = "cuttings"': (
        'from = "twigs"',
        'from = "twigs": write "cuttings" or "seed"',
    ),
    'curve = "beta"': ('curve = "S"', 'curve = "S": write "linear" or "broken-stick"'),
    '"50 °F"': ("21", "base.value = 21: write a temperature with its unit"),
    '"27 °C"': ('"40 °C"', "curve: base 10 °C, optimum 40 °C, ceiling 35 °C: each"),
    '"6,000 K·h"': ('"600 K·d"', 'needs.value = "600 K·d": write degree-hours'),
    '"9000 K·h"': ('"900 K·h"', "the one must lie between the others"),
    'high = "9000 K·h", ': ("", "needs.high: write degree-hours"),
    "value = 1.3": ("value = 0.9", "spread 0.9: a factor above 1"),
    '"60 %"': ('"160 %"', "a share lies between 0 and 1"),
    "weight = 10": ("weight = true", "share.weight = true: write of how many"),
    ', source = "my notes of 2025"': ("", "base.source: say where it comes from"),
    '["softwood"]': ('["soft"]', 'kinds = "soft": no such key; did you mean softwood?'),
    '["Actinidia"]': ('"Actinidia"', "also = "),
    "spread = {": ("sprad = {", "sprad = a table: no such key; did you mean spread?"),
    "[[crop]]": ("[crop]", "write [[crop]] before the keys of each"),
    'also = ["Actinidia"]': ('also = ["\\u0007"]', "write names in brackets"),
}


@pytest.mark.parametrize("old", WRONG)
def test_a_fault_is_told_with_its_place_and_what_would_be_right(own, old):
    new, words = WRONG[old]
    assert old in MINE
    path = own(MINE.replace(old, new, 1))
    with pytest.raises(SettingsError) as error:
        load_crops(path)
    assert words in str(error.value)
    assert all(line.startswith(f"{path}: ") for line in str(error.value).splitlines())


def test_the_same_crop_twice_is_refused(own):
    with pytest.raises(SettingsError, match="told twice"):
        load_crops(own(MINE + MINE))


@pytest.mark.parametrize("text", ["", "# nothing\n"])
def test_an_empty_file_adds_nothing(own, ours, text):
    assert crops_of(own(text)) == ours


@pytest.mark.parametrize(
    "text", ["crop = 3", "[[crop]", "[zoo]\nx = 1", "[[crop]]\nneeds = 5", "\x00"]
)
def test_rubbish_is_refused_in_words(own, text):
    with pytest.raises(SettingsError) as error:
        load_crops(own(text))
    assert str(error.value)


def test_a_guess_says_so(ours):
    grape = find_crop(ours, "vine", "hardwood", seed=False)
    assert grape is not None
    assert all(source.startswith(GUESS) for source in grape.sources.values())


def test_the_prior_of_a_crop_reaches_as_far_as_the_file_says(own):
    prior = prior_of(load_crops(own(MINE))[0])
    assert prior.median == 6_000
    assert prior.within == pytest.approx(0.262, abs=0.001)
    whole = (prior.doubt**2 + 0.15**2 + 0.12**2) ** 0.5
    assert 2 * 1.6449 * whole == pytest.approx(0.811, abs=0.001)  # ln(9000 / 4000)


# --------------------------------------------------------------- in the configuration


@pytest.fixture
def bench(tmp_path):
    """Return the demo bench's configuration with a crop file of one's own named."""
    text = (config_dir() / "bench.toml").read_text(encoding="utf-8")
    path = tmp_path / "bench.toml"
    crops = tmp_path / "crops.toml"
    path.write_text(f'{text}\n[crops]\npath = "{crops}"\n', encoding="utf-8")
    return path


def test_a_configuration_may_name_a_crop_file(bench, own, capsys):
    crops = own(MINE)
    assert load(bench, {}).crops == crops
    assert cli.main(["check", str(bench)]) in {0, 1}
    said = capsys.readouterr().out
    assert f"Crops: those that come with it, and those of {crops}" in said


def test_check_tells_what_is_wrong_with_it(bench, own, capsys):
    assert cli.main(["check", str(bench)]) == 2
    assert "no such file" in capsys.readouterr().err
    own(MINE.replace('"60 %"', "60"))
    assert cli.main(["check", str(bench)]) == 2
    assert 'share.value = 60: write a share such as "70 %"' in capsys.readouterr().err


def test_the_environment_names_no_crop_file(bench):
    with pytest.raises(SettingsError, match="crops are set in the file only"):
        load(bench, {"BOTTOMHEAT_CROPS__PATH": "mine.toml"})
