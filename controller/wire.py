"""Records as JSON-able dicts, versioned, and back again, exactly.

The season log and the API put plans, states, scans and decisions into text.
What comes back is checked as strictly as what a stranger might have written:
an unknown key, a word where a number should be, a newer version or a missing
tag is an error that names the place. A key with a default may be missing, so
that records of an earlier day stay readable. What may live here: the shape of
records outside the program, and the rule for what is worth recording. No I/O.
"""

import json
from collections.abc import Callable, Iterable, Mapping
from functools import cached_property
from typing import Annotated, Generic, TypeVar

from pydantic import ConfigDict, Field, TypeAdapter, ValidationError

from controller.core.decisions import Command, Decisions, Numbers
from controller.core.plan import Plan
from controller.core.scan import Scan, Wish
from controller.core.state import State, Trip

WIRE_VERSION = 1
"""Raised by hand when a record's shape changes so that old ones need care."""

Json = dict[str, object]
"""A JSON object: text keys; values are what json.dumps takes."""

T = TypeVar("T")

CONFIG = ConfigDict(extra="forbid", strict=True, ser_json_inf_nan="constants")
"""How every record is read: nothing unknown, and nothing taken for something else."""

_LONGEST_FOUND = 60


class WireError(ValueError):
    """A record cannot be read: the message says where, what and what is right."""


class Codec(Generic[T]):
    """One kind of record.

    The adapter is of a mapping with the record's name as its only key: then
    our strictness reaches the plain dataclasses inside, and the path in an
    error begins with the name.
    """

    def __init__(
        self,
        name: str,
        make: Callable[[], TypeAdapter[Mapping[str, T]]],
        tagged: tuple[str, str] | None = None,
    ) -> None:
        """Describe a kind of record.

        Args:
            name: Its name.
            make: Makes the adapter, when it is first needed.
            tagged: Where tagged unions are: in which list, under which key.
        """
        self._name = name
        self._make = make
        self._tagged = tagged

    @cached_property
    def _adapter(self) -> TypeAdapter[Mapping[str, T]]:
        return self._make()

    def encode(self, value: T) -> Json:
        """Return {"version": …, name: …}."""
        return {"version": WIRE_VERSION, self._name: self.encode_bare(value)}

    def decode(self, record: object) -> T:
        """Return the value of a dict that encode made."""
        return self.decode_bare(_opened(record, self._name))

    def encode_bare(self, value: T) -> object:
        """Return the record alone; its version stands elsewhere."""
        dumped: Mapping[str, object] = self._adapter.dump_python(
            {self._name: value}, mode="json"
        )
        return dumped[self._name]

    def decode_bare(self, record: object) -> T:
        """Return the value of what encode_bare made."""
        if self._tagged:
            _check_tags(record, self._name, self._tagged)
        boxed = to_text({self._name: record})
        try:
            return self._adapter.validate_json(boxed)[self._name]
        except ValidationError as error:
            raise WireError(_explained(error)) from None


def _opened(record: object, name: str) -> object:
    if not isinstance(record, dict):
        raise WireError(
            f"{name}: found {_shown(record)} where an object with"
            f' "version" and "{name}" should be'
        )
    if record.get("version") != WIRE_VERSION:
        raise WireError(
            f"{name}: found version {_shown(record.get('version'))};"
            f" this program reads version {WIRE_VERSION}"
        )
    if set(record) != {"version", name}:
        raise WireError(
            f'{name}: found the keys {sorted(map(str, record))}; "version" and'
            f' "{name}" should be the only ones'
        )
    inside: object = record[name]
    return inside


def _check_tags(record: object, name: str, tagged: tuple[str, str]) -> None:
    """Refuse a tagged union without its tag: the other keys may fit several."""
    many, one = tagged
    items = record.get(many) if isinstance(record, dict) else None
    for n, item in enumerate(items if isinstance(items, list) else ()):
        union = item.get(one) if isinstance(item, dict) else None
        if isinstance(union, dict) and "kind" not in union:
            raise WireError(f'{name}.{many}.{n}.{one}: "kind" is missing')


def _explained(error: ValidationError) -> str:
    found = error.errors(include_url=False, include_context=False)
    other_kinds = {
        one["loc"][:-1]
        for one in found
        if one["type"] == "literal_error" and one["loc"][-1] == "kind"
    }
    telling = [
        one
        for one in found
        if not any(one["loc"][: len(kind)] == kind for kind in other_kinds)
    ]
    return "; ".join(
        f"{'.'.join(map(str, one['loc']))}: found {_shown(one['input'])}: {one['msg']}"
        for one in telling or found
    )


def _shown(value: object) -> str:
    text = repr(value)
    return text if len(text) <= _LONGEST_FOUND else text[:_LONGEST_FOUND] + "…"


_PLAN: Codec[Plan] = Codec(
    "plan",
    lambda: TypeAdapter(Mapping[str, Plan], config=CONFIG),
    ("mats", "policy"),
)
_STATE: Codec[State] = Codec(
    "state", lambda: TypeAdapter(Mapping[str, State], config=CONFIG)
)
_SCAN: Codec[Scan] = Codec(
    "scan",
    lambda: TypeAdapter(Mapping[str, Scan], config=CONFIG),
    ("requests", "wish"),
)
_DECISIONS: Codec[Decisions] = Codec(
    "decisions", lambda: TypeAdapter(Mapping[str, Decisions], config=CONFIG)
)
_TRIPS: Codec[Mapping[str, Trip]] = Codec(
    "trips", lambda: TypeAdapter(Mapping[str, Mapping[str, Trip]], config=CONFIG)
)
_COMMAND: Codec[Command] = Codec(
    "command", lambda: TypeAdapter(Mapping[str, Command], config=CONFIG)
)
_NUMBERS: Codec[Numbers] = Codec(
    "numbers", lambda: TypeAdapter(Mapping[str, Numbers], config=CONFIG)
)
_WISH: Codec[Wish] = Codec(
    "wish",
    lambda: TypeAdapter(
        Mapping[str, Annotated[Wish, Field(discriminator="kind")]], config=CONFIG
    ),
)


def encode_plan(plan: Plan) -> Json:
    """Return a plan as a versioned JSON-able dict."""
    return _PLAN.encode(plan)


def decode_plan(record: object) -> Plan:
    """Return the plan of a dict; raise WireError where it is damaged."""
    return _PLAN.decode(record)


def encode_state(state: State) -> Json:
    """Return a state as a versioned JSON-able dict."""
    return _STATE.encode(state)


def decode_state(record: object) -> State:
    """Return the state of a dict; raise WireError where it is damaged."""
    return _STATE.decode(record)


def encode_scan(scan: Scan) -> Json:
    """Return a scan as a versioned JSON-able dict."""
    return _SCAN.encode(scan)


def decode_scan(record: object) -> Scan:
    """Return the scan of a dict; raise WireError where it is damaged."""
    return _SCAN.decode(record)


def encode_decisions(decisions: Decisions) -> Json:
    """Return decisions as a versioned JSON-able dict."""
    return _DECISIONS.encode(decisions)


def decode_decisions(record: object) -> Decisions:
    """Return the decisions of a dict; raise WireError where it is damaged."""
    return _DECISIONS.decode(record)


def encode_trips(trips: Mapping[str, Trip]) -> Json:
    """Return trips by mat as a versioned JSON-able dict."""
    return _TRIPS.encode(dict(trips))


def decode_trips(record: object) -> Mapping[str, Trip]:
    """Return the trips of a dict; raise WireError where it is damaged."""
    return _TRIPS.decode(record)


def encode_command(command: Command) -> Json:
    """Return a command as a versioned JSON-able dict."""
    return _COMMAND.encode(command)


def decode_command(record: object) -> Command:
    """Return the command of a dict; raise WireError where it is damaged."""
    return _COMMAND.decode(record)


def encode_wish(wish: Wish) -> object:
    """Return a wish as a JSON-able dict, tagged by its "kind"."""
    return _WISH.encode_bare(wish)


def decode_wish(record: object) -> Wish:
    """Return the wish of a dict; raise WireError where it is damaged."""
    return _WISH.decode_bare(record)


def encode_numbers(numbers: Numbers) -> object:
    """Return the numbers that decided as a list of [name, value]."""
    return _NUMBERS.encode_bare(numbers)


def decode_numbers(record: object) -> Numbers:
    """Return the numbers of such a list; raise WireError where it is damaged."""
    return _NUMBERS.decode_bare(record)


def to_text(record: object) -> str:
    """Return a JSON-able value as one line of text; floats come back exactly."""
    return json.dumps(record, ensure_ascii=False, separators=(",", ":"))


def from_text(text: str | bytes) -> object:
    """Return the JSON-able value of a text; raise WireError if it is no JSON."""
    try:
        value: object = json.loads(text)
    except (ValueError, RecursionError) as error:
        raise WireError(f"found {_shown(text)}: no JSON: {error}") from None
    return value


def take_news(said: dict[str, Command], commands: Iterable[Command]) -> list[Command]:
    """Return the commands worth recording, and remember them.

    A command is news when its mat had none before, or when its cause or state
    differs from the mat's command before. The log's writer and the audit both
    go by this rule.

    Args:
        said: The last command recorded of each mat; brought up to date.
        commands: A scan's commands.
    """
    news = []
    for command in commands:
        known = said.get(command.mat)
        if (
            known is None
            or known.energised != command.energised
            or known.cause is not command.cause
        ):
            said[command.mat] = command
            news.append(command)
    return news
