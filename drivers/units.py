"""The units in which instruments answer, and the factor from each to the SI unit kept inside."""

from __future__ import annotations

from types import MappingProxyType
from typing import Final, Literal

from daq.reading import UA_PER_DDM

AnswerUnit = Literal["ratio", "%", "uA", "V", "mV", "uV", "Hz", "kHz", "MHz", "W", "mW", "dBm"]

_SCALES: Final = MappingProxyType(
    {
        "ratio": (1.0, "1"),
        "%": (0.01, "1"),
        "uA": (1.0 / UA_PER_DDM, "1"),
        "V": (1.0, "V"),
        "mV": (1e-3, "V"),
        "uV": (1e-6, "V"),
        "Hz": (1.0, "Hz"),
        "kHz": (1e3, "Hz"),
        "MHz": (1e6, "Hz"),
        "W": (1.0, "W"),
        "mW": (1e-3, "W"),
        "dBm": (1.0, "dBm"),
    }
)


def si_scale(unit: AnswerUnit) -> tuple[float, str]:
    """Return the factor from `unit` to SI, and the SI unit as in `daq.reading.QUANTITIES`."""
    return _SCALES[unit]


def suffix_of(unit: AnswerUnit) -> str:
    """Return what an instrument may write behind a number in this unit."""
    return "" if unit == "ratio" else unit
