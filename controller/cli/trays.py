"""`bottomheat trays`: the bench as a table, now or as it changes, from the API."""

import argparse
import json
import sys
from collections.abc import Iterator, Mapping, Sequence

from controller.cli.asking import ask, clean
from controller.cli.over_http import AskError, add_url_options

Json = Mapping[str, object]
Row = tuple[str, ...]


def add_parser(
    commands: "argparse._SubParsersAction[argparse.ArgumentParser]",
) -> None:
    """Add the command to the command line."""
    parser = commands.add_parser(
        "trays",
        help="show the bench now, as a table",
        description=(
            "Shows every tray and mat as they are now, asked of a running bench."
            " Exit 0: all well; 1: there are alarms; 2: no bench answered."
        ),
    )
    parser.add_argument(
        "--watch",
        action="store_true",
        help="show it until Ctrl-C, drawn anew whenever it changes",
    )
    add_url_options(parser)
    parser.add_argument(
        "--json", action="store_true", help="print JSON; with --watch a line each"
    )
    parser.set_defaults(run=run)


def run(args: argparse.Namespace) -> int:
    """Run the command; return its exit status."""
    try:
        if args.watch:
            return _watched(args)
        bench = ask(args, "GET", "/v1/bench")
        alarms = _objects(bench, "alarms")
        text = _as_json(bench) if args.json else "\n".join(_table(bench))
    except AskError as error:
        print(error, file=sys.stderr)
        return 2
    print(text)
    return 1 if any(map(_holds, alarms)) else 0


def _watched(args: argparse.Namespace) -> int:
    from controller.cli.watch import watch

    return watch(args, _table)


def _as_json(bench: Json) -> str:
    return json.dumps(bench, ensure_ascii=False, indent=2)


# --------------------------------------------------------------------- the table


def _table(bench: Json) -> Iterator[str]:
    mats = {_text(mat, "name"): mat for mat in _objects(bench, "mats")}
    yield _heading(bench)
    yield ""
    rows: list[Row] = [("TRAY", "NOW", "MAT", "SETPOINT", "HEAT", "DEGREE-HOURS")]
    rows += [_tray(tray, mats) for tray in _objects(bench, "trays")]
    yield from aligned(rows)
    yield ""
    rows = [("MAT", "HEAT", "MODE", "ON", "ENERGY", "WHY")]
    rows += [_mat(mat) for mat in mats.values()]
    yield from aligned(rows)
    alarms = _objects(bench, "alarms")
    yield ""
    held = [alarm for alarm in alarms if _holds(alarm)]
    yield "Alarms:" if held else "No alarms."
    for alarm in held:
        yield f"  {_text(alarm, 'sentence')} (since {_text(alarm, 'since')})"
    if len(alarms) > len(held):
        yield "Over, and not acknowledged yet:"
    for alarm in alarms:
        if not _holds(alarm):
            yield f"  {_text(alarm, 'id')} (since {_text(alarm, 'since')})"


def _heading(bench: Json) -> str:
    age_s = _number(bench, "scan_age_s")
    name, at = _text(bench, "bench"), _text(bench, "at")
    return f"Bench {name}, looked at {age_s:.0f} s ago ({at})"


def _tray(tray: Json, mats: Mapping[str, Json]) -> Row:
    mat = mats.get(_text(tray, "mat"))
    heat = "-" if mat is None else _heat(mat)
    setpoint = "-" if mat is None else _text(_object(mat, "setpoint"), "text")
    name = "-" if mat is None else _text(mat, "name")
    hours = _degree_hours(_object(tray, "degree_hours"))
    return _text(tray, "name"), _text(tray, "temp_text"), name, setpoint, heat, hours


def _degree_hours(found: Json) -> str:
    sum_k_h = _number(found, "degree_hours_k_h")
    base_c = _number(found, "base_c")
    text = f"{sum_k_h:.0f} K·h above {base_c:g} °C"
    equal = found.get("equal_to")
    return text if equal is None else f"{text}, {clean(equal)}"


def _mat(mat: Json) -> Row:
    energy = f"{_number(mat, 'energy_wh'):.0f} Wh"
    early = str(mat.get("duty_text", "")).startswith("too early")
    share = "-" if early else f"{_number(mat, 'duty_percent'):.0f} %"
    name, mode, why = _text(mat, "name"), _text(mat, "mode_text"), _text(mat, "why")
    return name, _heat(mat), mode, share, energy, why


def _heat(mat: Json) -> str:
    return "on" if mat.get("energised") is True else "off"


def aligned(rows: Sequence[Row]) -> Iterator[str]:
    """Yield rows with their columns below each other."""
    widths = [max(map(len, column)) for column in zip(*rows, strict=True)]
    for row in rows:
        cells = [cell.ljust(width) for cell, width in zip(row, widths, strict=True)]
        yield "  ".join(cells).rstrip()


# ------------------------------------------------------- what a stranger might say


def _holds(alarm: Mapping[str, object]) -> bool:
    """Whether an alarm is not over; one that does not say so holds."""
    return alarm.get("state") != "cleared"


def _objects(found: Json, key: str) -> list[Json]:
    value = found.get(key)
    if not isinstance(value, list):
        raise _strange(key, "a list")
    return [_checked(item, key) for item in value]


def _object(found: Json, key: str) -> Json:
    return _checked(found.get(key), key)


def _checked(value: object, key: str) -> Json:
    if not isinstance(value, dict):
        raise _strange(key, "an object")
    return value


def _number(found: Json, key: str) -> float:
    value = found.get(key)
    if isinstance(value, bool) or not isinstance(value, (int, float)):
        raise _strange(key, "a number")
    return value


def _text(found: Json, key: str) -> str:
    return clean(found.get(key) or "")


def _strange(key: str, wanted: str) -> AskError:
    msg = f"what answers is no bottomheat of this kind: {key} must be {wanted}"
    return AskError(msg)
