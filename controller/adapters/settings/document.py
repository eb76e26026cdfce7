"""The file and the environment become tables, together with what is wrong.

A table that was wrong takes part as its harmless stand-in, and of two of one
name only the first does, so that all else can still be checked.
"""

from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TypeVar

from pydantic_settings import (
    BaseSettings,
    EnvSettingsSource,
    InitSettingsSource,
    PydanticBaseSettingsSource,
)
from typing_extensions import override

from controller.adapters.settings.findings import (
    MISSING,
    Finding,
    finding_of,
    shown,
)
from controller.adapters.settings.source import (
    ENVIRONMENT,
    known_environment,
    read_file,
    variable,
    well_shaped,
)
from controller.adapters.settings.tables import (
    NESTED,
    SECTIONS,
    TABLES,
    ApiTable,
    BenchTable,
    BrokerTable,
    Checked,
    CropsTable,
    Document,
    LogTable,
    MatTable,
    NotifyTable,
    ProbeTable,
    TrayTable,
    keys_of,
)

Named = TypeVar("Named", MatTable, TrayTable, ProbeTable, NotifyTable)


@dataclass(frozen=True, slots=True, kw_only=True)
class Tables:
    """All tables, those of mats, trays and probes each with its own name.

    Attributes:
        source: The file, as it was named.
        environment: The variables that set something, by name.
        bench: The bench as a whole.
        broker: The MQTT broker.
        log: The season log.
        api: The JSON API.
        crops: What is known of crops.
        mats: Heat mats.
        trays: Trays.
        probes: Probes.
        notify: Who is told of alarms.
    """

    source: str
    environment: Mapping[str, str]
    bench: BenchTable
    broker: BrokerTable
    log: LogTable
    api: ApiTable
    crops: CropsTable
    mats: tuple[MatTable, ...]
    trays: tuple[TrayTable, ...]
    probes: tuple[ProbeTable, ...]
    notify: tuple[NotifyTable, ...]


def tables_of(path: Path, environ: Mapping[str, str]) -> tuple[Tables, list[Finding]]:
    """Return the tables, and what is wrong with each by itself.

    Raises:
        SettingsError: The file cannot be read, or is not TOML.
    """
    source = str(path)
    data, findings = well_shaped(read_file(path), source)
    known, variables = known_environment(environ)
    doc = _document(data, known)
    findings += variables
    findings += _wrong_sections(doc, source, known)
    findings += _wrong_items("mat", doc.mat, source)
    findings += _wrong_items("tray", doc.tray, source)
    findings += _wrong_items("probe", doc.probe, source)
    notify = _numbered(doc.notify)
    findings += _wrong_items("notify", notify, source)
    tables = Tables(
        source=source,
        environment=known,
        bench=doc.bench,
        broker=doc.broker,
        log=doc.log,
        api=doc.api,
        crops=doc.crops,
        mats=_firsts(doc.mat),
        trays=_firsts(doc.tray),
        probes=_firsts(doc.probe),
        notify=_firsts(notify),
    )
    return tables, findings


def _document(data: dict[str, object], environ: Mapping[str, str]) -> Document:
    class Environment(EnvSettingsSource):
        """The variables handed in, not those of this process."""

        @override
        def _load_env_vars(self) -> Mapping[str, str | None]:
            return {name.lower(): value for name, value in environ.items()}

    class Merged(Document):
        """The file, with what the environment says instead."""

        @classmethod
        @override
        def settings_customise_sources(
            cls,
            settings_cls: type[BaseSettings],
            init_settings: PydanticBaseSettingsSource,
            env_settings: PydanticBaseSettingsSource,
            dotenv_settings: PydanticBaseSettingsSource,
            file_secret_settings: PydanticBaseSettingsSource,
        ) -> tuple[PydanticBaseSettingsSource, ...]:
            file = InitSettingsSource(settings_cls, init_kwargs=data)
            return Environment(settings_cls), file

    # Its own initialisation asks the sources above; nothing is handed in.
    return Merged.model_validate({})


def _keys(table: str) -> Mapping[str, list[str]]:
    nested = {name: keys_of(inner) for name, inner in NESTED.items()}
    return {"": keys_of(TABLES[table]), **nested}


def _wrong_sections(
    doc: Document, source: str, environ: Mapping[str, str]
) -> Iterator[Finding]:
    sections: tuple[Checked, ...] = (
        *(doc.bench, doc.broker, doc.log, doc.api),
        doc.crops,
    )
    for name, section in zip(SECTIONS, sections, strict=True):
        for error in section.wrong:
            finding = finding_of(f"[{name}]", error, _keys(name))
            key = str(error["loc"][0]) if error["loc"] else ""
            if variable(name, key) in environ:
                place = variable(name, key)
                yield Finding(place, finding.found, finding.allowed, ENVIRONMENT)
            else:
                yield Finding(finding.where, finding.found, finding.allowed, source)


def _wrong_items(kind: str, items: Sequence[Named], source: str) -> Iterator[Finding]:
    for number, item in enumerate(items, start=1):
        at = f"{kind} {item.name or f'number {number}'}"
        for error in item.wrong:
            finding = finding_of(at, error, _keys(kind))
            found = _without_secret(finding.found) if kind == "notify" else None
            found = found or finding.found
            yield Finding(finding.where, found, finding.allowed, source)
        if not (item.name or item.wrong):
            yield Finding(f"{at}: name", shown(""), MISSING["name"], source)
    counts = Counter(item.name for item in items if item.name)
    for name, times in counts.items():
        if times > 1:
            allowed = f"{times} {kind}s have this name; each needs its own"
            yield Finding(f"{kind} {name}: name", shown(name), allowed, source)


def _without_secret(found: str | None) -> str | None:
    """Return what stands in the way of an address: it may hold a secret."""
    secret = found and ("://" in found or found.startswith('"apprise:'))
    return '"…"' if secret else None


def _numbered(items: Sequence[NotifyTable]) -> list[NotifyTable]:
    """Return tables of which each has a name: one may go without."""
    return [
        item if item.name else item.model_copy(update={"name": f"notify-{number}"})
        for number, item in enumerate(items, start=1)
    ]


def _firsts(items: Sequence[Named]) -> tuple[Named, ...]:
    """Return the first of each name, with a name for those that have none."""
    named: dict[str, Named] = {}
    for number, item in enumerate(items, start=1):
        name = item.name or f"number-{number}"
        named.setdefault(name, item.model_copy(update={"name": name}))
    return tuple(named.values())
