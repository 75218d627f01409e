"""Find the line on which a key of a TOML text stands, because the parser does not tell."""

from __future__ import annotations

import re
from collections import Counter
from typing import Final

Key = tuple[str | int, ...]

_PART: Final = r"""(?:[A-Za-z0-9_-]+|"[^"\n]*"|'[^'\n]*')"""
_DOTTED: Final = rf"{_PART}(?:\s*\.\s*{_PART})*"
_HEADER: Final = re.compile(rf"\s*(?P<open>\[\[?)\s*(?P<key>{_DOTTED})\s*\]\]?")
_ENTRY: Final = re.compile(rf"\s*(?P<key>{_DOTTED})\s*=")
_LONG_QUOTE: Final = re.compile(r'"""|' + "'''")


def key_lines(text: str) -> dict[Key, int]:
    """Map the place of each key (tables by name, elements by index) to its line, from 1."""
    lines: dict[Key, int] = {}
    table: Key = ()
    elements: Counter[Key] = Counter()
    open_quote = ""
    for number, line in enumerate(text.split("\n"), start=1):
        inside = bool(open_quote)
        open_quote = _quote_after(line, open_quote)
        if inside:
            continue
        if header := _HEADER.match(line):
            table = _resolve(_parts(header["key"]), elements)
            if header["open"] == "[[":
                elements[table] += 1
                table = (*table, elements[table] - 1)
            lines.setdefault(table, number)
        elif entry := _ENTRY.match(line):
            place = table
            for part in _parts(entry["key"]):
                place = (*place, part)
                lines.setdefault(place, number)
    return lines


def nearest_line(lines: dict[Key, int], place: Key) -> int | None:
    """Return the line of `place`, or of the nearest table around it; None at the top."""
    for length in range(len(place), 0, -1):
        for found in (place[:length], (*place[:length], 0)):
            if found in lines:
                return lines[found]
    return None


def _parts(dotted: str) -> list[str]:
    return [part.strip("\"'") for part in re.findall(_PART, dotted)]


def _resolve(parts: list[str], elements: Counter[Key]) -> Key:
    """Return the place of a table; a name that is an array of tables means its last element."""
    place: Key = ()
    for position, part in enumerate(parts):
        place = (*place, part)
        if position < len(parts) - 1 and elements[place]:
            place = (*place, elements[place] - 1)
    return place


def _quote_after(line: str, open_quote: str) -> str:
    """Return the long quote that is still open at the end of `line`."""
    for found in _LONG_QUOTE.findall(line):
        if not open_quote:
            open_quote = found
        elif found == open_quote:
            open_quote = ""
    return open_quote
