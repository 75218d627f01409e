"""Read a TOML file that people write, and say what is wrong with it: file, line, key, wanted."""

from __future__ import annotations

import re
import tomllib
from collections.abc import Sequence
from pathlib import Path
from typing import Final, TypeVar

from pydantic import BaseModel, ValidationError

from daq.errors import ProfileError, StationFileError
from daq.toml_faults import Fault, FaultsAt, Written, did_you_mean
from daq.toml_lines import key_lines

__all__ = ["FaultsAt", "check_toml", "did_you_mean", "load_toml"]

M = TypeVar("M", bound=BaseModel)

_TABLE: Final = re.compile(r"\('.*?',?\)")
_WORD: Final = re.compile(r"'([^']*)'")
_AT_LINE: Final = re.compile(r"\s*\(at line (?P<line>\d+), column \d+\)")


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
        what = _TABLE.sub(lambda table: f"[{'.'.join(_WORD.findall(table[0]))}]", what)
        raise error(f"This is not TOML: {what}.", file=name, line=line) from exc
    except RecursionError as exc:
        raise error("The file nests its tables too deeply.", file=name) from exc
    try:
        return model.model_validate(data)
    except ValidationError as exc:
        lines = key_lines(text)
        written = Written(model, data, lines)
        faults = [fault for item in exc.errors(include_url=False) for fault in written.faults(item)]
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


def _as_error(
    name: str, faults: Sequence[Fault], error: type[StationFileError | ProfileError]
) -> StationFileError | ProfileError:
    ordered = sorted(faults, key=lambda fault: fault.line or 0)
    first = ordered[0]
    more = [
        f"\n{name}{f':{fault.line}' if fault.line else ''}: {fault.key}: {fault.text}"
        for fault in ordered[1:]
    ]
    return error("".join([first.text, *more]), file=name, line=first.line, key=first.key)
