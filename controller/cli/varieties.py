"""`bottomheat varieties`: what came of each variety, and what follows."""

import argparse
import json
import sys
from collections.abc import Iterator, Mapping
from urllib.parse import urlencode

from controller.cli.asking import Json, add_options, ask, clean
from controller.cli.log_words import A_TIME
from controller.cli.output import table
from controller.cli.over_http import AskError
from controller.cli.record_words import at_said

_Object = Mapping[str, object]
_BY = ("medium", "source", "month")
_HEAD = ("variety", "wanted", "stuck", "rooted", "alive", "here", "verdict", "stick")


def add_parser(
    commands: "argparse._SubParsersAction[argparse.ArgumentParser]",
) -> None:
    """Add the command to the command line."""
    parser = commands.add_parser(
        "varieties",
        help="what came of each variety, and how many to stick next season",
        description=(
            "Wanted, stuck, rooted and alive six weeks after potting, by variety; and"
            " how many to stick for the plants that are wanted. The rate was seen on"
            " few cuttings and is uncertain, so that the number is widened for it."
        ),
    )
    parser.add_argument("--by", choices=_BY, help="also apart by this")
    parser.add_argument("--from", dest="begin", metavar="TIME", help=f"stuck: {A_TIME}")
    parser.add_argument("--to", dest="end", metavar="TIME", help="stuck before")
    parser.add_argument(
        "--surety", type=float, default=90.0, metavar="PERCENT", help="(90)"
    )
    parser.add_argument(
        "--spacing", type=float, default=50.0, metavar="MM", help="of cuttings (50)"
    )
    add_options(parser)
    parser.set_defaults(run=run)


def run(args: argparse.Namespace) -> int:
    """Run the command; return its exit status."""
    try:
        found = ask(args, "GET", f"/v1/varieties?{_asked(args)}")
    except AskError as error:
        print(f"bottomheat varieties: {error}", file=sys.stderr)
        return 2
    if args.json:
        print(json.dumps(found, ensure_ascii=False, indent=2))
    else:
        print("\n".join(_in_words(args, found)))
    return 0


def _asked(args: argparse.Namespace) -> str:
    asked = {"surety": args.surety / 100, "spacing_mm": args.spacing}
    times = {"from": ("--from", args.begin), "to": ("--to", args.end)}
    told = {
        key: at_said(args, option, text)
        for key, (option, text) in times.items()
        if text is not None
    }
    return urlencode({**asked, **told})


def _in_words(args: argparse.Namespace, found: Json) -> Iterator[str]:
    listed = _objects(found.get("varieties"))
    if not listed:
        yield "no batch was stuck in that time"
        return
    rows = []
    for one in listed:
        rows.append(_row(_name(one), _object(one.get("result")), one))
        rows += [
            _row(f"  {clean(part.get('key'))}", part, {})
            for part in _objects(one.get(f"by_{args.by}"))
        ]
    yield table(_HEAD, rows)
    yield ""
    for one in listed:
        yield from _sentences(one)
    yield from _space(found)


def _name(one: _Object) -> str:
    parts = [clean(one.get(key)) for key in ("crop", "cultivar") if one.get(key)]
    return " ".join(parts)


def _row(name: str, result: _Object, one: _Object) -> tuple[str, ...]:
    then = _object(one.get("next"))
    least = "at least " if result.get("at_least") else ""
    return (
        name,
        _text(result.get("wanted")),
        _text(result.get("stuck")),
        least + _share(result, "rooted"),
        _share(result, "alive"),
        _text(result.get("here")),
        _text(then.get("verdict")).replace("-", " ") if then else "",
        _text(then.get("stick_widened")) if then else "",
    )


def _share(result: _Object, key: str) -> str:
    good, of = result.get(key), result.get(f"{key}_of")
    if not isinstance(good, int) or not isinstance(of, int) or not of:
        return "-"
    return f"{good}/{of} {100 * good / of:.0f} %"


def _sentences(one: _Object) -> Iterator[str]:
    then = _object(one.get("next"))
    stick, widened = then.get("stick"), then.get("stick_widened")
    more = ""
    if stick is not None and widened is not None and stick != widened:
        more = f" ({clean(stick)} if that rate were certain)"
    yield f"{_name(one)}: {clean(then.get('sentence'))}{more}"
    if then.get("give_away"):
        yield f"  {clean(then.get('give_away'))} more than are wanted: to give away"


def _space(found: Json) -> Iterator[str]:
    need, have = found.get("area_m2"), found.get("bench_m2")
    if not isinstance(need, float) or not isinstance(have, float) or not need:
        return
    share = f", {100 * need / have:.0f} % of the mats' {have:g} m²" if have else ""
    spacing = clean(found.get("spacing_mm"))
    yield f"next season would take {need:.2f} m² at {spacing} mm{share}"


def _text(value: object) -> str:
    return "-" if value in (None, "") else clean(value)


def _object(value: object) -> _Object:
    return value if isinstance(value, dict) else {}


def _objects(value: object) -> list[_Object]:
    return [_object(one) for one in value] if isinstance(value, list) else []
