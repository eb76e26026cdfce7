"""`bottomheat labels`: stake labels, a wall key and a look sheet, to be printed.

What may live here: the command, and from the API's batches to what a sheet names.
"""

import argparse
import json
import sys
from collections.abc import Mapping, Sequence
from datetime import datetime
from pathlib import Path
from zoneinfo import ZoneInfo

from controller.adapters.exchange.whole_file import check_free, whole_file
from controller.cli.asking import Json, add_options, ask
from controller.cli.extras import ExtraMissingError
from controller.cli.over_http import AskError
from controller.cli.record_words import bench_of, timezone_of
from controller.records.codes import CodeError, canonical, code_of, number_of
from controller.review.drawing import SIZES_MM, Page, printed_html, svg
from controller.review.sheets import Labelled, Matrix, look_sheet, stakes, wall_key

_SHEETS = ("stakes", "wall", "look")
_ENDINGS = (".svg", ".html", ".pdf")
_MOST_BLANK = 500


def add_parser(
    commands: "argparse._SubParsersAction[argparse.ArgumentParser]",
) -> None:
    """Add the command to the command line."""
    parser = commands.add_parser(
        "labels",
        help="stake labels, a wall key of codes and a look sheet, for printing",
        description=(
            "Makes sheets from what a bench knows of its batches. Codes are large and"
            " made for a pencil, too: without a file the list is printed here, to be"
            " copied by hand. Write on stakes with a soft pencil: ink and toner go."
        ),
    )
    parser.add_argument(
        "codes", metavar="CODE", nargs="*", help="these only; else all open batches"
    )
    parser.add_argument("--sheet", choices=_SHEETS, default="stakes", help="(stakes)")
    parser.add_argument(
        "--out",
        "-o",
        type=Path,
        metavar="FILE",
        help="FILE.svg (more pages: FILE-2.svg), .html, or .pdf (extra sheets)",
    )
    parser.add_argument("--tray", help="of the batches in it now")
    parser.add_argument("--paper", choices=sorted(SIZES_MM), default="a4", help="(a4)")
    parser.add_argument("--copies", type=int, default=1, help="stakes of each (1)")
    parser.add_argument(
        "--blank",
        type=int,
        default=0,
        metavar="N",
        help="also N stakes with the next free codes, for bundles to come",
    )
    parser.add_argument(
        "--address",
        metavar="URL",
        help="of the bench's page, to stand in the QR codes; else the code alone",
    )
    parser.add_argument("--no-qr", action="store_true", help="no QR codes")
    parser.add_argument("--overwrite", action="store_true")
    add_options(parser)
    parser.set_defaults(run=run)


def run(args: argparse.Namespace) -> int:
    """Run the command; return its exit status."""
    try:
        labelled, title = _labelled(args)
        if args.out is None:
            _print_list(args, labelled)
            return 0
        return _written(args, labelled, title)
    except (AskError, ExtraMissingError) as error:
        print(f"bottomheat labels: {error}", file=sys.stderr)
        return 2


def _written(args: argparse.Namespace, labelled: list[Labelled], title: str) -> int:
    pages = _pages(args, labelled, title)
    written = _write(pages, f"{title}, {args.sheet}", args.out, args.overwrite)
    if args.json:
        files = [str(path) for path in written]
        print(json.dumps({"files": files, "pages": len(pages)}, indent=2))
    else:
        for path in written:
            print(path)
    return 0


def _pages(
    args: argparse.Namespace, labelled: list[Labelled], title: str
) -> list[Page]:
    size = SIZES_MM[args.paper]
    if not labelled:
        raise AskError("there is no open batch to label; --blank N makes empty labels")
    if args.sheet == "wall":
        return wall_key(labelled, size, title)
    if args.sheet == "look":
        by_tray = sorted(labelled, key=lambda one: (not one.tray, one.tray))
        return look_sheet(by_tray, size, title)
    copies = [one for one in labelled for _ in range(args.copies)]
    return stakes(copies, size, lambda code: _qr(args, code))


def _qr(args: argparse.Namespace, code: str) -> Matrix | None:
    """Return the QR code (ISO/IEC 18004) of a label, as rows of black and white."""
    import segno

    if args.no_qr:
        return None
    text = code if args.address is None else f"{args.address.rstrip('/')}/#{code}"
    made = segno.make(text, micro=False, error="m")
    return tuple(tuple(bool(cell) for cell in row) for row in made.matrix)


def _write(
    pages: Sequence[Page],
    title: str,
    out: Path,
    overwrite: bool,  # noqa: FBT001
) -> list[Path]:
    ending = out.suffix.lower()
    if ending not in _ENDINGS:
        right = " or ".join(f"FILE{one}" for one in _ENDINGS)
        raise AskError(f"--out {out}: write {right}")
    paths = [out]
    if ending == ".svg":
        more = range(2, len(pages) + 1)
        paths += [out.with_name(f"{out.stem}-{n}{out.suffix}") for n in more]
    for path in paths:
        check_free(path, overwrite=overwrite)
    if ending == ".svg":
        for path, page in zip(paths, pages, strict=True):
            with whole_file(path) as building:
                building.write_text(svg(page), encoding="utf-8")
        return paths
    with whole_file(out) as building:
        if ending == ".html":
            building.write_text(printed_html(title, pages), encoding="utf-8")
        else:
            from controller.cli.sheet_pdf import write_pdf

            write_pdf(list(pages), title, building)
    return paths


def _print_list(args: argparse.Namespace, labelled: Sequence[Labelled]) -> None:
    """Print what is to be copied with a pencil."""
    if args.json:
        listed = [
            {
                "code": one.code,
                "name": one.name,
                "kind": one.kind,
                "stuck": one.stuck or None,
                "tray": one.tray or None,
            }
            for one in labelled
        ]
        print(json.dumps({"labels": listed}, ensure_ascii=False, indent=2))
        return
    for one in labelled:
        print(f"{one.code:<8}  {one.stuck or '-':<10}  {one.name or '(free)'}".rstrip())
    if not labelled:
        print("there is no open batch to label; --blank N makes empty labels")


# --------------------------------------------------------------- what a sheet names


def _labelled(args: argparse.Namespace) -> tuple[list[Labelled], str]:
    """Return what is to be labelled, and the bench's name."""
    if not 1 <= args.copies <= _MOST_BLANK or not 0 <= args.blank <= _MOST_BLANK:
        raise AskError(f"--copies is from 1, --blank from 0, both to {_MOST_BLANK}")
    listed = ask(args, "GET", "/v1/batches?withdrawn=true").get("batches")
    known = [one for one in (listed if isinstance(listed, list) else ()) if one]
    zone = ZoneInfo(timezone_of(args))
    found = [_one(one, zone) for one in known if _is_asked(args, one)]
    _check_codes(args, known)
    found += [Labelled(code=code) for code in _free_codes(known, args.blank)]
    return found, bench_of(args)


def _is_asked(args: argparse.Namespace, one: Json) -> bool:
    if _object(one.get("batch")).get("withdrawn"):
        return False
    if args.codes:
        return one.get("code") in {_canonical(code) for code in args.codes}
    in_tray = args.tray is None or one.get("tray") == args.tray
    return one.get("state") != "closed" and in_tray


def _check_codes(args: argparse.Namespace, known: Sequence[Json]) -> None:
    there = {one.get("code") for one in known}
    for code in args.codes:
        if _canonical(code) not in there:
            raise AskError(f"there is no batch {code}; see bottomheat batch list")


def _canonical(code: str) -> str:
    try:
        return canonical(code)
    except CodeError as error:
        raise AskError(f"{code}: {error}") from None


def _free_codes(known: Sequence[Json], count: int) -> list[str]:
    """Return the codes after the highest that was ever given."""
    taken = max((number_of(str(one.get("code"))) for one in known), default=0)
    return [code_of(taken + n) for n in range(1, count + 1)]


def _one(one: Json, zone: ZoneInfo) -> Labelled:
    batch = _object(one.get("batch"))
    stuck = batch.get("stuck_at")
    count = batch.get("count")
    return Labelled(
        code=_text(one.get("code")),
        crop=_text(batch.get("crop")),
        cultivar=_text(batch.get("cultivar")),
        kind=_text(batch.get("kind")),
        stuck=_day(str(stuck), zone) if stuck else "",
        tray=_text(one.get("tray")),
        count="" if count is None else str(count),
        medium=_text(batch.get("medium")),
    )


def _day(text: str, zone: ZoneInfo) -> str:
    return f"{datetime.fromisoformat(text).astimezone(zone):%Y-%m-%d}"


def _text(value: object) -> str:
    return "" if value is None else str(value)


def _object(value: object) -> Mapping[str, object]:
    return value if isinstance(value, dict) else {}
