"""Read a table of a station file into a dataclass, with messages that name the key."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import fields, is_dataclass
from typing import TypeVar, get_type_hints

Made = TypeVar("Made")


def read_table(kind: type[Made], table: Mapping[str, object], name: str) -> Made:
    """Return a `kind` with the values that `table` states and defaults for the rest.

    Parameters
    ----------
    kind
        A dataclass whose fields are ``int``, ``float``, ``str`` or such dataclasses.
    table
        As TOML gives it.
    name
        Of the table, for messages: ``simulation.plant``.

    Raises
    ------
    ValueError
        A key is unknown or its value is of the wrong kind; the message names the key.
    """
    hints = get_type_hints(kind)
    known = [field.name for field in fields(kind)]  # type: ignore[arg-type]  # is a dataclass
    values: dict[str, object] = {}
    for key, value in table.items():
        if key not in known:
            raise ValueError(f"{name}.{key}: unknown key; known are {', '.join(known)}")
        values[key] = _value(hints[key], value, f"{name}.{key}")
    return kind(**values)


def _value(kind: type, value: object, name: str) -> object:
    """Return `value` as `kind`; ValueError that names the key when it is none."""
    whole = isinstance(value, int) and not isinstance(value, bool)
    if is_dataclass(kind):
        if isinstance(value, Mapping):
            return read_table(kind, value, name)
        wanted = "a table"
    elif kind is str:
        if isinstance(value, str):
            return value
        wanted = "text"
    else:
        if whole or (kind is float and isinstance(value, float)):
            return kind(value)
        wanted = "a whole number" if kind is int else "a number"
    raise ValueError(f"{name}: {wanted} is expected, not {value!r}")
