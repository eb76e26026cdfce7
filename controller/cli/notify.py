"""`bottomheat notify`: who is told of alarms and when; and does it get through?"""

import argparse
import asyncio
import json
import os
import sys
from dataclasses import dataclass
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING

from controller.cli.notify_words import NOBODY, target_in_words, told_in_words

if TYPE_CHECKING:
    from controller.adapters.notify import Target
    from controller.adapters.settings import Settings


@dataclass(frozen=True, slots=True)
class Outcome:
    """What came of a test message.

    Attributes:
        name: Name of the target.
        shown: Its address as people may see it.
        problem: Why the message was not delivered; None: it was.
    """

    name: str
    shown: str
    problem: str | None


def add_parser(
    commands: "argparse._SubParsersAction[argparse.ArgumentParser]",
) -> None:
    """Add the command to the command line."""
    parser = commands.add_parser(
        "notify",
        help="tell who is told of alarms, and send a test message",
        description=(
            "Tells in words who is told of which alarms, and when. With --test it"
            " sends a message to each target, or to one, without the daemon."
            " Exit 0: done; 1: a message was not delivered, or nobody is told;"
            " 2: configuration."
        ),
    )
    parser.add_argument(
        "--config",
        type=Path,
        default=Path("config/bench.toml"),
        help="the configuration (default: %(default)s)",
    )
    parser.add_argument(
        "--test",
        metavar="NAME",
        nargs="?",
        const="",
        help="send a test message to this target; without a name, to each",
    )
    parser.add_argument("--json", action="store_true", help="print JSON")


def run(args: argparse.Namespace) -> int:
    """Run the command; return its exit status."""
    from controller.adapters.mqtt import publish_notice_once
    from controller.adapters.settings import load
    from controller.cli.telling import targets_of

    settings = load(args.config, os.environ)
    targets = targets_of(settings, partial(publish_notice_once, settings.wiring))
    if args.test is None or not targets:
        return _list(settings, targets, as_json=args.json)
    chosen = [t for t in targets if args.test in {"", t.wire.name}]
    if not chosen:
        known = ", ".join(target.wire.name for target in targets)
        print(
            f"bottomheat notify: --test {args.test}: no such target; known: {known}",
            file=sys.stderr,
        )
        return 2
    outcomes = asyncio.run(_test(settings, chosen))
    _print_outcomes(outcomes, as_json=args.json)
    return 1 if any(outcome.problem for outcome in outcomes) else 0


def _list(settings: "Settings", targets: "list[Target]", *, as_json: bool) -> int:
    shown = {target.wire.name: target.sender.shown for target in targets}
    if as_json:
        told = [
            {
                "name": target.wire.name,
                "address": target.sender.shown,
                "in_words": list(target_in_words(target.wire, target.sender.shown)),
            }
            for target in targets
        ]
        print(json.dumps({"notify": told}, ensure_ascii=False, indent=2))
    elif targets:
        print("\n".join(told_in_words(settings, shown)))
    else:
        print(NOBODY)
    return 0 if targets else 1


async def _test(settings: "Settings", targets: "list[Target]") -> list[Outcome]:
    """Send a message to each target, all at the same time."""
    return list(await asyncio.gather(*(_try(settings, target) for target in targets)))


async def _try(settings: "Settings", target: "Target") -> Outcome:
    import uuid

    from controller.adapters.clocks import SystemClock
    from controller.adapters.notify import NotSentError, Paper, plain_letter

    now = SystemClock(settings.timezone).now()
    paper = Paper(
        bench=settings.plan.bench,
        run_ms=now.run_ms,
        utc_ms=now.utc_ms,
        clock_ok=now.clock_ok,
        clock=str,
        new_id=lambda: uuid.uuid4().hex,
    )
    text = "A test: messages from this bench get through."
    letter = plain_letter(target.wire.name, "test", text, paper)
    problem: str | None = None
    try:
        await target.sender.send(letter)
    except NotSentError as error:
        problem = str(error)
    return Outcome(target.wire.name, target.sender.shown, problem)


def _print_outcomes(outcomes: list[Outcome], *, as_json: bool) -> None:
    if as_json:
        found = [
            {
                "name": outcome.name,
                "address": outcome.shown,
                "delivered": outcome.problem is None,
                "problem": outcome.problem,
            }
            for outcome in outcomes
        ]
        print(json.dumps({"test": found}, ensure_ascii=False, indent=2))
        return
    for outcome in outcomes:
        at = f"{outcome.name} ({outcome.shown})"
        if outcome.problem is None:
            print(f"{at}: delivered; has it arrived?")
        else:
            print(f"{at}: NOT delivered: {outcome.problem}")
