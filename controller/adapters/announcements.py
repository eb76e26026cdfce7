"""What the daemon tells everybody on MQTT: trays, mats, alarms.

Retained JSON under bottomheat/<bench>/: tray/<tray>, mat/<mat>, alarm/<id>. An
alarm that is over is announced as an empty payload, which makes a broker forget
it. What may live here: which sentence stands under which topic.
"""

import json
from collections.abc import Callable, Iterator, Mapping
from datetime import UTC, datetime

from controller.core.decisions import AlarmKind
from controller.core.plan import MatPlan, Plan, TrayPlan, all_probes, all_trays
from controller.core.relays import mean_duty
from controller.core.root_zone import tray_temp_mc
from controller.core.state import Alarm
from controller.core.units import celsius, kelvin_hours
from controller.ports import Snapshot

Publish = Callable[[str, str], None]
"""Takes what stands after bottomheat/<bench>/ in the topic, and the payload."""


class Announcer:
    """Publishes what has changed since it was last published.

    Args:
        publish: Hands a payload over; must not wait.
    """

    def __init__(self, publish: Publish) -> None:
        self._publish = publish
        self._told: dict[str, str] = {}

    def __call__(self, snapshot: Snapshot) -> None:
        """Publish what a scan has changed."""
        now = announcements(snapshot)
        if not self._told:  # a broker may still keep alarms of an earlier run
            self._told = dict.fromkeys(_alarm_topics(snapshot.plan), "")
        for topic in self._told.keys() - now.keys():
            self._publish(topic, "")
        for topic, payload in now.items():
            if self._told.get(topic) != payload:
                self._publish(topic, payload)
        self._told = dict(now)


def announcements(snapshot: Snapshot) -> Mapping[str, str]:
    """Return every topic's end and payload for a snapshot."""
    told = {f"tray/{t.name}": _tray(snapshot, t) for t in all_trays(snapshot.plan)}
    told |= {f"mat/{m.name}": _mat(snapshot, m) for m in snapshot.plan.mats}
    for alarm in snapshot.state.alarms:
        if not alarm.active:
            continue
        subject = f"-{alarm.subject}" if alarm.subject else ""
        told[f"alarm/{alarm.kind.value}{subject}"] = _alarm(alarm)
    return told


def _alarm_topics(plan: Plan) -> Iterator[str]:
    """Yield the topic's end of every alarm that a plan can raise."""
    names = [probe.name for probe in all_probes(plan)]
    names += [mat.name for mat in plan.mats]
    for kind in AlarmKind:
        yield f"alarm/{kind.value}"
        yield from (f"alarm/{kind.value}-{name}" for name in names)


def _tray(snapshot: Snapshot, tray: TrayPlan) -> str:
    state = snapshot.state
    temp_mc = tray_temp_mc(tray, state.probes, state.run_ms)
    account = state.accounts[tray.name]
    body = {
        "temp_c": None if temp_mc is None else round(celsius(temp_mc), 2),
        "degree_hours_k_h": round(kelvin_hours(account.heat_mk_ms), 1),
        "base_c": celsius(account.base_mc),
    }
    return json.dumps(body)


def _mat(snapshot: Snapshot, mat: MatPlan) -> str:
    known = snapshot.state.mats[mat.name]
    command = next(c for c in snapshot.decisions.commands if c.mat == mat.name)
    setpoint_mc = known.ramp.to_mc if known.ramp else mat.programme[0].setpoint_mc
    body = {
        "mode": known.mode.value,
        "energised": command.energised,
        "cause": command.cause.value,
        "setpoint_c": celsius(setpoint_mc),
        "mean_duty": round(mean_duty(known.relay, snapshot.state.run_ms), 2),
    }
    return json.dumps(body)


def _alarm(alarm: Alarm) -> str:
    since = datetime.fromtimestamp(alarm.since_utc_ms / 1000, UTC)
    body = {
        "kind": alarm.kind.value,
        "subject": alarm.subject,
        "since": since.isoformat(timespec="seconds").replace("+00:00", "Z"),
    }
    return json.dumps(body)
