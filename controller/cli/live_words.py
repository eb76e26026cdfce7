"""What `check --live` found, in words and as JSON. No connection."""

from collections.abc import Iterator
from typing import TYPE_CHECKING

from controller.cli.output import figure, table

if TYPE_CHECKING:
    from controller.cli.live_check import Met
    from controller.cli.live_findings import ProbeHeard


def in_words(found: "Met") -> Iterator[str]:
    """Yield lines for people."""
    if found.probes:
        yield ""
        head = ("probe", "now", "speaks every", "heard", "on")
        yield table(head, [_row(one) for one in found.probes])
    yield ""
    yield from (f"Well: {text}" for text in found.tried)
    yield "To see to:" if found.findings else "Nothing to see to."
    for finding in found.findings:
        yield f"  - {finding.place}: {finding.found}."
        yield f"      {finding.mend}{'' if finding.mend.endswith('?') else '.'}"


def _row(one: "ProbeHeard") -> tuple[str, ...]:
    milli, pause_ms = one.milli, one.pause_ms
    return (
        one.plan.name,
        figure(None if milli is None else milli / 1000, 2),
        figure(None if pause_ms is None else pause_ms / 1000, 0, " s"),
        str(len(one.live_at_ms)),
        one.where,
    )


def record(found: "Met") -> dict[str, object]:
    """Return the same for JSON."""
    return {
        "listened_s": found.listened_ms / 1000,
        "probes": [
            {
                "name": one.plan.name,
                "where": one.where,
                "value": None if one.milli is None else one.milli / 1000,
                "pause_s": None if one.pause_ms is None else one.pause_ms / 1000,
                "heard": len(one.live_at_ms),
                "refused": len(one.refusals),
            }
            for one in found.probes
        ],
        "well": found.tried,
        "findings": [
            {"place": one.place, "found": one.found, "mend": one.mend}
            for one in found.findings
        ],
    }
