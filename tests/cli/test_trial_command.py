"""`bottomheat trial`: planned, stored, stuck, compared; from a bench, a log, a file."""

import asyncio
import json
import sys
from argparse import Namespace
from functools import partial
from pathlib import Path

import pytest
from pydantic import TypeAdapter

from api.app import create_app
from api.comparison_shapes import ComparisonView
from api.record_book import Records
from api.server import Listen, serve
from controller import cli
from controller.adapters import season_log
from controller.adapters.clocks import ManualClock
from controller.adapters.memory_records import MemoryRecords
from controller.cli import comparison_job, trial_plan
from controller.cli.asking import ask
from controller.cli.comparer import Comparer
from controller.cli.over_http import AskError
from controller.ports import Comparison
from controller.records.batch_desk import add_batches
from controller.records.batches import Batch, BatchKind
from controller.records.book import Book, fold
from controller.records.changes import Change
from controller.records.desk import Stamp
from controller.records.look_rows import add_looks
from controller.records.looks import Base, How, Look
from controller.records.trial_desk import add_trial
from controller.records.trials import TestName, Trial, TrialUnit, UnitKind
from controller.trials.foresight import foreseen
from controller.trials.special import normal_cdf
from tests.api.conftest import WARM, FakeBench, FakeReader
from tests.api.test_trays_command import in_a_thread
from tests.cli.test_event_command import log as a_log  # noqa: F401 - a fixture

STUCK_MS = 1_770_714_000_000  # 2026-02-10T09:00:00Z
MINUTE_MS = 60_000
PLAN = ["plan", "--arms", "coir", "bark", "--pots", "N1=16", "--seed", 5]


@pytest.fixture(autouse=True)
def few_runs(monkeypatch):
    """Foresee with few trials that never were: how many find what is tested beside."""
    monkeypatch.setattr(trial_plan, "foreseen", partial(foreseen, runs=20))


@pytest.fixture
def kept() -> MemoryRecords:
    return MemoryRecords()


@pytest.fixture
def reader() -> FakeReader:
    """A log in which N1 had 20.5 °C (with its offset) for four days, by the minute."""
    minutes = range(4 * 24 * 60)
    times = [STUCK_MS + n * MINUTE_MS for n in minutes]
    return FakeReader(series={"n1": [(at, 20_500) for at in times]})


@pytest.fixture
def url(kept, reader):
    bench = FakeBench().scan(WARM)
    app = create_app(bench, lambda: reader, bench, Records(kept, lambda: kept))
    with in_a_thread(lambda tell: serve(app, Listen("127.0.0.1", 0), tell)) as port:
        yield f"http://127.0.0.1:{port}"


def typed(*words: object) -> int:
    return cli.main(["trial", *map(str, words)])


def told(capsys) -> dict:
    return json.loads(capsys.readouterr().out)


# ---------------------------------------------------------------------------- plan


def test_a_plan_is_laid_out_and_what_it_can_tell_is_told_first(capsys):
    assert typed(*PLAN, "--as-listed") == 0
    said = capsys.readouterr().out
    assert "16 pots, 1 in each; seed 5; rooted, decided by permutation-times" in said
    assert said.count("coir\n") == said.count("bark\n") == 8
    assert "The smallest p that can come out is 0.0078." in said
    assert (
        "1.5 times as fast (half by day 18, a look every 7 days until day 35)" in said
    )
    assert "How warm places are is not known" in said


def test_a_seed_makes_a_plan_again(capsys):
    plans = []
    for seed in (5, 5, 6):
        typed(*PLAN[:-1], seed, "--as-listed", "--json")
        plans.append(told(capsys)["trial"]["units"])
    assert plans[0] == plans[1] != plans[2]
    typed(*PLAN[:-2], "--as-listed", "--json")
    assert told(capsys)["trial"]["seed"] >= 0


def test_two_containers_cannot_tell_medium_from_place(capsys):
    words = ["--trays", "N1", "N2", "--cuttings", 24, "--as-listed"]
    assert typed("plan", "--arms", "coir", "bark", *words) == 1
    said = " ".join(capsys.readouterr().out.split())
    assert "Two containers cannot tell medium from place" in said
    assert "Use 12 + 12 single pots, alternated" in said
    assert "The 24 cuttings of a unit count as one" in said


def test_three_trays_an_arm_cannot_answer_and_four_can(capsys):
    arms = ["plan", "--arms", "coir", "bark", "--cuttings", 12, "--as-listed"]
    assert typed(*arms, "--trays", *"abcdef", "--json") == 1
    assert told(capsys)["smallest_p"] == pytest.approx(0.1)
    assert typed(*arms, "--trays", *"abcdefgh", "--test", "permutation-shares") == 0
    said = " ".join(capsys.readouterr().out.split())
    assert "The smallest p that can come out is 0.029." in said
    assert "60 % against 80 % would be found" in said
    assert "140 cuttings (90 if each stood for itself) are needed in each arm" in said


def test_a_setpoint_is_no_treatment_of_trays(capsys):
    words = ["--factor", "setpoint", "--trays", *"abcdefgh", "--as-listed"]
    assert typed("plan", "--arms", "20", "24", *words) == 1
    assert "share its relay" in " ".join(capsys.readouterr().out.split())


def test_boschloo_is_chosen_beforehand_with_all_pots_in_one_block(capsys):
    assert typed(*PLAN, "--as-listed", "--test", "boschloo", "--json") == 0
    plan = told(capsys)
    assert {unit["block"] for unit in plan["trial"]["units"]} == {"1"}
    assert plan["cuttings_needed_if_independent"] == 90


def test_warm_places_come_last_and_blocks_lie_along_that(capsys):
    words = ["--pots", "warm=4", "cold=4", "--temps", "warm=22.5", "cold=20.1"]
    typed("plan", "--arms", "a", "b", *words, "--block", 2, "--json")
    units = told(capsys)["trial"]["units"]
    assert [unit["tray"] for unit in units] == ["cold"] * 4 + ["warm"] * 4
    assert units[0]["mean_c"] == 20.1


def test_warmth_is_asked_of_the_bench(url, capsys):
    stretch = ["--from", "2026-02-10T09:00", "--to", "2026-02-13T09:00"]
    typed(*PLAN, *stretch, "--url", url, "--json")
    units = told(capsys)["trial"]["units"]
    assert {unit["mean_c"] for unit in units} == {20.5}


def test_cultivars_are_spread_over_the_blocks(capsys):
    typed(*PLAN, "--as-listed", "--cultivars", "red", "white", "--json")
    units = told(capsys)["trial"]["units"]
    by_block = {unit["block"]: unit["cultivar"] for unit in units}
    assert sorted(by_block.values()) == ["red"] * 4 + ["white"] * 4


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (["--arms", "a", "b"], "say either --pots TRAY=N or --trays"),
        (["--arms", "a", "a", "--pots", "N1=4"], "name two different ones"),
        (
            ["--arms", "a", "b", "--pots", "N1=5"],
            "5 units cannot be shared evenly by 2",
        ),
        (["--arms", "a", "b", "--pots", "N1"], "write TRAY=N, such as N1=12"),
        (["--arms", "a", "b", "--pots", "N1=4", "N1=2"], "named twice"),
        (["--arms", "a", "b", "--pots", "N1=4", "--block", 3], "blocks may have 2, 4"),
        (["--arms", "a", "b", "--pots", "N1=4", "--shares", 80, 60], "the lower first"),
        (["--arms", "a", "b", "--pots", "N1=4", "--cuttings", 0], "must be above 0"),
        (["--arms", "a", "b", "--pots", "N1=4", "--alike", 1], "--alike must be"),
        (["--arms", "a", "b", "--pots", "N1=4", "--seed", -1], "--seed -1"),
        (["--arms", "a", "b", "--pots", "N1=4", "--temps", "N2=20"], "must name N1"),
        (["--arms", "a", "b", "--pots", "N1=4", "--temps", "N1=x"], "write TRAY=°C"),
        (
            ["--arms", "a", "b", "--pots", "N1=4", "--test", "boschloo", "--block", 2],
            "takes every cutting for itself",
        ),
        (
            ["--arms", "a", "b", "--pots", "N1=4", "--cultivars", "x", "y", "z"],
            "3 cultivars can share evenly",
        ),
    ],
)
def test_a_plan_that_does_not_fit_together_is_told(capsys, words, said):
    more = [] if "--temps" in words else ["--as-listed"]
    assert typed("plan", *words, *more) == 2
    captured = capsys.readouterr()
    assert captured.err.startswith("bottomheat trial: ")
    assert said in captured.err
    assert captured.out == ""


def test_without_a_bench_it_is_said_how_to_go_on(capsys):
    assert typed(*PLAN, "--url", "http://127.0.0.1:1") == 2
    assert "say --temps TRAY=°C or --as-listed" in capsys.readouterr().err


# --------------------------------------------------------- stored, stuck, compared


def look(url, code, day, *, roots):
    body = {"how": "lifted", "looked_at": 1, "at": f"2026-02-{10 + day}T09:00:00Z"}
    body["base"] = {"roots": 1} if roots else {"none": 1}
    ask(
        Namespace(url=url, log=None, token_file=None),
        "POST",
        f"/v1/batches/{code}/looks",
        body,
    )


@pytest.fixture
def trial(url, capsys):
    """A stored trial, stuck: coir rooted by day 1 or 2, bark by day 3 or not."""
    assert typed(*PLAN, "--as-listed", "--base", 8, "--store", "--url", url) == 0
    stuck = ["--kind", "hardwood", "--stuck", "2026-02-10T09:00"]
    assert typed("stick", 1, "gooseberry", *stuck, "--url", url) == 0
    capsys.readouterr()
    typed("show", 1, "--url", url, "--json")
    for n, unit in enumerate(told(capsys)["trial"]["units"]):
        coir = unit["arm"] == "coir"
        rooted = (1 if n % 4 < 2 else 2) if coir else (3 if n % 4 < 2 else 4)
        for day in range(1, min(rooted, 3) + 1):
            look(url, unit["batch"], day, roots=day == rooted)
    capsys.readouterr()
    return 1


def test_a_stored_trial_is_compared_in_days_and_in_degree_hours(trial, url, capsys):
    assert typed("compare", trial, "--url", url) == 0
    said = capsys.readouterr().out
    assert "coir beats bark (p 0.0078). Both stood as warm, to within 0.1 K." in said
    assert "times, K·h over 8 °C" in said
    assert "0 to 1" in said
    assert "No test was chosen" not in said


def test_degree_hours_are_those_of_the_log(trial, url, capsys):
    """A day at 20.5 °C above 8 °C is 300 K·h."""
    typed("compare", trial, "--url", url, "--json")
    found = told(capsys)
    coir = next(arm for arm in found["arms"] if arm["name"] == "coir")
    assert coir["mean_c"] == pytest.approx(20.5)
    ends = [end for pair in coir["thermal"]["stretches"] for end in pair]
    assert ends == pytest.approx([0, 300, 300, 600])
    assert found["base_c"] == 8
    assert set(found["pairs"][0]["pair"]["thermal"]) == {"6", "8", "10"}
    bark = next(arm for arm in found["arms"] if arm["name"] == "bark")
    assert bark["calendar"]["stretches"][-1][1] is None  # not seen to come
    assert (coir["rooted"], bark["rooted"]) == (8, 4)


def test_another_base_and_test_than_planned_are_told(trial, url, capsys):
    words = ["--base", 12, "--test", "permutation-shares", "--days", 2]
    assert typed("compare", trial, *words, "--url", url, "--json") == 0
    found = told(capsys)
    assert found["base_c"] == 12
    assert found["shares_by_days"] == 2
    assert "The plan had chosen permutation-times" in found["notes"][0]


def test_a_log_with_holes_gives_no_thermal_time(trial, url, reader, capsys):
    reader.series["n1"] = reader.series["n1"][::2][:600]
    typed("compare", trial, "--url", url)
    said = " ".join(capsys.readouterr().out.split())
    assert "is not compared" in said
    assert "K·h over" not in said


def test_trials_are_listed_and_shown_and_withdrawn(trial, url, capsys):
    typed("list", "--url", url)
    said = capsys.readouterr().out
    assert said.startswith("1  medium: coir against bark; 16 pots")
    assert "8 of 8 stuck  8 of 8 rooted" in said
    typed("show", trial, "--url", url)
    assert "told beforehand: smallest p 0.0078" in capsys.readouterr().out
    assert typed("withdraw", trial, "--url", url) == 0
    capsys.readouterr()
    typed("list", "--url", url)
    assert capsys.readouterr().out == "no trial was told yet\n"


def test_sticking_tells_one_batch_for_each_unit(trial, url, kept, capsys):
    batches = [one.value for one in kept.changes(0) if one.kind == "batch"]
    assert len(batches) == 16
    assert {one.medium for one in batches} == {"coir", "bark"}
    assert batches[0].place.startswith("trial 1, N1-")
    assert {(one.count, one.tray) for one in batches} == {(1, "N1")}
    assert typed("stick", trial, "gooseberry", "--kind", "hardwood", "--url", url) == 2
    assert "every unit has a batch already" in capsys.readouterr().err


def test_a_batch_is_linked_to_a_unit_by_hand(url, kept, capsys):
    typed(*PLAN, "--as-listed", "--store", "--url", url)
    batch = ["add", "quince", "--kind", "hardwood", "--url", url]
    cli.main(["batch", *batch])
    capsys.readouterr()
    assert typed("link", 1, "N1-3=334x", "--url", url) == 0
    units = {unit.name: unit.batch for unit in kept.changes(0)[-1].value.units}
    assert units["N1-3"] == "334X"
    assert typed("link", 1, "N9=337T", "--url", url) == 2
    assert "there are the units N1-1" in capsys.readouterr().err


def test_a_trial_of_which_nothing_was_stuck_has_nothing_to_compare(url, capsys):
    typed(*PLAN, "--as-listed", "--store", "--url", url)
    assert typed("compare", 1, "--url", url) == 2
    assert "nothing of it was stuck and looked at yet" in capsys.readouterr().err
    assert typed("compare", 7, "--url", url) == 2
    assert typed("show", "first", "--url", url) == 2


# ------------------------------------------------------------------- of a log itself


OCTOBER_MS = 1_760_086_800_000  # 2025-10-10T09:00:00Z


def _batch(n: int, medium: str) -> Batch:
    return Batch(
        crop="gooseberry",
        kind=BatchKind.HARDWOOD,
        count=1,
        tray="N1",
        place=f"pot {n}",
        medium=medium,
        stuck_utc_ms=OCTOBER_MS,
    )


def _looks(code: str, rooted: int) -> list[Look]:
    """Return a look each day until roots are seen, three at most."""
    return [
        Look(
            batch=code,
            utc_ms=OCTOBER_MS + day * 1_440 * MINUTE_MS,
            how=How.LIFTED,
            looked_at=1,
            base=Base(roots=int(day == rooted), none=int(day != rooted)),
        )
        for day in range(1, min(rooted, 3) + 1)
    ]


def told_changes() -> list[Change]:
    """Return a trial in 16 pots: coir rooted by day 1 or 2, bark by day 3 or not."""
    stamp = Stamp(OCTOBER_MS + 30 * 1_440 * MINUTE_MS, "a test")
    arms = ["coir", "bark"] * 8
    batches = [(_batch(n, arm), "") for n, arm in enumerate(arms)]
    made = add_batches(Book(), batches, stamp)
    codes = [change.subject for change in made]
    trial = Trial(
        title="two media",
        arms=("coir", "bark"),
        unit=UnitKind.POT,
        cuttings=1,
        units=tuple(
            TrialUnit(name=f"N1-{n}", arm=arm, block=str(n // 2), tray="N1", batch=code)
            for n, (arm, code) in enumerate(zip(arms, codes, strict=True))
        ),
        seed=5,
        test=TestName.TIMES,
        base_mc=8_000,
    )
    book = fold(Book(), made)
    planned = add_trial(book, trial, stamp)
    looks = [
        look
        for n, (arm, code) in enumerate(zip(arms, codes, strict=True))
        for look in _looks(code, n % 4 // 2 + (1 if arm == "coir" else 3))
    ]
    seen, _ = add_looks(fold(book, planned), looks, stamp)
    return [*made, *planned, *seen]


@pytest.fixture
def told_log(a_log) -> Path:  # noqa: F811
    """A log with a trial, its number 17."""
    keeper = season_log.DirectRecords(a_log)
    asyncio.run(keeper.keep(told_changes()))
    keeper.close()
    return a_log


def test_a_log_is_opened_once_for_all_that_a_comparison_asks(
    told_log, monkeypatch, capsys
):
    opened = []

    class Counted(season_log.SeasonLogReader):
        def __init__(self, path: Path) -> None:
            opened.append(path)
            super().__init__(path)

    monkeypatch.setattr(season_log, "SeasonLogReader", Counted)
    assert typed("compare", 17, "--log", told_log) == 0
    assert "coir beats bark (p 0.0078)" in capsys.readouterr().out
    assert opened == [told_log]


NOT_NICED = """
import sys
from controller.cli import comparison_job
comparison_job.give_way = lambda *_: None  # where much else runs it would wait for ever
sys.exit(comparison_job.main())
"""


@pytest.mark.timeout(300)  # two processes are begun, one after the other
async def test_a_child_of_the_daemon_tells_the_same(told_log, capsys):
    clock = ManualClock("UTC", utc_ms=1_800_000_000_000)
    child = (sys.executable, "-c", NOT_NICED)
    comparer = Comparer(told_log, clock, child, wait_s=250.0)
    serving = asyncio.create_task(comparer.serve())
    try:
        found = await comparer.compared(Comparison("17", newest=0))
        none = await comparer.compared(Comparison("7", newest=0))
    finally:
        serving.cancel()
        await asyncio.gather(serving, return_exceptions=True)
    assert found.failed == found.cannot == ""
    view = TypeAdapter(ComparisonView).validate_python(found.result)
    (verdict,) = view["verdicts"]
    assert (verdict["answer"], verdict["better"]) == ("beats", "coir")
    assert verdict["p"] == pytest.approx(2 * 0.5**8)
    arms = {arm["arm"]: arm for arm in view["arms"]}
    assert (arms["coir"]["reached"], arms["bark"]["reached"]) == (8, 4)
    assert (arms["coir"]["half_from_days"], arms["coir"]["half_to_days"]) == (0, 1)
    assert none.cannot.endswith("there is no trial 7")
    await asyncio.to_thread(typed, "compare", 17, "--log", told_log, "--json")
    assert view["figures"] == told(capsys)


@pytest.mark.parametrize(
    ("error", "code", "said"),
    [
        (AskError("1: nothing was stuck"), comparison_job.CANNOT, "nothing was stuck"),
        (MemoryError(), 2, "needs more memory than it may have"),
        (ZeroDivisionError(), 2, "ZeroDivisionError"),
    ],
)
def test_a_child_says_why_it_has_nothing_to_tell(
    told_log, monkeypatch, capsys, error, code, said
):
    def failing(_: Namespace) -> None:
        raise error

    monkeypatch.setattr(comparison_job, "give_way", lambda *_: None)  # of this process
    monkeypatch.setattr("controller.cli.trial_compare.compared_of", failing)
    assert comparison_job.main([str(told_log), "17"]) == code
    captured = capsys.readouterr()
    assert said in captured.err
    assert captured.out == ""


def test_a_child_prints_what_it_found(told_log, monkeypatch, capsys):
    monkeypatch.setattr(comparison_job, "give_way", lambda *_: None)
    words = [str(told_log), "17", "--test=permutation-shares", "--days=2"]
    assert comparison_job.main(words) == 0
    found = told(capsys)
    TypeAdapter(ComparisonView).validate_python(found)
    assert (found["test"], found["shares_by_days"]) == ("permutation-shares", 2)
    assert found["verdicts"][0]["sentence"].startswith("Verdict: ")


async def test_a_bench_at_rest_is_shown_as_its_log_left_it(told_log):
    """Nobody decides there: no mat has a command, and in doubt its relay is off."""
    args = Namespace(log=told_log)
    bench = await asyncio.to_thread(ask, args, "GET", "/v1/bench")
    assert bench["mats"]
    for mat in bench["mats"]:
        assert (mat["energised"], mat["commanded"]) == (False, False)
        assert (mat["cause"], mat["why"][:6]) == ("nobody-decides", "Nobody")
        why = await asyncio.to_thread(ask, args, "GET", f"/v1/mats/{mat['name']}/why")
        assert (why["cause"], why["numbers"]) == ("nobody-decides", {})
        assert "Nobody runs this bench" in why["sentence"]


def test_a_plan_is_stored_in_a_log_that_nobody_writes(a_log, capsys):  # noqa: F811
    assert typed(*PLAN, "--store", "--log", a_log) == 0
    assert "(trial 1)" in capsys.readouterr().out
    assert typed("list", "--log", a_log) == 0
    assert "seed 5" in capsys.readouterr().out


# ------------------------------------------------------------------- from a file


def a_file(tmp_path: Path, text: str) -> Path:
    path = tmp_path / "trial.csv"
    path.write_text(text, encoding="utf-8")
    return path


LOOKS = "unit,arm,looked_at,n,rooted\n"


def trays(counts):
    return LOOKS + "".join(
        f"{arm}{n},{arm},{day},12,{rooted}\n"
        for arm, by_day in counts.items()
        for n, one in enumerate(by_day)
        for day, rooted in zip((7, 14, 21), one, strict=True)
    )


def test_a_file_of_looks_needs_no_bench(tmp_path, capsys):
    quick, slow = [(2, 8, 11)] * 4, [(0, 3, 9)] * 4
    path = a_file(tmp_path, trays({"coir": quick, "bark": slow}))
    assert typed("compare", path) == 0
    said = " ".join(capsys.readouterr().out.split())
    assert "coir beats bark (p 0.029). How warm units were is not known" in said
    assert "permutation-times fits the shape of these units" in said
    assert "beta-binomial: two cuttings of one unit are correlated by 0" in said


def test_seed_is_told_by_its_usual_indices(tmp_path, capsys):
    """Daily counts of 50 seeds (germinationmetrics): 80 %, mean time 6.7, speed
    6.138925, by units of which each is one dish."""
    cumulative = (0, 0, 0, 0, 4, 21, 31, 38, 39, 39, 40, 40, 40, 40)
    rows = "".join(
        f"1,a,{day},50,{c}\n2,b,{day},50,{c}\n" for day, c in enumerate(cumulative, 1)
    )
    path = a_file(tmp_path, LOOKS + rows)
    assert typed("compare", path, "--indices", "--json") == 1
    found = told(capsys)["indices"]["a"]
    assert found["percent"] == 80
    assert found["mean_time"] == pytest.approx(6.7)
    # Times at which nobody looked anew are no looks: only those with news count.
    assert found["speed"] == pytest.approx(6.138925, rel=5e-7)
    typed("compare", path, "--indices")
    assert "mean time" in capsys.readouterr().out


def test_a_file_of_stretches_of_time(tmp_path, capsys):
    rows = "".join(
        f"{n},{arm},{n // 2},{left},{right},1,{20 + n % 3 / 10}\n"
        for n in range(24)
        for arm, left, right in [("ab"[n % 2], 7 if n % 2 else 0, 14 if n % 2 else 7)]
    )
    path = a_file(tmp_path, f"unit,arm,block,left,right,n,mean_c\n{rows}")
    assert typed("compare", path, "--base", 8, "--json") == 0
    found = told(capsys)
    assert found["pairs"][0]["pair"]["better"] == "a"
    assert found["blocks"] == 12
    assert found["pairs"][0]["pair"]["p"] == pytest.approx(2 / 2**12)
    exact = next(arm for arm in found["arms"] if arm["name"] == "a")["exact"]
    assert exact["low"] == pytest.approx(0.025 ** (1 / 12), rel=1e-9)


def test_single_pots_looked_at_once_are_boschloos(tmp_path, capsys):
    rows = [f"a{n},a,21,1,{int(n < 12)}" for n in range(20)]
    rows += [f"b{n},b,21,1,{int(n < 18)}" for n in range(20)]
    path = a_file(tmp_path, LOOKS + "\n".join(rows))
    assert typed("compare", path, "--json") == 0
    found = told(capsys)
    assert found["test"] == "boschloo"
    assert found["pairs"][0]["pair"]["p"] == pytest.approx(0.0386, abs=6e-5)
    assert found["pairs"][0]["pair"]["better"] == "b"


def test_dates_of_a_warm_end_are_put_right_by_mean_temperatures(tmp_path, capsys):
    """Twelve cuttings a tray, all needing 240 K·h above 10 °C, more or less: at 22
    and at 20 degrees."""
    rows = []
    for n in range(8):
        warm = n >= 4
        a_day = 24 * (22 - 10 if warm else 20 - 10)
        for day in range(6, 37, 3):
            share = normal_cdf((day * a_day / (18 * 264) - 1) / 0.12)
            rows.append(
                f"{n},{'ab'[warm]},{day},12,{round(12 * share)},{22 if warm else 20}"
            )
    path = a_file(tmp_path, LOOKS.strip() + ",mean_c\n" + "\n".join(rows))
    assert typed("compare", path) == 0
    said = " ".join(capsys.readouterr().out.split())
    assert "b stood 2.0 K warmer, and thermal time is not known" in said
    assert typed("compare", path, "--base", 10) == 0
    said = " ".join(capsys.readouterr().out.split())
    assert "Verdict: no conclusion on a and b" in said
    assert "warmth and arm cannot be told apart" in said


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("", "line 1: found : unit, arm and either looked_at"),
        ("unit,arm,left\n", "unit, arm and either looked_at"),
        ("unit,arm,looked_at,n,rooted,left,right\n", "and either looked_at"),
        ("unit,arm,left,right,colour\n", "line 1: 'colour' is no column"),
        ("unit,arm,left,right,left\n", "a column is there twice"),
        (LOOKS, "has a head and no rows"),
        (LOOKS + "1,a,7,12\n", "line 2: has 4 cells, and the head has 5"),
        (LOOKS + "1,a,soon,12,3\n", "line 2: looked_at: found 'soon': write a number"),
        (LOOKS + "1,a,7,12,13\n", "line 2: rooted: found '13'"),
        (LOOKS + "1,a,7,12,2.5\n", "write a whole number"),
        (LOOKS + "1,a,7,12,3\n1,a,14,12,2\n", "counts grow from look to look"),
        (LOOKS + "1,a,7,12,3\n1,a,14,11,4\n", "was 12 at another look"),
        (LOOKS + "1,a,0,12,3\n", "above the look before"),
        (LOOKS + "1,a,7,12,3\n1,b,14,12,4\n", "all rows of a unit must agree"),
        (LOOKS + ",a,7,12,3\n", "unit: found '': must not be empty"),
        (LOOKS + "1,a,7,12,3\n2,a,7,12,4\n", "two at least"),
        ("unit,arm,left,right\n1,a,7,3\n", "line 2: right: found '3'"),
        ("unit,arm,left,right\n1,a,0,0\n", "must lie above 0"),
        ("unit,arm,left,right,mean_c\n1,a,0,7,warm\n", "write a number such as 21.5"),
        ("unit,arm,left,right,mean_c\n1,a,0,7,500\n", "write a number such as 21.5"),
        ('unit,arm,left,right\n1,"a,0,7\n', "is no CSV as in RFC 4180"),
    ],
)
def test_a_file_that_is_not_right_is_told_by_line(tmp_path, capsys, text, said):
    path = a_file(tmp_path, text)
    assert typed("compare", path) == 2
    captured = capsys.readouterr()
    assert captured.err.startswith(f"bottomheat trial: {path}: ")
    assert said in captured.err
    assert captured.out == ""


def test_files_that_cannot_be_read(tmp_path, capsys):
    assert typed("compare", tmp_path / "none.csv") == 2
    assert "No such file" in capsys.readouterr().err
    path = tmp_path / "odd.csv"
    path.write_bytes(b"unit,arm\xff\n")
    assert typed("compare", path) == 2
    assert "is not UTF-8" in capsys.readouterr().err


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (["--base", 8], "needs the column mean_c"),
        (["--upper", 30], "--upper needs a --base"),
        (["--base", 8, "--upper", 30], "leave it out"),
        (["--days", -1], "must be above 0"),
        (["--test", "boschloo"], "takes every cutting for itself"),
    ],
)
def test_what_a_file_cannot_be_asked(tmp_path, capsys, words, said):
    path = a_file(tmp_path, trays({"a": [(1, 2, 3)] * 4, "b": [(1, 2, 3)] * 4}))
    assert typed("compare", path, *words) == 2
    assert said in capsys.readouterr().err
