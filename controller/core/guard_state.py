"""What the response guards remember of a mat, from minute to minute. Data.

Response guards ask whether the root zones answer to heat, and to its absence,
as root zones do. What may live here: the shape of their memory. The rules are
in response.
"""

from dataclasses import dataclass

from controller.core.units import MilliC, Millis


@dataclass(frozen=True, slots=True, kw_only=True)
class Uptake:
    """Heat given, and what came of it, while the driving temperature is low.

    Attributes:
        since_ms: When it was last as it should be, or had risen; run clock [ms].
        from_mc: The driving temperature then [m°C].
        proven: That was so; False: it is only where watching began.
        on_ms: The relay's time on up to the last look, all runs [ms].
        excess_ms: Time on since then beyond the mat's mean duty [ms].
        lowest_mc: The lowest driving temperature since then [m°C].
        cooled_mc: The same, let down towards the room as if nothing heated it
            [m°C].
        room_mc: The room then [m°C]; None: not known.
        mark_ms: Start of the present stretch in which a fall would be fast [ms].
        mark_mc: The driving temperature at that start [m°C].
        fell: It has fallen faster since than a heated tray cools.
        missed_mc: What should have been reached and was not [m°C]; None: all
            is well so far.
    """

    since_ms: Millis
    from_mc: MilliC
    proven: bool
    on_ms: int
    excess_ms: int = 0
    lowest_mc: MilliC
    cooled_mc: MilliC
    room_mc: MilliC | None = None
    mark_ms: Millis
    mark_mc: MilliC
    fell: bool = False
    missed_mc: MilliC | None = None


@dataclass(frozen=True, slots=True)
class Idle:
    """A mat that is off and whose stored heat has arrived.

    Attributes:
        since_ms: When this began, or was begun anew; run clock [ms].
        lowest_mc: The lowest driving temperature since [m°C].
        room_mc: The room then [m°C]; None: not known.
        warms: It has risen since, and the room does not explain it.
    """

    since_ms: Millis
    lowest_mc: MilliC
    room_mc: MilliC | None = None
    warms: bool = False


@dataclass(frozen=True, slots=True)
class Climb:
    """The warmest tray some minutes ago.

    Attributes:
        at_ms: When; run clock [ms].
        temp_mc: Its temperature then [m°C].
        until_ms: Heat waits until then, since it rose too fast; None: it did
            not [ms].
    """

    at_ms: Millis
    temp_mc: MilliC
    until_ms: Millis | None = None


@dataclass(frozen=True, slots=True)
class Offset:
    """How a tray usually differs from the median of its mat's trays.

    Attributes:
        tray: Name of the tray.
        usual_mk: Learned difference [mK].
        learned_ms: Time that it was learned in [ms].
        strange_ms: Since when it differs otherwise, without getting nearer
            again; None: it does not.
        strange_mk: By how much then [mK].
    """

    tray: str
    usual_mk: float
    learned_ms: int = 0
    strange_ms: Millis | None = None
    strange_mk: float = 0.0


@dataclass(frozen=True, slots=True)
class GuardState:
    """All that the response guards remember of a mat.

    Attributes:
        at_ms: When they last looked; run clock [ms]; None: never.
        uptake: Heat given while the driving temperature is low.
        idle: The mat while it is off.
        climb: The warmest tray some minutes ago.
        offsets: How the trays usually differ, in plan order.
        marks: The relay's time on, all runs, at the last full hours, the oldest
            first [ms].
        marked_ms: When the newest of them was taken [ms].
        rest_until_ms: Heat waits until then, since it lasted too long [ms].
        spent: The day's heat is used up.
    """

    at_ms: Millis | None = None
    uptake: Uptake | None = None
    idle: Idle | None = None
    climb: Climb | None = None
    offsets: tuple[Offset, ...] = ()
    marks: tuple[int, ...] = ()
    marked_ms: Millis = Millis(0)
    rest_until_ms: Millis | None = None
    spent: bool = False


UNWATCHED = GuardState()
"""Before the first look."""
