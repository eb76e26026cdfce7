"""Data in and out: files that other programs write, and files that they read.

The season log is read through its port alone, so that what is exported does
not depend on how it is kept.
"""

from controller.adapters.exchange.csv_in import FoundRow, Layout, rows_in
from controller.adapters.exchange.csv_out import write_csv
from controller.adapters.exchange.errors import ExchangeError
from controller.adapters.exchange.parquet_out import write_parquet
from controller.adapters.exchange.tidy import (
    COMMANDS,
    READINGS,
    Chosen,
    Row,
    Source,
    Table,
    pieces,
    rows_of,
)
from controller.adapters.exchange.wall_times import (
    Fold,
    NoTimeError,
    reader_of_times,
    zone_of,
)

__all__ = [
    "COMMANDS",
    "READINGS",
    "Chosen",
    "ExchangeError",
    "Fold",
    "FoundRow",
    "Layout",
    "NoTimeError",
    "Row",
    "Source",
    "Table",
    "pieces",
    "reader_of_times",
    "rows_in",
    "rows_of",
    "write_csv",
    "write_parquet",
    "zone_of",
]
