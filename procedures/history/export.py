"""All readings of a log as CSV or Parquet.

The CSV is that of a record (`procedures.record.csv_export`), over all runs: RFC 4180, UTF-8, and
safe to open in a spreadsheet. The Parquet file has the same columns with their types, ``time`` as
a UTC time stamp in ns and ``step`` and ``raw`` as they came; what each column holds stands in its
field's metadata. In a notebook ``daq.open_log(path).readings()`` is the same table.
"""

from __future__ import annotations

import csv
import io
import math
from collections.abc import Iterator, Mapping
from pathlib import Path
from types import MappingProxyType
from typing import TYPE_CHECKING, Any, Final

from daq.clock import iso_utc
from daq.log.reader import LogReader
from procedures.record.atomic import replacing
from procedures.record.csv_export import COLUMNS as CSV_COLUMNS
from procedures.record.csv_export import Cell, spreadsheet_safe

if TYPE_CHECKING:
    import pandas as pd

COLUMNS: Final[Mapping[str, str]] = MappingProxyType(
    {
        "seq": "row number in the log",
        "run": "number of the run",
        "step": "step of the procedure",
        "time": "end of the query, UTC (CSV: time_utc, ISO 8601, to the millisecond)",
        "mono_ns": "the same by the monotonic clock, ns; for durations",
        "quantity": "such as ddm",
        "point": "test point",
        "value": "SI; empty where the instrument gave none",
        "unit": "SI unit of value and u; 1 for ratios",
        "u": "standard uncertainty of one reading by the instrument's specification",
        "source": "alias of the instrument",
        "quality": "ok, or why the value may not be judged",
        "raw": "the instrument's answer",
    }
)
"""Columns, and what each holds."""


def write_all_csv(reader: LogReader, path: Path) -> int:
    """Write all readings to `path`, whole or not at all, and return how many there are.

    Raises
    ------
    LogFull, LogError
        The disk is full, or the file cannot be written.
    """
    table = _readings(reader)
    with replacing(path) as file:
        wrapper = io.TextIOWrapper(file, encoding="utf-8", newline="", write_through=True)
        writer = csv.writer(wrapper, quoting=csv.QUOTE_NONNUMERIC, lineterminator="\r\n")
        writer.writerow(CSV_COLUMNS)
        writer.writerows(_cells(table))
        wrapper.detach()
    return len(table)


def write_all_parquet(reader: LogReader, path: Path) -> int:
    """Write all readings to `path`, whole or not at all, and return how many there are.

    Raises
    ------
    LogFull, LogError
        As `write_all_csv`.
    """
    import pyarrow as pa
    from pyarrow import parquet

    table = _readings(reader)
    arrow = pa.Table.from_pandas(table, preserve_index=False)
    fields = [field.with_metadata({"description": COLUMNS[field.name]}) for field in arrow.schema]
    described = arrow.cast(pa.schema(fields, metadata=arrow.schema.metadata))
    with replacing(path) as file:
        parquet.write_table(described, file)
    return len(table)


def _readings(reader: LogReader) -> pd.DataFrame:
    table = reader.readings()
    return table.astype({"u": "float64"})[list(COLUMNS)]


def _cells(table: pd.DataFrame) -> Iterator[tuple[Cell, ...]]:
    nanoseconds = table["time"].astype("int64")
    for moment, row in zip(nanoseconds, table.itertuples(index=False), strict=True):
        yield tuple(
            iso_utc(int(moment)) if name == "time" else _cell(value)
            for name, value in zip(COLUMNS, row, strict=True)
        )


def _cell(value: Any) -> Cell:
    if isinstance(value, str):
        return spreadsheet_safe(value)
    if isinstance(value, float):
        return value if math.isfinite(value) else None
    return int(value)
