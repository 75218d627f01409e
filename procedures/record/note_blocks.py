"""Whatever a procedure noted, such as a trim plan, as lines and tables in plain words."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from typing import Final

from daq.rounding import fixed
from daq.units import format_length
from procedures.record.model import NoteLine

_UNITS: Final[Mapping[str, Callable[[float], str]]] = {
    "_m": format_length,
    "_deg": lambda value: f"{fixed(value, 1)}°",
    "_db": lambda value: f"{fixed(value, 2)} dB",
    "_ddm": lambda value: f"{fixed(value, 4)} DDM",
    "_hz": lambda value: f"{value:.6g} Hz",
    "_s": lambda value: f"{fixed(value, 1)} s",
}
"""Unit at the end of a field's name -> how its value is printed."""


def note_blocks(line: NoteLine, clock: str) -> list[dict[str, object]]:
    """Return a note as blocks for the template.

    Parameters
    ----------
    clock
        Its time as it is printed.
    """
    pairs: list[list[str]] = []
    tables: list[dict[str, object]] = []
    _collect("", line.body, pairs, tables)
    head: dict[str, object] = {
        "kind": "inline",
        "title": f"{line.title}, {clock} UTC",
        "pairs": pairs,
        "with_next": bool(tables),
    }
    return [head, *tables]


def words(name: str) -> str:
    """Return a field's name in words, without its unit: ``phase_left_u_deg``, ``u of phase left``.

    u is a standard uncertainty.
    """
    unit = _unit_of(name)
    said = name.removesuffix(unit or "").replace("_", " ").strip().replace("ddm", "DDM")
    if said.endswith(" u"):
        return f"u of {said.removesuffix(' u')}"
    return said


def printed(name: str, value: object) -> str:
    """Return a field's value with the unit that its name says."""
    if value is None:
        return "none"
    if name == "path":
        return str(value).upper()
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, int | float):
        unit = _unit_of(name)
        shown = _UNITS[unit](float(value)) if unit else f"{value:.4g}"
        return shown.replace("-", "\N{MINUS SIGN}")
    return str(value)


def _unit_of(name: str) -> str | None:
    return next((unit for unit in _UNITS if name.endswith(unit)), None)


def _collect(
    prefix: str,
    body: Mapping[str, object],
    pairs: list[list[str]],
    tables: list[dict[str, object]],
) -> None:
    for name, value in body.items():
        label = f"{prefix}{words(name)}"
        if isinstance(value, Mapping):
            _collect(f"{label}: ", value, pairs, tables)
        elif isinstance(value, list | tuple):
            objects = [item for item in value if isinstance(item, Mapping)]
            if objects and len(objects) == len(value):
                tables.append(_table(label, objects))
            else:
                pairs.append([label, ", ".join(str(item) for item in value) or "none"])
        else:
            pairs.append([label, printed(name, value)])


def _table(title: str, items: Sequence[Mapping[str, object]]) -> dict[str, object]:
    """Return a list of objects as a table; a column that says nothing is left out."""
    names = [n for n in dict.fromkeys(n for item in items for n in item) if _says(items, n)]
    names.sort(key=lambda name: _place(name, items))
    return {
        "kind": "table",
        "title": title,
        "columns": [words(name) for name in names],
        "right": [all(_is_number(item.get(name)) for item in items) for name in names],
        "widths": ["auto" if name != "note" else "1" for name in names],
        "rows": [[printed(name, item.get(name, "")) for name in names] for item in items],
    }


def _place(name: str, items: Sequence[Mapping[str, object]]) -> int:
    """Return where a column stands: what it is about, its numbers, yes and no, remarks."""
    if name == "note":
        return 3
    values = [item.get(name) for item in items]
    if all(isinstance(value, bool) for value in values):
        return 2
    return 1 if all(_is_number(value) for value in values) else 0


def _says(items: Sequence[Mapping[str, object]], name: str) -> bool:
    return any(item.get(name) not in ("", None) for item in items)


def _is_number(value: object) -> bool:
    return isinstance(value, int | float) and not isinstance(value, bool)
