"""`bottomheat trays --watch`: the table, drawn anew whenever the bench changes.

One thread reads what comes; the other draws, at least each second, so that the age
of what is shown is always told. What may live here: that, and the terminal.
"""

import argparse
import http.client
import json
import queue
import shutil
import signal
import sys
import threading
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass

from controller.adapters.clocks import run_clock_ns
from controller.cli.asking import clean, told
from controller.cli.live_stream import SILENT_S, Json, Told, events
from controller.cli.over_http import Answer, AskError, stream

AGAIN_S = (1.0, 2.0, 5.0, 10.0)
"""Chosen: pauses before one tries again to reach a bench that went away."""

_STALE_S = 2.0
"""Ages up to this are "now" for a person."""

Table = Callable[[Json], Iterator[str]]


@dataclass(frozen=True, slots=True)
class _Lost:
    """The connection went, or could not be had again."""

    why: str


@dataclass(frozen=True, slots=True)
class _Refused:
    """The bench will not have us."""

    error: AskError


_News = Told | _Lost | _Refused


def watch(args: argparse.Namespace, table: Table) -> int:
    """Show the bench until Ctrl-C; return the exit status.

    Args:
        args: With url, token_file and json.
        table: Makes the lines of a bench.

    Raises:
        AskError: No bench answers at the start, or it will not have us.
    """
    news: queue.Queue[_News] = queue.Queue()
    ended = threading.Event()
    threading.Thread(target=_read, args=(args, news, ended), daemon=True).start()
    show = _lines_of_json if args.json else _screen(table)
    try:
        with _ended_by_signals():
            show(news)
    except KeyboardInterrupt:
        pass  # it is how a person ends it
    finally:
        ended.set()
    return 0


def _read(
    args: argparse.Namespace, news: "queue.Queue[_News]", ended: threading.Event
) -> None:
    """Put everything that comes into the queue; come back when it breaks off."""
    last_id, failed = "", 0
    while not ended.is_set():
        try:
            for one in _coming(args, last_id):
                last_id, failed = one.id, 0
                news.put(one)
            why = "the bench hung up"
        except AskError as error:
            if not last_id or isinstance(error, _ForGoodError):
                news.put(_Refused(error))
                return
            why = str(error)
        except (OSError, ValueError, http.client.HTTPException) as error:
            why = str(error) or "nothing comes"
        news.put(_Lost(why))
        ended.wait(AGAIN_S[min(failed, len(AGAIN_S) - 1)])
        failed += 1


class _ForGoodError(AskError):
    """It makes no sense to try again: the token is not known any more."""


def _coming(args: argparse.Namespace, last_id: str) -> Iterator[Told]:
    headers = {"Last-Event-ID": last_id} if last_id else {}
    found = stream(args, "/v1/live", headers, SILENT_S)
    if isinstance(found, Answer):
        try:
            told(args.url.rstrip("/"), found)
        except AskError as error:
            if found.status in {401, 403}:
                raise _ForGoodError(str(error)) from None
            raise
        raise AskError(f"{args.url}: what answers there is no bench to watch")
    try:
        yield from events(found)
    finally:
        found.close()


# ------------------------------------------------------------------- for programs


def _lines_of_json(news: "queue.Queue[_News]") -> None:
    while True:
        one = news.get()
        if isinstance(one, _Refused):
            raise one.error
        if isinstance(one, Told):
            print(json.dumps(one.data, ensure_ascii=False), flush=True)
        else:
            print(f"bottomheat trays: {clean(one.why)}", file=sys.stderr, flush=True)


# --------------------------------------------------------------------- for people


def _screen(table: Table) -> Callable[["queue.Queue[_News]"], None]:
    def show(news: "queue.Queue[_News]") -> None:
        if not sys.stdout.isatty():
            _one_below_the_other(table, news)
            return
        last: list[str] = []
        try:
            with _whole_screen():
                for last in _frames(table, news):
                    draw(last)
        finally:
            print("\n".join(last), flush=True)  # what was seen stays to be read

    return show


def _one_below_the_other(table: Table, news: "queue.Queue[_News]") -> None:
    while True:
        one = news.get()
        if isinstance(one, _Refused):
            raise one.error
        lines = [_lost_words(one.why)] if isinstance(one, _Lost) else table(one.data)
        print("\n".join(lines) + "\n", flush=True)


def _frames(table: Table, news: "queue.Queue[_News]") -> Iterator[list[str]]:
    """Yield what to draw: at news, and each second."""
    bench: Json | None = None
    came_ns, lost = 0, ""
    while True:
        try:
            one = news.get(timeout=1.0)
        except queue.Empty:
            one = None
        match one:
            case _Refused(error):
                raise error
            case _Lost(why):
                lost = why
            case Told(_, data):
                bench, came_ns, lost = data, run_clock_ns(), ""
            case None:
                pass
        if bench is not None:
            yield frame(table(bench), (run_clock_ns() - came_ns) / 1e9, lost)


def frame(lines: Iterator[str], age_s: float, lost: str) -> list[str]:
    """Return the lines of a picture.

    Args:
        lines: The table, whose first line says how old it was when it came.
        age_s: How long ago that was [s].
        lost: Why nothing comes any more; empty: it does.
    """
    first, *rest = lines
    if lost:
        return [_lost_words(lost, age_s), first, *rest]
    if age_s > _STALE_S:
        first += f", shown for {age_s:.0f} s"
    return [first, *rest, "", "Ctrl-C ends."]


def _lost_words(why: str, age_s: float | None = None) -> str:
    shown = "" if age_s is None else f" What you see is {_age(age_s)} old."
    return f"CONNECTION LOST: {clean(why)}.{shown} Trying again."


def _age(age_s: float) -> str:
    return f"{age_s:.0f} s" if age_s < 120 else f"{age_s / 60:.0f} min"  # noqa: PLR2004


def draw(lines: Sequence[str]) -> None:
    """Draw over what is there, line by line, so that nothing flickers.

    Control sequences of ECMA-48: cursor home, erase to the end of the line, erase
    what is below.
    """
    columns, rows = shutil.get_terminal_size()
    shown = [line[:columns] for line in lines[:rows]]
    sys.stdout.write("\x1b[H" + "\x1b[K\r\n".join(shown) + "\x1b[K\x1b[J")
    sys.stdout.flush()


@contextmanager
def _whole_screen() -> Iterator[None]:
    """Use the terminal's other screen, cursor hidden, and give it back as it was."""
    sys.stdout.write("\x1b[?1049h\x1b[?25l\x1b[2J")
    try:
        yield
    finally:
        sys.stdout.write("\x1b[?25h\x1b[?1049l")
        sys.stdout.flush()


@contextmanager
def _ended_by_signals() -> Iterator[None]:
    """End in good order on SIGTERM and SIGHUP, too, where this is the main thread."""
    if threading.current_thread() is not threading.main_thread():
        yield
        return

    def end(*_: object) -> None:
        raise KeyboardInterrupt

    before = {n: signal.signal(n, end) for n in (signal.SIGTERM, signal.SIGHUP)}
    try:
        yield
    finally:
        for number, handler in before.items():
            signal.signal(number, handler)
