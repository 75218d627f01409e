"""Values in words, for messages and prompts: one way to say each quantity."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Final

from daq.measurement import Measurement
from daq.reading import describe_ddm
from daq.rounding import fixed


def _percent(value: float) -> str:
    return f"{fixed(100.0 * value, 2)} %"


_SAID: Final[Mapping[str, Callable[[float], str]]] = {
    "ddm": lambda value: f"{describe_ddm(value)} (DDM)",
    "sdm": _percent,
    "depth_90": _percent,
    "depth_150": _percent,
    "ident_depth": _percent,
    "vpp": lambda value: f"{fixed(value, 3)} V peak to peak",
    "voltage": lambda value: f"{fixed(value, 3)} V",
    "rf_level": lambda value: f"{fixed(value, 1)} dBm",
    "power": lambda value: f"{value:.3g} W",
    "alarm": lambda value: f"{value:g}",
    "frequency": lambda value: f"{fixed(value / 1e6, 6)} MHz",
    "tone_90": lambda value: f"{fixed(value, 3)} Hz",
    "tone_150": lambda value: f"{fixed(value, 3)} Hz",
}


def said_value(quantity: str, value: float) -> str:
    """Return a value of a quantity as it is spoken, from its SI value."""
    return _SAID[quantity](value)


def said(measurement: Measurement) -> str:
    """Return a measurement as it is spoken."""
    return said_value(measurement.quantity, measurement.value)
