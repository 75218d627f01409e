"""The limits of the standards, row by row, with where each number comes from and how sure that is.

The tables are ``limits/localizer.toml`` and ``limits/glide-path.toml`` beside this module; a glide
path is another table and no special case. A station may override any row by its key.
"""

from __future__ import annotations

import re
import tomllib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cache
from importlib import resources
from typing import Any, Final, Literal, cast, get_args

from daq.errors import InputError
from procedures.judge import Limit

Facility = Literal["localizer", "glide-path"]
Category = Literal["I", "II", "III"]
LimitKind = Literal["adjust-to", "stay-within", "alarm"]
Override = Mapping[str, object]

_STATUS: Final = re.compile(
    r"read in the standard|read in a secondary text|from memory \((high|medium|low)\)|derived"
    r"|common practice, no source|station file"
)


@dataclass(frozen=True, slots=True)
class LimitRow:
    """One limit.

    Attributes
    ----------
    key
        Name for programs; the same for all categories and kinds of one quantity.
    name
        What is limited, in words.
    categories
        Facility performance categories for which the row holds.
    kinds
        ``adjust-to`` after a deliberate adjustment, ``stay-within`` between visits, ``alarm``.
    low, high, nominal
        In `unit`; None where open or not stated.
    unit
        SI; ``1`` for ratios.
    source, section
        The document and where in it.
    status
        How the number is known.
    recommended
        The standard recommends it and does not demand it.
    note
        What else has to be known.
    """

    key: str
    name: str
    categories: tuple[Category, ...]
    kinds: tuple[LimitKind, ...]
    low: float | None
    high: float | None
    nominal: float | None
    unit: str
    source: str
    section: str
    status: str
    recommended: bool = False
    note: str = ""

    def limit(self) -> Limit:
        """Return what `procedures.judge.judge` needs."""
        source = f"{self.source}, {self.section}" if self.section else self.source
        return Limit(self.low, self.high, self.unit, self.name, source, self.status)


def load_limits(facility: Facility) -> tuple[LimitRow, ...]:
    """Return all rows of a facility's table, in the order of the file.

    Raises
    ------
    InputError
        There is no table for that facility.
    """
    if facility not in get_args(Facility):
        raise InputError(f"There is no table of limits for a {facility}.")
    return _load(facility)


def limits_for(
    facility: Facility,
    category: Category,
    *,
    kind: LimitKind | None = None,
    overrides: Mapping[str, Override] | None = None,
) -> tuple[LimitRow, ...]:
    """Return the rows that hold for a category.

    Parameters
    ----------
    facility, category
        Which table, and which rows of it.
    kind
        Only rows of this kind.
    overrides
        Key -> what the station says instead: any of ``low``, ``high``, ``nominal``, ``source``,
        ``note``. An overridden row has the status "station file".

    Raises
    ------
    InputError
        An unknown facility or category, or an override that fits no row.
    """
    if category not in get_args(Category):
        raise InputError(f"The category is I, II or III, not {category!r}.")
    rows = load_limits(facility)
    stated = {} if overrides is None else overrides
    _check_overrides(rows, stated)
    return tuple(
        _overridden(row, stated[row.key]) if row.key in stated and not row.recommended else row
        for row in rows
        if category in row.categories and (kind is None or kind in row.kinds)
    )


def find_limit(
    facility: Facility,
    category: Category,
    key: str,
    *,
    overrides: Mapping[str, Override] | None = None,
) -> LimitRow:
    """Return the demanded (not the recommended) row of one key for a category.

    Raises
    ------
    InputError
        There is no such row.
    """
    rows = limits_for(facility, category, overrides=overrides)
    for row in rows:
        if row.key == key and not row.recommended:
            return row
    known = ", ".join(sorted({row.key for row in rows}))
    raise InputError(
        f"The {facility} table has no limit named {key!r} for category {category}.",
        hint=f"one of {known}.",
    )


@cache
def _load(facility: Facility) -> tuple[LimitRow, ...]:
    file = resources.files("procedures") / "limits" / f"{facility}.toml"
    tables = tomllib.loads(file.read_text(encoding="utf-8"))["limits"]
    return tuple(_row(table, f"{facility}.toml") for table in tables)


def _row(table: dict[str, Any], file: str) -> LimitRow:
    row = LimitRow(
        key=table["key"],
        name=table["name"],
        categories=_words(table["categories"], get_args(Category)),
        kinds=_words(table["kinds"], get_args(LimitKind)),
        low=table.get("low"),
        high=table.get("high"),
        nominal=table.get("nominal"),
        unit=table["unit"],
        source=table["source"],
        section=table.get("section", ""),
        status=table["status"],
        recommended=table.get("recommended", False),
        note=table.get("note", ""),
    )
    if _STATUS.fullmatch(row.status) is None:
        raise InputError(f"{file}: {row.key}: the status {row.status!r} is not one of those known.")
    row.limit()
    return row


def _words(found: Sequence[str], known: tuple[str, ...]) -> tuple[Any, ...]:
    for word in found:
        if word not in known:
            raise InputError(f"{word!r} is not one of {', '.join(known)}.")
    return tuple(found)


def _check_overrides(rows: tuple[LimitRow, ...], overrides: Mapping[str, Override]) -> None:
    keys = {row.key for row in rows}
    for key, override in overrides.items():
        if key not in keys:
            raise InputError(
                f"The station file overrides the limit {key!r}, which the table does not have.",
                hint=f"one of {', '.join(sorted(keys))}.",
            )
        for field, value in override.items():
            if field in ("low", "high", "nominal"):
                if isinstance(value, bool) or not isinstance(value, int | float):
                    raise InputError(f"The limit {key!r}: {field} is {value!r}, not a number.")
            elif field not in ("source", "note"):
                raise InputError(
                    f"The limit {key!r}: {field!r} cannot be overridden.",
                    hint="low, high, nominal, source or note.",
                )


def _overridden(row: LimitRow, override: Override) -> LimitRow:
    changed = replace(
        row,
        low=cast("float | None", override.get("low", row.low)),
        high=cast("float | None", override.get("high", row.high)),
        nominal=cast("float | None", override.get("nominal", row.nominal)),
        source=str(override.get("source", "station file")),
        section="",
        status="station file",
        note=str(override.get("note", "")),
    )
    changed.limit()
    return changed
