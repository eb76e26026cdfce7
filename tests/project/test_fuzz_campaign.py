"""The fuzz campaign finds what is broken, makes it again, and says so."""

import ast
from random import Random

import pytest

from tests.campaigns import fuzz
from tests.campaigns.fuzzing.mutator import Mutator
from tests.campaigns.fuzzing.target import Target

WORDS = Mutator((b"21.5", b'{"t": 21.5}'), (b"t",))


def brittle(given: bytes) -> bool:
    """Stumble over every zero byte."""
    return bool(1 // (1 - min(1, given.count(b"\0"))))


def a_run(capsys, *words: str) -> tuple[int, str]:
    code = fuzz.main(["--jobs", "1", "--calls", "0", *words])
    return code, capsys.readouterr().out


def test_healthy_targets_end_well(capsys):
    code, out = a_run(capsys, "--inputs", "1500", "--seed", "3")
    assert code == 0
    assert "0 broke something, in 0 ways" in out
    assert all(name in out for name in fuzz.TARGETS)


def test_what_breaks_is_printed_and_breaks_again(capsys, monkeypatch):
    target = Target("brittle", 1, WORDS.made, brittle)
    monkeypatch.setattr(fuzz, "TARGETS", {"brittle": target})
    code, out = a_run(capsys, "--inputs", "2000")
    assert code == 1
    assert "ZeroDivisionError in test_fuzz_campaign.py" in out
    example = next(
        line for line in out.splitlines() if line.startswith("  ('brittle', ")
    )
    name, given = ast.literal_eval(example.strip())
    with pytest.raises(ZeroDivisionError):
        fuzz.TARGETS[name].check(given)


def test_what_hangs_is_stopped_and_counted(capsys, monkeypatch):
    def endless(_: bytes) -> bool:
        while True:
            pass

    target = Target("endless", 1, WORDS.made, endless)
    monkeypatch.setattr(fuzz, "TARGETS", {"endless": target})
    monkeypatch.setattr(fuzz, "TOO_LONG_S", 0.05)
    code, out = a_run(capsys, "--inputs", "2")
    assert (code, out.count("TimeoutError")) == (1, 2)


def test_same_seed_makes_the_same_inputs_and_another_makes_others():
    def inputs(seed: int) -> list[bytes]:
        return [WORDS.made(Random(f"{seed} {n}")) for n in range(50)]  # noqa: S311

    assert inputs(1) == inputs(1)
    assert inputs(1) != inputs(2)


def test_inputs_are_spoiled_and_some_are_still_json():
    made = [WORDS.made(Random(n)) for n in range(2000)]  # noqa: S311
    assert len(set(made)) > 1000
    assert any(b"\0" in one for one in made)
    assert any(not one.isascii() for one in made)
