"""The bench as it changes, read from /v1/live as its lines come.

Server-sent events as the HTML standard has them (section 9.2.6), as far as the
bench sends them. What may live here: reading that form. No screen.
"""

import json
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field

from controller.cli.over_http import LARGEST, AskError, Stream

SILENT_S = 40.0
"""Chosen: a bench says something every 15 s, so two words were lost."""

Json = Mapping[str, object]


@dataclass(frozen=True, slots=True)
class Told:
    """One event.

    Attributes:
        id: What to go on after.
        data: The bench, as GET /v1/bench has it.
    """

    id: str
    data: Json


@dataclass(slots=True)
class _Parts:
    """An event as far as its lines have come."""

    id: str = ""
    event: str = ""
    data: list[str] = field(default_factory=list)


def events(stream: Stream) -> Iterator[Told]:
    """Yield the bench after each scan, until the stream ends.

    Raises:
        AskError: What comes is no bench.
        OSError: The connection is lost.
    """
    parts = _Parts()
    while line := stream.readline(LARGEST):
        if not line.endswith(b"\n"):
            return  # cut off in the middle: what is not whole is no event
        text = line.decode("utf-8", "replace").rstrip("\r\n")
        if text:
            _take(parts, text)
        else:
            if parts.event == "bench":
                yield Told(parts.id, _bench(parts.data))
            parts = _Parts(id=parts.id)


def _take(parts: _Parts, line: str) -> None:
    name, _, value = line.partition(":")
    value = value.removeprefix(" ")
    if name == "id":
        parts.id = value
    elif name == "event":
        parts.event = value
    elif name == "data":
        parts.data.append(value)


def _bench(lines: list[str]) -> Json:
    try:
        found: object = json.loads("\n".join(lines))
    except (ValueError, RecursionError):
        found = None
    bench = found.get("bench") if isinstance(found, dict) else None
    if not isinstance(bench, dict):
        raise AskError("what comes from there is no bottomheat bench")
    return bench
