"""Tables of time and volts, as oscilloscopes save them.

Lines before the first row of numbers are taken as a heading. Comma, semicolon, tab or blanks
separate the columns; a decimal comma is understood where the separator is not a comma. The first
column is time in seconds, the second the voltage; with three columns, I and Q.
"""

from __future__ import annotations

import io
from collections.abc import Iterator
from dataclasses import dataclass
from itertools import islice
from pathlib import Path
from typing import Final, TextIO

import numpy as np

from daq.errors import SamplesError
from daq.samples.lowpass import Floats
from daq.samples.source import Samples, as_samples

_HEADING_LINES: Final = 200
_FIRST_ROWS: Final = 4096
_UNEVEN: Final = 0.1
"""Largest departure of a time from the even axis, in sample intervals."""


@dataclass(frozen=True, slots=True)
class TableSource:
    """An opened table.

    Attributes
    ----------
    path
        The file.
    rate_hz
        Samples per second, from the time column.
    start_s
        The first time.
    heading
        Lines before the first row of numbers.
    separator
        Between columns; None for blanks.
    columns
        2, or 3 for I and Q.
    total
        Unknown until the file has been read.
    """

    path: Path
    rate_hz: float
    start_s: float
    heading: int
    separator: str | None
    columns: int
    total: int | None = None

    def chunks(self, size: int) -> Iterator[Samples]:
        """See `daq.samples.source.Source`."""
        with _open(self.path) as file:
            for _ in range(self.heading):
                file.readline()
            place = 0
            while lines := [line for line in islice(file, size) if line.strip()]:
                rows = _numbers(self.path, lines, self.separator, self.heading + place + 1)
                self._check_axis(rows[:, 0], place)
                place += len(rows)
                yield as_samples(rows[:, 1] if self.columns == 2 else rows[:, 1:3])

    def _check_axis(self, time_s: Floats, place: int) -> None:
        """Raise if the times do not follow the even axis, allowing for slow drift of rounding."""
        steps = (time_s - time_s[0]) * self.rate_hz
        # The interval comes from rounded times; over a block a straight line takes that up.
        count = np.arange(len(steps))
        slope = steps[-1] / count[-1] if len(steps) > 1 else 1.0
        away = np.abs(steps - slope * count)
        if abs(slope - 1.0) > 1e-3 or away.max() > _UNEVEN:
            worst = int(np.argmax(away))
            raise SamplesError(
                f"{self.path.name}: the time axis is uneven near row {place + worst + 1}"
                f" (t = {time_s[worst]:.9g} s, interval {1.0 / self.rate_hz:.4g} s).",
                hint="export all samples, and the time with more digits.",
            )


def open_table(path: Path) -> TableSource:
    """Find heading, separator, columns and rate of a table.

    Raises
    ------
    SamplesError
        If it holds no rows of time and voltage, or its time axis is uneven.
    """
    with _open(path) as file:
        heading, separator, columns = _layout(path, file)
    with _open(path) as file:
        first = list(islice(file, heading, heading + _FIRST_ROWS))
    rows = _numbers(path, [line for line in first if line.strip()], separator, heading + 1)
    if len(rows) < 3:
        raise SamplesError(f"{path.name} has only {len(rows)} rows of numbers.")
    time_s = rows[:, 0]
    span_s = float(time_s[-1] - time_s[0])
    if not np.all(np.diff(time_s) > 0.0):
        raise SamplesError(
            f"{path.name}: the first column does not rise all the way, so it is no time axis.",
            hint="export time in seconds first, then voltage, with enough digits.",
        )
    rate_hz = (len(rows) - 1) / span_s
    # Rates are whole numbers of hertz but for the rounding of the times.
    if abs(rate_hz - round(rate_hz)) < 1e-6 * rate_hz:
        rate_hz = float(round(rate_hz))
    return TableSource(path, rate_hz, float(time_s[0]), heading, separator, columns)


def _open(path: Path) -> TextIO:
    return io.TextIOWrapper(path.open("rb"), encoding="utf-8-sig", errors="replace")


def _layout(path: Path, file: TextIO) -> tuple[int, str | None, int]:
    """Return heading lines, separator and columns from the first row of numbers."""
    for number, line in enumerate(islice(file, _HEADING_LINES)):
        for separator in (";", "\t", ",", None):
            cells = [cell.strip() for cell in line.strip().split(separator)]
            while cells and not cells[-1]:
                cells.pop()
            if len(cells) >= 2 and all(_is_number(cell, separator) for cell in cells):
                if len(cells) > 3:
                    raise SamplesError(
                        f"{path.name}, line {number + 1}: {len(cells)} columns; time and volts"
                        " are two, time with I and Q three.",
                        hint="export one channel.",
                    )
                return number, separator, len(cells)
    raise SamplesError(
        f"{path.name} holds no row of numbers in its first {_HEADING_LINES} lines.",
        hint="give a table of time in seconds and volts, WAV, or .npy with a rate.",
    )


def _is_number(cell: str, separator: str | None) -> bool:
    try:
        float(cell if separator == "," else cell.replace(",", "."))
    except ValueError:
        return False
    return True


def _numbers(path: Path, lines: list[str], separator: str | None, line_number: int) -> Floats:
    """Return lines as numbers, shape (n, columns)."""
    if separator != ",":
        lines = [line.replace(",", ".") for line in lines]
    lines = [line.rstrip().rstrip(separator) if separator else line for line in lines]
    try:
        return np.loadtxt(lines, delimiter=separator, ndmin=2, comments=None)
    except ValueError as error:
        raise SamplesError(
            f"{path.name}, from line {line_number}: a row is not numbers only ({error}).",
            hint="look for text, missing values or a cut-off line in the table.",
        ) from error
