"""Changes single keys of one mat in the text of a settings file.

Everything else stays as it was, byte for byte: comments, in the columns where
they stood, order, line ends. Lines are found by their looks; what came of it is
then read as TOML and held to what was asked for, so that a file which looks
otherwise than it reads is refused, never damaged. What may live here: that. What
the keys mean is in tables.
"""

import re
import tomllib
from collections.abc import Mapping, Sequence

from controller.adapters.settings.tables import MatTable, PidTable, keys_of

Changes = Mapping[str, str | None]
"""By key, such as "setpoint" or "pid.gain_per_k": its value as TOML writes it;
None: the key goes (its line becomes a comment)."""


class EditError(ValueError):
    """A file cannot be edited safely; the message says why."""


_HEADER = re.compile(r"\s*\[{1,2}\s*([A-Za-z0-9_.\s\"'-]+?)\s*\]{1,2}\s*(?:#.*)?$")
_KEY = re.compile(
    r"(?P<before>\s*(?P<key>[A-Za-z0-9_]+)\s*=\s*)"
    r"(?P<value>\"(?:[^\"\\]|\\.)*\"|'[^']*'|[^\s#\"'\[{][^#]*?)"
    r"(?P<after>\s*(?:#.*)?)$"
)


def edited(text: str, mat: str, changes: Changes) -> str:
    """Return a settings file's text with keys of one mat changed.

    Args:
        text: The file's content, line ends and all; it is valid TOML.
        mat: Name of the mat.
        changes: Key and value; keys of the table [mat.pid] begin with "pid.".

    Raises:
        EditError: It has no such mat, or is written in a way that cannot be
            edited without touching anything else.
    """
    before = _parsed(text)
    number = _number_of(before, mat)
    wanted = _changed(before, number, changes, mat)
    lines = text.splitlines(keepends=True)
    own = {key: said for key, said in changes.items() if "." not in key}
    pid = {
        key.removeprefix("pid."): said
        for key, said in changes.items()
        if key.startswith("pid.")
    }
    if pid:  # it stands below the mat's own keys, whose lines do not move by it
        _edit_pid(lines, number, pid)
    _edit_own(lines, number, own)
    after = "".join(lines)
    try:
        right = _parsed(after) == wanted
    except EditError:
        right = False
    if not right:
        keys = ", ".join(changes)
        raise EditError(
            f"mat {mat}: {keys} cannot be changed there without touching more: write"
            " each key of the mat on a line of its own under [[mat]], and those of"
            " the PID under [mat.pid]; or change them by hand"
        )
    return after


def _parsed(text: str) -> dict[str, object]:
    try:
        return tomllib.loads(text.removeprefix("\ufeff").replace("\r\n", "\n"))
    except tomllib.TOMLDecodeError as error:
        raise EditError(f"not TOML: {error}") from error


def _number_of(data: Mapping[str, object], mat: str) -> int:
    """Return which of the mats is the one of a name, from 0."""
    mats = data.get("mat")
    for number, table in enumerate(mats if isinstance(mats, list) else []):
        if isinstance(table, dict) and table.get("name") == mat:
            return number
    raise EditError(f"there is no [[mat]] of the name {mat}")


def _changed(
    before: dict[str, object], number: int, changes: Changes, mat: str
) -> dict[str, object]:
    """Return what the file shall say afterwards."""
    mats = before["mat"]
    assert isinstance(mats, list)  # noqa: S101 (_number_of found the mat in it)
    table = dict(mats[number])
    steps = {"setpoint", "night_setpoint"} & set(changes)
    if "step" in table and steps:
        raise EditError(
            f"mat {mat}: its setpoints stand in a programme of [[mat.step]], and"
            f" {' and '.join(sorted(steps))} of all of it cannot be said there:"
            " change the steps by hand"
        )
    pid = dict(table.get("pid", {}))
    for key, said in changes.items():
        inside, name = (pid, key[4:]) if key.startswith("pid.") else (table, key)
        inside.pop(name, None)
        if said is not None:
            inside[name] = tomllib.loads(f"value = {said}")["value"]
    emptied = "pid" in table and not pid
    if pid or (emptied and not _goes(table["pid"], changes)):
        table["pid"] = pid
    elif emptied:
        del table["pid"]
    return {**before, "mat": [*mats[:number], table, *mats[number + 1 :]]}


def _goes(pid: Mapping[str, object], changes: Changes) -> bool:
    """Whether all of a PID table goes, with its head."""
    return bool(pid) and all(changes.get(f"pid.{key}", "") is None for key in pid)


# --------------------------------------------------------------------------- lines


def _heads(lines: Sequence[str]) -> list[tuple[int, str]]:
    """Return the lines that look like heads of tables, with their names."""
    found = []
    for index, line in enumerate(lines):
        head = _HEADER.match(line.removeprefix("\ufeff"))
        if head is not None:
            found.append((index, head[1]))
    return found


def _bounds(lines: Sequence[str], number: int, name: str = "mat") -> tuple[int, int]:
    """Return from which line to which a mat's own keys, or its PID's, stand.

    Raises:
        EditError: No line looks like the head of it.
    """
    heads = [*_heads(lines), (len(lines), "")]
    mats = [place for place, (_, head) in enumerate(heads) if head == "mat"]
    if number >= len(mats):
        raise EditError("its mats are not written under [[mat]], one by one")
    ends = mats[number + 1] if number + 1 < len(mats) else len(heads) - 1
    for place in range(mats[number], ends):
        if heads[place][1] == name:
            return heads[place][0] + 1, heads[place + 1][0]
    return 0, 0


def _edit_own(lines: list[str], number: int, changes: Changes) -> None:
    first, last = _bounds(lines, number)
    _edit(lines, (first, last), changes, keys_of(MatTable))


def _edit_pid(lines: list[str], number: int, changes: Changes) -> None:
    first, last = _bounds(lines, number, "mat.pid")
    if first:
        if _emptied(lines[first:last], changes):
            lines[first - 1] = _as_comment(lines[first - 1])
        _edit(lines, (first, last), changes, keys_of(PidTable))
        return
    added = {key: said for key, said in changes.items() if said is not None}
    if added:
        at = _past_own(lines, _bounds(lines, number))
        end = _line_end(lines)
        _closed(lines, at, end)
        table = [f"{key} = {said}{end}" for key, said in added.items()]
        lines[at:at] = [end, f"[mat.pid]{end}", *table]


def _emptied(lines: Sequence[str], changes: Changes) -> bool:
    keys = {found["key"] for line in lines if (found := _key(line)) is not None}
    added = {key for key, said in changes.items() if said is not None}
    return bool(keys) and not added and keys <= set(changes)


def _edit(
    lines: list[str], bounds: tuple[int, int], changes: Changes, order: list[str]
) -> None:
    """Change, add and take out keys between two lines."""
    missing = dict(changes)
    for index in range(*bounds):
        found = _key(lines[index])
        if found is None or found["key"] not in changes:
            continue
        said = missing.pop(found["key"], None)
        if said is None:
            lines[index] = _as_comment(lines[index])
        else:
            lines[index] = _with(found, said) + _end_of(lines[index])
    first, last = bounds
    for key, said in missing.items():
        if said is not None:
            at = _place_of(lines, (first, last), key, order)
            end = _line_end(lines)
            _closed(lines, at, end)
            lines.insert(at, f"{key} = {said}{end}")
            last += 1


def _place_of(
    lines: Sequence[str], bounds: tuple[int, int], key: str, order: list[str]
) -> int:
    """Return where a new key belongs: behind the one that goes before it."""
    before = set(order[: order.index(key)])
    place = bounds[0]
    for index in range(*bounds):
        found = _key(lines[index])
        if found is not None and found["key"] in before:
            place = index + 1
    return place


def _past_own(lines: Sequence[str], bounds: tuple[int, int]) -> int:
    """Return where a table's own lines end: its last key, and comments right below.

    What is a comment there may become a key of it again. Comments that touch the
    next head may belong to that.
    """
    first, last = bounds
    written = (n for n in range(first, last) if _key(lines[n]) is not None)
    past_key = max(written, default=first - 1) + 1
    for index in range(past_key, last):
        if not lines[index].strip():
            return index
    return past_key if last < len(lines) else last


def _key(line: str) -> "re.Match[str] | None":
    return _KEY.match(line.rstrip("\r\n"))


def _with(found: "re.Match[str]", said: str) -> str:
    """Return a line with another value, its comment where it stood if that goes."""
    comment = found["after"].lstrip()
    if not comment:
        return found["before"] + said + found["after"]
    room = len(found["value"]) + len(found["after"]) - len(comment)
    return found["before"] + said.ljust(max(room, len(said) + 1)) + comment


def _as_comment(line: str) -> str:
    return f"# {line}"


def _end_of(line: str) -> str:
    return line[len(line.rstrip("\r\n")) :]


def _line_end(lines: Sequence[str]) -> str:
    return (_end_of(lines[0]) if lines else "") or "\n"


def _closed(lines: list[str], at: int, end: str) -> None:
    """Give the line before a place its end, where the file ends without one."""
    if at and not _end_of(lines[at - 1]):
        lines[at - 1] += end
