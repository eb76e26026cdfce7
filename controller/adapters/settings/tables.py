"""The tables of the settings file, key by key, as pydantic models.

Each table stands for itself: one that is wrong keeps its errors and gives way
to a harmless stand-in, so that everything else can still be checked.
"""

from collections.abc import Iterable, Mapping
from pathlib import Path
from typing import Annotated, ClassVar, Literal, Self

from pydantic import (
    BaseModel,
    ConfigDict,
    Field,
    ModelWrapValidatorHandler,
    PlainValidator,
    PrivateAttr,
    ValidationError,
    model_validator,
)
from pydantic_core import ErrorDetails
from pydantic_settings import BaseSettings, SettingsConfigDict

from controller.adapters import mqtt_address
from controller.adapters.settings import alarm_words, api_words, quantities, words
from controller.adapters.settings.quantities import Said, SaidArea, SaidPair

Temperature = Annotated[Said, PlainValidator(quantities.temperature)]
Difference = Annotated[Said, PlainValidator(quantities.difference)]
Duration = Annotated[Said, PlainValidator(quantities.duration)]
Power = Annotated[Said, PlainValidator(quantities.power)]
Length = Annotated[Said, PlainValidator(quantities.length)]
Area = Annotated[SaidArea, PlainValidator(quantities.area)]
Corner = Annotated[SaidPair | None, PlainValidator(quantities.corner)]
Size = Annotated[SaidPair | None, PlainValidator(quantities.size)]
Title = Annotated[str, PlainValidator(words.title)]
Topic = Annotated[str, PlainValidator(mqtt_address.topic)]
FilePath = Annotated[Path, PlainValidator(words.file_path)]
Number = Annotated[float, PlainValidator(words.number)]

PREFIX = "BOTTOMHEAT_"
IN_ENVIRONMENT = ("bench", "broker", "log", "api")
"""Tables of which there is one, and whose keys the environment may set."""

SECTIONS = (*IN_ENVIRONMENT, "crops")
"""All tables of which there is one."""


class Table(BaseModel):
    """Keys that nobody reads are refused; types are never guessed."""

    model_config = ConfigDict(extra="forbid", strict=True, frozen=True)


class Checked(Table):
    """A table that keeps what is wrong with it instead of raising it."""

    needs: ClassVar[Mapping[str, str]] = {}
    """The least that makes a harmless stand-in."""

    claims: ClassVar[tuple[str, ...]] = ()
    """Keys that a stand-in takes over, since others refer to them."""

    _wrong: tuple[ErrorDetails, ...] = PrivateAttr(default=())

    @property
    def wrong(self) -> tuple[ErrorDetails, ...]:
        """What is wrong with the table as it was written."""
        return self._wrong

    @model_validator(mode="wrap")
    @classmethod
    def _kept(cls, value: object, handler: ModelWrapValidatorHandler[Self]) -> Self:
        try:
            return handler(value)
        except ValidationError as error:
            table = cls.model_validate({**cls.needs, **cls._taken_over(value)})
            table._wrong = tuple(error.errors(include_url=False))  # noqa: SLF001 (its own)
            return table

    @classmethod
    def _taken_over(cls, value: object) -> dict[str, object]:
        written: dict[object, object] = value if isinstance(value, dict) else {}
        pairs = ((key, written.get(key)) for key in cls.claims)
        return {key: said for key, said in pairs if isinstance(said, str)}


class BenchTable(Checked):
    """The bench as a whole."""

    needs: ClassVar[Mapping[str, str]] = {"name": "bench"}
    claims: ClassVar[tuple[str, ...]] = ("name",)

    name: str
    timezone: Annotated[str, PlainValidator(words.timezone)] = "UTC"
    display_unit: Literal["°C", "°F"] = "°C"
    scan: Duration = Said("5 s", 5_000)


class BrokerTable(Checked):
    """The MQTT broker."""

    url: str = "mqtt://127.0.0.1:1883"
    username: str | None = None
    password_file: FilePath | None = None
    ca_file: FilePath | None = None


class LogTable(Checked):
    """The season log."""

    path: FilePath = Path("season.db")
    commit_every: Duration = Said("60 s", 60_000)
    fold_after: Duration = Said("6 h", 21_600_000)
    on_failure: Literal["keep-heating", "heat-off"] = "keep-heating"


class ApiTable(Checked):
    """The JSON API and the page."""

    host: Annotated[str, PlainValidator(api_words.host)] = "127.0.0.1"
    port: Annotated[int, PlainValidator(words.port)] = 8000
    names: Annotated[tuple[str, ...], PlainValidator(api_words.names)] = ()
    proxies: Annotated[tuple[str, ...], PlainValidator(api_words.proxies)] = ()
    tls_cert: FilePath | None = None
    tls_key: FilePath | None = None


class CropsTable(Checked):
    """What is known of crops, for the rooting forecast."""

    path: FilePath | None = None


class RelayTable(Table):
    """How a mat's relay is reached."""

    topic: Topic | None = None
    on: str | None = None
    off: str | None = None
    lease: bool = False
    pin: str | None = None
    active_low: bool = False
    reports_on: Topic | None = None
    power_on: Topic | None = None


class PidTable(Table):
    """Settings of the PID; all or some."""

    gain_per_k: Number | None = None
    integral_time: Duration | None = None
    derivative_time: Duration | None = None


class StepTable(Table):
    """One stretch of a mat's programme."""

    setpoint: Temperature
    night_setpoint: Temperature | None = None
    until: Annotated[Said | None, PlainValidator(words.until)] = None
    title: Title = ""


class MatTable(Checked):
    """A heat mat."""

    needs: ClassVar[Mapping[str, str]] = {
        "name": "",
        "power": "100 W",
        "area": "1 m x 1 m",
        "setpoint": "20 °C",
    }
    claims: ClassVar[tuple[str, ...]] = ("name",)

    name: str
    title: Title = ""
    power: Power
    area: Area
    at: Corner = None
    policy: Literal["on-off", "pid"] = "on-off"
    setpoint: Temperature | None = None
    night_setpoint: Temperature | None = None
    night: Annotated[tuple[int, int], PlainValidator(words.night)] = (1320, 360)
    differential: Difference | None = None
    driven_by: str = "median"
    min_on: Duration | None = None
    min_off: Duration | None = None
    cycle: Duration | None = None
    ramp: Annotated[Said | None, PlainValidator(words.ramp)] = None
    warn: Temperature = Said("30 °C", 30_000)
    tray_limit: Difference = Said("4 K", 4_000)
    cutout: Temperature = Said("33 °C", 33_000)
    surface_limit: Temperature = Said("42 °C", 42_000)
    surface_cutout: Temperature = Said("50 °C", 50_000)
    settle: Duration = Said("1 h", 3_600_000)
    heat_allowance: Difference = Said("4 K", 4_000)
    rise_limit: Difference = Said("3 K", 3_000)
    stray_heat: Difference = Said("1.5 K", 1_500)
    disagreement: Difference = Said("4 K", 4_000)
    longest_on: Duration = Said("16 h", 57_600_000)
    daily_on: Duration = Said("22 h", 79_200_000)
    stale_after: Duration | None = None
    relay: RelayTable | None = None
    pid: PidTable | None = None
    step: list[StepTable] = []


class TrayTable(Checked):
    """A container: pot, flat or bin."""

    needs: ClassVar[Mapping[str, str]] = {"name": ""}
    claims: ClassVar[tuple[str, ...]] = ("name", "mat")

    name: str
    title: Title = ""
    mat: str | None = None
    medium: Title = ""
    depth: Length = Said("60 mm", 60)
    place: Annotated[tuple[int, int] | None, PlainValidator(words.place)] = None
    at: Corner = None
    size: Size = None
    base: Temperature = Said("10 °C", 10_000)
    upper: Temperature | None = None


class ProbeTable(Checked):
    """A probe in a tray, on a mat, in the room, or just looking on."""

    needs: ClassVar[Mapping[str, str]] = {"name": ""}
    claims: ClassVar[tuple[str, ...]] = ("name", "tray", "mat")

    name: str
    tray: str | None = None
    mat: str | None = None
    room: bool = False
    depth: Length | None = None
    topic: Topic | None = None
    one_wire: Annotated[str | None, PlainValidator(words.one_wire)] = None
    quantity: Literal["temperature", "humidity", "moisture", "light"] = "temperature"
    payload: Annotated[str, PlainValidator(words.payload)] = "number"
    senml_name: Annotated[str | None, PlainValidator(words.senml_name)] = None
    unit: Literal["°C", "°F", "K"] | None = None
    sentinels: bool = True
    offset: Difference = Said("0 K", 0)
    offset_date: Annotated[str | None, PlainValidator(words.date)] = None
    every: Duration = Said("30 s", 30_000)
    stuck_after: Duration = Said("12 h", 43_200_000)


class NotifyTable(Checked):
    """Somebody who is told of alarms."""

    needs: ClassVar[Mapping[str, str]] = {"url": "mqtt"}
    claims: ClassVar[tuple[str, ...]] = ("name",)

    name: str = ""
    url: str | None = None
    url_file: FilePath | None = None
    tells: Annotated[tuple[str, ...], PlainValidator(alarm_words.alarms)] = Field(
        default=("high", "medium"), alias="for"
    )
    quiet: Annotated[tuple[int, int] | None, PlainValidator(alarm_words.quiet)] = None
    wakes: Annotated[tuple[str, ...], PlainValidator(alarm_words.alarms)] = ("high",)
    cold_wakes: Annotated[tuple[str, ...], PlainValidator(alarm_words.names)] = ()
    all_is_well: Annotated[int | None, PlainValidator(alarm_words.time_of_day)] = None
    at_most: Annotated[tuple[int, int], PlainValidator(alarm_words.at_most)] = (
        6,
        3_600_000,
    )


class Document(BaseSettings):
    """The whole file, with what the environment says instead."""

    model_config = SettingsConfigDict(
        extra="forbid",
        env_prefix=PREFIX,
        env_nested_delimiter="__",
        enable_decoding=False,
    )

    bench: BenchTable
    broker: BrokerTable
    log: LogTable
    api: ApiTable
    crops: CropsTable
    mat: list[MatTable]
    tray: list[TrayTable]
    probe: list[ProbeTable]
    notify: list[NotifyTable]


NESTED: Mapping[str, type[Table]] = {
    "relay": RelayTable,
    "pid": PidTable,
    "step": StepTable,
}
"""Tables inside of a mat's, by key."""

TABLES: Mapping[str, type[Table]] = {
    "bench": BenchTable,
    "broker": BrokerTable,
    "log": LogTable,
    "api": ApiTable,
    "crops": CropsTable,
    "mat": MatTable,
    "tray": TrayTable,
    "probe": ProbeTable,
    "notify": NotifyTable,
}
"""Tables of the file, by key."""


def known_keys() -> tuple[str, ...]:
    """Return every key that a file may hold, such as "mat.relay.topic"."""
    outer = (_keys(name, keys_of(table)) for name, table in TABLES.items())
    inner = (_keys(f"mat.{name}", keys_of(table)) for name, table in NESTED.items())
    return tuple(key for keys in (*outer, *inner) for key in keys)


def keys_of(table: type[Table]) -> list[str]:
    """Return the keys of a table as a file writes them."""
    return [field.alias or name for name, field in table.model_fields.items()]


def _keys(table: str, keys: Iterable[str]) -> Iterable[str]:
    return (f"{table}.{key}" for key in keys if key not in NESTED)
