"""The bench in the OpenMetrics text format, version 1.0.0, for collectors. Pure.

What may live here: that form, and which figures are told in it.
"""

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass

from api.moment import Moment, scan_age_ms
from api.shapes import MatView, ProbeView, TrayView
from api.views import PRIORITIES, bench_view, pressing
from controller.core.alarm_rules import RULES
from controller.core.scan import LogHealth
from controller.core.state import Alarm, Mode

MEDIA_TYPE = "application/openmetrics-text; version=1.0.0; charset=utf-8"

Labels = Mapping[str, str]


@dataclass(frozen=True, slots=True)
class _Family:
    """One metric family: its name without the counter's ending, and its samples."""

    name: str
    kind: str
    words: str
    samples: Iterable[tuple[Labels, float]]
    unit: str = ""

    def lines(self) -> Iterator[str]:
        full = f"bottomheat_{self.name}" if self.name else "bottomheat"
        yield f"# TYPE {full} {self.kind}"
        if self.unit:
            yield f"# UNIT {full} {self.unit}"
        yield f"# HELP {full} {_escaped(self.words)}"
        ending = {"counter": "_total", "info": "_info"}.get(self.kind, "")
        for labels, value in self.samples:
            yield f"{full}{ending}{_labels(labels)} {_number(value)}"


def metrics_text(look: Moment, version: str, streams: int) -> str:
    """Return all figures of a bench.

    Args:
        look: The bench.
        version: Of this program.
        streams: How many clients follow the bench.
    """
    lines = [
        line for family in _families(look, version, streams) for line in family.lines()
    ]
    return "\n".join([*lines, "# EOF\n"])


def _families(look: Moment, version: str, streams: int) -> Iterator[_Family]:
    bench = bench_view(look)
    info = {"version": version, "bench": bench["bench"], "run": bench["run"]}
    yield _Family("", "info", "What runs here.", [(info, 1)])
    yield from _bench(look, streams)
    yield from _trays(bench["trays"])
    probes = [probe for tray in bench["trays"] for probe in tray["probes"]]
    probes += [probe for mat in bench["mats"] for probe in mat["surface"]]
    yield from _probes([*probes, *bench["room"]])
    yield from _mats(bench["mats"])


def _bench(look: Moment, streams: int) -> Iterator[_Family]:
    scan = look.snapshot.scan
    flags = {
        "clock_ok": ("Whether the wall clock is known to be right.", scan.clock_ok),
        "link_up": ("Whether the broker is reached.", scan.link_up),
        "log_ok": (
            "Whether the season log is written.",
            scan.log_health is LogHealth.OK,
        ),
    }
    for name, (words, holds) in flags.items():
        yield _Family(name, "gauge", words, [({}, float(holds))])
    yield _Family("scans", "counter", "Scans of this run.", [({}, scan.seq)])
    yield _Family(
        "scan_age_seconds",
        "gauge",
        "How long ago the last scan was made.",
        [({}, scan_age_ms(look) / 1000)],
        unit="seconds",
    )
    refused = look.snapshot.refused
    yield _Family(
        "refused_messages", "counter", "Messages refused in this run.", [({}, refused)]
    )
    yield _Family("live_streams", "gauge", "Who follows the bench.", [({}, streams)])
    held = [PRIORITIES[RULES[one.kind].priority] for one in _pressing(look)]
    counts = [({"priority": p}, float(held.count(p))) for p in PRIORITIES.values()]
    yield _Family("alarms", "gauge", "Alarms that hold now.", counts)


def _pressing(look: Moment) -> list[Alarm]:
    return pressing(look.snapshot.state.alarms)


def _trays(trays: list[TrayView]) -> Iterator[_Family]:
    known = [(t, t["temp_c"]) for t in trays]
    yield _Family(
        "tray_celsius",
        "gauge",
        "Root zone of a tray; missing without a usable probe.",
        [(_of_tray(t), c) for t, c in known if c is not None],
        unit="celsius",
    )
    yield _Family(
        "tray_thermal_time_kelvin_hours",
        "gauge",
        "Degree-hours of a tray above its base; begins anew with a new plan.",
        [
            (
                _of_tray(t) | {"base_c": f"{t['degree_hours']['base_c']:g}"},
                t["degree_hours"]["degree_hours_k_h"],
            )
            for t in trays
        ],
        unit="kelvin_hours",
    )
    yield _Family(
        "tray_measured_hours",
        "gauge",
        "Hours in which that was measured.",
        [(_of_tray(t), t["degree_hours"]["hours_measured"]) for t in trays],
        unit="hours",
    )


def _of_tray(tray: TrayView) -> dict[str, str]:
    return {"tray": tray["name"], "mat": tray["mat"] or ""}


def _probes(probes: list[ProbeView]) -> Iterator[_Family]:
    now = [({"probe": p["name"]}, p["temp_c"]) for p in probes]
    ages = [({"probe": p["name"]}, p["age_s"]) for p in probes]
    yield _Family(
        "probe_celsius",
        "gauge",
        "What a probe reads; missing while it may not be used.",
        [(labels, value) for labels, value in now if value is not None],
        unit="celsius",
    )
    yield _Family(
        "probe_age_seconds",
        "gauge",
        "Since its last good reading.",
        [(labels, value) for labels, value in ages if value is not None],
        unit="seconds",
    )


def _mats(mats: list[MatView]) -> Iterator[_Family]:
    yield _Family(
        "mat_setpoint_celsius",
        "gauge",
        "The setpoint in force.",
        [(_of(m), m["setpoint"]["setpoint_c"]) for m in mats],
        unit="celsius",
    )
    yield _Family(
        "mat_heating",
        "gauge",
        "Whether its relay is believed to be on.",
        [(_of(m), float(m["energised"])) for m in mats],
    )
    yield _Family(
        "mat_duty_ratio",
        "gauge",
        "Share of time on, averaged over some hours.",
        [(_of(m), m["duty_percent"] / 100) for m in mats],
        unit="ratio",
    )
    yield _Family(
        "mat_energy_joules",
        "counter",
        "Its nominal power times the time it was on.",
        [(_of(m), m["energy_wh"] * 3600) for m in mats],
        unit="joules",
    )
    yield _Family(
        "mat_relay_operations",
        "counter",
        "How often its relay was switched on.",
        [(_of(m), m["operations"]) for m in mats],
    )
    modes = [
        (_of(m) | {"bottomheat_mat_mode": mode.value}, float(m["mode"] == mode.value))
        for m in mats
        for mode in Mode
    ]
    yield _Family("mat_mode", "stateset", "What state a mat is in.", modes)


def _of(mat: MatView) -> dict[str, str]:
    return {"mat": mat["name"]}


def _labels(labels: Labels) -> str:
    if not labels:
        return ""
    return "{" + ",".join(f'{k}="{_quoted(v)}"' for k, v in labels.items()) + "}"


def _escaped(text: str) -> str:
    return text.replace("\\", "\\\\").replace("\n", "\\n")


def _quoted(text: str) -> str:
    return _escaped(text).replace('"', '\\"')


def _number(value: float) -> str:
    return f"{value:.17g}" if value != int(value) else str(int(value))
