"""The daemon of a soak: the real one, on a real broker, on a clock that runs fast.

It is a process of its own, so that its memory, handles and processor time are its
own. Started by soak.py: config, speed, start of the wall clock [ms].
"""

import asyncio
import os
import sys
from pathlib import Path

from controller.adapters import mqtt
from controller.adapters.clocks import FastClock
from controller.adapters.season_log import SeasonLogWriter
from controller.adapters.settings import load
from controller.cli.beginning import beginning
from controller.cli.live import (
    Silent,
    Stage,
    daemon_on,
    run_with_api,
    stopped_by_signals,
)


async def lived(config: Path, speed: float, start_utc_ms: int) -> None:
    """Run until told to stop."""
    settings = load(config, os.environ)
    # A heartbeat asks whether the broker lives, by the bench's clock: on a clock that
    # runs a thousand times too fast it would ask two hundred times a second.
    mqtt.HEARTBEAT_MS = round(mqtt.HEARTBEAT_MS * max(speed / 10, 1))
    clock = FastClock(speed, start_utc_ms, settings.timezone)
    log = SeasonLogWriter(
        settings.log.path,
        commit_every_ms=settings.log.commit_every_ms,
        fold_after_ms=settings.log.fold_after_ms,
    )
    begun = beginning(settings.log.path, settings.plan, clock.now(), {})
    stage = Stage(
        settings=settings,
        clock=clock,
        begun=begun,
        log=log,
        sources=[],
        watchdog=Silent(),
        on_api=lambda port: print(port, flush=True),
    )
    try:
        async with stopped_by_signals() as stop:
            await run_with_api(stage, daemon_on(stage), stop)
    finally:
        log.close()


if __name__ == "__main__":
    asyncio.run(lived(Path(sys.argv[1]), float(sys.argv[2]), int(sys.argv[3])))
