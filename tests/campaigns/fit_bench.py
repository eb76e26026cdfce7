"""The same for the simulated bench: logs by the same core, fitted and predicted.

One mat with two trays of different media, three layers each: its first week is
fitted, the second week under other policies is predicted, in the same weather.
"""

import tempfile
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

from controller.adapters.season_log import DirectSeasonLog, SeasonLogReader
from controller.cli.beginning import run_header
from controller.cli.local_time import LocalTime
from controller.cli.virtual_time import simulated
from controller.core.plan import DrivenBy, OnOff, RelayKind, StepPlan
from controller.core.state import fresh_state
from controller.review.mat_history import MatHistory, mat_histories
from controller.review.recounted import Span
from sim.fitting.fit import fit_zone
from sim.fitting.gridded import record_of
from sim.fitting.record import Record
from sim.world import World, WorldOptions
from tests.campaigns.rc_trays import DAY, NOISE_K, kept_at
from tests.sim.lean_to import PLAN, SOUTH

UTC_MS = 1_801_440_000_000
"""2027-02-01 00:00 UTC."""

WEEK = 7 * DAY
NIGHT_FROM, NIGHT_TO = 22 * 60, 6 * 60


@dataclass(frozen=True)
class Kept:
    """How the mat was kept for two weeks, and what the log says of it."""

    setpoint_c: float
    night_c: float
    band_k: float
    history: MatHistory
    record: Record

    def setpoints(self):
        minute = self.record.local_minute
        night = (minute >= NIGHT_FROM) | (minute < NIGHT_TO)
        return np.where(night, self.night_c, self.setpoint_c)


POLICIES = (
    (26.0, 26.0, 0.25),
    (26.0, 23.0, 0.25),
    (24.0, 24.0, 0.25),
    (26.0, 26.0, 1.0),
)
"""Setpoint, night setpoint, differential; logs of the first two are fitted."""

FITTED = (("hysteresis", 0, 1), ("warm-up", 0, 0), ("setback", 1, 0))
"""Which log, and from which day on."""


def plan_of(setpoint_c, night_c, band_k):
    """A plan of one mat, which its first tray drives."""
    step = StepPlan(round(setpoint_c * 1000), round(night_c * 1000))
    mat = replace(
        SOUTH,
        relay=RelayKind.LEASE,
        policy=OnOff(round(band_k * 1000)),
        programme=(step,),
        surface=(),
        driven_by=DrivenBy.TRAY,
        driving_tray="S1",
    )
    return replace(PLAN, scan_ms=10_000, mats=(mat,))


def logged_bench(seed, policy, days=14):
    """Run a bench and read back its log."""
    plan = plan_of(*policy)
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "season.db"
        started = LocalTime("UTC").instant(0, UTC_MS)
        header = run_header("simulate", plan, fresh_state(plan), started, "UTC")
        log = DirectSeasonLog(path)
        world = World(plan, WorldOptions(seed=seed, start_temp_c=16.0))
        simulated(header, world, log, days * DAY * 60_000)
        log.close()
        reader = SeasonLogReader(path)
        (history,) = mat_histories(
            reader, ["south"], Span(), lambda run: reader.scans(run.run)
        )
    return Kept(*policy, history, record_of(history))


def part(record, begin, end):
    """Return some steps of a record."""
    at = slice(begin, end)
    return replace(
        record,
        on_share=record.on_share[at],
        room_c=record.room_c[at],
        temps_c=record.temps_c[at],
        local_day=record.local_day[at],
        local_minute=record.local_minute[at],
        windows=(),
    )


def predicted(kept, models, offsets, rng):
    """Return relative errors over the second week of a policy."""
    record = kept.record
    room = record.room_everywhere_c()
    rooms = np.column_stack([room, room]) + offsets
    silent = np.zeros_like(rooms)
    noise = NOISE_K * rng.standard_normal(rooms.shape)
    args = models, rooms, silent, noise, 16.0
    _, on, temps = kept_at(kept.setpoints(), kept.band_k, *args)
    second = slice(WEEK, len(record))
    true = record.temps_c[second, 1]
    known = np.isfinite(true)
    heat = np.maximum(true[known] - 10, 0).sum()
    told = np.maximum(temps[second, 1][known] - 10, 0).sum()
    begin_ms = kept.history.from_run_ms + WEEK * 60_000
    switches = sum(at_ms >= begin_ms for at_ms, _ in kept.history.switchings)
    share = record.on_share[second].mean()
    return [
        told / heat - 1,
        np.nan,
        on[second].mean() / share - 1,
        np.abs(np.diff(on[second])).sum() / switches - 1,
    ]


def bench_seed(seed, as_linear):
    """Yield by fitted log: its name, and errors of predictions; None: no fit."""
    logs = [logged_bench(seed, policy) for policy in POLICIES]
    for name, which, first_day in FITTED:
        week = part(logs[which].record, first_day * DAY, WEEK)
        fits = [fit_zone(week, index) for index in (0, 1)]
        if not all(fit.usable for fit in fits):
            yield name, None
            continue
        models = [as_linear(fit.zone) for fit in fits]
        offsets = np.array([fit.zone.offset_k for fit in fits])
        rng = np.random.default_rng([seed, 2])
        yield name, [predicted(kept, models, offsets, rng) for kept in logs]
