"""The picture of a mat's modes in DEVELOPERS.md is drawn from the table itself."""

from collections import defaultdict
from pathlib import Path

from controller.core.state import MODE_TABLE, Condition, Mode

DEVELOPERS = Path(__file__).parents[2] / "DEVELOPERS.md"


def diagram() -> str:
    """Return the mode table as a Mermaid state diagram.

    An arrow has all the conditions that lead the same way, in their order of
    strength; conditions under which a mode stays are left out.
    """
    lines = ["stateDiagram-v2", f"    [*] --> {Mode.STARTING.value}"]
    for mode, row in MODE_TABLE.items():
        ways: dict[Mode, list[str]] = defaultdict(list)
        for condition in Condition:
            if row[condition] is not mode:
                ways[row[condition]].append(condition.value)
        lines += [
            f"    {mode.value} --> {after.value}: {', '.join(conditions)}"
            for after, conditions in ways.items()
        ]
    return "\n".join(lines)


def test_mode_table_answers_every_mode_and_condition():
    assert {(mode, condition) for mode in Mode for condition in Condition} == {
        (mode, condition) for mode, row in MODE_TABLE.items() for condition in row
    }


def test_developers_shows_the_mode_table_as_it_is():
    wanted = f"```mermaid\n{diagram()}\n```"
    shown = DEVELOPERS.read_text(encoding="utf-8")
    assert wanted in shown, f"put this into DEVELOPERS.md:\n{wanted}"
