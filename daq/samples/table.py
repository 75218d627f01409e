"""Tables of time and volts, as oscilloscopes save them.

Lines before the rows of numbers are taken as a heading; a unit of time over the first column (s,
ms, us) and of voltage over the second (V, mV, uV) is understood. Comma, semicolon, tab or blanks
separate the columns; a decimal comma is understood where the separator is not a comma. The first
column is time, the second the voltage; with three columns, I and Q; a single column is the
voltage, and its rate has to be said. Empty columns before them, and quotes, do no harm.
"""

from __future__ import annotations

import io
import re
from collections.abc import Iterator
from dataclasses import dataclass
from itertools import islice
from pathlib import Path
from types import MappingProxyType
from typing import Final, NoReturn, TextIO

import numpy as np

from daq.errors import SamplesError
from daq.samples.lowpass import Floats
from daq.samples.screen import MIN_RATE_HZ
from daq.samples.source import Samples, as_samples

_HEADING_LINES: Final = 200
_FIRST_ROWS: Final = 4096
_ALIKE: Final = 3
"""Rows of one layout in succession that begin the table; a heading may hold numbers too."""
_UNEVEN: Final = 0.1
"""Largest departure of a time from the even axis, in sample intervals."""
_UNIT: Final = re.compile(r"(?:.*[\s(\[])?([munµμ\ufffd]?)([sv])[)\]]?")
"""A unit of time or voltage, alone or after a name; what cannot be decoded was a micro sign."""
_PREFIXES: Final = MappingProxyType({"": 1.0, "m": 1e-3, "n": 1e-9})
_WIDE: Final = (b"\xff\xfe", b"\xfe\xff")
"""How a file in UTF-16 begins."""


@dataclass(frozen=True, slots=True)
class _Layout:
    """Lines of heading, what separates columns (None: blanks), 1 to 3 of them, their units."""

    heading: int
    separator: str | None
    columns: int
    unit_s: float
    unit_v: float


@dataclass(frozen=True, slots=True)
class TableSource:
    """An opened table.

    Attributes
    ----------
    path
        The file.
    rate_hz
        Samples per second, from the time column where there is one.
    layout
        How its rows are written.
    total
        Unknown until the file has been read.
    """

    path: Path
    rate_hz: float
    layout: _Layout
    total: int | None = None

    def chunks(self, size: int) -> Iterator[Samples]:
        """See `daq.samples.source.Source`."""
        with _open(self.path) as file:
            lines = _lines(file, self.layout.heading)
            before_s: float | None = None
            while some := list(islice(lines, size)):
                rows = _numbers(self.path, some, self.layout)
                if self.layout.columns == 1:
                    yield as_samples(rows[:, 0])
                    continue
                self._check_axis(rows[:, 0], some, before_s)
                before_s = float(rows[-1, 0])
                yield as_samples(rows[:, 1] if self.layout.columns == 2 else rows[:, 1:3])

    def _check_axis(
        self, time_s: Floats, lines: list[tuple[int, str]], before_s: float | None
    ) -> None:
        """Raise if the times do not follow the even axis, allowing for slow drift of rounding."""
        steps = (time_s - time_s[0]) * self.rate_hz
        # The interval comes from rounded times; over a block a straight line takes that up.
        count = np.arange(len(steps))
        slope = steps[-1] / count[-1] if len(steps) > 1 else 1.0
        away = np.abs(steps - slope * count)
        if before_s is None:
            before_s = time_s[0] - 1.0 / self.rate_hz
        jumps = np.abs(np.diff(time_s, prepend=before_s) * self.rate_hz - 1.0)
        # The first of a block against the last of the one before: two rounded times.
        away[0] = jumps[0] / 2.0
        if abs(slope - 1.0) > 1e-3 or not away.max() <= _UNEVEN:
            worst = int(np.argmax(jumps))
            raise SamplesError(
                f"{self.path.name}, line {lines[worst][0]}: the time axis is uneven near"
                f" t = {time_s[worst]:.9g} s (interval {1.0 / self.rate_hz:.4g} s).",
                hint="export all samples, and the time with more digits.",
            )


def open_table(path: Path, rate_hz: float | None = None) -> TableSource:
    """Find heading, separator, columns and rate of a table.

    Parameters
    ----------
    path
        The file.
    rate_hz
        Samples per second of a table of volts alone; None for one with times.

    Raises
    ------
    SamplesError
        If it holds no rows of numbers, its time axis is uneven, or its rate is said nowhere or
        twice.
    """
    with _open(path) as file:
        layout = _layout(path, list(islice(_lines(file, 0), _HEADING_LINES + _ALIKE)))
    if (layout.columns == 1) != (rate_hz is not None):
        raise _rate_missing(path) if rate_hz is None else rate_twice(path, rate_hz)
    if rate_hz is not None:
        return TableSource(path, rate_hz, layout)
    return TableSource(path, _rate_of(path, layout), layout)


def rate_twice(path: Path, rate_hz: float) -> SamplesError:
    """Return the refusal of a rate for a file that states its own."""
    return SamplesError(
        f"{path.name} states its own sample rate; {rate_hz:g} Hz was given besides.",
        hint="leave the rate out: it is for .npy, and for volts without their times.",
    )


def _rate_missing(path: Path) -> SamplesError:
    return SamplesError(
        f"{path.name} has a single column of numbers, so its sample rate is not known.",
        hint="export the time beside the volts, or give the rate: --rate 48000.",
    )


def _rate_of(path: Path, layout: _Layout) -> float:
    """Return the rate that the first rows of a time column say, checked."""
    with _open(path) as file:
        first = list(islice(_lines(file, layout.heading), _FIRST_ROWS))
    time_s = _numbers(path, first, layout)[:, 0]
    if len(time_s) < _ALIKE:
        raise SamplesError(f"{path.name} has only {len(time_s)} rows of numbers.")
    still = np.flatnonzero(~(np.diff(time_s) > 0.0))
    if len(still):
        raise SamplesError(
            f"{path.name}, line {first[still[0] + 1][0]}: the first column does not rise there, so"
            " it is no time axis.",
            hint="export time in rising order first, then voltage, with enough digits.",
        )
    rate_hz = (len(time_s) - 1) / float(time_s[-1] - time_s[0])
    if rate_hz < MIN_RATE_HZ:
        raise SamplesError(
            f"{path.name}: sample rate too low. The first column rises by {1.0 / rate_hz:.4g} s a"
            f" row, {rate_hz:.4g} samples a second; {MIN_RATE_HZ:g} are needed.",
            hint="sample faster; if it is not seconds, put its unit over the column: (ms), (us).",
        )
    # Rates are whole numbers of hertz but for the rounding of the times.
    if abs(rate_hz - round(rate_hz)) < 1e-6 * rate_hz:
        rate_hz = float(round(rate_hz))
    return rate_hz


def _open(path: Path) -> TextIO:
    with path.open("rb") as file:
        wide = file.read(2) in _WIDE
    encoding = "utf-16" if wide else "utf-8-sig"
    return io.TextIOWrapper(path.open("rb"), encoding=encoding, errors="replace")


def _lines(file: TextIO, heading: int) -> Iterator[tuple[int, str]]:
    """Yield number and text of each line after the heading that is not blank."""
    for number, line in enumerate(file, 1):
        if number > heading and line.strip():
            # Cells in quotes may hold decimal commas between commas.
            text = line.replace('","', '";"').replace('"', "") if '"' in line else line
            yield number, text.strip(" \r\n")


def _layout(path: Path, lines: list[tuple[int, str]]) -> _Layout:
    """Return the layout of the first rows of numbers that are alike."""
    kinds = [_kind(text) for _, text in lines]
    for place, kind in enumerate(kinds):
        if (
            kind is None
            or kind[1] < 2
            or kinds[place : place + _ALIKE].count(kind) < min(_ALIKE, len(kinds) - place)
        ):
            continue
        separator, columns = kind
        if columns > 3:
            raise SamplesError(
                f"{path.name}, line {lines[place][0]}: {columns} columns; time and volts are two,"
                " time with I and Q three.",
                hint="export one channel; with decimal commas, semicolons between the columns.",
            )
        heading = [text for _, text in lines[:place]]
        unit_s, unit_v = (
            _unit_over(heading, separator, column, unit) for column, unit in enumerate("sv")
        )
        return _Layout(lines[place][0] - 1, separator, columns, unit_s, unit_v)
    words = [place for place, kind in enumerate(kinds) if kind != (None, 1)]
    single = words[-1] + 1 if words else 0
    if single < len(kinds):
        unit_v = _unit_over([text for _, text in lines[:single]], ";", 0, "v")
        return _Layout(lines[single][0] - 1, None, 1, 1.0, unit_v)
    raise SamplesError(
        f"{path.name} holds no row of numbers in its first {_HEADING_LINES} lines.",
        hint="give a table of time in seconds and volts, WAV, or .npy with a rate.",
    )


def _kind(text: str) -> tuple[str | None, int] | None:
    """Return separator and number of columns of a row of numbers; None if it is none."""
    for separator in (";", "\t", ",", None):
        cells = _cells(text, separator)
        if len(cells) >= 2 and all(_is_number(cell) for cell in cells):
            return separator, len(cells)
    return (None, 1) if _is_number(text.replace(",", ".")) else None


def _cells(text: str, separator: str | None) -> list[str]:
    """Return the cells of a row, decimal points in them, without empty ones at either end."""
    if separator == ",":
        return text.strip(", ").split(",")
    return text.replace(",", ".").strip(separator).split(separator)


def _unit_over(heading: list[str], separator: str | None, column: int, unit: str) -> float:
    """Return the factor to s or V of a column, whose unit one of the last two lines may name."""
    for text in reversed(heading[-2:]):
        cells = text.strip(separator).split(separator)
        found = _UNIT.fullmatch(cells[column].strip().lower()) if column < len(cells) else None
        if found and found[2] == unit:
            return _PREFIXES.get(found[1], 1e-6)
    return 1.0


def _is_number(cell: str) -> bool:
    try:
        float(cell)
    except ValueError:
        return False
    return True


def _numbers(path: Path, lines: list[tuple[int, str]], layout: _Layout) -> Floats:
    """Return lines as numbers, shape (n, columns), the first column in seconds."""
    separator = layout.separator
    rows = [text for _, text in lines]
    if separator != ",":
        rows = [text.replace(",", ".") for text in rows]
    if separator is not None:
        rows = [text.strip(separator) for text in rows]
    try:
        numbers = np.loadtxt(rows, delimiter=separator, ndmin=2, comments=None)
    except ValueError as error:
        _refuse_row(path, lines, layout, str(error))
    if numbers.shape[1] != layout.columns:
        _refuse_row(path, lines, layout, f"{numbers.shape[1]} columns")
    if layout.columns > 1:
        numbers[:, 0] *= layout.unit_s
    numbers[:, min(1, layout.columns - 1) :] *= layout.unit_v
    return np.asarray(numbers, dtype=np.float64)


def _refuse_row(path: Path, lines: list[tuple[int, str]], layout: _Layout, why: str) -> NoReturn:
    """Raise `SamplesError` that names the first line that is not like the others."""
    wanted = (layout.separator, layout.columns)
    number, text = next(((n, text) for n, text in lines if _kind(text) != wanted), (None, why))
    place = "a row" if number is None else f"line {number}"
    raise SamplesError(
        f"{path.name}, {place}: not {layout.columns} numbers: {text[:60]!r}.",
        hint="look for text, missing values or a cut-off line in the table.",
    )
