"""Marks on the ground from CSV: a column ``offset_m`` or ``angle_deg``, positive on the 150 side.

One header line; other columns are ignored, and so are empty lines and lines that begin with ``#``.
"""

from __future__ import annotations

import csv
import math
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Self, cast

from daq.errors import InputError
from procedures.trims.traverse import Axis

FEWEST: int = 3


@dataclass(frozen=True, slots=True)
class Marks:
    """Marks across the course line.

    Attributes
    ----------
    axis
        What the positions are: metres to the side, or degrees from the centreline.
    position
        Increasing, m or degrees.
    """

    axis: Axis
    position: tuple[float, ...]

    @classmethod
    def from_body(cls, body: Mapping[str, object]) -> Self:
        """Return the marks that the journal holds."""
        position = body["position"]
        if not isinstance(position, list | tuple):
            raise InputError("The journal holds marks without positions.")
        return cls(cast("Axis", str(body["axis"])), tuple(float(str(x)) for x in position))


def read_marks(path: Path) -> Marks:
    """Return the marks in `path`.

    Raises
    ------
    InputError
        The file cannot be read, has not exactly one of the two columns, fewer than three marks,
        one twice, or a cell that is no number; says which line.
    """
    try:
        text = path.read_text(encoding="utf-8-sig")
    except (OSError, UnicodeDecodeError) as error:
        raise InputError(f"{path}: the marks cannot be read ({error}).") from error
    lines = [
        (number, [cell.strip() for cell in next(csv.reader([line]))])
        for number, line in enumerate(text.splitlines(), start=1)
        if line.strip() and not line.lstrip().startswith("#")
    ]
    header = lines[0][1] if lines else []
    columns: list[Axis] = [axis for axis in ("offset_m", "angle_deg") if header.count(axis) == 1]
    if len(columns) != 1:
        raise InputError(
            f"{path}: one column named offset_m or angle_deg was expected; found: "
            f"{', '.join(header) or 'nothing'}."
        )
    at = header.index(columns[0])
    position = sorted(_number(cells, at, f"{path}:{number}") for number, cells in lines[1:])
    if len(set(position)) < max(FEWEST, len(position)):
        raise InputError(f"{path}: {FEWEST} marks or more were expected, none of them twice.")
    return Marks(columns[0], tuple(position))


def _number(cells: list[str], at: int, where: str) -> float:
    cell = cells[at] if at < len(cells) else ""
    try:
        value = float(cell)
    except ValueError:
        value = math.nan
    if not math.isfinite(value):
        raise InputError(f"{where}: {cell!r} is no number.")
    return value
