"""Read a TOML file that people write, and say what is wrong with it: file, line, key, wanted."""

from __future__ import annotations

import difflib
import re
import tomllib
import typing
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final, TypeVar

from pydantic import BaseModel, ValidationError

from daq.errors import ProfileError, StationFileError
from daq.toml_lines import Key, key_lines, nearest_line

if TYPE_CHECKING:
    from pydantic_core import ErrorDetails

M = TypeVar("M", bound=BaseModel)

_AT_LINE: Final = re.compile(r"\s*\(at line (?P<line>\d+), column \d+\)")


@dataclass(frozen=True, slots=True)
class _Fault:
    line: int | None
    key: str
    text: str


def load_toml(path: Path, model: type[M], error: type[StationFileError | ProfileError]) -> M:
    """Read `path` and check it against `model`.

    Parameters
    ----------
    path
        The file.
    model
        A pydantic model; make it forbid extra keys, so that a misspelt one is found.
    error
        The class to raise.

    Raises
    ------
    StationFileError or ProfileError
        As `error` says. It names the first fault's line and key; its message lists all of them.
    """
    return check_toml(_read(path, error), model, error, name=str(path))


def check_toml(
    text: str, model: type[M], error: type[StationFileError | ProfileError], *, name: str
) -> M:
    """Check a text against `model`, as if it stood in a file called `name`; see `load_toml`."""
    try:
        data = tomllib.loads(text)
    except tomllib.TOMLDecodeError as exc:
        found = _AT_LINE.search(str(exc))
        line = int(found["line"]) if found else text.count("\n") + 1
        what = _AT_LINE.sub("", str(exc)).replace("(at end of document)", "at the end").strip()
        raise error(f"This is not TOML: {what}.", file=name, line=line) from exc
    except RecursionError as exc:
        raise error("The file nests its tables too deeply.", file=name) from exc
    try:
        return model.model_validate(data)
    except ValidationError as exc:
        lines = key_lines(text)
        faults = [_fault(item, model, lines) for item in exc.errors(include_url=False)]
        raise _as_error(name, faults, error) from exc


def _read(path: Path, error: type[StationFileError | ProfileError]) -> str:
    try:
        data = path.read_bytes()
    except FileNotFoundError as exc:
        raise error("There is no such file.", file=str(path), hint=_neighbours(path)) from exc
    except IsADirectoryError as exc:
        raise error("This is a folder, a file was expected.", file=str(path)) from exc
    except (OSError, ValueError) as exc:
        reason = exc.strerror if isinstance(exc, OSError) and exc.strerror else str(exc)
        raise error(f"The file cannot be read: {reason}.", file=str(path)) from exc
    try:
        return data.decode("utf-8-sig").replace("\r\n", "\n")
    except UnicodeDecodeError as exc:
        raise error(
            f"The file is not UTF-8: byte 0x{data[exc.start]:02X}.",
            file=str(path),
            line=data.count(b"\n", 0, exc.start) + 1,
            hint="save it as UTF-8 in the editor.",
        ) from exc


def _neighbours(path: Path) -> str:
    try:
        names = sorted(entry.name for entry in path.parent.glob("*.toml"))
    except OSError:
        return ""
    return did_you_mean(path.name, names)


def did_you_mean(word: str, known: Iterable[str]) -> str:
    """Return ``did you mean 'x'?`` if something in `known` is close to `word`, else nothing."""
    close = difflib.get_close_matches(word, list(known), n=1)
    return f"did you mean {close[0]!r}?" if close else ""


def _as_error(
    name: str, faults: Sequence[_Fault], error: type[StationFileError | ProfileError]
) -> StationFileError | ProfileError:
    ordered = sorted(faults, key=lambda fault: fault.line or 0)
    first = ordered[0]
    more = [f"\n{name}:{fault.line}: {fault.key}: {fault.text}" for fault in ordered[1:]]
    return error("".join([first.text, *more]), file=name, line=first.line, key=first.key)


def _fault(item: ErrorDetails, model: type[BaseModel], lines: dict[Key, int]) -> _Fault:
    location: Key = tuple(item["loc"])
    key = ".".join(str(part + 1 if isinstance(part, int) else part) for part in location)
    return _Fault(nearest_line(lines, location), key, _describe(item, model, location))


def _describe(item: ErrorDetails, model: type[BaseModel], location: Key) -> str:
    kind, context = item["type"], item.get("ctx", {})
    if kind == "missing":
        return "This key is missing."
    if kind == "extra_forbidden":
        known = _fields_at(model, location[:-1])
        hint = did_you_mean(str(location[-1]), known)
        return f"This key is not known; {hint or 'known are ' + ', '.join(known)}"
    if kind in ("value_error", "assertion_error"):
        return item["msg"].partition(", ")[2]
    wanted = item["msg"].replace("Input should be", "Expected")
    close = did_you_mean(str(item["input"]), re.findall(r"'([^']*)'", context.get("expected", "")))
    return f"{wanted}, not {item['input']!r}{'; ' + close if close else '.'}"


def _fields_at(model: type[BaseModel], location: Key) -> list[str]:
    """Return the keys that the table at `location` may have; empty if that cannot be told."""
    current: type[BaseModel] | None = model
    for part in location:
        if current is None or not isinstance(part, str):
            continue
        by_key = {field.alias or name: field for name, field in current.model_fields.items()}
        if part in by_key:
            current = _model_in(by_key[part].annotation)
    return [f.alias or n for n, f in current.model_fields.items()] if current else []


def _model_in(annotation: Any) -> type[BaseModel] | None:
    """Return the first model inside an annotation such as ``tuple[Point, ...] | None``."""
    if isinstance(annotation, type) and issubclass(annotation, BaseModel):
        return annotation
    for inner in typing.get_args(annotation):
        if (found := _model_in(inner)) is not None:
            return found
    return None
