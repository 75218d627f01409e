"""Read a traverse from CSV: columns ``offset_m`` or ``angle_deg``, ``ddm``, optional ``u_ddm``.

One header line; columns in any order, others are ignored; empty lines and lines that begin with
``#`` are skipped. Comma, semicolon or tab separate the cells; a decimal comma is understood where
the separator is not a comma. Names may be written otherwise: ``Offset (m)``, ``DDM``. DDM and its
uncertainty are ratios; a column of theirs in another unit is refused.
"""

from __future__ import annotations

import csv
import math
import re
from pathlib import Path
from typing import Final

import numpy as np

from daq.errors import InputError
from daq.reading import IMPOSSIBLE_DDM
from procedures.trims.traverse import Axis, Traverse

_NO_WORD: Final = re.compile(r"[^a-z0-9]+")
_SIGNS: Final = str.maketrans(
    {"%": " percent ", "‰": " permille ", "\N{MICRO SIGN}": "u", "\N{GREEK SMALL LETTER MU}": "u"}
)
"""Signs of units, which are no letters and yet must not get lost."""
_UNITS: Final = ("percent", "per_cent", "permille", "ua", "ma")
_TO_RATIO: Final = "divide per cent by 100, or microamperes by 967.742."


def read_traverse(path: Path) -> Traverse:
    """Return the traverse in `path`, sorted by position.

    Raises
    ------
    InputError
        The file cannot be read, a column is missing, or a cell is no number; says which line.
    """
    try:
        text = path.read_text(encoding="utf-8-sig")
    except OSError as error:
        raise InputError(f"{path}: the traverse cannot be read: {error.strerror}.") from error
    except UnicodeDecodeError as error:
        raise InputError(f"{path}: this is no text file; a CSV was expected.") from error
    return parse_traverse(text, name=str(path))


def parse_traverse(text: str, *, name: str = "traverse") -> Traverse:
    """Return the traverse in `text`; raises as `read_traverse` does, calling the file `name`."""
    lines = [
        (number, line)
        for number, line in enumerate(text.splitlines(), start=1)
        if line.strip() and not line.lstrip().startswith("#")
    ]
    if not lines:
        raise InputError(f"{name}: the traverse is empty.")
    separator = next((each for each in ";\t" if each in lines[0][1]), ",")
    try:
        rows = list(csv.reader((line for _, line in lines), delimiter=separator, strict=True))
    except csv.Error as error:
        raise InputError(f"{name}: not a CSV file: its quotes do not match.") from error
    if separator != ",":
        rows = [[cell.replace(",", ".") for cell in row] for row in rows]
    if len(rows) != len(lines):
        raise InputError(f"{name}: a quoted cell runs over more than one line.")
    header = [_column(cell) for cell in rows[0]]
    axis = _axis(header, f"{name}:{lines[0][0]}")
    wanted = [axis, "ddm", *(["u_ddm"] if "u_ddm" in header else [])]
    table = np.array(
        [
            [_number(row, header, column, f"{name}:{line}") for column in wanted]
            for (line, _), row in zip(lines[1:], rows[1:], strict=True)
        ]
    )
    if len(table) == 0:
        raise InputError(f"{name}: the traverse has a header but no readings.")
    table = table[np.argsort(table[:, 0], kind="stable")]
    return Traverse(
        axis=axis,
        position=table[:, 0],
        ddm=table[:, 1],
        u_ddm=table[:, 2] if len(wanted) == 3 else None,
    )


def _column(cell: str) -> str:
    """Return a header cell as a name: ``Offset (m)`` as ``offset_m``."""
    return _NO_WORD.sub("_", cell.lower().translate(_SIGNS)).strip("_")


def _axis(header: list[str], where: str) -> Axis:
    shown = ", ".join(header)
    if "offset_m" in header and "angle_deg" in header:
        raise InputError(f"{where}: give offset_m or angle_deg, not both. Found: {shown}.")
    for column in header:
        if header.count(column) > 1:
            raise InputError(f"{where}: the column {column!r} appears twice.")
    if "ddm" not in header:
        raise InputError(f"{where}: there is no column named ddm. Found: {shown}.", hint=_TO_RATIO)
    for column in header:
        if column in {f"u_ddm_{unit}" for unit in _UNITS} and "u_ddm" not in header:
            raise InputError(f"{where}: {column} is no ratio as ddm is.", hint=_TO_RATIO)
    if "offset_m" in header:
        return "offset_m"
    if "angle_deg" in header:
        return "angle_deg"
    raise InputError(f"{where}: there is no column named offset_m or angle_deg. Found: {shown}.")


def _number(row: list[str], header: list[str], column: str, where: str) -> float:
    if len(row) != len(header):
        raise InputError(
            f"{where}: {len(row)} cells where the header has {len(header)}.",
            hint="use a decimal point, and a comma only between cells.",
        )
    cell = row[header.index(column)].strip()
    try:
        value = float(cell)
    except ValueError:
        raise InputError(f"{where}: {column} is {cell!r}, which is no number.") from None
    if not math.isfinite(value):
        raise InputError(f"{where}: {column} is {cell}, which is no usable number.")
    if column == "ddm" and abs(value) > 2.0 * IMPOSSIBLE_DDM:
        raise InputError(
            f"{where}: ddm is {cell}; a DDM is a ratio such as 0.155.",
            hint=_TO_RATIO,
        )
    if column == "u_ddm" and value <= 0.0:
        raise InputError(f"{where}: u_ddm is {cell}; a standard uncertainty is positive.")
    return value
