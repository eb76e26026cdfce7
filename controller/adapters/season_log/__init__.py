"""The season log: a SQLite file with every scan, one writer, many readers."""

from controller.adapters.season_log.decoding import Asked, Frame, decoded
from controller.adapters.season_log.direct import DirectSeasonLog
from controller.adapters.season_log.direct_records import DirectRecords
from controller.adapters.season_log.files import LogLock, set_aside
from controller.adapters.season_log.inspection import inspect_log
from controller.adapters.season_log.logfile import NO_ENDING, LogFile
from controller.adapters.season_log.migration import is_former, migrated
from controller.adapters.season_log.reader import SeasonLogReader
from controller.adapters.season_log.rows import Ending
from controller.adapters.season_log.salvage import Carried, carry_records
from controller.adapters.season_log.schema import LogError, UnusableLogError
from controller.adapters.season_log.series import Raw
from controller.adapters.season_log.trips import TripFile, trips_beside
from controller.adapters.season_log.writer import SeasonLogWriter

__all__ = [
    "NO_ENDING",
    "Asked",
    "Carried",
    "DirectRecords",
    "DirectSeasonLog",
    "Ending",
    "Frame",
    "LogError",
    "LogFile",
    "LogLock",
    "Raw",
    "SeasonLogReader",
    "SeasonLogWriter",
    "TripFile",
    "UnusableLogError",
    "carry_records",
    "decoded",
    "inspect_log",
    "is_former",
    "migrated",
    "set_aside",
    "trips_beside",
]
