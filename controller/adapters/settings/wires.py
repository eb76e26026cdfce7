"""Tables become wiring: topics, words, formats, addresses.

What may live here: how names meet the world, and that no two of them meet in
the same place.
"""

from collections.abc import Iterable, Iterator

from controller.adapters.mqtt_address import broker_address
from controller.adapters.settings.belongings import words
from controller.adapters.settings.convert import relay_kind, stale_after_ms
from controller.adapters.settings.document import Tables
from controller.adapters.settings.findings import Finding, shown
from controller.adapters.settings.notices import notify_of
from controller.adapters.settings.tables import BrokerTable, MatTable, ProbeTable
from controller.wiring import (
    BrokerWire,
    NumberPayload,
    Payload,
    PointerPayload,
    ProbeWire,
    RelayWire,
    SenmlPayload,
    TemperatureUnit,
    Wiring,
)

_URL_ASK = (
    'write "mqtt://host", "mqtts://host:8883" (encrypted) or "embedded"; '
    "name and password have keys of their own"
)

Findings = Iterator[Finding]


def wiring_of(tables: Tables) -> Wiring:
    """Return the wiring of all tables that are not wrong."""
    return Wiring(
        bench=tables.bench.name,
        broker=_broker(tables.broker),
        probes=tuple(_probe(p, tables) for p in tables.probes if not p.wrong),
        relays=tuple(wire for mat in tables.mats for wire in _relay(mat)),
        notify=notify_of(tables),
    )


def wiring_problems(tables: Tables) -> Findings:
    """Yield what would not reach its broker, or would meet something else."""
    yield from _broker_problems(tables.broker)
    probes = [probe for probe in tables.probes if not probe.wrong]
    yield from _shared_addresses(probes)
    yield from _shared_topics(probes)
    yield from _relay_topics(tables, probes)
    for where, topic in _topics(tables):
        if _ours(topic, tables.bench.name):
            allowed = "another topic: bottomheat itself publishes there"
            yield Finding(where, shown(topic), allowed)


def _broker(broker: BrokerTable) -> BrokerWire:
    if broker.url == "embedded":
        return BrokerWire(embedded=True, port=0)
    address = broker_address(broker.url) or ("mqtt", "127.0.0.1", 1883)
    scheme, host, port = address
    return BrokerWire(
        host=host,
        port=port,
        tls=scheme == "mqtts",
        username=broker.username,
        password_file=broker.password_file,
        ca_file=broker.ca_file,
    )


def _broker_problems(broker: BrokerTable) -> Findings:
    if broker.url == "embedded" and broker.username is not None:
        allowed = "leave it out: the embedded broker asks for no name"
        yield Finding("[broker] username", shown(broker.username), allowed)
    address = None if broker.url == "embedded" else broker_address(broker.url)
    if broker.url != "embedded" and address is None:
        yield Finding("[broker] url", _without_secret(broker.url), _URL_ASK)
    if broker.ca_file is not None and (address is None or address[0] != "mqtts"):
        allowed = "leave it out: certificates belong to mqtts://"
        yield Finding("[broker] ca_file", shown(str(broker.ca_file)), allowed)
    if broker.password_file is not None and not broker.username:
        allowed = "write username beside it"
        yield Finding(
            "[broker] password_file", shown(str(broker.password_file)), allowed
        )


def _without_secret(url: str) -> str:
    """Return a URL for people; what may hold a password is not repeated."""
    return "a URL with a password or name in it" if "@" in url else shown(url)


def _probe(probe: ProbeTable, tables: Tables) -> ProbeWire:
    return ProbeWire(
        probe=probe.name,
        topic=probe.topic,
        one_wire=probe.one_wire,
        payload=_payload(probe),
        unit=TemperatureUnit(probe.unit or "°C"),
        is_temperature=probe.quantity == "temperature",
        stale_after_ms=stale_after_ms(probe, tables),
    )


def _payload(probe: ProbeTable) -> Payload:
    match probe.payload:
        case "number":
            return NumberPayload()
        case "senml":
            return SenmlPayload(probe.senml_name)
        case pointer:
            return PointerPayload(pointer)


def _relay(mat: MatTable) -> Iterator[RelayWire]:
    if mat.relay is None:
        return
    on_word, off_word = words(mat.relay)
    yield RelayWire(
        mat=mat.name,
        kind=relay_kind(mat.relay),
        topic=mat.relay.topic,
        on_word=on_word,
        off_word=off_word,
        reports_on=mat.relay.reports_on,
        power_on=mat.relay.power_on,
        pin=mat.relay.pin,
        active_low=mat.relay.active_low,
    )


def _shared_addresses(probes: Iterable[ProbeTable]) -> Findings:
    seen: dict[str, str] = {}
    for probe in probes:
        address = probe.one_wire
        if address and (other := seen.setdefault(address, probe.name)) != probe.name:
            allowed = f"another address: probe {other} has it"
            yield Finding(f"probe {probe.name}: one_wire", shown(address), allowed)


def _shared_topics(probes: Iterable[ProbeTable]) -> Findings:
    """Yield probes that read the same number of the same topic.

    Two may share a topic where each reads another JSON Pointer or another
    SenML name of its messages.
    """
    seen: dict[str, list[ProbeTable]] = {}
    for probe in probes:
        if probe.topic is None:
            continue
        others = seen.setdefault(probe.topic, [])
        clash = next((p for p in others if not _apart(p, probe)), None)
        if clash is not None:
            allowed = (
                f"another topic: probe {clash.name} has it; two may share one only "
                "where each reads another JSON Pointer or another senml_name of it"
            )
            yield Finding(f"probe {probe.name}: topic", shown(probe.topic), allowed)
        others.append(probe)


def _apart(one: ProbeTable, other: ProbeTable) -> bool:
    reads, others = _payload(one), _payload(other)
    match reads, others:
        case PointerPayload(), PointerPayload():
            return reads != others
        case SenmlPayload(name=str()), SenmlPayload(name=str()):
            return reads != others
        case _:
            return False


def _relay_topics(tables: Tables, probes: Iterable[ProbeTable]) -> Findings:
    seen: dict[str, str] = {}
    for probe in probes:
        seen.setdefault(probe.topic or "", f"probe {probe.name}")
    for mat in tables.mats:
        for key, topic in _topics_of(mat):
            where = f"mat {mat.name}: relay.{key}"
            other = seen.setdefault(topic, where)
            if other != where:
                allowed = f"another topic: {other} has it"
                yield Finding(where, shown(topic), allowed)


def _topics_of(mat: MatTable) -> Iterator[tuple[str, str]]:
    if mat.relay is not None:
        pairs = (
            ("topic", mat.relay.topic),
            ("reports_on", mat.relay.reports_on),
            ("power_on", mat.relay.power_on),
        )
        yield from ((key, topic) for key, topic in pairs if topic is not None)


def _topics(tables: Tables) -> Iterator[tuple[str, str]]:
    for probe in tables.probes:
        if probe.topic is not None:
            yield f"probe {probe.name}: topic", probe.topic
    for mat in tables.mats:
        for key, topic in _topics_of(mat):
            yield f"mat {mat.name}: relay.{key}", topic


def _ours(topic: str, bench: str) -> bool:
    """Whether bottomheat publishes there."""
    own = f"bottomheat/{bench}/"
    kinds = ("alive", "tray", "mat", "alarm", "notice")
    return topic.removeprefix(own).split("/")[0] in kinds and topic.startswith(own)
