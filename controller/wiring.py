"""How the names of a plan meet the world: topics, words, formats, addresses.

Values only, made by the settings and used by the adapters. The core never sees
them: two benches wired differently decide alike.
"""

from dataclasses import dataclass, field
from enum import Enum
from pathlib import Path

from controller.core.decisions import AlarmKind
from controller.core.plan import RelayKind


class TemperatureUnit(Enum):
    """Unit in which a probe's payload gives a temperature."""

    CELSIUS = "°C"
    FAHRENHEIT = "°F"
    KELVIN = "K"


@dataclass(frozen=True, slots=True)
class NumberPayload:
    """The payload is one decimal number in text."""


@dataclass(frozen=True, slots=True)
class PointerPayload:
    """The payload is JSON; a JSON Pointer (RFC 6901) leads to the number.

    Attributes:
        pointer: "" is the whole document, else it starts with "/".
    """

    pointer: str


@dataclass(frozen=True, slots=True)
class SenmlPayload:
    """The payload is a SenML pack in JSON (RFC 8428).

    Attributes:
        name: Resolved name of the record that counts; None: the pack has
            records of a single name, whatever it is.
    """

    name: str | None = None


Payload = NumberPayload | PointerPayload | SenmlPayload


@dataclass(frozen=True, slots=True, kw_only=True)
class ProbeWire:
    """Where a probe's readings come from.

    Attributes:
        probe: Name of the probe in the plan.
        topic: MQTT topic; None for a probe on this board.
        one_wire: Kernel address such as "28-0000051d3a2f"; None for MQTT.
        payload: Format of an MQTT payload.
        unit: Unit of the payload's number where the probe is a thermometer;
            SenML brings its own.
        is_temperature: Whether the number is a temperature at all.
        stale_after_ms: A message that is older than this by its own time is
            late, hence uncertain [ms].
    """

    probe: str
    topic: str | None = None
    one_wire: str | None = None
    payload: Payload = field(default_factory=NumberPayload)
    unit: TemperatureUnit = TemperatureUnit.CELSIUS
    is_temperature: bool = True
    stale_after_ms: int = 120_000


@dataclass(frozen=True, slots=True, kw_only=True)
class RelayWire:
    """Where a mat's commands go.

    Attributes:
        mat: Name of the mat in the plan.
        kind: Plain words, lease commands, or a pin of this board.
        topic: MQTT topic of the commands; None for a pin.
        on_word: Payload that switches a plain relay on.
        off_word: Payload that switches a plain relay off.
        reports_on: Topic on which the relay reports its state; None: none.
        power_on: Topic on which a wattmeter says what the mat draws, in watts;
            None: none.
        pin: Pin name of this board, where kind is PIN.
        active_low: Whether that pin switches the relay on by its low level.
    """

    mat: str
    kind: RelayKind
    topic: str | None = None
    on_word: str = "ON"
    off_word: str = "OFF"
    reports_on: str | None = None
    power_on: str | None = None
    pin: str | None = None
    active_low: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class BrokerWire:
    """How the MQTT broker is reached.

    Attributes:
        host: Host name or address.
        port: TCP port; 0 with embedded: any free one.
        tls: Whether the connection is encrypted.
        embedded: Start a broker of our own on loopback (demo, tests).
        username: Name for the broker, or None.
        password_file: File whose first line is the password, or None.
        ca_file: Certificates to trust instead of the system's, or None.
    """

    host: str = "127.0.0.1"
    port: int = 1883
    tls: bool = False
    embedded: bool = False
    username: str | None = None
    password_file: Path | None = None
    ca_file: Path | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class NotifyWire:
    """Who is told of alarms, of which, and when.

    Attributes:
        name: Name of the target.
        url: Where messages go; None where url_file says it. It may hold a
            secret, hence it is shown nowhere.
        url_file: File whose first line is the URL, or None.
        tells: The alarms that are told.
        cleared: Whether it is also told when one of them is over.
        quiet: Minutes of the local day from which to which what can wait
            waits; None: never.
        wakes: The alarms that do not wait.
        cleared_wakes: Whether that one is over does not wait either.
        cold_wakes: Mats whose "stays cold" alarms do not wait.
        all_is_well: Minute of the local day of a daily word; None: none.
        at_most: How many messages a window may see.
        per_ms: The window's length [ms].
        for_words: The writer's words for what is told.
        wake_words: The writer's words for what does not wait.
    """

    name: str
    url: str | None = field(default=None, repr=False)
    url_file: Path | None = None
    tells: frozenset[AlarmKind]
    cleared: bool = False
    quiet: tuple[int, int] | None = None
    wakes: frozenset[AlarmKind] = frozenset()
    cleared_wakes: bool = False
    cold_wakes: frozenset[str] = frozenset()
    all_is_well: int | None = None
    at_most: int = 6
    per_ms: int = 3_600_000
    for_words: tuple[str, ...] = ()
    wake_words: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Wiring:
    """All of a bench's connections.

    Attributes:
        bench: Name of the bench, for topics.
        broker: How the broker is reached.
        probes: One for each probe that has a topic or an address.
        relays: One for each mat that has a relay.
        notify: Who is told of alarms.
    """

    bench: str
    broker: BrokerWire
    probes: tuple[ProbeWire, ...]
    relays: tuple[RelayWire, ...]
    notify: tuple[NotifyWire, ...] = ()
