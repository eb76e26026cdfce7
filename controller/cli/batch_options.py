"""What can be said of a batch on the command line, as the API wants it told.

What may live here: options and how they become a body. No command.
"""

import argparse
from collections.abc import Callable
from dataclasses import dataclass

from controller.cli.asking import Json
from controller.cli.record_words import at_said
from controller.records.batches import BatchKind, Carrier, Cover, WrapMaterial


@dataclass(frozen=True, slots=True)
class _Option:
    """One option: where it goes in a body, and how it is read.

    Attributes:
        name: The option's.
        key: Place in the body; one within an object is written object.key.
        read: Makes a value of its text.
        help: In words.
        choices: What it may be; empty: anything.
    """

    name: str
    key: str
    read: Callable[[str], object]
    help: str
    choices: tuple[str, ...] = ()


_OPTIONS = (
    _Option("--cultivar", "cultivar", str, "which one"),
    _Option("--source", "source", str, "where it came from"),
    _Option("--mother", "mother", str, "the plant that it was taken from"),
    _Option("--collected", "collected", str, "the day, such as 2026-12-03"),
    _Option("--storage", "storage", str, "how it was kept until it was stuck"),
    _Option("--count", "count", int, "how many were stuck"),
    _Option("--wanted", "wanted", int, "plants wanted of it in the end"),
    _Option("--sentinels", "sentinels", int, "spare ones for lifting, not counted"),
    _Option("--nodes", "nodes", int, "nodes of each"),
    _Option("--length", "length_mm", float, "length of each [mm]"),
    _Option("--thickness", "thickness_mm", float, "thickness of each [mm]"),
    _Option("--nodes-below", "nodes_below", int, "nodes below the surface"),
    _Option("--depth", "base_depth_mm", float, "how deep the base is [mm]"),
    _Option("--basal-cut", "basal_cut", str, "how the base was cut"),
    _Option("--wounds", "wounds.sides", int, "bark cut away on so many sides"),
    _Option("--wound-length", "wounds.length_mm", float, "and so far up [mm]"),
    _Option("--hormone", "hormone.active", str, "the active substance"),
    _Option("--ppm", "hormone.ppm", float, "how much of it [ppm]"),
    _Option("--carrier", "hormone.carrier", str, "powder, dip or gel", (*Carrier,)),
    _Option("--seconds", "hormone.seconds", float, "of a dip [s]"),
    _Option("--disinfection", "disinfection", str, "against rot; may be none"),
    _Option("--wrap", "wrap.material", str, "film, tape or wax", (*WrapMaterial,)),
    _Option("--wrap-down", "wrap.down_mm", float, "how far down it reaches [mm]"),
    _Option("--wrap-off", "wrap.off", str, "the day on which it came off"),
    _Option("--cover", "cover", str, "over the tray: none, vented, closed", (*Cover,)),
    _Option("--medium", "medium", str, "recipe"),
    _Option("--container", "container", str, "the container, or pot"),
    _Option("--tray", "tray", str, "the tray it was stuck into"),
    _Option("--place", "place", str, "where in the tray, or where else"),
    _Option("--base", "base_c", float, "degree-hours count above [°C]"),
    _Option("--upper", "upper_c", float, "and no faster above [°C]"),
    _Option("--text", "text", str, "whatever else"),
)


def add_batch_options(parser: argparse.ArgumentParser) -> None:
    """Add everything that can be said of a batch but its crop and kind."""
    for one in _OPTIONS:
        parser.add_argument(
            one.name, type=one.read, help=one.help, choices=one.choices or None
        )
    parser.add_argument("--stuck", metavar="TIME", help="when it was stuck")


def add_kind(parser: argparse.ArgumentParser, *, required: bool) -> None:
    """Add the kind of a batch, of which one has a second name."""
    parser.add_argument(
        "--kind",
        required=required,
        choices=[kind.value for kind in BatchKind],
        type=lambda text: "semi-hardwood" if text == "semi-ripe" else text,
        help=", ".join(BatchKind) + " (semi-ripe is semi-hardwood)",
    )


def batch_said(args: argparse.Namespace) -> Json:
    """Return what was said of a batch, and nothing else."""
    body: Json = {}
    for one in _OPTIONS:
        value = getattr(args, one.name.removeprefix("--").replace("-", "_"))
        if value is None:
            continue
        outer, _, inner = one.key.partition(".")
        if inner:
            within = body.setdefault(outer, {})
            if isinstance(within, dict):
                within[inner] = value
        else:
            body[outer] = value
    if args.stuck is not None:
        body["stuck_at"] = at_said(args, "--stuck", args.stuck)
    return body
