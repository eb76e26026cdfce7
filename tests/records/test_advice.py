"""Advice for each pair of tracks, containers before mats, weaning, light."""

import itertools

import pytest
from hypothesis import given
from hypothesis import strategies as st

from controller.core.units import DAY_MS
from controller.records.advice import Air, Call, advise, watering
from controller.records.batches import Batch, BatchKind, Cover, Wrap, WrapMaterial
from controller.records.events import BenchEvent, EventKind
from controller.records.light import LUX_PER_PPFD, Lamp, dli, light_words, ppfd_of_lux
from controller.records.looks import Base, How, Look, Sentinels, Tops, Tug
from controller.records.tracks import BaseSeen, TopsSeen, Tracks, tracks
from controller.records.weaning import (
    Placed,
    containers_off,
    mat_down,
    step_utc_ms,
    trial_warnings,
    wean,
)
from tests.records.conftest import NOW_MS


def seen(days: int, how: How = How.LIFTED, of: int = 5, **also) -> Look:
    at_ms = NOW_MS - (100 - days) * DAY_MS
    return Look(batch="334X", utc_ms=at_ms, how=how, looked_at=of, **also)


def batch(kind: BatchKind = BatchKind.HARDWOOD, **also) -> Batch:
    return Batch(crop="gooseberry", kind=kind, count=20, **also)


def celsius(temp_mc: int) -> str:
    return f"{temp_mc / 1000:g} °C"


def called(base: BaseSeen, tops: TopsSeen, **also):
    return advise(batch(), Tracks(base, tops, **also), Air(), celsius)


# ------------------------------------------------------------------------ the tracks


def test_leaves_say_nothing_about_roots():
    found = tracks([seen(1, How.TOPS_ONLY, tops=Tops(leafed=5))])
    assert (found.base, found.tops) == (BaseSeen.NOT_LOOKED, TopsSeen.LEAFED)


def test_roots_that_were_seen_are_not_unseen_by_a_later_look():
    looks = [
        seen(1, base=Base(roots=3, callus=2)),
        seen(5, How.THROUGH_WALL, base=Base(none=5)),
        seen(7, How.TOPS_ONLY, tops=Tops(dormant=4, swelling=1)),
    ]
    for order in itertools.permutations(looks):
        found = tracks(order)
        assert (found.base, found.tops) == (BaseSeen.ROOTED, TopsSeen.DORMANT)
        assert found.base_words == "roots were seen on 3 of 5 (lifted)"
        assert found.tops_words == "4 dormant, 1 swelling of 5"
        assert found.last_utc_ms == looks[2].utc_ms


@pytest.mark.parametrize(
    ("look", "base", "words"),
    [
        (seen(1, base=Base(roots=2, callus=3)), BaseSeen.SOME, "on 2 of 5"),
        (seen(1, base=Base(roots=3, callus=2)), BaseSeen.ROOTED, "on 3 of 5"),
        (seen(1, base=Base(callus=3, none=2)), BaseSeen.CALLUS, "callus on 3 of 5"),
        (seen(1, base=Base(none=5)), BaseSeen.NONE, "no roots were seen on 5"),
        (
            seen(1, How.TOPS_ONLY, sentinels=Sentinels(lifted=2, rooted=2)),
            BaseSeen.SOME,
            "of the spare ones 2 of 2",
        ),
        (
            seen(1, How.TUG, tug=Tug(held=5)),
            BaseSeen.SOME,
            "probably rooted, not seen",
        ),
        (seen(1, How.TUG, tug=Tug(gave=5)), BaseSeen.NOT_LOOKED, ""),
        (seen(1, How.TOPS_ONLY, fine=True), BaseSeen.NOT_LOOKED, ""),
    ],
)
def test_what_one_look_says_of_the_base(look, base, words):
    found = tracks([look])
    assert found.base is base
    assert words in found.base_words


def test_what_all_has_wilted_was_before():
    looks = [
        seen(1, How.TOPS_ONLY, tops=Tops(leafed=5)),
        seen(2, How.TOPS_ONLY, tops=Tops(wilted=5)),
    ]
    found = tracks(looks)
    assert (found.tops, found.wilted) == (TopsSeen.LEAFED, 5)


# ------------------------------------------------------------------------ the advice

NO_ROOTS = (BaseSeen.NOT_LOOKED, BaseSeen.NONE, BaseSeen.CALLUS)


@pytest.mark.parametrize("base", NO_ROOTS)
def test_in_leaf_without_roots_keeps_the_heat_and_cools_the_air(base):
    found = called(base, TopsSeen.LEAFED)
    assert found.call is Call.STAY_LEAFED
    said = " ".join((found.headline, *found.points))
    for words in (
        "leave it on the heat",
        "air as cool",
        "humidity loosely",
        "low light",
        "no feed",
        "no tug",
        "lift the container, then decide",
    ):
        assert words in said, words


def test_rooted_and_in_leaf_leaves_the_heat_first_then_gets_light():
    found = called(BaseSeen.ROOTED, TopsSeen.LEAFED)
    assert found.call is Call.OFF_THEN_LIGHT
    assert found.headline.index("off the heat") < found.headline.index("more light")
    assert found.points[0].startswith("move this container off the heat")


def test_rooted_and_dormant_goes_where_it_is_cool_and_frost_free():
    found = called(BaseSeen.ROOTED, TopsSeen.DORMANT)
    assert found.call is Call.OFF_COOL
    assert "cool and frost-free" in found.headline


@pytest.mark.parametrize("base", BaseSeen)
@pytest.mark.parametrize("tops", TopsSeen)
@pytest.mark.parametrize("wilted", [0, 2])
def test_no_pair_of_tracks_is_without_advice_or_with_a_bare_command_to_water(
    base, tops, wilted
):
    for kind in BatchKind:
        found = advise(batch(kind), Tracks(base, tops, wilted=wilted), Air(), celsius)
        assert found.headline and found.because
        off = found.call in (Call.OFF_THEN_LIGHT, Call.OFF_COOL)
        assert off == (base is BaseSeen.ROOTED and kind is not BatchKind.SEED)
        for point in found.points:
            if "water" in point and "hardly" not in point:
                assert "lift the container" in point or "only if" in point


def test_hardwood_wants_cool_air_over_a_base_of_18_to_24():
    warm = Air(room_mc=17_000, setpoint_mc=26_000)
    found = advise(batch(), Tracks(), warm, celsius)
    assert "the air is at 17 °C" in found.cautions[0]
    assert (
        "set to 26 °C: hardwood is usually kept at 18 °C to 24 °C, 21 °C"
        in (found.cautions[1])
    )
    assert advise(batch(), Tracks(), Air(12_000, 21_000), celsius).cautions == ()
    soft = batch(BatchKind.SOFTWOOD)
    assert advise(soft, Tracks(), warm, celsius).cautions == ()
    rooted = Tracks(BaseSeen.ROOTED, TopsSeen.DORMANT)
    assert advise(batch(), rooted, warm, celsius).cautions == ()


def test_wrap_and_closed_cover_over_leaves_are_told_of():
    told = batch(wrap=Wrap(material=WrapMaterial.WAX), cover=Cover.CLOSED)
    found = advise(told, Tracks(BaseSeen.NONE, TopsSeen.LEAFED), Air(), celsius)
    assert "vent it a little" in found.cautions[0]
    assert "under the wax" in found.cautions[1]


def test_water_is_by_weight_and_by_the_last_weights_where_they_are_known():
    assert "weigh it once" in watering([], "N1")
    weighed = BenchEvent(
        kind=EventKind.WATERED,
        utc_ms=NOW_MS,
        trays=("N1",),
        weight_before_g=1650,
        weight_after_g=2100,
    )
    assert "watered it at 1650 g and left it at 2100 g" in watering([weighed], "N1")
    assert "weigh it once" in watering([weighed], "N2")


# ------------------------------------------------------------- containers, then mats

LEAF = Tracks(BaseSeen.ROOTED, TopsSeen.LEAFED)
BARE = Tracks(BaseSeen.CALLUS, TopsSeen.LEAFED)


def placed(code: str, tray: str, track: Tracks, mat: str = "north", **also) -> Placed:
    return Placed(code, "quince", tray, mat, BatchKind.HARDWOOD, track, **also)


def test_a_container_that_is_rooted_leaves_the_heat_and_the_mat_stays():
    all_of_them = [placed("A", "N1", LEAF), placed("B", "N2", BARE)]
    (off,) = containers_off(all_of_them, {})
    assert off.sentence == "move N1 off the heat: all that is in it, A, is done"
    down = mat_down("north", all_of_them, (24_000, 12_000), {})
    assert not down.allowed and down.steps == ()
    assert "B in N2 (callus) still needs it" in down.sentence


def test_others_in_the_container_are_named():
    (off,) = containers_off([placed("A", "N1", LEAF), placed("B", "N1", BARE)], {})
    assert (off.rooted, off.others) == (("A",), (("B", "callus"),))
    assert "shares the container with B (callus)" in off.sentence


def test_off_the_bench_or_without_a_mat_nothing_leaves_the_heat():
    assert (
        containers_off([placed("A", "", LEAF), placed("B", "W1", LEAF, "")], {}) == []
    )


def test_a_mat_is_stepped_down_once_all_on_it_have_rooted_and_names_them():
    both = [placed("A", "N1", LEAF, cover=Cover.CLOSED), placed("B", "N2", LEAF)]
    down = mat_down("north", both, (24_000, 12_000), {"N2": "media"})
    assert down.allowed
    assert down.affected == (("A", "N1", "rooted"), ("B", "N2", "rooted"))
    assert "affects A in N1, B in N2" in down.sentence
    assert [(s.after_days, s.setpoint_mc) for s in down.steps] == [
        (0, 21_000),
        (3, 18_000),
        (6, None),
        (13, None),
        (20, None),
    ]
    assert "N2 is a unit of the open trial media" in down.warnings[0]


def test_emerged_seed_needs_no_roots_to_be_seen():
    seedlings = Placed(
        "S", "chilli", "S1", "south", BatchKind.SEED, Tracks(tops=TopsSeen.LEAFED)
    )
    (off,) = containers_off([seedlings], {})
    assert off.rooted == ("S",)
    assert mat_down("south", [seedlings], (26_000, None), {}).affected == (
        ("S", "S1", "emerged"),
    )


@given(
    setpoint_mc=st.integers(5_000, 40_000),
    room_mc=st.none() | st.integers(-5_000, 35_000),
    cover=st.none() | st.sampled_from(Cover),
)
def test_weaning_goes_down_by_single_changes_and_never_below_the_room(
    setpoint_mc, room_mc, cover
):
    steps = list(wean(setpoint_mc, room_mc, [cover]))
    warm = [step.setpoint_mc for step in steps if step.setpoint_mc is not None]
    assert warm == sorted(warm, reverse=True)
    assert all(one < setpoint_mc and one >= 18_000 for one in warm)
    assert room_mc is None or all(one > room_mc for one in warm)
    days = [step.after_days for step in steps]
    assert len(set(days)) == len(days) and days == sorted(days)
    assert sum("off" in step.words for step in steps) >= 1
    assert step_utc_ms(0, steps[0]) == 0


def test_only_units_of_open_trials_warn():
    assert list(trial_warnings(["N1", "N2"], {})) == []
    (said,) = trial_warnings(["N1", "N2"], {"N2": "two media"})
    assert said.startswith("N2 is a unit of the open trial two media")


# ----------------------------------------------------------------------------- light


@pytest.mark.oracle
@pytest.mark.parametrize(
    ("ppfd", "hours", "mol"),
    [(1, 24, 0.0864), (38.1, 12, 1.646), (400, 14, 20.16), (500, 12, 21.6)],
)
def test_the_daily_light_integral_is_that_of_published_examples(ppfd, hours, mol):
    """1 µmol/m²s for 24 h is 0.0864 mol/m²d (a conversion table of PPFD to integrated
    PPFD); 38.1 for 12 h is 1.6 (J. Faust, Light Management, as a sensor maker quotes
    it); 400 for 14 h is 20.16 and 500 for 12 h is 21.6 (two calculators' own).
    """
    assert dli(ppfd, hours) == pytest.approx(mol, abs=5e-4)


def test_lux_give_light_by_the_kind_of_lamp_only_about():
    assert ppfd_of_lux(5_400, Lamp.SUN) == pytest.approx(100)
    assert set(LUX_PER_PPFD) == set(Lamp)
    assert light_words(1.6).startswith("low")
    assert "while they root" in light_words(5)
    assert light_words(14).startswith("much")


@pytest.mark.parametrize(
    ("ppfd", "hours", "words"),
    [
        (-1, 12, "must be 0 or more"),
        (100, 25, "a day has 0 to 24 hours"),
        (float("nan"), 2, "must be 0 or more"),
    ],
)
def test_light_that_cannot_be_is_refused(ppfd, hours, words):
    with pytest.raises(ValueError, match=words):
        dli(ppfd, hours)
    with pytest.raises(ValueError, match="must be 0 or more"):
        ppfd_of_lux(-5, Lamp.SUN)
