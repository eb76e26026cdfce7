"""What a person answered so far, kept in a small file. Pure but for that file.

No secret is in it: passwords are on their cards and in the broker's own files.
"""

import json
from dataclasses import asdict, dataclass, field, fields
from pathlib import Path

from pydantic import TypeAdapter


@dataclass(slots=True)
class MatAnswers:
    """One mat.

    Attributes:
        name: Its name.
        power: As printed on it, such as "100 W".
        area: Its heated area, such as "1.2 m x 0.53 m".
        relay: "watch", "lease", "plain" or "pin".
        command: Topic of its commands, or its pin.
        says: Topic of its state; empty: it says nothing.
        on: A plain relay's word for on.
        off: A plain relay's word for off.
        setpoint: What is wanted, such as "21 °C".
        active_low: Whether a pin's low level switches on.
        card: The mat whose relay is on the same board, which has one name and one
            password; empty: none.
    """

    name: str
    power: str = ""
    area: str = ""
    relay: str = "watch"
    command: str = ""
    says: str = ""
    on: str = "ON"
    off: str = "OFF"
    setpoint: str = "21 °C"
    active_low: bool = False
    card: str = ""


@dataclass(slots=True)
class ProbeAnswers:
    """One probe.

    Attributes:
        address: "28-…", or a topic, or a topic, "#" and a JSON Pointer.
        name: Its name; empty: not known yet.
        place: "tray NAME", "mat NAME", "room" or empty.
        every_s: How often it speaks [s].
        unit: Of what it says: "°C" or "°F".
        offset_k: What is added to its readings [K]; None: not known.
        offset_date: When that was found.
    """

    address: str
    name: str = ""
    place: str = ""
    every_s: int = 30
    unit: str = "°C"
    offset_k: float | None = None
    offset_date: str = ""


@dataclass(slots=True)
class TrayAnswers:
    """One container.

    Attributes:
        name: Its name.
        mat: The mat below it; empty: none.
        medium: What is in it.
    """

    name: str
    mat: str = ""
    medium: str = ""


@dataclass(slots=True)
class Answers:
    """All of it.

    Attributes:
        bench: Name of the bench.
        timezone: IANA name.
        unit: "°C" or "°F".
        wired: Whether one-wire probes hang on this board.
        nodes: How many other boards publish probes.
        trial: Whether two media are compared.
        mats: The mats.
        trays: The containers.
        probes: The probes.
        phone: Whether the page is looked at from a phone at home.
        done: Names of the steps that are over.
    """

    bench: str = ""
    timezone: str = "UTC"
    unit: str = "°C"
    wired: bool = False
    nodes: int = 0
    trial: bool = False
    mats: list[MatAnswers] = field(default_factory=list)
    trays: list[TrayAnswers] = field(default_factory=list)
    probes: list[ProbeAnswers] = field(default_factory=list)
    phone: bool = False
    done: list[str] = field(default_factory=list)


_SHAPE = TypeAdapter(Answers)


class AnswersError(Exception):
    """The file of answers is of no use; the message says what to do."""


def loaded(path: Path) -> Answers:
    """Return what was answered so far; nothing where there is no file.

    Raises:
        AnswersError: The file is none of ours.
    """
    if not path.exists():
        return Answers()
    try:
        return _answers(json.loads(path.read_text(encoding="utf-8")))
    except (AttributeError, OSError, ValueError, TypeError) as error:
        message = (
            f"{path} is no file of answers of this version: delete it to begin anew"
        )
        raise AnswersError(message) from error


def _answers(found: dict[str, object]) -> Answers:
    known = {one.name for one in fields(Answers)} & found.keys()
    return _SHAPE.validate_python({key: found[key] for key in known})


def saved(answers: Answers, path: Path) -> None:
    """Keep the answers; the file is replaced whole."""
    path.parent.mkdir(parents=True, exist_ok=True)
    beside = path.with_name(path.name + ".new")
    text = json.dumps(asdict(answers), ensure_ascii=False, indent=2)
    beside.write_text(text + "\n", encoding="utf-8")
    beside.replace(path)
