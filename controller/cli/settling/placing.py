"""Where one, two, three or more probes go. Pure."""

from collections.abc import Collection, Iterator, Sequence
from dataclasses import dataclass

from controller.cli.settling.answers import TrayAnswers


@dataclass(frozen=True, slots=True)
class Advice:
    """Where a probe goes.

    Attributes:
        place: "tray NAME", "mat NAME" or "room".
        why: A sentence.
    """

    place: str
    why: str


def advised(
    probes: int, mats: Sequence[str], trays: Sequence[TrayAnswers], *, trial: bool
) -> list[Advice]:
    """Return where so many probes go, the most useful first.

    Args:
        probes: How many there are.
        mats: Names of the mats, the one that matters most first.
        trays: The containers.
        trial: Whether two media are compared.
    """
    return list(_in_order(mats, trays, trial=trial))[:probes]


def _in_order(
    mats: Sequence[str], trays: Sequence[TrayAnswers], *, trial: bool
) -> Iterator[Advice]:
    """Yield places: what drives each mat, what a trial needs, surfaces, room, rest."""
    on = {mat: [tray for tray in trays if tray.mat == mat] for mat in mats}
    first = {mat: _middle(found) for mat, found in on.items() if found}
    taken: set[str] = set()
    for mat, tray in first.items():
        taken.add(tray.name)
        yield Advice(
            f"tray {tray.name}",
            f"mat {mat} is kept by it: tip level with the cut ends, a hand from the"
            " tray's edge",
        )
    if trial:
        for mat, tray in first.items():
            other = _other_medium(on[mat], tray, taken)
            if other is not None:
                taken.add(other.name)
                yield Advice(
                    f"tray {other.name}",
                    "the other medium of the trial: two media on one mat are never"
                    " equally warm",
                )
    for mat in mats:
        yield Advice(
            f"mat {mat}",
            "on its surface, below a tray: its limits see a mat that runs away long"
            " before a tray does",
        )
    yield Advice(
        "room",
        "in the air of the room, out of the sun: with it a tray that was lifted is"
        " found out",
    )
    for tray in trays:
        if tray.name not in taken:
            yield Advice(f"tray {tray.name}", "each tray has a warmth of its own")


def keeper(
    mat: str, trays: Sequence[TrayAnswers], places: Collection[str]
) -> TrayAnswers | None:
    """Return the tray that a mat is kept by; None: no tray on it has a probe.

    Args:
        mat: Its name.
        trays: The containers.
        places: Where probes are: "tray NAME", "mat NAME" or "room".
    """
    on = [tray for tray in trays if tray.mat == mat]
    probed = [tray for tray in on if f"tray {tray.name}" in places]
    if not probed:
        return None
    advised_one = _middle(on)
    return advised_one if advised_one in probed else _middle(probed)


def _middle(trays: Sequence[TrayAnswers]) -> TrayAnswers:
    return trays[len(trays) // 2]


def _other_medium(
    trays: Sequence[TrayAnswers], first: TrayAnswers, taken: set[str]
) -> TrayAnswers | None:
    others = [t for t in trays if t.name not in taken]
    differ = [t for t in others if t.medium != first.medium]
    return next(iter(differ or others), None)


def lacks(places: Sequence[str], mats: Sequence[str]) -> Iterator[str]:
    """Yield what a bench with probes at these places cannot know."""
    trays = [place for place in places if place.startswith("tray ")]
    if len(trays) == 1:
        yield (
            "With one probe in the trays nobody notices when it reads wrong by a"
            " little, or slowly more and more"
        )
    for mat in mats:
        if f"mat {mat}" not in places:
            yield f"Without a probe on mat {mat} its surface limits cannot act"
    if "room" not in places:
        yield (
            "Without a probe in the room a tray that is lifted in a room almost as"
            " warm as itself is not found out"
        )
