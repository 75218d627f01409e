"""What comes with a verb of the hands: words and numbers, by name."""

from __future__ import annotations

import math
from collections.abc import Mapping

Arguments = Mapping[str, str | float]


def word(given: Arguments, key: str) -> str:
    """Return what was given by that name; ValueError when nothing was."""
    if key not in given:
        raise ValueError(f"{key!r} is missing")
    return str(given[key])


def number(given: Arguments, key: str) -> float:
    """Return the finite number of that name; ValueError when there is none."""
    text = word(given, key)
    try:
        value = float(text)
    except ValueError:
        value = math.nan
    if not math.isfinite(value):
        raise ValueError(f"{key!r} is to be a number, not {text!r}")
    return value
