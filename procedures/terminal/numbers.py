"""A typed number in the unit that a prompt asks for."""

from __future__ import annotations

import math
import re
from types import MappingProxyType
from typing import Final

from daq.errors import UnitError
from daq.units import Kind, format_length, parse

_KINDS: Final = MappingProxyType(
    {
        "m": Kind.LENGTH,
        "Hz": Kind.FREQUENCY,
        "V": Kind.VOLTAGE,
        "A": Kind.CURRENT,
        "W": Kind.POWER,
        "s": Kind.TIME,
        "dB": Kind.LEVEL,
        "deg": Kind.ANGLE,
        "1": Kind.RATIO,
    }
)
"""Unit of a prompt -> what is expected; a unit that is not here is typed as a plain number."""


_BARE: Final = re.compile(r"\s*[+\-−]?(?:\d+\.?\d*|\.\d+)(?:[eE][+-]?\d{1,3})?\s*")


def is_bare(text: str, unit: str) -> bool:
    """Say whether a number was typed without the unit that a prompt asks for."""
    return unit not in ("", "1") and _BARE.fullmatch(text) is not None


def typed_number(text: str, unit: str) -> float:
    """Return what was typed, in `unit`; a bare number is in the unit that the prompt names.

    Raises
    ------
    UnitError
        It is no number, not finite, or its unit is of another kind.
    """
    kind = _KINDS.get(unit)
    if kind is not None:
        return parse(f"{text} {unit}" if is_bare(text, unit) else text, kind)
    try:
        value = float(text)
    except ValueError:
        value = math.nan
    if not math.isfinite(value):
        wanted = f"a plain number in {unit}" if unit else "a plain number"
        raise UnitError(f"{text.strip()!r} is no number; {wanted} was expected.")
    return value


def suggested(value: float, unit: str) -> str:
    """Return a suggestion as it is shown: ``0.970 m (38.2 in)``, ``1.5 V``."""
    if unit == "m":
        return format_length(value)
    return f"{value:g} {unit}".strip() if unit != "1" else f"{value:g}"
