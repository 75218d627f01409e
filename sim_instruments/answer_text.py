"""The measured number in an answer, found and replaced without touching the rest.

An answer counts as a measured value when it begins with a decimal number, perhaps after a keyword:
``1.5031E+00``, ``DDM +0.1550 OK``, ``D=-150.0uA;S=A``, ``LOC,+0.1550,0.4000,-47.3``. Identities,
error messages, registers and blocks do not look like that and are left alone.
"""

from __future__ import annotations

import re
from collections.abc import Callable
from typing import Final

_VALUE: Final = re.compile(
    rb"\A(?P<head>(?:[A-Za-z][\w:]*[ =,])?)"
    rb"(?P<number>[+-]?\d+\.\d*(?:[Ee][+-]?\d+)?)(?P<unit> ?(?:[A-Za-z]+|%)?)"
)


def is_measured(answer: bytes) -> bool:
    """Whether the answer carries a measured number."""
    return _VALUE.match(answer) is not None


def with_number(answer: bytes, change: Callable[[float], float], unit: str = "") -> bytes:
    """Return `answer` with its number changed and written in the same style.

    Parameters
    ----------
    answer
        One answer; returned as it is when it carries no measured number.
    change
        From the old number to the new.
    unit
        Takes the place of the unit that follows the number, if one follows; empty leaves it.
    """
    found = _VALUE.match(answer)
    if not found:
        return answer
    old_unit = found["unit"]
    if unit and old_unit.strip():
        old_unit = old_unit.replace(old_unit.strip(), unit.encode("utf-8"))
    number = _in_style(found["number"].decode("ascii"), change(float(found["number"])))
    return found["head"] + number.encode("ascii") + old_unit + answer[found.end() :]


def _in_style(like: str, value: float) -> str:
    """Return `value` with the decimals, exponent and explicit plus sign that `like` has."""
    digits, _, exponent = like.upper().partition("E")
    decimals = len(digits.partition(".")[2])
    sign = "+" if like.startswith("+") else ""
    return format(value, f"{sign}.{decimals}{'E' if exponent else 'f'}")
