"""What settings become: a plan, its wiring, and what only the edges need."""

from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path

from controller.core.plan import Plan
from controller.tabletop import Tabletop
from controller.wiring import Wiring


@dataclass(frozen=True, slots=True, kw_only=True)
class LogSettings:
    """The season log.

    Attributes:
        path: The SQLite file, relative to where bottomheat is started.
        commit_every_ms: How much at most a power cut can lose [ms].
        fold_after_ms: Scans of this age are folded into compressed blocks [ms].
    """

    path: Path
    commit_every_ms: int
    fold_after_ms: int


@dataclass(frozen=True, slots=True, kw_only=True)
class ApiSettings:
    """The JSON API and the page.

    Attributes:
        host: Address to listen on; others than loopback ones need tokens.
        port: TCP port; 0 takes any free one.
        names: Names under which it is asked, besides those of this machine.
        proxies: Addresses or networks of proxies whose word is taken.
        tls_cert: Certificate (PEM) and what vouches for it; None: no TLS here.
        tls_key: Its key (PEM).
    """

    host: str
    port: int
    names: tuple[str, ...] = ()
    proxies: tuple[str, ...] = ()
    tls_cert: Path | None = None
    tls_key: Path | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Settings:
    """All that a file and the environment say.

    Attributes:
        source: The file, as it was named.
        plan: What the bench is and how it shall be kept; breaks no rule.
        wiring: How its names meet the world.
        tabletop: Where things stand, to draw the bench by.
        timezone: IANA name of the bench's time zone.
        display_unit: "°C" or "°F": what a person wants to read.
        log: The season log.
        api: The JSON API.
        crops: A crop file of the writer's own; None: there is none.
        written: What the writer wrote, with the writer's unit, by place:
            "mat north: setpoint" is "75 °F". Only keys that were written.
    """

    source: str
    plan: Plan
    wiring: Wiring
    tabletop: Tabletop
    timezone: str
    display_unit: str
    log: LogSettings
    api: ApiSettings
    crops: Path | None
    written: Mapping[str, str]
