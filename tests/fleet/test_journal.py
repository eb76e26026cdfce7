"""The journal of a long piece of work: nothing twice, nothing lost, nothing mixed."""

import json
import subprocess
import sys
from pathlib import Path

import pytest

from controller.adapters.fleet import JournalError, begun, resumed

ROOT = Path(__file__).resolve().parents[2]


def test_what_was_appended_is_there_when_it_goes_on(tmp_path):
    path = tmp_path / "done.jsonl"
    with begun(path, {"wish": "steadiest"}) as journal:
        journal.append("{}")
        journal.append('{"n": "°"}')
    journal, lines = resumed(path, {"wish": "steadiest"})
    with journal:
        journal.append("3")
    assert lines == ["{}", '{"n": "°"}']
    assert path.read_text().splitlines() == ['{"wish": "steadiest"}', *lines, "3"]


def test_a_line_that_was_cut_short_is_dropped(tmp_path):
    path = tmp_path / "done.jsonl"
    begun(path, {"wish": None}).close()
    with path.open("a") as file:
        file.write('{"whole": 1}\n{"cut sh')
    journal, lines = resumed(path, {"wish": None})
    with journal:
        journal.append("{}")
    assert lines == ['{"whole": 1}']
    assert path.read_text().splitlines()[1:] == ['{"whole": 1}', "{}"]


def test_a_file_that_is_there_is_not_begun_anew(tmp_path):
    path = tmp_path / "done.jsonl"
    path.write_text("precious")
    with pytest.raises(JournalError, match="is there already"):
        begun(path, {})
    assert path.read_text() == "precious"


def test_a_journal_of_other_work_is_refused_and_left_alone(tmp_path):
    path = tmp_path / "done.jsonl"
    begun(path, {"wish": "steadiest", "seed": 1}).close()
    before = path.read_bytes()
    with pytest.raises(JournalError, match="begun with seed 1, now it is 2"):
        resumed(path, {"wish": "steadiest", "seed": 2})
    assert path.read_bytes() == before


def test_other_work_is_told_as_it_was_written(tmp_path):
    path = tmp_path / "done.jsonl"
    begun(path, {"wish": "no tray above 28 °C"}).close()
    with pytest.raises(JournalError, match='wish "no tray above 28 °C", now it is "st'):
        resumed(path, {"wish": "steadiest"})


@pytest.mark.parametrize("text", ["", "[1]\n", "temp_c;20\n", '{"cut": "sho'])
def test_a_file_that_is_no_journal_is_refused_and_left_alone(tmp_path, text):
    path = tmp_path / "done.jsonl"
    path.write_text(text)
    with pytest.raises(JournalError, match="line 1"):
        resumed(path, {})
    assert path.read_text() == text


def test_two_cannot_write_it(tmp_path):
    path = tmp_path / "done.jsonl"
    with begun(path, {}), pytest.raises(JournalError, match="somebody else"):
        resumed(path, {})
    resumed(path, {})[0].close()


@pytest.mark.slow
def test_of_work_that_is_killed_what_came_stays_and_no_worker_does(tmp_path):
    path = tmp_path / "done.jsonl"
    program = [sys.executable, "-m", "tests.fleet.work", str(path)]
    # Its workers hold its output open: this returns when the last of them is gone.
    ended = subprocess.run(program, cwd=ROOT, stdout=subprocess.PIPE, check=False)
    assert ended.returncode == -9
    journal, lines = resumed(path, {"of": "numbers"})
    journal.close()
    done = dict(map(json.loads, lines))
    assert len(done) == 3
    assert all(result == 1 / (number + 1) for number, result in done.items())
