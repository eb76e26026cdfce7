"""What the demo's grower had told before the demo begins: invented, all of it.

A bench without batches shows little. So the demo tells its own API what a grower
would have told in the weeks before: over HTTP, as any user does, into the demo's log
only, which is thrown away. What may live here: those records, and telling them.
"""

import argparse
import json
from collections.abc import Iterator
from datetime import UTC, datetime, timedelta

from controller.cli.asking import Json, told
from controller.cli.over_http import exchange
from controller.trials.layout import Place, in_blocks, shuffled

_NOTE = "invented, for the demo"
_SEED = 11
_PAIRS = 6
_ARMS = ("coir-perlite", "bark-sand")
_SEEDS = ("chilli", "aubergine")

_Base = tuple[int, int, int]
"""Bases of those lifted: with roots, with callus, with neither."""

_ENDED: tuple[tuple[float, str, str, str, int, int], ...] = (
    (54, "gooseberry", "Hollow Lane", "N2", 20, 13),
    (51, "grapevine", "Saddle Row", "N1", 16, 11),
)
"""Days ago, crop, cultivar, tray, count, rooted: of earlier this winter."""

_STANDING: tuple[tuple[float, str, str, str, int], ...] = (
    (13, "grapevine", "Cold Ladder", "N1", 18),
    (11, "gooseberry", "Hollow Lane", "N2", 24),
    (9, "quince rootstock", "Mill Pier", "N3", 30),
    (4, "chilli", "Tin Lantern", "S1", 40),
    (2, "aubergine", "Night Barge", "S2", 40),
)
"""Days ago, crop, cultivar, tray, count: what stands on the mats."""

_LOOKS: tuple[tuple[str, float, _Base, int], ...] = (
    ("Cold Ladder", 6, (0, 1, 5), 0),
    ("Cold Ladder", 1, (0, 3, 3), 4),
    ("Hollow Lane", 4, (0, 2, 4), 0),
    ("Mill Pier", 2, (0, 1, 5), 0),
)
"""Cultivar, days ago, bases, tops in leaf of six: one leafs before it roots."""

Step = tuple[str, Json]
"""Where it is told, {code} for the batch that was told last, and what."""


def tell(url: str, began_utc_ms: int) -> None:
    """Tell a bench's API of everything.

    Args:
        url: Its address.
        began_utc_ms: When the demo's clock began [ms]; days count back from there.

    Raises:
        AskError: It does not answer, or refuses.
    """
    args = argparse.Namespace(url=url, token_file=None)
    code = ""
    for path, body in _steps(began_utc_ms):
        text = json.dumps(body).encode()
        found = told(url, exchange(args, "POST", path.format(code=code), text))
        code = str(found.get("code") or code)


def _steps(began_utc_ms: int) -> Iterator[Step]:
    began = datetime.fromtimestamp(began_utc_ms / 1000, UTC)

    def ago(days: float) -> str:
        at = began - timedelta(days=days)
        return at.isoformat(timespec="seconds").replace("+00:00", "Z")

    for days, crop, cultivar, tray, count, rooted in _ENDED:
        yield _batch(ago(days), crop, cultivar, tray, count)
        yield from _end(ago(days - 40), ago(days - 42), count, rooted)
    for days, crop, cultivar, tray, count in _STANDING:
        yield _batch(ago(days), crop, cultivar, tray, count)
        for name, since, base, leafed in _LOOKS:
            if name == cultivar:
                yield "/v1/batches/{code}/looks", _look(ago(since), base, leafed)
    for days in (7, 4, 1):
        watered: Json = {"kind": "watered", "trays": ["N1", "N2", "N3"]}
        yield "/v1/events", {**watered, "at": ago(days), "text": _NOTE}
    yield "/v1/trials", _trial()


def _batch(stuck_at: str, crop: str, cultivar: str, tray: str, count: int) -> Step:
    body: Json = {"crop": crop, "cultivar": cultivar, "tray": tray, "count": count}
    body["kind"] = "seed" if crop in _SEEDS else "hardwood"
    body |= {"wanted": count // 3, "stuck_at": stuck_at, "text": _NOTE}
    return "/v1/batches", body


def _look(at: str, base: _Base, leafed: int) -> Json:
    roots, callus, none = base
    looked_at = sum(base)
    return {
        "at": at,
        "how": "lifted",
        "looked_at": looked_at,
        "base": {"roots": roots, "callus": callus, "none": none},
        "tops": {"leafed": leafed, "dormant": looked_at - leafed},
        "text": _NOTE,
    }


def _end(off_at: str, closed_at: str, count: int, rooted: int) -> Iterator[Step]:
    """Yield how a batch was lifted, left the heat, was potted, and ended."""
    here = "/v1/batches/{code}"
    yield f"{here}/looks", _look(off_at, (rooted, 0, count - rooted), rooted)
    yield f"{here}/move", {"at": off_at, "tray": "", "place": "cool frame"}
    potted: Json = {"at": closed_at, "stage": "potted", "count": rooted}
    yield f"{here}/stages", potted
    ended: Json = {"at": closed_at, "outcome": "weaned", "rooted": rooted}
    yield f"{here}/close", {**ended, "text": _NOTE}


def _trial() -> Json:
    """Return a trial that is planned, by the planner's own blocks and shuffle."""
    pots = [Place(f"N1-{n}", "N1", n) for n in range(1, 2 * _PAIRS + 1)]
    units = [
        {
            "name": one.place.name,
            "arm": one.arm,
            "block": one.block,
            "tray": one.place.tray,
            "position": one.place.position,
        }
        for one in shuffled(in_blocks(pots, len(_ARMS)), _ARMS, _SEED)
    ]
    return {
        "title": "gooseberry in two media",
        "arms": list(_ARMS),
        "unit": "pot",
        "cuttings": 1,
        "units": units,
        "seed": _SEED,
        "test": "permutation-times",
        "base_c": 5.0,
        "text": _NOTE,
    }
