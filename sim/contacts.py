"""The relays of a simulated bench: what they were told, and what they do.

A lease relay drops out when its lease ends, a plain one stays as it was told,
and so does a pin of the board. What may live here: contacts and their reports.
No physics, no decisions.
"""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass

from controller.core.decisions import Command
from controller.core.plan import Plan, RelayKind
from controller.core.scan import RelayReport
from controller.core.units import Millis
from sim.faults import Fault
from sim.kinds import Kind

WILL_MS = 15_000
"""A broker takes a client for lost after one and a half times its keep-alive
(MQTT 3.1.1, 3.1.2.10), which is 10 s with the daemon: so long after it fell
silent its last will tells a plain relay to switch off."""

_DEAF = {Kind.RELAY_LOST, Kind.RELAY_CUT_OFF}
_MUTE = {*_DEAF, Kind.RELAY_SILENT}


@dataclass(slots=True)
class Contact:
    """One relay.

    Attributes:
        kind: How it is reached.
        reports: Whether it says what it does.
        told: What it was told, as far as it still holds.
        until_ms: When a lease ends [ms].
        seq: The command that it obeys.
        reported: What it last said; None: nothing yet.
        fault: What is wrong with it; None: nothing.
    """

    kind: RelayKind
    reports: bool
    told: bool = False
    until_ms: int = 0
    seq: int | None = None
    reported: bool | None = None
    fault: Fault | None = None

    def closed(self) -> bool:
        """Whether the contact is closed."""
        if self.fault is not None:
            if self.fault.kind is Kind.RELAY_STUCK_ON:
                return True
            if self.fault.kind in {Kind.RELAY_STUCK_OFF, Kind.RELAY_LOST}:
                return False
        return self.told

    def says(self) -> bool:
        """What it would report."""
        sticks = (Kind.RELAY_STUCK_ON, Kind.RELAY_STUCK_OFF)
        if self.fault is not None and self.fault.kind in sticks:
            return self.closed() if self.fault.flag("honest") else self.told
        return self.closed()

    def is_one_of(self, kinds: set[Kind]) -> bool:
        """Whether its fault is one of these."""
        return self.fault is not None and self.fault.kind in kinds


class Contacts:
    """All relays of a bench."""

    def __init__(self, plan: Plan) -> None:
        self._valid_ms = plan.valid_for_ms
        self.of: Mapping[str, Contact] = {
            mat.name: Contact(mat.relay, mat.reports)
            for mat in plan.mats
            if mat.relay is not None
        }

    def obey(self, commands: tuple[Command, ...], seq: int, now_ms: int) -> None:
        """Take commands that arrive."""
        for command in commands:
            contact = self.of.get(command.mat)
            if contact is None or contact.is_one_of(_DEAF):
                continue
            contact.told, contact.seq = command.energised, seq
            contact.until_ms = now_ms + self._valid_ms

    def leases_end_ms(self) -> int:
        """Return when the first lease ends [ms]; very late where none runs."""
        ends = [
            contact.until_ms
            for contact in self.of.values()
            if contact.told and contact.kind is RelayKind.LEASE
        ]
        return min(ends, default=2**62)

    def pass_time(self, now_ms: int) -> None:
        """Let leases end."""
        for contact in self.of.values():
            if contact.kind is RelayKind.LEASE and now_ms >= contact.until_ms:
                contact.told = False

    def will(self) -> None:
        """Let the daemon's last will reach the plain relays: off."""
        for contact in self.of.values():
            if contact.kind is RelayKind.PLAIN and not contact.is_one_of(_DEAF):
                contact.told = False

    def break_down(self, mat: str, fault: Fault | None) -> None:
        """Let a fault befall a relay; None: it is whole again."""
        contact = self.of.get(mat)
        if contact is None:
            return
        if contact.is_one_of({Kind.RELAY_LOST}) or (
            fault is not None and fault.kind is Kind.RELAY_LOST
        ):
            contact.told = False  # it starts, and may start, only with "off"
            contact.reported = None
        contact.fault = fault

    def report(self, now_ms: int) -> Iterator[RelayReport]:
        """Yield what relays have to say that is new."""
        for mat, contact in self.of.items():
            if not contact.reports or contact.is_one_of(_MUTE):
                continue
            says = contact.says()
            if says == contact.reported:
                continue
            contact.reported = says
            yield RelayReport(mat, Millis(now_ms), says, contact.seq)

    def kept(self, now_ms: int) -> Iterator[RelayReport]:
        """Yield the reports that a broker had kept, as it gives them out."""
        for mat, contact in self.of.items():
            if contact.reports and contact.reported is not None:
                yield RelayReport(
                    mat, Millis(now_ms), contact.reported, contact.seq, retained=True
                )
