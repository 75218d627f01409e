"""Headers and program messages of SCPI-1999, without any instrument behind them."""

from __future__ import annotations

import math
import re
from collections.abc import Iterator
from typing import Final

from sim_instruments.status import ScpiError

_NODE: Final = re.compile(r"(\[?):?(\*?[A-Za-z]+)(#?)(\]?)")
_NUMBER: Final = re.compile(r"[+-]?(\d+\.?\d*|\.\d+)(E[+-]?\d+)?", re.IGNORECASE)


def header_pattern(manual: str) -> re.Pattern[str]:
    """Return what matches a header that the manual writes as ``SENSe#:VOLTage:RANGe[:UPPer]?``.

    Capitals are the short form, ``#`` is a numeric suffix (a group; empty when left out), brackets
    mark a node that may be left out, a question mark makes it a query.
    """
    query = manual.endswith("?")
    parts = []
    for first, found in enumerate(_NODE.finditer(manual.removesuffix("?"))):
        optional, word, suffix, _ = found.groups()
        short = re.sub("[a-z]", "", word)
        names = f"(?:{re.escape(word.upper())}|{re.escape(short)})" + (
            r"(\d{0,4})" if suffix else ""
        )
        node = (":" if first else "") + names
        parts.append(f"(?:{node})?" if optional else node)
    return re.compile("".join(parts) + (r"\?" if query else ""), re.IGNORECASE)


def split_outside(text: str, separator: str) -> list[str]:
    """Split at `separator` where it stands neither in quotes nor in parentheses."""
    pieces, quote, depth = [""], "", 0
    for character in text:
        if quote:
            quote = "" if character == quote else quote
        elif character in "\"'":
            quote = character
        else:
            depth += {"(": 1, ")": -1}.get(character, 0)
        if character == separator and not quote and depth == 0:
            pieces.append("")
        else:
            pieces[-1] += character
    return pieces


def message_units(message: str) -> Iterator[tuple[str, tuple[str, ...]]]:
    """Yield full header and parameters of each unit of a program message.

    A header without a leading colon continues in the branch of the one before it; common commands
    stand outside the tree and leave the branch as it is (SCPI-1999, volume 1, 6.2.4).

    Raises
    ------
    ScpiError
        -102: an empty unit, where another one has to follow.
    """
    branch = ""
    for unit in split_outside(message, ";"):
        words = unit.strip().split(None, 1)
        if not words:
            raise ScpiError(-102)
        header = words[0]
        if not header.startswith("*"):
            header = header[1:] if header.startswith(":") else branch + header
            branch = header[: header.rfind(":") + 1]
        rest = words[1] if len(words) > 1 else ""
        yield header, tuple(p.strip() for p in split_outside(rest, ",")) if rest else ()


def number(text: str, low: float, high: float) -> float:
    """Return a decimal parameter; -104 when it is none, -222 when outside `low` to `high`."""
    if not _NUMBER.fullmatch(text):
        raise ScpiError(-104)
    value = float(text)
    if not (math.isfinite(value) and low <= value <= high):
        raise ScpiError(-222)
    return value


def choice(text: str, *manual: str) -> str:
    """Return the short form of the word that `text` is, of those that the manual writes."""
    for word in manual:
        if header_pattern(word).fullmatch(text):
            return re.sub("[a-z]", "", word)
    raise ScpiError(-224)


def boolean(text: str) -> bool:
    """Return a Boolean parameter: ON, OFF, or a number that rounds to 0 or not (SCPI-1999, 7.3)."""
    if text.upper() in ("ON", "OFF"):
        return text.upper() == "ON"
    return round(number(text, -32768, 32767)) != 0


def channel_in(text: str, count: int) -> int:
    """Return the channel of a list of one, such as ``(@2)``; -104 or -222 otherwise."""
    found = re.fullmatch(r"\(\s*@\s*(\d+)\s*\)", text)
    if not found:
        raise ScpiError(-104)
    return int(number(found[1], 1, count))


def definite_block(data: bytes) -> bytes:
    """Return `data` as definite length arbitrary block (IEEE 488.2, 8.7.9)."""
    length = str(len(data))
    return f"#{len(length)}{length}".encode("ascii") + data
