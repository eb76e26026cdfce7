"""`bottomheat setup`: an evening from a box of parts to a warm bench."""

import argparse
import asyncio
import os
import sys
from collections.abc import AsyncIterator, Awaitable, Callable, Iterator
from contextlib import asynccontextmanager, contextmanager, suppress
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from controller.adapters.mqtt import Door
    from controller.cli.relay_trial import Hand
    from controller.cli.settling.answers import MatAnswers
    from controller.cli.settling.ending import Login
    from controller.cli.settling.senses import BoardSenses
    from controller.cli.settling.stage import Stage
    from controller.cli.settling.system import Board
    from controller.ports import Clock
    from controller.wiring import BrokerWire

STEPS = (
    "who",
    "one-wire",
    "mats",
    "broker",
    "probes",
    "names",
    "cup",
    "places",
    "click",
    "mat-test",
    "setpoints",
    "phone",
    "write",
    "service",
)
"""In this order; each is kept when it is over."""

ANSWERS = "var/lib/bottomheat/setup.json"

_NEXT_TIME = "it goes on here next time."


def add_parser(
    commands: "argparse._SubParsersAction[argparse.ArgumentParser]",
) -> None:
    """Add the command to the command line."""
    parser = commands.add_parser(
        "setup",
        help="set a bench up, step by step: broker, probes, relays, configuration",
        description=(
            "Asks few questions, gives the broker its passwords, finds out which probe"
            " is which by the warmth of your fist, takes offsets from a cup of water,"
            " tries the relays and writes a configuration. It may be interrupted and"
            " goes on where it was. As root it sets this board up; as anybody else it"
            " writes into the folder bottomheat-setup, for a look. Heat is on only"
            " after a yes. Exit 0: done; 1: something is to be done before it goes on;"
            " 2: usage."
        ),
    )
    parser.add_argument(
        "--root",
        type=Path,
        metavar="FOLDER",
        help="write below it and run nothing (default: / for root)",
    )
    one = parser.add_mutually_exclusive_group()
    one.add_argument(
        "--again",
        choices=STEPS,
        metavar="STEP",
        help="go back to a step, and on from there: " + ", ".join(STEPS),
    )
    one.add_argument(
        "--only",
        choices=STEPS,
        metavar="STEP",
        help="one step and no other, by the answers of an evening that was: on a new"
        " board, with setup.json of the old one, broker and then service",
    )
    parser.add_argument(
        "--broker-port", type=int, default=1883, metavar="PORT", help="of mosquitto"
    )


def run(args: argparse.Namespace) -> int:
    """Run the command; return its exit status."""
    from controller.adapters.clocks import SystemClock
    from controller.cli.person import Terminal
    from controller.cli.settling.answers import AnswersError, loaded, saved
    from controller.cli.settling.stage import Stage
    from controller.cli.settling.system import Board

    person = Terminal()
    usual = Path("/") if os.geteuid() == 0 else Path("bottomheat-setup")
    root = (args.root or usual).resolve()
    file = root / ANSWERS
    try:
        answers = loaded(file)
    except AnswersError as error:
        print(f"bottomheat setup: {error}", file=sys.stderr)
        return 2
    if root != Path("/"):
        person.tell(f"Nothing on this board is changed: files go to {root}")
    if not (args.again or args.only) and answers.done == list(STEPS):
        person.tell(f"All is done. To go back: --again {', '.join(STEPS)}")
        return 0
    board, clock = Board(root, person.tell), SystemClock("UTC")
    reached = Reached(board, root, clock, args.broker_port)
    stage = Stage(
        answers=answers,
        keep=lambda: saved(answers, file),
        person=person,
        clock=clock,
        system=board,
        senses=lambda: reached.senses(stage),
        hand=reached.hand,
        random=os.urandom,
        port=args.broker_port,
    )
    with _controller_away(board, person.tell):
        return _gone_through(stage, reached.login, args.again, args.only)


def _gone_through(
    stage: "Stage", login: "Login", again: str | None, only: str | None
) -> int:
    """Go through the evening; return the exit status."""
    from controller.cli.person import LeftError, attended
    from controller.cli.settling.stage import LaterError

    try:
        asyncio.run(attended(evening(stage, login, again=again, only=only)))
    except LaterError as later:
        stage.person.tell(f"\n{later}.")
        return 1
    except (ConnectionError, EOFError) as error:
        said = str(error) or "the answers ended"
        print(f"bottomheat setup: {said}; {_NEXT_TIME}", file=sys.stderr)
        return 1
    except (KeyboardInterrupt, LeftError):
        print(f"\nbottomheat setup: interrupted; {_NEXT_TIME}", file=sys.stderr)
        return 130
    return 0


@contextmanager
def _controller_away(board: "Board", tell: Callable[[str], None]) -> Iterator[None]:
    """Stop a controller that runs: two would command the same relays.

    However setup ends, it is told if the bench has no controller then.
    """
    active = ("systemctl", "is-active", "--quiet", "bottomheat")
    stopped = board.in_earnest and board.run(*active)
    if stopped:
        board.run("systemctl", "stop", "bottomheat")
    try:
        yield
    finally:
        if stopped and not board.run(*active):
            tell(
                "The controller was stopped meanwhile, and mats are off. To start it:"
                " sudo systemctl start bottomheat"
            )


async def evening(
    stage: "Stage",
    login: "Login",
    *,
    again: str | None = None,
    only: str | None = None,
) -> None:
    """Go through the steps that are not over, keeping the answers after each.

    Args:
        stage: What the steps reach the world through.
        login: Makes a login for a phone.
        again: A step to go back to.
        only: A step to go through by itself, what was answered before standing.

    Raises:
        LaterError: Something is to be done first; the message says what.
        ConnectionError: The broker is not there.
    """
    if only is not None:
        await _by_itself(stage, only, _steps(login)[only])
        return
    answers = stage.answers
    if again is not None:
        answers.done = answers.done[: STEPS.index(again)]
        if again == "names":
            for probe in answers.probes:
                probe.name = ""
    elif answers.done:
        stage.person.tell(f"Going on after: {', '.join(answers.done)}")
    for name, step in _steps(login).items():
        if name in answers.done:
            continue
        stage.person.tell(f"\n== {STEPS.index(name) + 1} of {len(STEPS)}: {name}")
        try:
            await step(stage)
        finally:
            stage.keep()
        answers.done.append(name)
        stage.keep()


async def _by_itself(
    stage: "Stage", name: str, step: "Callable[[Stage], Awaitable[None]]"
) -> None:
    from controller.cli.settling.stage import LaterError

    missing = STEPS[: STEPS.index(name)]
    missing = tuple(one for one in missing if one not in stage.answers.done)
    if missing:
        raise LaterError(
            f"{name} by itself needs what {', '.join(missing)} ask: run setup without"
            f" --only, or put the setup.json of the old board to /{ANSWERS}"
        )
    try:
        await step(stage)
    finally:
        stage.keep()


def _steps(login: "Login") -> "dict[str, Callable[[Stage], Awaitable[None]]]":
    from controller.cli.settling import bench, ending, heat, mats, naming, probes

    async def phone(stage: "Stage") -> None:
        await ending.phone(stage, login)

    found = (
        bench.who,
        bench.one_wire,
        mats.asked,
        bench.broker,
        probes.found,
        naming.named,
        probes.cup,
        probes.placed,
        heat.clicked,
        heat.tested,
        heat.wanted,
        phone,
        ending.written,
        ending.service,
    )
    return dict(zip(STEPS, found, strict=True))


class Reached:
    """Reaches probes and relays through the broker that was just set up.

    Args:
        board: The board.
        root: Below which its files lie.
        clock: Where time comes from.
        port: The broker's port.
    """

    def __init__(self, board: "Board", root: Path, clock: "Clock", port: int) -> None:
        self._board = board
        self._root = root
        self._clock = clock
        self._port = port

    def wire(self) -> "BrokerWire":
        """Return how the daemon enters the broker."""
        from controller.cli.broker_files import DAEMON
        from controller.cli.settling.config_text import BROKER_PASSWORD
        from controller.wiring import BrokerWire

        file = self._root / BROKER_PASSWORD.lstrip("/")
        return replace(BrokerWire(port=self._port), username=DAEMON, password_file=file)

    def login(self, *, operate: bool) -> str:
        """Make a login for a phone."""
        from controller.cli.settling.config_text import SEASON_LOG
        from controller.cli.settling.login import login_link

        log = self._root / SEASON_LOG.lstrip("/")
        return login_link(log, self._board.name(), self._clock, operate=operate)

    @asynccontextmanager
    async def senses(self, stage: "Stage") -> "AsyncIterator[BoardSenses]":
        """Open what measures."""
        from controller.cli.settling.senses import board_senses

        answers = stage.answers
        others = answers.nodes > 0
        async with board_senses(
            self.wire() if others else None,
            self._clock,
            bench=answers.bench,
            wired=answers.wired,
            relays=[t for mat in answers.mats for t in (mat.command, mat.says) if t],
        ) as senses:
            yield senses

    @asynccontextmanager
    async def hand(self, mat: "MatAnswers") -> "AsyncIterator[Hand]":
        """Open what reaches the relay of a mat."""
        from controller.adapters.mqtt import Door

        if mat.relay == "pin":
            async with _pin_hand(mat, self._clock) as hand:
                yield hand
            return
        async with _mqtt_hand(mat, Door(self.wire()), self._clock) as hand:
            yield hand


@asynccontextmanager
async def _mqtt_hand(
    mat: "MatAnswers", door: "Door", clock: "Clock"
) -> "AsyncIterator[Hand]":
    from controller.adapters.ear import Ear
    from controller.cli.relay_trial import hand_on
    from controller.cli.settling.senses import patient_peer
    from controller.core.plan import RelayKind
    from controller.wiring import RelayWire

    wire = RelayWire(
        mat=mat.name,
        kind=RelayKind.LEASE if mat.relay == "lease" else RelayKind.PLAIN,
        topic=mat.command,
        on_word=mat.on,
        off_word=mat.off,
        reports_on=mat.says or None,
    )
    run = f"setup-{clock.now().utc_ms:x}"
    async with patient_peer(door, "bottomheat-setup-hand", clock) as peer:
        ear = Ear(peer, clock)
        if mat.says:
            await peer.subscribe(mat.says)
        hearing = asyncio.ensure_future(ear.serve())
        try:
            async with hand_on(wire, door, ear, clock, run) as hand:
                await hand.off()  # by its own "off" a lease relay takes up a new run
                yield hand
        finally:
            hearing.cancel()
            with suppress(asyncio.CancelledError, ConnectionError):
                await hearing


@asynccontextmanager
async def _pin_hand(mat: "MatAnswers", clock: "Clock") -> "AsyncIterator[Hand]":
    from controller.cli.settling.pin_hand import PinHand

    hand = PinHand(mat.command, clock, active_low=mat.active_low)
    try:
        yield hand
    finally:
        hand.close()
