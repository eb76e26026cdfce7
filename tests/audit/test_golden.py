"""A pinned run: whoever changes what is decided must raise DECISIONS_VERSION.

A pin, not a proof: it says that decisions have changed, not that they were
right. The scans are made by whole-number arithmetic alone, so that every
machine makes the same.
"""

import hashlib

from controller.core.plan import (
    MatPlan,
    OnOff,
    Pid,
    Plan,
    ProbePlan,
    RelayKind,
    StepPlan,
    TrayPlan,
)
from controller.core.scan import Hold, LogHealth, Quality, Reading, Request, Scan
from controller.core.state import fresh_state
from controller.core.step import DECISIONS_VERSION, step

PINNED = {1: "0f45449c7443a46c", 2: "1372d0f029d74240"}
"""Digest of the run's decisions, by the version that decided so."""


def a_plan() -> Plan:
    def mat(name: str, **more) -> MatPlan:
        trays = tuple(
            TrayPlan(name=f"{name}{n}", probes=(ProbePlan(name=f"{name}{n}"),))
            for n in (1, 2)
        )
        return MatPlan(
            name=name,
            power_mw=100_000,
            length_mm=1200,
            width_mm=530,
            programme=(StepPlan(21_000, night_mc=19_000, days=1.0), StepPlan(23_000)),
            relay=RelayKind.LEASE,
            trays=trays,
            surface=(ProbePlan(name=f"{name}s"),),
            **more,
        )

    return Plan(
        bench="golden",
        mats=(mat("a", policy=Pid(), ramp_mk_per_h=3_000), mat("b", policy=OnOff())),
    )


def temp_milli(probe: int, seq: int) -> int:
    """Return a saw of temperatures that wanders through bands and limits."""
    period = 4_000 + 700 * probe
    place = seq % period
    rise = place if place < period // 2 else period - place
    return 16_000 + rise * (17_000 if probe % 3 else 6_000) // (period // 2)


def quality(probe: int, seq: int) -> Quality:
    return Quality.UNCERTAIN if (seq + 13 * probe) % 997 == 0 else Quality.GOOD


def scans(plan: Plan):
    names = [p.name for m in plan.mats for t in m.trays for p in t.probes]
    names += [p.name for m in plan.mats for p in m.surface]
    for seq in range(1, 30_001):
        now_ms = seq * 5_000
        readings = tuple(
            Reading(name, now_ms, temp_milli(n, seq), quality(n, seq))
            for n, name in enumerate(names)
            if seq % 6 == n % 6 and not 9_000 < seq % 11_000 < 9_100
        )
        requests = (
            (Request(seq, "Ada", Hold("a", 600_000)),) if seq % 7_001 == 0 else ()
        )
        minute = seq // 12 % 1440
        yield Scan(
            seq,
            now_ms,
            now_ms,
            clock_ok=seq % 5_000 > 100,
            local_day=seq // 17_280,
            local_minute=minute,
            readings=readings,
            link_up=seq % 8_111 > 5,
            log_health=LogHealth.FAILED if seq % 6_007 < 4 else LogHealth.OK,
            requests=requests,
        )


def test_the_pinned_run_is_decided_as_its_version_says():
    plan = a_plan()
    state, digest = fresh_state(plan), hashlib.sha256()
    causes = set()
    for scan in scans(plan):
        state, decisions = step(plan, state, scan)
        causes |= {command.cause for command in decisions.commands}
        digest.update(repr(decisions).encode())
    digest.update(repr(state).encode())
    assert len(causes) >= 10, "the run has become too tame to pin anything"
    assert PINNED.get(DECISIONS_VERSION) == digest.hexdigest()[:16], (
        "the same scans are decided otherwise than before: raise DECISIONS_VERSION"
        f" and pin {digest.hexdigest()[:16]!r}"
    )
