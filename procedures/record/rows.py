"""Take fields out of the bodies of log rows, and name the row when one is not there."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager

from daq.errors import LogDamaged
from daq.log.entry import Body, Entry


@contextmanager
def told(entry: Entry) -> Iterator[None]:
    """Turn a missing or misshapen field of `entry` into an error that names the row.

    Raises
    ------
    LogDamaged
        The block met a field that is missing or of another type.
    """
    try:
        yield
    except (KeyError, TypeError, ValueError) as error:
        raise LogDamaged(
            f"Row {entry.seq} of the log ({entry.kind}, '{entry.key}') is not what this program "
            f"writes: {error}.",
            hint="make the record with the trimbench version that wrote the log.",
        ) from error


def text(body: Body, name: str) -> str:
    """Return a text; empty for null."""
    value = body[name]
    return "" if value is None else str(value)


def number(body: Body, name: str) -> float:
    """Return a number."""
    return float(str(body[name]))


def number_or_none(body: Body, name: str) -> float | None:
    """Return a number, or None for null."""
    return None if body[name] is None else number(body, name)


def mapping(body: Body, name: str) -> Body:
    """Return an object."""
    value = body[name]
    if not isinstance(value, Mapping):
        raise TypeError(f"'{name}' is no object")
    return value


def mappings(body: Body, name: str) -> tuple[Body, ...]:
    """Return a list of objects."""
    items = _items(body, name)
    found = tuple(item for item in items if isinstance(item, Mapping))
    if len(found) != len(items):
        raise TypeError(f"'{name}' holds something that is no object")
    return found


def texts(body: Body, name: str) -> tuple[str, ...]:
    """Return a list of texts."""
    return tuple(str(item) for item in _items(body, name))


def _items(body: Body, name: str) -> Sequence[object]:
    value = body[name]
    if not isinstance(value, Sequence) or isinstance(value, str):
        raise TypeError(f"'{name}' is no list")
    return value
