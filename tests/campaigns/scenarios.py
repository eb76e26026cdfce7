"""The scenarios of the fault campaign: what is injected, how badly. Data.

A scenario belongs to the hazard that names it; that hazard says from which
severity on it must be found, how, and how soon.
"""

from collections.abc import Callable
from dataclasses import dataclass

from controller.review.hazard_table import HAZARDS
from controller.review.hazards import Hazard, Threshold
from sim.closed_loop import ClosedLoop
from sim.faults import Fault
from sim.kinds import Kind
from tests.campaigns.benches import Bench

MINUTE = 60_000
HOUR = 60 * MINUTE
DAY = 24 * HOUR


@dataclass(frozen=True)
class Where:
    """Where and when a fault is injected."""

    bench: Bench
    loop: ClosedLoop
    at_ms: int


Inject = Callable[[Where, float], list[Fault]]


@dataclass(frozen=True)
class Scenario:
    """One thing that is injected.

    Attributes:
        name: Its name.
        severities: From mild to severe.
        unit: What the severity is.
        inject: Makes the faults.
        hours: For how long the bench is watched.
        fits: Whether it makes sense on a bench.
        acts: Whether software can act against it, on a bench.
        must: Whether it must be found on a bench at all.
        trips: Whether locking off is a right answer.
    """

    name: str
    severities: tuple[float, ...]
    unit: str
    inject: Inject
    hours: float = 12
    fits: Callable[[Bench], bool] = lambda _: True
    acts: Callable[[Bench], bool] = lambda _: True
    must: Callable[[Bench], bool] = lambda _: True
    trips: bool = True

    @property
    def hazard(self) -> Hazard:
        """The hazard that it injects."""
        return next(h for h in HAZARDS if self.name in h.injected_by)

    @property
    def threshold(self) -> Threshold | None:
        """From where on it must be found; None: it need not be."""
        found = self.hazard.thresholds
        return next((t for t in found if t.scenario == self.name), None)


def _fault(kind, where, subject, lasts_ms=None, other="", flags=None, **sizes):
    return Fault(
        kind=kind,
        at_ms=where.at_ms,
        lasts_ms=lasts_ms,
        subject=subject,
        other=other,
        sizes={key: round(1000 * value) for key, value in sizes.items()},
        flags=flags or {},
    )


def _slip(where, probe, colder_k):
    """Let a probe lie in air that is colder than the setpoint by so much."""
    room_c = where.loop.bench.world.room_c()
    above_k = min(10.0, max(0.0, where.bench.setpoint_c - colder_k - room_c))
    return [_fault(Kind.PROBE_SLIPS_OUT, where, probe, above_room=above_k)]


def _probe(kind, **more):
    def inject(where, severity):
        sizes = {key: factor * severity for key, factor in more.items()}
        return [_fault(kind, where, where.bench.driving_probe, **sizes)]

    return inject


def _probe_says(temp_c):
    def inject(where, _):
        probe = where.bench.driving_probe
        return [_fault(Kind.PROBE_SAYS, where, probe, value=temp_c)]

    return inject


def _late(where, minutes, *, stamped):
    probe, flags = where.bench.driving_probe, {"stamped": stamped}
    by_s = 60 * minutes
    return [_fault(Kind.PROBE_LATE, where, probe, 6 * HOUR, flags=flags, by=by_s)]


def _mat(kind, *, hours=None, flags=None):
    def inject(where, severity):
        lasts_ms = None if hours is None else round(hours * severity * HOUR)
        return [_fault(kind, where, where.bench.mat, lasts_ms, flags=flags)]

    return inject


def _bench(kind, unit_ms=None, flags=None, **more):
    def inject(where, severity):
        lasts_ms = None if unit_ms is None else round(unit_ms * severity)
        sizes = {key: factor * severity for key, factor in more.items()}
        return [_fault(kind, where, "", lasts_ms, flags=flags, **sizes)]

    return inject


def _every_tray(where, kind, lasts_ms, **sizes):
    trays = where.bench.mat_plan.trays
    return [_fault(kind, where, tray.name, lasts_ms, **sizes) for tray in trays]


def _lifted(where, hours):
    tray = where.bench.driving_tray
    return [_fault(Kind.TRAY_LIFTED, where, tray, round(hours * HOUR))]


def _drives(bench):
    return bench.drives


def _has_other(bench):
    return bench.other_probe is not None


def _has_strange(bench):
    return bench.strange_probe is not None


def _reports(bench):
    return bench.mat_plan.reports


def _is_shallow(bench):
    """A deep bin's root zone stays below every limit in four hours of sun."""
    return bench.mat_plan.trays[0].depth_mm <= DEEP_MM


def _never(_):
    return False


def _not_plain(bench):
    return not bench.plain


DEEP_MM = 100
ONE = (1.0,)
CLASS = "of one class"

SCENARIOS = (
    Scenario(
        "probe-slips-out",
        (3, 6, 12),
        "K colder than the setpoint",
        lambda w, k: _slip(w, w.bench.driving_probe, k),
        must=_drives,
    ),
    Scenario(
        "other-probe-slips-out",
        (3, 6, 12),
        "K colder than the setpoint",
        lambda w, k: _slip(w, w.bench.other_probe, k),
        fits=_has_other,
    ),
    Scenario("tray-lifted", (2, 6, 12), "h without hold", _lifted),
    Scenario(
        "tray-lifted-briefly",
        (10, 20, 30),
        "min without hold",
        lambda w, m: _lifted(w, m / 60),
        trips=False,
    ),
    Scenario("probe-on-mat", ONE, CLASS, _probe(Kind.PROBE_ON_MAT)),
    Scenario(
        "probe-wet", (3, 8, 20), "K within two hours", _probe(Kind.PROBE_WET, by=1)
    ),
    Scenario("probe-short", ONE, CLASS, _probe_says(150.0), hours=3),
    Scenario("probe-open", ONE, CLASS, _probe(Kind.PROBE_NO_VALUE), hours=3),
    Scenario("probe-silent", ONE, CLASS, _probe(Kind.PROBE_SILENT), hours=3),
    Scenario("probe-refused", ONE, CLASS, _probe(Kind.PROBE_REFUSED), hours=3),
    Scenario("power-up-value", ONE, CLASS, _probe_says(85.0), hours=3),
    Scenario("low-power-value", ONE, CLASS, _probe_says(127.937), hours=3),
    Scenario("disconnected-value", ONE, CLASS, _probe_says(-127.0), hours=3),
    Scenario(
        "probe-stuck-low",
        (0.5, 1, 4),
        "K below the setpoint",
        lambda w, k: _probe_says(w.bench.setpoint_c - k)(w, 1),
        must=_drives,
    ),
    Scenario(
        "probe-drifts-low",
        (2, 6, 12),
        "K/day",
        _probe(Kind.PROBE_DRIFTS, by=-1),
        hours=30,
        acts=_has_other,  # a lone probe is all that is known
        must=_has_other,
    ),
    Scenario(
        "probe-drifts-high",
        (2, 6, 12),
        "K/day",
        _probe(Kind.PROBE_DRIFTS, by=1),
        hours=30,
    ),
    Scenario(
        "probe-jumps-low",
        (2, 6, 12),
        "K",
        _probe(Kind.PROBE_JUMPS, by=-1),
        hours=14,
        acts=_has_other,
        must=_has_other,
    ),
    Scenario("probe-jumps-high", (2, 4, 6), "K", _probe(Kind.PROBE_JUMPS, by=1)),
    Scenario("probe-fahrenheit", ONE, CLASS, _probe(Kind.PROBE_FAHRENHEIT), hours=3),
    Scenario(
        "probes-swapped",
        ONE,
        CLASS,
        lambda w, _: [
            _fault(
                Kind.PROBES_SWAPPED,
                w,
                w.bench.driving_probe,
                other=w.bench.other_probe,
            )
        ],
        fits=_has_other,
    ),
    Scenario(
        "probes-swapped-between-mats",
        ONE,
        CLASS,
        lambda w, _: [
            _fault(
                Kind.PROBES_SWAPPED,
                w,
                w.bench.driving_probe,
                other=w.bench.strange_probe,
            )
        ],
        fits=_has_strange,
        hours=14,
    ),
    Scenario(
        "messages-late",
        (1, 5, 60),
        "min, with their own time",
        lambda w, m: _late(w, m, stamped=True),
        hours=8,
        trips=False,
    ),
    Scenario(
        "messages-late-unstamped",
        (1, 5, 60),
        "min, without a time",
        lambda w, m: _late(w, m, stamped=False),
        hours=8,
    ),
    Scenario(
        "messages-doubled",
        ONE,
        CLASS,
        _probe(Kind.PROBE_DOUBLED),
        hours=6,
        trips=False,
    ),
    Scenario(
        "messages-reordered",
        ONE,
        CLASS,
        _probe(Kind.PROBE_REORDERED),
        hours=6,
        trips=False,
    ),
    Scenario(
        "kept-value",
        (5, 15, 60),
        "°C, kept by the broker",
        _probe(Kind.PROBE_RETAINED, value=1),
        hours=3,
        trips=False,
    ),
    Scenario("mat-dead", ONE, CLASS, _mat(Kind.MAT_DEAD), hours=20),
    Scenario(
        "relay-stuck-on", ONE, CLASS, _mat(Kind.RELAY_STUCK_ON), hours=8, acts=_never
    ),
    Scenario(
        "relay-stuck-on-silently",
        ONE,
        CLASS,
        _mat(Kind.RELAY_STUCK_ON, flags={"honest": False}),
        hours=8,
        acts=_never,
    ),
    Scenario("relay-stuck-off", ONE, CLASS, _mat(Kind.RELAY_STUCK_OFF), hours=20),
    Scenario(
        "relay-stuck-off-silently",
        ONE,
        CLASS,
        _mat(Kind.RELAY_STUCK_OFF, flags={"honest": False}),
        hours=20,
    ),
    Scenario("relay-lost", ONE, CLASS, _mat(Kind.RELAY_LOST), hours=20),
    Scenario(
        "relay-cut-off", ONE, CLASS, _mat(Kind.RELAY_CUT_OFF), hours=20, acts=_not_plain
    ),
    Scenario(
        "broker-lost",
        (5, 60, 360),
        "min",
        _bench(Kind.BROKER_LOST, MINUTE),
        hours=8,
        acts=_not_plain,
        trips=False,
    ),
    Scenario(
        "network-split",
        (0.5, 6, 18),
        "h",
        _bench(Kind.NETWORK_SPLIT, HOUR),
        hours=20,
        acts=_not_plain,
    ),
    Scenario(
        "broker-restarts",
        (10, 60, 300),
        "s",
        _bench(Kind.BROKER_RESTARTS, 1_000),
        hours=4,
        trips=False,
    ),
    Scenario(
        "daemon-restarts",
        (20, 600, 10_000),
        "s away",
        _bench(Kind.DAEMON_RESTARTS, 1_000),
        hours=8,
        trips=False,
    ),
    Scenario(
        "daemon-hangs",
        (20, 600, 10_000),
        "s",
        _bench(Kind.DAEMON_HANGS, 1_000),
        hours=8,
        trips=False,
    ),
    Scenario(
        "clock-forward",
        (3_600, 86_400, 31_536_000),
        "s",
        _bench(Kind.CLOCK_JUMPS, by=1),
        hours=4,
        trips=False,
    ),
    Scenario(
        "clock-back",
        (3_600, 86_400, 31_536_000),
        "s",
        _bench(Kind.CLOCK_JUMPS, by=-1),
        hours=4,
        trips=False,
    ),
    Scenario(
        "summer-time",
        (-3_600, 3_600),
        "s",
        _bench(Kind.SUMMER_TIME, by=1),
        hours=4,
        trips=False,
    ),
    Scenario(
        "clock-unknown",
        ONE,
        CLASS,
        lambda w, _: [
            _fault(
                Kind.DAEMON_RESTARTS, w, "", 20 * MINUTE, flags={"clock_known": False}
            ),
            _fault(Kind.CLOCK_UNKNOWN, w, ""),
        ],
        hours=4,
        trips=False,
    ),
    Scenario(
        "log-fails", ONE, CLASS, _bench(Kind.LOG_FAILS, HOUR), hours=3, trips=False
    ),
    Scenario(
        "sun",
        (150, 300, 600),
        "W/m² for 4 h",
        lambda w, sun: _every_tray(w, Kind.SUN, 4 * HOUR, gives=sun),
        must=_is_shallow,
        acts=_never,
    ),
    Scenario(
        "room-hotter",
        (8, 16, 26),
        "K warmer for 12 h",
        lambda w, k: [_fault(Kind.ROOM_SHIFTS, w, "", 12 * HOUR, by=k)],
        hours=16,
        acts=_never,
    ),
    Scenario(
        "door-opened",
        (4, 8, 14),
        "K colder for 20 min",
        lambda w, k: [_fault(Kind.ROOM_SHIFTS, w, "", 20 * MINUTE, by=-k)],
        hours=6,
        trips=False,
    ),
    Scenario(
        "watered",
        (4, 10, 20),
        "mm of 8 °C",
        lambda w, mm: _every_tray(
            w, Kind.TRAY_WATERED, 12 * HOUR, water=mm, temperature=8
        ),
        hours=12,
        trips=False,
    ),
    Scenario(
        "medium-dries",
        (0.6, 0.3, 0.1),
        "of its water left",
        lambda w, left: _every_tray(w, Kind.MEDIUM_DRIES, None, left=left),
        hours=24,
        trips=False,
    ),
)
