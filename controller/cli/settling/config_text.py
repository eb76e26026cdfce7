"""The configuration that answers come to, as TOML with a word on each line. Pure."""

import json
from collections.abc import Iterator

from controller.cli.settling.answers import (
    Answers,
    MatAnswers,
    ProbeAnswers,
    TrayAnswers,
)
from controller.cli.settling.placing import keeper

BROKER_PASSWORD = "/etc/bottomheat/broker-password"  # noqa: S105 - where it lies
SEASON_LOG = "/var/lib/bottomheat/season.db"


def config_text(answers: Answers, host: str = "127.0.0.1", port: int = 1883) -> str:
    """Return the text of a configuration.

    Args:
        answers: What was answered.
        host: Where the API listens.
        port: The broker's TCP port.
    """
    blocks = [
        _bench(answers),
        _broker(port),
        _log_and_api(host),
        *(_mat(mat, answers) for mat in answers.mats),
        *(_tray(tray) for tray in answers.trays),
        *(_probe(probe) for probe in answers.probes if probe.place),
    ]
    return "\n".join("\n".join(block) + "\n" for block in blocks)


def _bench(answers: Answers) -> Iterator[str]:
    yield f"# Bench {answers.bench}, as bottomheat setup wrote it; yours to change."
    yield "# bottomheat check THIS-FILE says in words what will happen."
    yield ""
    yield "[bench]"
    yield f"name = {_text(answers.bench)}"
    yield f"timezone = {_text(answers.timezone)}"
    yield f"display_unit = {_text(answers.unit)}"


def _broker(port: int) -> Iterator[str]:
    yield "[broker]"
    yield f'url = "mqtt://127.0.0.1:{port}"'
    yield 'username = "bottomheat"'
    yield f"password_file = {_text(BROKER_PASSWORD)}"


def _log_and_api(host: str) -> Iterator[str]:
    yield "[log]"
    yield f"path = {_text(SEASON_LOG)}"
    yield ""
    yield "[api]"
    yield f"host = {_text(host)}"


def _mat(mat: MatAnswers, answers: Answers) -> Iterator[str]:
    places = {probe.place for probe in answers.probes}
    driver = keeper(mat.name, answers.trays, places)
    yield "[[mat]]"
    yield f"name = {_text(mat.name)}"
    yield f"power = {_text(mat.power)}"
    yield f"area = {_text(mat.area)}"
    yield 'policy = "on-off"           # a thermostat; "pid" gives doses of heat'
    yield f"setpoint = {_text(mat.setpoint)}"
    if driver is not None:
        yield f"driven_by = {_text(driver.name)}"
    yield 'cutout = "33 °C"            # root zone: locked off until you reset it'
    slowest_s = max((p.every_s for p in answers.probes), default=30)
    if slowest_s * 2.5 > 120:  # noqa: PLR2004 - what it is unless written
        yield f'stale_after = "{round(2.5 * slowest_s)} s"'
    yield from _relay(mat)


def _relay(mat: MatAnswers) -> Iterator[str]:
    if mat.relay == "watch":
        yield "# Only watched: the old thermostat keeps it. To let bottomheat do it,"
        yield "# bottomheat setup --again mats; or write [mat.relay] here."
        return
    yield ""
    yield "[mat.relay]"
    if mat.relay == "pin":
        yield f"pin = {_text(mat.command)}"
        if mat.active_low:
            yield "active_low = true"
        return
    yield f"topic = {_text(mat.command)}"
    if mat.relay == "lease":
        yield "lease = true"
    else:
        yield f"on = {_text(mat.on)}"
        yield f"off = {_text(mat.off)}"
    if mat.says:
        yield f"reports_on = {_text(mat.says)}"


def _tray(tray: TrayAnswers) -> Iterator[str]:
    yield "[[tray]]"
    yield f"name = {_text(tray.name)}"
    if tray.mat:
        yield f"mat = {_text(tray.mat)}"
    if tray.medium:
        yield f"medium = {_text(tray.medium)}"


def _probe(probe: ProbeAnswers) -> Iterator[str]:
    kind, _, where = probe.place.partition(" ")
    yield "[[probe]]"
    yield f"name = {_text(probe.name)}"
    yield "room = true" if kind == "room" else f"{kind} = {_text(where)}"
    if probe.address.startswith("28-"):
        yield f"one_wire = {_text(probe.address)}"
    else:
        topic, sign, pointer = probe.address.partition("#")
        yield f"topic = {_text(topic)}"
        if sign:
            yield f"payload = {_text(pointer)}"
    if probe.unit != "°C":
        yield f"unit = {_text(probe.unit)}"
    yield f'every = "{probe.every_s} s"'
    if probe.offset_k is not None:
        yield f'offset = "{probe.offset_k:.2f} K"'
        yield f"offset_date = {_text(probe.offset_date)}"


def _text(value: str) -> str:
    """Return a TOML basic string: its escapes are those of JSON, and DEL's."""
    return json.dumps(value, ensure_ascii=False).replace("\x7f", "\\u007f")
