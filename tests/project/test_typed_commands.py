"""What README and DEVELOPERS tell to type is typed; the guides have a test beside.

Every command that stands in a block or in a code span is found, and either run, in
the order of the document, in a folder with a season of the invented bench; or run in
small elsewhere, by the test that is named here. Where a command would take long, or
would look for a bench at its usual address, it gets fewer days, or a log.
"""

import os
import re
import shlex
import shutil
import sqlite3
import subprocess
import sys
from contextlib import closing
from pathlib import Path

import duckdb
import pytest

from controller import cli
from controller.cli.paths import config_dir

ROOT = Path(__file__).parents[2]
DOCUMENTS = ("README.md", "DEVELOPERS.md")
PROGRAMS = ("bottomheat", "./dev", "sqlite3", "duckdb", "cp", "pip", "bash", "python",
            "apt-get")  # fmt: skip
PLACES = ("/etc/bottomheat", "/media/stick")

ELSEWHERE = {
    "bottomheat setup": "tests/cli/test_setup_evening.py",
    "bottomheat demo": "tests/project/test_wheel.py",
    "bottomheat benches --list benches.toml --serve": "tests/cli/test_benches_serve.py",
    "bottomheat tune season.db": "tests/cli/test_tune_command.py",
    "bottomheat tune --power": "tests/project/test_guides.py",
    "bottomheat whatif": "tests/cli/test_tune_command.py",
    "./dev demo": "tests/project/test_wheel.py",
    "./dev test": ".ci/run",
    "./dev cover": ".ci/run",
    "./dev check": ".ci/run",
    "./dev wheels": ".ci/run",
    "./dev faults": ".ci/run",
    "./dev install": "tests/project/test_wheel.py",
    "./dev lock": "tests/project/test_lock.py",
    "./dev mutate": "tests/project/test_mutation_gate.py",
    "./dev soak": "tests/project/test_soak_campaign.py",
    "./dev foretold": "tests/project/test_foretold_campaign.py",
    "./dev false-verdicts": "tests/project/test_false_verdicts_campaign.py",
    "./dev shown-season": "tests/project/test_shown_season.py",
    "./dev forecasts": "tests/trials/test_forecast_campaign.py",
    "./dev log-faults": "tests/log/test_log_faults_campaign.py",
    "apt-get": "tests/project/test_guides.py",
    "pip install": "tests/project/test_wheel.py",
    "bash .ci/run": ".ci/run",
    "python -m pytest": ".ci/run",
    "./dev timings": "tests/project/test_typed_commands.py",
    "python tests/page/take": "tests/project/test_typed_commands.py",
}
"""What is run in small, or for real, where; by how the command begins."""

SLICES = {
    "./dev kill": ["kill.py", "--points", "1", "--benches", "1"],
    "./dev fuzz": ["fuzz.py", "--inputs", "200", "--jobs", "1", "--calls", "0"],
    "./dev fit-truth": ["fit_truth.py", "--seeds", "1", "--days", "3",
                        "--bench-seeds", "0"],
}  # fmt: skip
"""Campaigns of which a little is run here."""


def commands(name: str) -> list[str]:
    """Return what a document tells to type, in its order, without sudo."""
    text = (ROOT / name).read_text(encoding="utf-8")
    text = re.sub(
        r"^```(\w*)\n(.*?)^```$", _block, text, flags=re.DOTALL | re.MULTILINE
    )
    typed = re.findall(
        r"^ {4}(\S(?:\\\n|.)*)|(?<!`)`([^`\n]+)`(?!`)", text, re.MULTILINE
    )
    found = [(block or span).removeprefix("sudo ") for block, span in typed]
    return [one for one in found if one.split()[0] in PROGRAMS]


def _block(block: re.Match[str]) -> str:
    """Return a block for a shell as an indented one; others are no commands."""
    lines = block[2].splitlines() if block[1] == "sh" else ()
    return "".join(f"    {line}\n" for line in lines)


def is_a_name(command: str) -> bool:
    """Whether it only names a command, as in "what `bottomheat tune` says"."""
    words = command.split()
    plans = words[1:] in (["trial", "plan"], ["trial", "compare"])
    return words[0] in {"bottomheat", "./dev"} and (
        len(words) == 1 or plans or (words[0] == "bottomheat" and len(words) == 2)
    )


def elsewhere(command: str) -> str | None:
    begins = (*ELSEWHERE, *SLICES)
    return next((one for one in begins if command.startswith(one)), None)


def every(*, running: bool) -> list[tuple[str, str]]:
    """Return commands that are run here, or those that are not, each with its place."""
    found = [(name, one) for name in DOCUMENTS for one in commands(name)]
    return [
        (name, one)
        for name, one in dict.fromkeys(found)
        if (elsewhere(one) is None and not is_a_name(one)) == running
    ]


# --------------------------------------------------------------------- what is there


def test_what_is_only_named_is_there():
    named = [one.split()[:2] for _, one in every(running=False) if is_a_name(one)]
    commands = {words[1] for words in named if len(words) > 1}
    assert commands
    assert commands <= set(cli.COMMANDS)


def test_what_is_run_elsewhere_is_told_and_there():
    assert [one for one in ELSEWHERE.values() if not (ROOT / one).is_file()] == []
    script = (ROOT / "dev").read_text(encoding="utf-8")
    for _, command in every(running=False):
        if command.startswith("./dev ") and not is_a_name(command):
            what = command.split()[1].replace("-", "_")
            assert re.search(rf"^def {what}\(", script, re.MULTILINE), command


def test_options_of_what_is_run_elsewhere_are_those_that_there_are():
    parser = cli.build_parser()
    for _, command in every(running=False):
        if command.startswith("bottomheat ") and not is_a_name(command):
            parser.parse_args(shlex.split(command.replace("\\\n", " "))[1:])


def test_nothing_is_said_to_be_run_elsewhere_that_nobody_types():
    typed = [one for name in DOCUMENTS for one in commands(name)]
    missing = [
        begin
        for begin in (*ELSEWHERE, *SLICES)
        if not any(one.startswith(begin) for one in typed)
    ]
    assert missing == []


def test_scripts_that_take_minutes_are_there_and_read():
    """They measure or take pictures for the documents, and decide nothing."""
    text = "".join((ROOT / name).read_text(encoding="utf-8") for name in DOCUMENTS)
    named = re.findall(r"\./dev timings (\w+)", text)
    files = [ROOT / "tests" / "benchmarks" / f"{name}.py" for name in named]
    files += [ROOT / name for name in re.findall(r"python (tests/page/\w+\.py)", text)]
    assert len(files) > len(named) > 0
    for file in files:
        compile(file.read_text(encoding="utf-8"), str(file), "exec")


# ------------------------------------------------------------------------- what runs

TO_A_BENCH = {"batch", "event", "trial", "forecast", "varieties"}
TOLD_OF_NOW = {"look", "round", "plants", "photo", "watered"}
MORNING = "2027-02-04T08:00"


def bottomheat(words: list[str]) -> int:
    """Run a command; where it would take long or ask a bench, in small or on a log."""
    what = words[0]
    if what in TO_A_BENCH and "--log" not in words and "trial.csv" not in words:
        # README's trial is the first thing that its bench was told.
        words = [*words, "--log", "trial.db" if what == "trial" else "season.db"]
    if what in TO_A_BENCH and words[1] in TOLD_OF_NOW and "--at" not in words:
        words = [*words, "--at", MORNING]
    if what == "simulate":
        words[words.index("--days") + 1] = "0.02"
        place = words.index("--out") + 1
        words[place] = f"short-{words[place]}"
    return cli.main(words)


def sqlite3_(words: list[str]) -> int:
    mode, file, question = words
    assert mode == "-readonly"
    with closing(sqlite3.connect(f"file:{file}?mode=ro", uri=True)) as log:
        log.execute(question).fetchall()
    return 0


def duckdb_(words: list[str]) -> int:
    mode, question = words
    assert mode == "-c"
    assert duckdb.sql(question).fetchall()
    return 0


def cp(words: list[str]) -> int:
    return subprocess.run(["/bin/cp", *words], check=False).returncode


RUNS = {"bottomheat": bottomheat, "sqlite3": sqlite3_, "duckdb": duckdb_, "cp": cp}

TRIAL = "unit,arm,looked_at,n,rooted\n" + "".join(
    f"{n},{arm},{day},1,{int(day > root)}\n"
    for n in range(1, 9)
    for arm, root in [("bark", 20 + n) if n % 2 else ("coir", 12 + n)]
    for day in (14, 21, 28)
)


@pytest.fixture(scope="module")
def stage(tmp_path_factory) -> Path:
    """A folder with a season of the invented bench, and what README names in it."""
    folder = tmp_path_factory.mktemp("stage")
    shutil.copytree(config_dir(), folder / "config")
    bench = (config_dir() / "bench.toml").read_text(encoding="utf-8")
    bench = bench.replace(
        'setpoint = "21 °C"  ', 'night_setpoint = "18 °C"\nsetpoint = "21 °C"  '
    )
    bench = bench.replace('scan = "5 s"', 'scan = "30 s"')
    (folder / "bench.toml").write_text(bench, encoding="utf-8")
    for place in PLACES:
        (folder / place[1:]).mkdir(parents=True)
    shutil.copy(config_dir() / "bench.toml", folder / "etc/bottomheat")
    out = str(folder / "season.db")
    words = ["simulate", str(folder / "bench.toml"), "--days", "3.1", "--out", out]
    assert cli.main(words) == 0
    shutil.copy(out, folder / "trial.db")
    readme = (ROOT / "README.md").read_text(encoding="utf-8")
    (listed,) = re.findall(
        r"^```toml\n(\[\[bench\]\].*?)^```$", readme, re.DOTALL | re.MULTILINE
    )
    (folder / "benches.toml").write_text(listed, encoding="utf-8")
    (folder / "lean-to.token").touch(0o600)
    (folder / "lean-to.token").write_text("bottomheat-invented\n")
    (folder / "trial.csv").write_text(TRIAL)
    _photo(folder / "leaf.jpg")
    return folder


def _photo(file: Path) -> None:
    from PIL import Image  # noqa: PLC0415 - for this picture alone

    Image.new("RGB", (8, 8), "green").save(file)


def type_in(stage: Path, command: str) -> int:
    """Do what a command says, in the folder; return its exit status."""
    for place in PLACES:
        command = command.replace(place, f"{stage}{place}")
    command = re.sub(r"\bLOG\b", "season.db", command)
    if "export FOLDER -o" in command:
        command = command.replace("FOLDER", ".")
    program, *words = shlex.split(command.replace("\\\n", " "))
    return RUNS[program](words)


@pytest.mark.slow
@pytest.mark.timeout(900)
def test_what_the_documents_tell_to_type_works(stage, monkeypatch, capsys):
    monkeypatch.chdir(stage)
    for variable in [one for one in os.environ if one.startswith("BOTTOMHEAT_")]:
        monkeypatch.delenv(variable)
    typed = every(running=True)
    assert len(typed) > 20
    for name, command in typed:
        code = type_in(stage, command)
        said = capsys.readouterr()
        # 1: findings, such as a bench that does not answer.
        assert code in (0, 1), f"{name}: {command}\n{said.out[-999:]}\n{said.err}"


@pytest.mark.slow
@pytest.mark.timeout(300)
@pytest.mark.parametrize("name", sorted(SLICES))
def test_a_little_of_a_campaign_runs(name, tmp_path):
    script, *words = SLICES[name]
    done = subprocess.run(
        [sys.executable, str(ROOT / "tests" / "campaigns" / script), *words],
        cwd=ROOT,
        capture_output=True,
        text=True,
        check=False,
    )
    assert done.returncode in (0, 1), done.stderr
    assert "Traceback" not in done.stderr, done.stderr
    assert done.stdout.strip()
