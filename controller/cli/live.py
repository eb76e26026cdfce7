"""A daemon with its API, put together: what `run` and `demo` share."""

import asyncio
import signal
from collections.abc import AsyncIterator, Callable, Sequence
from contextlib import asynccontextmanager
from dataclasses import dataclass, replace
from functools import cache
from pathlib import Path

from api.app import create_app
from api.context import Beside
from api.live import Feed
from api.record_book import Records
from api.server import serve
from controller.adapters.access import FileAccess
from controller.adapters.announcements import Announcer
from controller.adapters.broker import embedded_broker
from controller.adapters.gpio import pin_relays
from controller.adapters.last_words import LastWords
from controller.adapters.mqtt import MqttLink
from controller.adapters.photos import PhotoFolder, photos_beside
from controller.adapters.season_log import (
    SeasonLogReader,
    SeasonLogWriter,
    TripFile,
    trips_beside,
)
from controller.adapters.settings import Settings
from controller.cli.beginning import Beginning, run_header
from controller.cli.comparer import Comparer
from controller.cli.entrance import listen_for, reach_of
from controller.cli.forecaster import Forecaster
from controller.cli.telling import notifier_for
from controller.daemon import Daemon, Parts
from controller.endings import StopOrder, say, warn
from controller.ports import Clock, ScanSource, Snapshot, Watchdog


@dataclass(frozen=True, slots=True, kw_only=True)
class Stage:
    """What differs between a real bench and the demo.

    Attributes:
        settings: The bench.
        clock: Its clock.
        begun: Where the run begins.
        log: The season log's writer, open.
        sources: Sources of readings besides MQTT.
        watchdog: Who hears that scans go on.
        notes: Sentences about how the run begins, for the journal.
        on_api: Called with the API's port when it takes requests.
        access: Who may use the API; None: whoever is on this machine.
    """

    settings: Settings
    clock: Clock
    begun: Beginning
    log: SeasonLogWriter
    sources: Sequence[ScanSource]
    watchdog: Watchdog
    on_api: Callable[[int], None]
    notes: tuple[str, ...] = ()
    access: FileAccess | None = None


LISTEN_FIRST_S = 0.3
"""Chosen: some hundred times what a broker in the house takes to pass a question
and its answer on; the first "off" of a run comes that much later."""


class Silent:
    """A watchdog that nobody listens to."""

    def ready(self) -> None:
        """Do nothing."""

    def fed(self, status: str) -> None:
        """Do nothing."""

    def stopping(self, cause: str) -> None:
        """Do nothing."""


def daemon_on(stage: Stage) -> Daemon:
    """Return a daemon with its MQTT link, ready to run.

    Raises:
        NotifyError: Somebody who shall be told of alarms cannot be.
        WiringError: A file for the broker is of no use.
    """
    settings, now = stage.settings, stage.clock.now()
    header = run_header(
        "live", settings.plan, stage.begun.state, now, settings.timezone, stage.notes
    )
    link = MqttLink(
        settings.wiring,
        stage.clock,
        run=header.run,
        valid_for_ms=settings.plan.valid_for_ms,
        # On a broker of our own there is nobody else.
        listen_first_s=0.0 if settings.wiring.broker.embedded else LISTEN_FIRST_S,
    )
    notifier = notifier_for(settings, link.publish_notice)
    told: list[Callable[[Snapshot], None]] = [Announcer(link.publish_status)]
    if notifier is not None:
        told.append(notifier)
    pins = pin_relays(
        settings.wiring,
        stage.clock,
        run=header.run,
        valid_for_ms=settings.plan.valid_for_ms,
    )
    here = [] if pins is None else [pins]
    return Daemon(
        Parts(
            header=header,
            clock=stage.clock,
            sources=[link, *here, *stage.sources],
            relays=[*here, link],  # those that never wait first
            log=stage.log,
            trips=TripFile(trips_beside(settings.log.path)),
            watchdog=stage.watchdog,
            announce=_to_all(told),
            also=() if notifier is None else (notifier.serve,),
            display_unit=settings.display_unit,
            tabletop=settings.tabletop,
        )
    )


def _to_all(told: Sequence[Callable[[Snapshot], None]]) -> Callable[[Snapshot], None]:
    """Return what hands a snapshot to each."""

    def announce(snapshot: Snapshot) -> None:
        for tell in told:
            tell(snapshot)

    return announce


def _one_reader(path: Path) -> Callable[[], SeasonLogReader]:
    """Return what gives the reader of a log, the same each time.

    What it has proved once it need not prove again.
    """

    @cache
    def reader() -> SeasonLogReader:
        return SeasonLogReader(path)

    return reader


async def run_with_api(stage: Stage, daemon: Daemon, stop: asyncio.Event) -> None:
    """Run a daemon and its API until told to stop, every mat off at the end."""
    path: Path = stage.settings.log.path
    reader = _one_reader(path)
    api, access = stage.settings.api, stage.access
    forecaster = Forecaster(
        log=path,
        crops=stage.settings.crops,
        clock=stage.clock,
        changes=lambda after: reader().changes(after),
        say=warn,
    )
    comparer = Comparer(path, stage.clock)
    records = Records(stage.log, reader, PhotoFolder(photos_beside(path)))
    app = create_app(
        daemon,
        reader,
        stage.clock,
        records,
        access,
        reach_of(api),
        Beside(forecaster.kept, comparer),
    )
    feed: Feed = app.state.context.feed

    async def served() -> None:
        await serve(app, listen_for(api, access), stage.on_api)

    async def fed() -> None:
        await feed.serve(daemon)

    last_words = LastWords(stage.settings.wiring, stage.clock, warn)
    also = [served, fed, last_words.serve, forecaster.serve, comparer.serve]
    if access is not None:
        also.append(access.serve)
    await daemon.run(stop, *also)


@asynccontextmanager
async def own_broker(settings: Settings) -> AsyncIterator[Settings]:
    """Start the embedded broker if the settings want it; give them its port.

    Raises:
        BrokerMissingError: It is not installed.
    """
    wiring = settings.wiring
    if not wiring.broker.embedded:
        yield settings
        return
    async with embedded_broker(wiring.broker.port) as port:
        say(f"embedded broker: mqtt://127.0.0.1:{port}")
        broker = replace(wiring.broker, port=port)
        yield replace(settings, wiring=replace(wiring, broker=broker))


@asynccontextmanager
async def stopped_by_signals() -> AsyncIterator[StopOrder]:
    """Give an order that SIGTERM, SIGINT and SIGHUP give; a second changes nothing.

    A configuration is read at a start only, so SIGHUP, too, ends the run: a
    service manager then starts the next one. Whoever started this process deaf
    to it (nohup) has asked for the contrary.
    """
    stop, loop = StopOrder(), asyncio.get_running_loop()
    heard = [
        number
        for number in (signal.SIGTERM, signal.SIGINT, signal.SIGHUP)
        if number is not signal.SIGHUP or signal.getsignal(number) != signal.SIG_IGN
    ]
    for number in heard:
        loop.add_signal_handler(number, stop.give, f"stopped by {number.name}")
    try:
        yield stop
    finally:
        for number in heard:
            loop.remove_signal_handler(number)
