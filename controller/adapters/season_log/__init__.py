"""The season log: a SQLite file with every scan, one writer, many readers."""

from controller.adapters.season_log.direct import DirectSeasonLog
from controller.adapters.season_log.logfile import LogFile
from controller.adapters.season_log.reader import SeasonLogReader
from controller.adapters.season_log.schema import LogError
from controller.adapters.season_log.trips import TripFile, trips_beside
from controller.adapters.season_log.writer import SeasonLogWriter

__all__ = [
    "DirectSeasonLog",
    "LogError",
    "LogFile",
    "SeasonLogReader",
    "SeasonLogWriter",
    "TripFile",
    "trips_beside",
]
