"""Readings of a season log by way of numpy: some ten times as fast.

Only here does a season log meet numpy, which a daemon on a small board does
without. SeasonLogReader takes it as its decoder; what it then returns is the
same to the last number, and numpy.frombuffer makes arrays of it without a copy.
What may live here: a decoder like that of the season log, and nothing else.
"""

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray
from typing_extensions import Buffer

from controller.adapters.season_log import Asked, Frame, Raw, decoded
from controller.adapters.season_log.decoding import UNTAKEN
from controller.adapters.season_log.tables import READINGS_PER_SCAN
from controller.ports import UNTAKEN_MC

_Numbers = NDArray[np.int64]

_Narrow = NDArray[np.int8] | NDArray[np.int16] | NDArray[np.int32]

_ORDINARY = 2**62
"""Below it, sums of columns that narrow cannot leave 64 bits."""


def with_numpy(raw: Raw, frame: Frame, asked: Asked) -> Sequence[Buffer]:
    """Return what season_log.decoded returns, and raise what it raises."""
    widths = {width for width, _ in raw.columns}
    reach = abs(raw.milli) + abs(raw.at_ms) + raw.n * abs(raw.step_ms)
    if not widths <= {1, 2, 4} or reach >= _ORDINARY:
        return decoded(raw, frame, asked)
    slots, places, late_ms, rises, codes = (_column(raw.n, *c) for c in raw.columns)
    scans = np.add.accumulate(slots, dtype=np.int64)
    skew_ms = np.asarray(frame.skew_ms)[scans]
    scans += frame.first
    scans *= READINGS_PER_SCAN
    scans += places
    run_ms = _running(raw.at_ms + frame.run_ms, late_ms, raw.step_ms)
    utc_ms = run_ms + skew_ms
    utc_ms += frame.utc_ms - frame.run_ms
    temp_mc = _running(raw.milli + frame.offset_mk, rises)
    good = not codes.any()
    if not good:
        temp_mc[(codes & UNTAKEN) != 0] = UNTAKEN_MC
    columns: Sequence[_Numbers] = (scans, run_ms, utc_ms, temp_mc)
    least, most = np.minimum.reduce(utc_ms), np.maximum.reduce(utc_ms)
    inside = asked.from_ms <= least and most < asked.to_ms
    if not (inside and (good or asked.untaken)):
        columns = _picked(columns, asked)
    return [column.data for column in columns]


def _column(n: int, width: int, body: bytes) -> _Narrow:
    """Return the numbers of a column: its low bytes come first, then the next."""
    if width == 1:
        return np.frombuffer(body, np.int8)
    planes = np.frombuffer(body, np.uint8).reshape(width, n)
    together = planes.T.tobytes()
    if width == 2:  # noqa: PLR2004 - bytes
        return np.frombuffer(together, "<i2")
    return np.frombuffer(together, "<i4")


def _running(first: int, steps: _Narrow, more: int = 0) -> _Numbers:
    """Return first, and then the sums of it and all steps but the first."""
    whole = steps.astype(np.int64)
    whole += more
    whole[0] = first
    return np.add.accumulate(whole, out=whole)


def _picked(columns: Sequence[_Numbers], asked: Asked) -> Sequence[_Numbers]:
    _, _, utc_ms, temp_mc = columns
    wanted = (asked.from_ms <= utc_ms) & (utc_ms < asked.to_ms)
    if not asked.untaken:
        wanted &= temp_mc != UNTAKEN_MC
    return [column[wanted] for column in columns]
