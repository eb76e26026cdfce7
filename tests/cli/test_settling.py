"""The judgements of setup, each by itself: fist, cup, places, a mat, a message."""

import pytest

from controller.adapters.settings import load
from controller.cli.live_findings import QUICKER, SLOWER
from controller.cli.settling.answers import (
    Answers,
    MatAnswers,
    ProbeAnswers,
    TrayAnswers,
)
from controller.cli.settling.config_text import config_text
from controller.cli.settling.cup import WINDOW_MS, offsets
from controller.cli.settling.ending import qr
from controller.cli.settling.fist import in_the_fist, needs_cold
from controller.cli.settling.mat_test import judged
from controller.cli.settling.naming import pace_s
from controller.cli.settling.placing import advised, keeper, lacks
from controller.cli.settling.said import temperatures
from controller.cli.settling.stage import in_mc

MIN = 60_000


# ------------------------------------------------------------------------ the fist


def rounds(**moves: list[int]) -> list[dict[str, int]]:
    return [
        dict(zip(moves, row, strict=True)) for row in zip(*moves.values(), strict=True)
    ]


def test_the_one_that_rises_is_in_the_fist():
    fist = in_the_fist(rounds(a=[18_000, 18_100], b=[18_000, 21_000]), [])
    assert (fist.address, fist.risen_mk) == ("b", 3_000)


def test_one_that_cools_after_its_own_turn_is_no_rival():
    fist = in_the_fist(rounds(a=[30_000, 24_000], b=[18_000, 21_000]), ["a"])
    assert fist.address == "b"


def test_two_that_rise_are_told_apart_by_nobody():
    fist = in_the_fist(rounds(a=[18_000, 21_000], b=[18_000, 21_500]), [])
    assert (fist.address, fist.rivals) == (None, ("a",))


def test_a_named_one_that_rises_is_a_rival_and_never_the_answer():
    assert in_the_fist(rounds(a=[18_000, 25_000]), ["a"]).address is None
    fist = in_the_fist(rounds(a=[18_000, 25_000], b=[18_000, 21_000]), ["a"])
    assert (fist.address, fist.rivals) == (None, ("a",))


def test_a_room_that_warms_by_itself_is_no_fist():
    assert (
        in_the_fist(rounds(a=[18_000, 19_500], b=[18_000, 19_400]), []).address is None
    )


def test_in_a_hot_room_cold_water_tells_them_apart():
    warm = {"a": 31_000, "b": 32_000}
    assert needs_cold(warm)
    assert not needs_cold({"a": 18_000})
    assert not needs_cold({})
    fist = in_the_fist(rounds(a=[31_000, 31_100], b=[32_000, 25_000]), [], cold=True)
    assert fist.address == "b"


# ------------------------------------------------------------------------- the cup


def still(*values: int, step_ms: int = 30_000) -> list[tuple[int, int]]:
    return [(n * step_ms, value) for n, value in enumerate(values)]


NOW_MS = 4 * 30_000


def test_in_one_cup_the_middle_one_is_taken_for_true():
    cup = offsets(
        {a: still(*[v] * 4) for a, v in (("a", 20_300), ("b", 20_000), ("c", 19_750))},
        NOW_MS,
    )
    assert cup.steady
    assert cup.offsets_mk == {"a": -300, "b": 0, "c": 250}
    assert cup.reference_mc == 20_000


def test_ice_and_water_tell_the_truth_of_a_single_probe_too():
    cup = offsets({"a": still(120, 120, 120, 120)}, NOW_MS, ice=True)
    assert (cup.steady, cup.offsets_mk) == (True, {"a": -120})
    assert not offsets({"a": still(*[19_000] * 4)}, NOW_MS, ice=True).steady


@pytest.mark.parametrize(
    ("said", "which"),
    [
        (still(20_000, 20_000), "silent"),
        (still(*[20_000] * 4, step_ms=1_000), "silent"),  # quick, and not for long
        (still(20_000, 20_100, 20_200, 20_300), "unsteady"),
        (still(*[26_000] * 4), "astray"),
    ],
)
def test_a_cup_that_tells_nothing_yet_says_why(said, which):
    others = {name: still(*[20_000] * 4) for name in ("b", "c")}
    cup = offsets({"a": said, **others}, NOW_MS)
    assert not cup.steady
    assert getattr(cup, which) == ("a",)


def test_readings_from_before_the_cup_are_forgotten():
    old = [(0, 5_000), *[(WINDOW_MS + t, v) for t, v in still(*[20_000] * 4)]]
    assert offsets({"a": old}, WINDOW_MS + NOW_MS).reference_mc == 20_000


# ------------------------------------------------------------------------- places

TRAYS = [TrayAnswers("A", "north", "coir"), TrayAnswers("B", "north", "bark")]


def places(probes: int, **words) -> list[str]:
    return [one.place for one in advised(probes, ["north"], TRAYS, **words)]


def test_three_probes_go_to_each_medium_of_a_trial_and_on_the_mat():
    assert places(3, trial=True) == ["tray B", "tray A", "mat north"]
    assert places(4, trial=True)[3] == "room"


def test_without_a_trial_the_surface_and_the_room_come_before_a_second_tray():
    assert places(1, trial=False) == ["tray B"]
    assert places(4, trial=False) == ["tray B", "mat north", "room", "tray A"]


def test_each_mat_gets_its_own_probe_first():
    trays = [TrayAnswers("A", "north"), TrayAnswers("C", "south")]
    found = [a.place for a in advised(9, ["north", "south"], trays, trial=False)]
    assert found == ["tray A", "tray C", "mat north", "mat south", "room"]


@pytest.mark.parametrize("probes", [1, 2, 3, 4, 5, 6, 7])
def test_a_mat_is_kept_by_the_tray_that_was_said_to_keep_it(probes):
    trays = [TrayAnswers(name, "north") for name in "ABCDE"]
    advice = advised(probes, ["north"], trays, trial=False)
    kept = keeper("north", trays, [one.place for one in advice])
    assert kept is not None
    assert (f"tray {kept.name}", "kept by it" in advice[0].why) == ("tray C", True)


def test_a_mat_is_kept_by_a_tray_that_has_a_probe_or_by_none():
    trays = [*TRAYS, TrayAnswers("C", "south")]
    kept = keeper("north", trays, ["tray A", "tray C", "room"])
    assert kept == TRAYS[0]
    assert keeper("north", trays, ["mat north", "tray C"]) is None


def test_what_a_bench_cannot_know_is_told():
    told = " ".join(lacks(["tray A"], ["north"]))
    assert "reads wrong by a little" in told
    assert "mat north its surface limits cannot act" in told
    assert "lifted" in told
    assert list(lacks(["tray A", "tray B", "mat north", "room"], ["north"])) == []


# ------------------------------------------------------------------------ how often


class Spoken:
    """Senses that heard one probe, with so long a pause between its words [ms]."""

    def __init__(self, pause_ms: int) -> None:
        self._said = [(n * pause_ms, 18_000) for n in range(4)]

    async def listen(self, for_ms: int) -> None: ...

    def values(self) -> dict[str, int]:
        return {"b/node-1/a": 18_000}

    def samples(self, _: str) -> list[tuple[int, int]]:
        return self._said


@pytest.mark.parametrize(
    ("pause_ms", "every_s"),
    [(250, 1), (999, 1), (1_004, 1), (1_400, 2), (10_020, 10), (59_900, 60)],
)
def test_a_word_that_comes_a_little_late_makes_no_slower_probe(pause_ms, every_s):
    """A probe of one second is none of two, and check --live finds none amiss."""
    found = pace_s(Spoken(pause_ms), ProbeAnswers("b/node-1/a"))
    assert found == every_s
    if pause_ms >= 500:
        assert QUICKER * found * 1000 <= pause_ms <= SLOWER * found * 1000


# ------------------------------------------------------------------------- a mat


def rising(minutes: int, by_k: float, from_mc: int = 18_000) -> list[tuple[int, int]]:
    return [
        (n * MIN, round(from_mc + 1000 * by_k * min(n / 30, 1)))
        for n in range(minutes + 1)
    ]


@pytest.mark.parametrize(
    ("minutes", "by_k", "over", "well"),
    [
        (20, 10, False, True),
        (40, 10, True, True),
        (40, 1, True, False),
        (5, 24, False, True),
    ],
)
def test_a_mat_is_judged_when_it_is_most_of_its_way(minutes, by_k, over, well):
    verdict = judged(rising(minutes, by_k), minutes * MIN)
    assert (verdict.over, verdict.well) == (over, well)


def test_a_mat_that_gets_hot_ends_its_test():
    verdict = judged(rising(25, 30), 25 * MIN)
    assert verdict.over
    assert "needs its limits" in verdict.text


def test_a_mat_that_still_warms_is_given_an_hour():
    slow = [(n * MIN, 18_000 + 150 * n) for n in range(61)]
    assert not judged(slow[:50], 49 * MIN).over
    assert judged(slow, 60 * MIN).over


def test_a_surface_probe_that_falls_silent_ends_the_test():
    verdict = judged(rising(20, 10), 31 * MIN)
    assert (verdict.over, verdict.well) == (True, False)
    assert "fell silent" in verdict.text


# ----------------------------------------------------------------------- a message


@pytest.mark.parametrize(
    ("payload", "found"),
    [
        (b"21.5", {"t": 21_500}),
        (b'{"temperature": 21.5, "battery": 3}', {"t#/temperature": 21_500}),
        (b'{"a": {"temp/C": 20}}', {"t#/a/temp~1C": 20_000}),
        (b'{"x": 20.25}', {"t#/x": 20_250}),
        (b'[{"tempC": 1}, {"tempC": 2}]', {"t#/0/tempC": 1_000, "t#/1/tempC": 2_000}),
        (b'{"temperature": 4000}', {}),
        (b"true", {}),
        (b"online", {}),
        (b"\xff\x00", {}),
        (b"NaN", {}),
        (b"[" * 5_000, {}),
    ],
)
def test_a_temperature_is_found_in_what_a_stranger_says(payload, found):
    assert temperatures("t", payload) == found


def test_fahrenheit_is_understood():
    assert in_mc(68_000, "°F") == 20_000
    assert in_mc(20_000, "°C") == 20_000


# ------------------------------------------------------------------ what is written


def test_every_kind_of_relay_and_probe_makes_a_configuration(tmp_path):
    mats = [
        MatAnswers("a", "100 W", "1 m x 1 m", "lease", "b/relay/a", "b/relay/a/state"),
        MatAnswers("b", "80 W", "1 m x 1 m", "plain", "b/relay/b", "", "on", "off"),
        MatAnswers("c", "80 W", "1 m x 1 m", "pin", "GPIO17", active_low=True),
        MatAnswers("d", "80 W", "1 m x 1 m", "watch"),
    ]
    trays = [TrayAnswers(f"T{m.name}", m.name, 'so-called "mix" \\ 1') for m in mats]
    probes = [
        ProbeAnswers(
            "b/node-1/x#/temp", "Pa", "tray Ta", 60, "°F", -0.25, "2027-01-02"
        ),
        ProbeAnswers("28-00000000000b", "Pb", "tray Tb"),
        ProbeAnswers("b/node-1/c", "Pc", "tray Tc"),
        ProbeAnswers("b/node-1/d", "Pd", "mat d"),
        ProbeAnswers("b/node-1/r", "room", "room"),
        ProbeAnswers("b/node-1/left", "left", ""),
    ]
    file = tmp_path / "bench.toml"
    answers = Answers("b", mats=mats, trays=trays, probes=probes)
    file.write_text(config_text(answers), encoding="utf-8")
    plan = load(file, {}).plan
    assert [mat.relay.value if mat.relay else None for mat in plan.mats] == [
        "lease",
        "plain",
        "pin",
        None,
    ]
    (probe,) = plan.mats[0].trays[0].probes
    assert probe.offset_mk == -250
    assert plan.mats[0].trays[0].medium == 'so-called "mix" \\ 1'
    assert len(plan.room) == 1


def test_a_code_for_a_camera_is_square_and_bright_around():
    lines = qr("http://192.0.2.7:8000/").splitlines()
    assert len({len(line) for line in lines}) == 1
    assert len(lines[0]) in {2 * len(lines), 2 * len(lines) - 1}
    assert set(lines[0]) == {"█"}
