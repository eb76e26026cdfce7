"""Tables as Parquet: a row group for each piece of about a day.

Columns are named as in CSV. Times are milliseconds of UTC, temperatures are
64-bit floating-point numbers: the one nearest to the logged thousandths, so
that value * 1000, rounded, is the logged whole number again. The metadata of
the file holds, as JSON under "bottomheat", the bench, its time zone, every
run's plan and the meaning of the columns. What may live here: that layout.
"""

import importlib
import json
from collections.abc import Mapping, Sequence
from pathlib import Path
from types import TracebackType
from typing import Protocol, Self, cast

from controller.adapters.exchange.about import (
    LAYOUT,
    about_columns,
    about_runs,
    bench_of,
    timezone_of,
)
from controller.adapters.exchange.errors import ExchangeError
from controller.adapters.exchange.tidy import Cell, Column, Kind, Row, Source
from controller.adapters.exchange.whole_file import check_free, whole_file


class _Arrow(Protocol):
    """What is used of pyarrow, which has no types of its own."""

    def schema(
        self, fields: Sequence[object], metadata: Mapping[str, str]
    ) -> object: ...
    def field(
        self, name: str, kind: object, /, *, nullable: bool, metadata: Mapping[str, str]
    ) -> object: ...
    def array(self, cells: Sequence[Cell | float], kind: object, /) -> object: ...
    def table(self, arrays: Sequence[object], schema: object) -> object: ...
    def timestamp(self, unit: str, tz: str) -> object: ...
    def dictionary(self, index: object, value: object) -> object: ...
    def int32(self) -> object: ...
    def int64(self) -> object: ...
    def float64(self) -> object: ...
    def bool_(self) -> object: ...
    def string(self) -> object: ...


class _Writer(Protocol):
    def write_table(self, table: object) -> None: ...
    def __enter__(self) -> Self: ...
    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
        /,
    ) -> None: ...


class _Parquet(Protocol):
    def ParquetWriter(  # noqa: N802
        self, where: str, schema: object, compression: str
    ) -> _Writer: ...


def write_parquet(path: Path, source: Source, *, overwrite: bool = False) -> int:
    """Write a table with its metadata; return the number of rows.

    Raises:
        ExchangeError: pyarrow is not installed, the file is there already, or
            the disk does not take it.
    """
    arrow, parquet = _libraries()
    check_free(path, overwrite=overwrite)
    schema = _schema(arrow, source)
    count = 0
    with (
        whole_file(path) as building,
        parquet.ParquetWriter(str(building), schema, compression="zstd") as writer,
    ):
        for piece in source.rows:
            writer.write_table(_table(arrow, schema, source.table.columns, piece))
            count += len(piece)
    return count


def _libraries() -> tuple[_Arrow, _Parquet]:
    try:
        arrow = importlib.import_module("pyarrow")
        parquet = importlib.import_module("pyarrow.parquet")
    except ImportError as error:
        raise ExchangeError(
            "Parquet needs pyarrow, which is not installed: pip install"
            " 'bottomheat[parquet]'; a name that ends in .csv needs nothing"
        ) from error
    return cast("_Arrow", arrow), cast("_Parquet", parquet)


def _type(arrow: _Arrow, kind: Kind) -> object:
    match kind:
        case "time":
            return arrow.timestamp("ms", tz="UTC")
        case "text":
            return arrow.dictionary(arrow.int32(), arrow.string())
        case "whole":
            return arrow.int64()
        case "thousandths":
            return arrow.float64()
        case "truth":
            return arrow.bool_()


def _schema(arrow: _Arrow, source: Source) -> object:
    fields = [
        arrow.field(
            column.name,
            _type(arrow, column.kind),
            nullable=not column.always,
            metadata={"about": column.about, "unit": column.unit},
        )
        for column in source.table.columns
    ]
    about = {
        "layout": LAYOUT,
        "table": source.table.name,
        "bench": bench_of(source),
        "timezone": timezone_of(source),
        "bottomheat": source.version,
        "columns": about_columns(source),
        "runs": about_runs(source),
    }
    told = json.dumps(about, ensure_ascii=False)
    return arrow.schema(fields, metadata={"bottomheat": told})


def _table(
    arrow: _Arrow, schema: object, columns: Sequence[Column], rows: Sequence[Row]
) -> object:
    arrays = [
        arrow.array(_cells(column.kind, cells), _type(arrow, column.kind))
        for column, cells in zip(columns, zip(*rows, strict=True), strict=True)
    ]
    return arrow.table(arrays, schema=schema)


def _cells(kind: Kind, cells: Sequence[Cell]) -> Sequence[Cell | float]:
    if kind != "thousandths":
        return cells
    return [None if cell is None else int(cell) / 1000 for cell in cells]
