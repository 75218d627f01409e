"""What is wrong in a file that people write, in their words: where, what was expected, what stands.

The library that checks the values has words of its own; none of them is shown. A value is shown as
it was written, a bound in the unit that the key's name ends with.
"""

from __future__ import annotations

import difflib
import re
import typing
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from types import MappingProxyType
from typing import TYPE_CHECKING, Any, Final

from pydantic import BaseModel

from daq.toml_lines import Key, nearest_line

if TYPE_CHECKING:
    from pydantic.fields import FieldInfo
    from pydantic_core import ErrorDetails

MOST_NAMES: Final = 12
"""Of more names than these only the one that is meant is told, or how many there are."""

_UNITS: Final = MappingProxyType(
    {"m": "m", "hz": "Hz", "deg": "deg", "db": "dB", "s": "s", "v": "V", "w": "W", "ddm": "DDM"}
)
"""Last part of a field's name -> unit of its value."""

_BOUNDS: Final = MappingProxyType(
    {
        "greater_than": ("more than", "gt"),
        "greater_than_equal": ("at least", "ge"),
        "less_than": ("less than", "lt"),
        "less_than_equal": ("at most", "le"),
    }
)
"""Kind of fault -> words, and where the bound is found."""

_WANTED: Final[Sequence[tuple[re.Pattern[str], str]]] = tuple(
    (re.compile(pattern), words)
    for pattern, words in (
        (r"(date|datetime)_.*", "a day, written like 2027-01-31 without quotes"),
        (r"time_.*", "a time of day, written like 07:30:00"),
        (r"int_.*", "a whole number"),
        (r"finite_number", "a finite number"),
        (r"(float|decimal)_.*", "a number"),
        (r"bool_.*", "true or false"),
        (r"string_too_short", "some text"),
        (r"string_.*", "a text in quotes"),
        (r"(too_short)", "at least one entry"),
        (r"(tuple|list|set|iterable)_.*", "a list in square brackets"),
        (r"(dict|mapping)_.*", "a table of names and values"),
        (r"(model|dataclass)_.*", "one table"),
    )
)
"""Kind of fault -> what was expected."""


class FaultsAt(ValueError):
    """What a model finds wrong between several of its keys, each told at its own.

    Parameters
    ----------
    faults
        Keys from the model that raises it, and what is wrong there; at least one.
    """

    def __init__(self, faults: Sequence[tuple[Key, str]]) -> None:
        super().__init__("; ".join(text for _, text in faults))
        self.faults = tuple(faults)


@dataclass(frozen=True, slots=True)
class Fault:
    """One thing that is wrong.

    Attributes
    ----------
    line
        From 1; None where the file has no such line, as for a table that is missing.
    key
        With dots; elements are counted from 1.
    text
        A sentence.
    """

    line: int | None
    key: str
    text: str


@dataclass(frozen=True, slots=True)
class Written:
    """A file as it was written, and the model that it does not fit.

    Attributes
    ----------
    model
        What was expected.
    data
        The parsed file.
    lines
        Where each key stands; see `daq.toml_lines.key_lines`.
    """

    model: type[BaseModel]
    data: Mapping[str, Any]
    lines: dict[Key, int]

    def faults(self, item: ErrorDetails) -> Iterator[Fault]:
        """Yield what one finding of the library says, in our words."""
        place: Key = tuple(item["loc"])
        error = item.get("ctx", {}).get("error")
        if isinstance(error, FaultsAt):
            for key, text in error.faults:
                yield self._fault((*place, *key), text)
            return
        yield self._fault(place, self._describe(item, place))

    def _fault(self, place: Key, text: str) -> Fault:
        key = ".".join(str(part + 1 if isinstance(part, int) else part) for part in place)
        return Fault(nearest_line(self.lines, place), key, text)

    def _describe(self, item: ErrorDetails, place: Key) -> str:
        kind, context = item["type"], item.get("ctx", {})
        if kind == "missing":
            return "This key is missing."
        if kind == "extra_forbidden":
            known = fields_at(self.model, place[:-1])
            hint = did_you_mean(str(place[-1]), known)
            return f"This key is not known; {hint or 'known are ' + ', '.join(known)}"
        if kind in ("value_error", "assertion_error"):
            return item["msg"].partition(", ")[2]
        written = self._value_at(place, item["input"])
        wanted = _wanted(kind, context, field_at(self.model, place), place)
        names = re.findall(r"'([^']*)'", context.get("expected", ""))
        close = did_you_mean(str(written), names)
        return f"Expected {wanted}, not {_shown(written)}{'; ' + close if close else '.'}"

    def _value_at(self, place: Key, otherwise: object) -> object:
        """Return what stands in the file at `place`, in its own unit."""
        value: Any = self.data
        for part in place:
            try:
                value = value[part]
            except (KeyError, IndexError, TypeError):
                return otherwise
        return value


def _wanted(
    kind: str, context: Mapping[str, Any], field: tuple[str, FieldInfo] | None, place: Key
) -> str:
    """Return what was expected, as a noun."""
    if "expected" in context:
        return str(context["expected"])
    name = field[0] if field else str(place[-1]) if place else ""
    if kind in _BOUNDS:
        words, bound = _BOUNDS[kind]
        unit = _UNITS.get(name.rsplit("_", 1)[-1], "") if "_" in name else ""
        return f"{words} {context[bound]:g} {unit}".rstrip()
    if kind == "string_pattern_mismatch":
        said = field[1].description if field else None
        return said or "a text of another form"
    return next((words for kinds, words in _WANTED if kinds.fullmatch(kind)), "something else")


def _shown(value: object) -> str:
    """Return a value as it would be written in the file; a table by its keys."""
    if isinstance(value, bool):
        return str(value).lower()
    if isinstance(value, Mapping):
        return f"a table of {', '.join(map(str, value)) or 'nothing'}"
    if isinstance(value, list) and any(isinstance(each, Mapping) for each in value):
        return "several tables"
    return repr(value)


def did_you_mean(word: str, known: Iterable[str]) -> str:
    """Return ``did you mean 'x'?`` if something in `known` is close to `word`, else nothing."""
    close = difflib.get_close_matches(word, list(known), n=1)
    return f"did you mean {close[0]!r}?" if close else ""


def not_defined(what: str, name: str, known: Sequence[str]) -> str:
    """Return what is wrong with a name that stands for nothing, and which one may be meant."""
    listed = ", ".join(f"'{each}'" for each in known) or "none"
    if len(known) > MOST_NAMES:
        listed = f"{len(known)}, such as '{known[0]}' and '{known[1]}'"
    hint = did_you_mean(name, known) or f"there are: {listed}."
    return f"There is no {what} '{name}'; {hint}"


def check_differ(
    what: str, names: Sequence[str], place: Callable[[int], Key], *, said: str = "stands twice"
) -> None:
    """Refuse a name that stands a second time, at its second place.

    Parameters
    ----------
    what
        What is called by them, for the message.
    names
        In the order of the file.
    place
        Number of a name, from 0 -> its key.

    Raises
    ------
    FaultsAt
        One does.
    """
    faults = [
        (place(number), f"{what} '{name}' {said}.")
        for number, name in enumerate(names)
        if name in names[:number]
    ]
    if faults:
        raise FaultsAt(faults)


def fields_at(model: type[BaseModel], place: Key) -> list[str]:
    """Return the keys that the table at `place` may have; empty if that cannot be told."""
    found = _model_at(model, place)
    return [f.alias or n for n, f in found.model_fields.items()] if found else []


def field_at(model: type[BaseModel], place: Key) -> tuple[str, FieldInfo] | None:
    """Return name and field of the value at `place`; None if that cannot be told."""
    names = [part for part in place if isinstance(part, str)]
    around = _model_at(model, tuple(names[:-1])) if names else None
    if around is None:
        return None
    return next(
        ((n, f) for n, f in around.model_fields.items() if (f.alias or n) == names[-1]), None
    )


def _model_at(model: type[BaseModel], place: Key) -> type[BaseModel] | None:
    current: type[BaseModel] | None = model
    for part in place:
        if current is None or not isinstance(part, str):
            continue
        by_key = {field.alias or name: field for name, field in current.model_fields.items()}
        if part in by_key:
            current = _model_in(by_key[part].annotation)
    return current


def _model_in(annotation: Any) -> type[BaseModel] | None:
    """Return the first model inside an annotation such as ``tuple[Point, ...] | None``."""
    if isinstance(annotation, type) and issubclass(annotation, BaseModel):
        return annotation
    for inner in typing.get_args(annotation):
        if (found := _model_in(inner)) is not None:
            return found
    return None
