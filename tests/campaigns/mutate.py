"""Change the core in small ways, one after the other: do its tests notice?

`./dev mutate` runs mutmut afresh and judges what it found, since mutmut itself
is content with anything. A mutant may live only if equivalents.toml names it,
with the reason why nobody could tell it from the core; and what is named there
must be met. Anything else ends with exit status 1.
"""

import argparse
import os
import shutil
import subprocess
import sys
import tomllib
from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import NamedTuple

ROOT = Path(__file__).parents[2]
MUTANTS = ROOT / "mutants"
EQUIVALENTS = Path(__file__).with_name("equivalents.toml")

KILLED = "killed"
SURVIVED = "survived"
UNTRIED = "not checked"


class Change(NamedTuple):
    """A mutant by what it is: its number changes with the code around it.

    Attributes:
        function: Module and function, with dots.
        before: The lines of the core, without indentation.
        after: The mutant's.
    """

    function: str
    before: str
    after: str


@dataclass(frozen=True)
class Mutant:
    """A mutant that was not killed.

    Attributes:
        name: What mutmut calls it, for `mutmut show`.
        status: What became of it, in mutmut's words.
        change: What it is.
    """

    name: str
    status: str
    change: Change


def main(words: Sequence[str] | None = None) -> int:
    """Run the campaign; return 1 if the tests do not notice something."""
    args = _parser().parse_args(words)
    os.chdir(ROOT)  # mutmut knows no other place
    shutil.rmtree(MUTANTS, ignore_errors=True)  # or it believes old verdicts
    if not _mutmut("run", "--max-children", str(args.jobs), *args.mutants):
        print("mutmut did not come to an end: see above")
        return 1
    counts, alive = verdicts()
    if args.mutants:  # mutmut makes all of them and tries these
        del counts[UNTRIED]
        alive = [mutant for mutant in alive if mutant.status != UNTRIED]
    findings = judged(counts, alive, equivalents(EQUIVALENTS))
    if args.mutants:
        findings = [one for one in findings if not one.startswith(MISSED)]
    print(f"{counts.total()} mutants: " + _listed(counts))
    for finding in findings:
        print(finding)
    print("Found something." if findings else "All that live are named equivalents.")
    return 1 if findings else 0


def _parser() -> argparse.ArgumentParser:
    parser = argparse.ArgumentParser(prog="./dev mutate", description=__doc__)
    parser.add_argument(
        "--jobs",
        type=int,
        default=os.cpu_count() or 1,
        help="processes (default: one for each core)",
    )
    parser.add_argument(
        "mutants",
        nargs="*",
        metavar="PATTERN",
        help="only mutants of these names, such as 'controller.core.judge*'",
    )
    return parser


def _mutmut(*words: str) -> bool:
    """Run mutmut so that a verdict can be had again; return whether it ended well."""
    program = Path(sys.executable).with_name("mutmut")
    # CI makes Hypothesis try the same examples every time.
    settled = {**os.environ, "CI": "1", "PYTHONHASHSEED": "0"}
    return subprocess.run([program, *words], env=settled, check=False).returncode == 0


def verdicts() -> tuple[Counter[str], list[Mutant]]:
    """Return how many mutants became what, and those that were not killed."""
    # Only the level "dev" has it, and the tests of the gate do without.
    from mutmut.mutation.data import SourceFileMutationData  # noqa: PLC0415
    from mutmut.mutation.diff_apply import get_diff_for_mutant  # noqa: PLC0415
    from mutmut.stats import status_by_exit_code  # noqa: PLC0415

    counts, alive = Counter[str](), []
    for file in sorted(MUTANTS.rglob("*.py.meta")):
        source = file.relative_to(MUTANTS).with_suffix("")
        data = SourceFileMutationData(path=source)
        data.load()
        for name, code in data.exit_code_by_key.items():
            status = status_by_exit_code[code]
            counts[status] += 1
            if status != KILLED:
                diff = get_diff_for_mutant(name, path=source)
                alive.append(Mutant(name, status, change_of(name, diff)))
    return counts, alive


def change_of(name: str, diff: str) -> Change:
    """Return what a mutant is, by its name and its unified diff."""
    module, _, function = name.rpartition("__mutmut_")[0].rpartition(".")
    plain = function.replace("xǁ", "").replace("ǁ", ".").removeprefix("x_")
    lines = [line for line in diff.splitlines() if line[:3] not in {"---", "+++"}]
    before, after = (
        "\n".join(line[1:].strip() for line in lines if line.startswith(sign))
        for sign in "-+"
    )
    return Change(f"{module}.{plain}", before, after)


def equivalents(file: Path) -> Counter[Change]:
    """Return the mutants that may live, and how many of each there are."""
    found = Counter[Change]()
    for entry in tomllib.loads(file.read_text(encoding="utf-8")).get("mutant", []):
        if not entry["why"].strip():
            raise ValueError(f"{file}: {entry['function']}: say why it is equivalent")
        change = Change(entry["function"], entry["before"], entry["after"])
        found[change] += entry.get("times", 1)
    return found


MISSED = "named equivalent, but not met: "


def judged(
    counts: Mapping[str, int], alive: Iterable[Mutant], known: Mapping[Change, int]
) -> list[str]:
    """Return what is wrong, one text for each thing.

    Args:
        counts: How many mutants became what.
        alive: Those that were not killed.
        known: Those that may survive, and how often.
    """
    findings = [] if counts.get(KILLED) else ["no mutant was killed: nothing was tried"]
    left = Counter(known)
    for mutant in alive:
        if mutant.status == SURVIVED and left[mutant.change] > 0:
            left[mutant.change] -= 1
        else:
            findings.append(f"{mutant.status}: {mutant.name}\n{_shown(mutant.change)}")
    findings += [f"{MISSED}\n{_shown(change)}" for change in left.elements()]
    return findings


def _shown(change: Change) -> str:
    """Return a change as an entry of equivalents.toml, but for the reason."""
    fields = zip(("function", "before", "after"), change, strict=True)
    quoted = (f"{key} = '''{value}'''" for key, value in fields)
    return "\n".join(("[[mutant]]", *quoted, "why = ''''''"))


def _listed(counts: Mapping[str, int]) -> str:
    return ", ".join(f"{number} {status}" for status, number in sorted(counts.items()))


if __name__ == "__main__":
    sys.exit(main())
