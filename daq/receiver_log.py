"""The log that a receiver made by itself while it was driven: text in, rows out; no files here.

A row that cannot be used for measuring stays in its place with the reason why: flagged by the
receiver, without a value, beyond what two tones can make, or standing still where the receiver's
noise would have moved it. A cell that is no value at all is an
error that says line, column and what was expected.
"""

from __future__ import annotations

import csv
import math
import re
from collections.abc import Mapping
from dataclasses import dataclass, replace
from datetime import UTC, datetime
from types import MappingProxyType
from typing import Final, Self

from daq.errors import InputError
from daq.frozen_rows import frozen_rows
from daq.reading import UA_PER_DDM, Quality, impossible_ddm
from daq.station_receiver_log import LogAxis, ReceiverLog

SECONDS_PER_DAY: Final = 86_400.0
_EPOCH: Final = datetime.fromtimestamp(0, tz=UTC)
_TIME_OF_DAY: Final = re.compile(
    r"(?P<h>[01]\d|2[0-3]):(?P<m>[0-5]\d):(?P<s>[0-5]\d(?:[.,]\d{1,9})?)Z?", re.ASCII
)
_SEPARATORS: Final = MappingProxyType({",": ",", ";": ";", "tab": "\t"})
_PER_UNIT: Final[Mapping[str, float]] = MappingProxyType(
    {"ratio": 1.0, "%": 0.01, "uA": 1.0 / UA_PER_DDM}
)
_MOST: Final = 1e10
"""No time or level is a greater number than this."""
_YEARS: Final = range(1980, 2200)
_FARTHEST_M: Final = 1e5


@dataclass(frozen=True, slots=True)
class LogRow:
    """One row.

    Attributes
    ----------
    line
        Its line in the file, from 1.
    time_s
        Seconds since 1970 UTC where the log is dated, else since midnight or as the log counts.
    ddm
        Ratio, positive = 150 Hz predominates; NaN where there is none.
    quality
        `Quality.OK`, or why it may not be used.
    position
        As the log's axis says, ``()`` where it has none: ``(offset,)`` in m or ``(angle,)`` in
        degrees, positive on the 150 Hz side, or latitude and longitude, degrees; NaN where the
        cells are empty.
    sdm, level_dbm
        Sum of depths, ratio, and input level; None where not given.
    raw
        The line as it stands in the file.
    """

    line: int
    time_s: float
    ddm: float
    quality: Quality
    position: tuple[float, ...] = ()
    sdm: float | None = None
    level_dbm: float | None = None
    raw: str = ""

    @property
    def usable(self) -> bool:
        """Whether its value may be used."""
        return self.quality is Quality.OK


@dataclass(frozen=True, slots=True)
class LogRows:
    """A whole log.

    Attributes
    ----------
    name
        What it is called in messages.
    rows
        In the order of time, which increases.
    axis
        How it tells its own position.
    dated
        Times are seconds since 1970 UTC.
    """

    name: str
    rows: tuple[LogRow, ...]
    axis: LogAxis
    dated: bool


def parse_receiver_log(text: str, layout: ReceiverLog, *, name: str = "log") -> LogRows:
    """Return the rows of a receiver's log.

    One header line; other columns are ignored, and so are empty lines and lines that begin with
    ``#``.

    Raises
    ------
    InputError
        The header lacks a column, a cell is no value of its kind, times do not increase, or no
        row has a value; says line, column and what was expected.
    """
    lines = [
        (number, line)
        for number, line in enumerate(text.removeprefix("\ufeff").splitlines(), start=1)
        if line.strip() and not line.lstrip().startswith("#")
    ]
    if not lines:
        raise InputError(f"{name}: the receiver's log is empty.")
    header = _cells(lines[0][1], layout, f"{name}:{lines[0][0]}")
    _check_header(header, layout, f"{name}:{lines[0][0]}")
    times = _Times(layout)
    rows = _still_ones_marked(
        [
            _row(_Cells.cut(layout, header, number, line, f"{name}:{number}"), times)
            for number, line in lines[1:]
        ],
        layout,
    )
    if not any(row.usable for row in rows):
        raise InputError(
            f"{name}: none of its {len(rows)} rows has a DDM that may be used.",
            hint="look at the names of the columns, at what its flag says when all is well, and "
            "whether the value ever changes.",
        )
    return LogRows(name, tuple(rows), layout.axis, times.dated)


def _cells(line: str, layout: ReceiverLog, where: str) -> list[str]:
    try:
        (cells,) = csv.reader([line], delimiter=_SEPARATORS[layout.separator], strict=True)
    except (csv.Error, ValueError) as error:
        raise InputError(f"{where}: this is no row of a CSV file: {error}.") from error
    return [cell.strip() for cell in cells]


def _check_header(header: list[str], layout: ReceiverLog, where: str) -> None:
    for column in layout.columns:
        if header.count(column) != 1:
            what = "no column" if column not in header else "more than one column"
            raise InputError(
                f"{where}: there is {what} '{column}'. Found: {', '.join(header)[:200]}.",
                hint="say in receiver_log what the columns are called, and what separates them.",
            )


@dataclass(frozen=True, slots=True)
class _Cells:
    """One line, cut up."""

    layout: ReceiverLog
    by_column: Mapping[str, str]
    line: int
    text: str
    where: str

    @classmethod
    def cut(cls, layout: ReceiverLog, header: list[str], line: int, text: str, where: str) -> Self:
        """Cut a line into the cells that the header names."""
        cells = _cells(text, layout, where)
        if len(cells) != len(header):
            raise InputError(
                f"{where}: {len(cells)} cells where the header has {len(header)}.",
                hint="look for a line that was cut off, or for decimal commas between commas.",
            )
        return cls(layout, dict(zip(header, cells, strict=True)), line, text, where)

    def of(self, column: str) -> str:
        """Return the cell of a column."""
        return self.by_column[column]

    def number(self, column: str, unit: str) -> float | None:
        """Return a number; None where the cell says that there is none."""
        cell = self.of(column)
        if cell in self.layout.no_value:
            return None
        plain = cell if self.layout.separator == "," else cell.replace(",", ".")
        try:
            value = float(plain)
        except ValueError:
            value = math.nan
        if not abs(value) < _MOST:
            raise InputError(
                f"{self.where}: column '{column}' holds {cell[:40]!r}; a number in {unit} was "
                "expected.",
                hint="name what stands for a missing value in `no_value`.",
            )
        return value


class _Times:
    """The times of one log, which are all of one kind and increase."""

    def __init__(self, layout: ReceiverLog) -> None:
        self._layout = layout
        self._kind = ""
        self._last_s = -math.inf
        self._days_s = 0.0

    @property
    def dated(self) -> bool:
        """Whether the times so far have a date."""
        return self._kind == "dated"

    def of(self, cells: _Cells) -> float:
        """Return the time of a row, s.

        Raises
        ------
        InputError
            It is none, of another kind than those before, or not later than the last.
        """
        column, cell = self._layout.time, cells.of(self._layout.time)
        kind, time_s = self._read(cells, column, cell)
        if self._kind not in ("", kind):
            raise InputError(
                f"{cells.where}: column '{column}' holds {cell[:40]!r}; a time {kind} after times "
                f"{self._kind} was not expected."
            )
        self._kind = kind
        # A time of day begins anew at midnight.
        if kind == "of day" and time_s + self._days_s < self._last_s - SECONDS_PER_DAY / 2:
            self._days_s += SECONDS_PER_DAY
        time_s += self._days_s
        if time_s <= self._last_s:
            raise InputError(
                f"{cells.where}: column '{column}' holds {cell[:40]!r}, which is not later than "
                "the row before; times that increase were expected.",
                hint="have the receiver store fractions of a second, and one run in one file.",
            )
        self._last_s = time_s
        return time_s

    def _read(self, cells: _Cells, column: str, cell: str) -> tuple[str, float]:
        if self._layout.time_unit == "s":
            seconds = cells.number(column, "s")
            if seconds is not None:
                return "in seconds", seconds
        elif (found := _TIME_OF_DAY.fullmatch(cell)) is not None:
            seconds = float(found["s"].replace(",", "."))
            return "of day", 3600.0 * int(found["h"]) + 60.0 * int(found["m"]) + seconds
        else:
            try:
                moment = datetime.fromisoformat(cell)
                moment = moment if moment.tzinfo else moment.replace(tzinfo=UTC)
                if moment.year in _YEARS:
                    return "dated", (moment - _EPOCH).total_seconds()
            except (ValueError, OverflowError):
                pass
        wanted = "seconds" if self._layout.time_unit == "s" else "UTC as 2026-11-25T09:41:07.4Z"
        raise InputError(
            f"{cells.where}: column '{column}' holds {cell[:40]!r}; {wanted} was expected."
        )


def _row(cells: _Cells, times: _Times) -> LogRow:
    layout = cells.layout
    time_s = times.of(cells)
    shown = cells.number(layout.ddm, layout.ddm_unit)
    way = 1.0 if layout.positive == 150 else -1.0
    ddm = math.nan if shown is None else way * shown * _PER_UNIT[layout.ddm_unit]
    sdm = cells.number(layout.sdm, layout.sdm_unit) if layout.sdm else None
    return LogRow(
        line=cells.line,
        time_s=time_s,
        ddm=ddm,
        quality=_quality(cells, ddm),
        position=tuple(_coordinate(cells, column) for column in layout.place_columns),
        sdm=None if sdm is None else sdm * _PER_UNIT[layout.sdm_unit],
        level_dbm=cells.number(layout.level, "dBm") if layout.level else None,
        raw=cells.text.strip(),
    )


def _still_ones_marked(rows: list[LogRow], layout: ReceiverLog) -> list[LogRow]:
    """Return the rows, those that stand still marked as frozen where the noise is known."""
    if layout.floor is None:
        return rows
    usable = [number for number, row in enumerate(rows) if row.usable]
    still = frozen_rows(
        [rows[number].ddm for number in usable],
        [rows[number].time_s for number in usable],
        layout.floor,
    )
    marked = {usable[number] for number in still}
    return [
        replace(row, quality=Quality.FROZEN) if number in marked else row
        for number, row in enumerate(rows)
    ]


def _coordinate(cells: _Cells, column: str) -> float:
    """Return one coordinate of a row's position; NaN where there is none."""
    layout = cells.layout
    if layout.axis == "offset_m":
        unit, most = "m", _FARTHEST_M
    else:
        unit, most = "degrees", 180.0 if column == layout.longitude else 89.9
    value = cells.number(column, unit)
    if value is not None and abs(value) > most:
        raise InputError(
            f"{cells.where}: column '{column}' holds {value:g}; {-most:g} to {most:g} {unit} was "
            "expected."
        )
    return math.nan if value is None else value


def _quality(cells: _Cells, ddm: float) -> Quality:
    layout = cells.layout
    if layout.flag and cells.of(layout.flag) not in layout.flag_ok:
        return Quality.FLAGGED
    if not math.isfinite(ddm):
        return Quality.NO_VALUE
    return Quality.IMPOSSIBLE if impossible_ddm(ddm, layout.u_ddm) else Quality.OK
