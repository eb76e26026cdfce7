"""The command line: one module per command, and the frame that starts them.

This package is the composition root, the only one that sees everything. The
module of a command has `add_parser(commands)`, which adds its parser, and
`run(args)`, which does the work and returns the exit code: 0 done, 1 findings,
2 usage or configuration. Only the module of the command that was asked for is
imported: help and mistakes are answered at once, on a small board too.
"""

import argparse
import importlib
import keyword
import os
import sys
from collections.abc import Sequence
from typing import Protocol, TypeAlias, cast

Subparsers: TypeAlias = "argparse._SubParsersAction[argparse.ArgumentParser]"  # noqa: SLF001
"""What argparse's add_subparsers returns; it has no public name."""

GROUPS = (
    (
        "every day",
        (
            ("trays", "show the bench now, as a table"),
            ("batch", "batches of cuttings or seed: add, list, look, move, close"),
            (
                "trial",
                "trials of media or treatments: plan before sticking, compare after",
            ),
            ("event", "tell what was done at the bench: watered, turned, moved, …"),
            (
                "forecast",
                "by when half of those of each batch that will root have rooted",
            ),
            ("run", "run the controller of a bench"),
        ),
    ),
    (
        "now and then",
        (
            (
                "varieties",
                "what came of each variety, and how many to stick next season",
            ),
            (
                "prepare",
                "amounts of bleach, hormone and medium, and how to cut, for printing",
            ),
            (
                "labels",
                "stake labels, a wall key of codes and a look sheet, for printing",
            ),
            ("report", "a season with pictures, as one page that prints well"),
            ("demo", "run a simulated bench: no hardware needed"),
            (
                "setup",
                "set a bench up, step by step: broker, probes, relays, configuration",
            ),
            ("token", "who may use the API: make, list and revoke tokens"),
            ("check", "hold a configuration to its rules and say it in words"),
            ("benches", "many benches at a glance, what needs somebody first"),
            ("degree-hours", "count thermal time again from a season log"),
            ("notify", "tell who is told of alarms, and send a test message"),
            ("export", "write a season log's readings to CSV or Parquet"),
            ("import", "take another recorder's CSV file into a season log"),
            ("backup", "copy a season log, also while it is written"),
            ("forget", "delete old runs of a season log, after saying what goes"),
            (
                "probe-reader",
                "read one-wire probes on this board for a controller elsewhere",
            ),
            (
                "relay-keeper",
                "keep relays on this board's pins for a controller elsewhere",
            ),
        ),
    ),
    (
        "engineering",
        (
            ("simulate", "run a bench in virtual time and write its season log"),
            ("fit", "find a thermal model of each root zone in a season log"),
            ("whatif", "what another setting would have done, in the model of a log"),
            ("tune", "search settings for the next season in the model of a log"),
            ("sweep", "fit and tune the season logs of many benches"),
            ("migrate", "bring an older season log up to this version"),
            ("audit", "decide every scan of a season log again and compare"),
        ),
    ),
)
"""Every command with its line of help, in the order in which help names them.
The command "do-it" lives in controller/cli/do_it.py, and one whose name Python
keeps for itself has an underscore behind it, as in import_.py."""

COMMANDS = tuple(name for _, lines in GROUPS for name, _ in lines)

_DESCRIPTION = """\
Keeps the root zones of heated propagation benches where they should be,
fails cold, and remembers everything."""


class CommandModule(Protocol):
    """What a module of this package that holds a command has."""

    def add_parser(self, commands: Subparsers) -> object:
        """Add the command's parser, under the command's name."""
        ...

    def run(self, args: argparse.Namespace) -> int:
        """Do it and return the exit code."""
        ...


def build_parser() -> argparse.ArgumentParser:
    """Return the whole parser; imports the modules of all commands."""
    parser, commands = _frame()
    for name in COMMANDS:
        _module(name).add_parser(commands)
    return parser


def main(argv: Sequence[str] | None = None) -> int:
    """Run the command that was asked for.

    Args:
        argv: The words after the program's name; None: those of this process.

    Returns:
        0 done, 1 findings, 2 usage or configuration, 130 interrupted.
    """
    words = sys.argv[1:] if argv is None else argv
    if list(words) == ["--version"]:
        print(f"bottomheat {_version()}")
        return 0
    args = _parser_for(words).parse_args(words)
    try:
        return _module(args.command).run(args)
    except KeyboardInterrupt:
        return 130
    except BrokenPipeError:  # whoever read our output has seen enough
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        return 0
    except Exception as error:
        sentence = _for_people(error)
        if sentence is None:
            raise
        from controller.endings import warn

        warn(f"bottomheat {args.command}: {sentence}")
        return 2


def _parser_for(words: Sequence[str]) -> argparse.ArgumentParser:
    """Return a parser that knows the command asked for, and the others by name."""
    asked = next((word for word in words if not word.startswith("-")), None)
    parser, commands = _frame()
    for name in COMMANDS:
        if name == asked:
            _module(name).add_parser(commands)
        else:
            commands.add_parser(name)
    return parser


def _frame() -> tuple[argparse.ArgumentParser, Subparsers]:
    parser = argparse.ArgumentParser(
        prog="bottomheat",
        usage="bottomheat [-h] [--version] COMMAND ...",
        description=f"{_DESCRIPTION}\n\n{_listing()}",
        epilog="bottomheat COMMAND --help tells more of one command.",
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    parser.add_argument(
        "--version", action="store_true", help="show the version and exit"
    )
    # argparse would list the commands in one heap: the description has them.
    commands = parser.add_subparsers(
        prog="bottomheat",
        dest="command",
        required=True,
        metavar="COMMAND",
        help=argparse.SUPPRESS,
    )
    return parser, commands


def _listing() -> str:
    return "\n\n".join(
        "\n".join([f"{title}:", *(f"  {name:12}  {line}" for name, line in lines)])
        for title, lines in GROUPS
    )


def _module(name: str) -> CommandModule:
    file = name.replace("-", "_") + ("_" if keyword.iskeyword(name) else "")
    module = importlib.import_module(f"{__name__}.{file}")
    return cast("CommandModule", module)


def _version() -> str:
    from importlib import metadata

    try:
        return metadata.version("bottomheat")
    except metadata.PackageNotFoundError:
        return "of sources that are not installed"


def _for_people(error: Exception) -> str | None:
    """Return an error's words if they are meant for people, else None: a bug."""
    from controller.adapters.access import AccessError
    from controller.adapters.broker import BrokerMissingError
    from controller.adapters.exchange import ExchangeError
    from controller.adapters.gpio import PinError
    from controller.adapters.mqtt import WiringError
    from controller.adapters.notify import NotifyError
    from controller.adapters.season_log import LogError
    from controller.adapters.settings import SettingsError

    ours = (
        AccessError,
        BrokerMissingError,
        ExchangeError,
        LogError,
        NotifyError,
        PinError,
        SettingsError,
        WiringError,
    )
    if isinstance(error, ours):
        return str(error)
    if isinstance(error, OSError) and error.filename is not None:
        return f"{error.filename}: {error.strerror}"
    return None
