"""Numbers as the record prints them: two figures of uncertainty, and a value to match.

JCGM 100:2008, 7.2.6: at most two significant digits of uncertainty; the value is rounded to the
same place. The record prints the expanded uncertainty, k = 2.
"""

from __future__ import annotations

import math
from types import MappingProxyType
from typing import Final

from daq.reading import BALANCED_DDM, QUANTITIES, RESULTS, UA_PER_DDM, predominance
from daq.rounding import decimals_for, fixed

COVERAGE: Final = 2.0
"""Coverage factor of every uncertainty on the record."""

_MINUS: Final = "\N{MINUS SIGN}"
_SCALES: Final = MappingProxyType({"frequency": (1e-6, "MHz")})
_NAMES: Final = MappingProxyType({"ddm": "DDM", "sdm": "SDM", "vpp": "peak to peak"})


def unit_of(quantity: str) -> str:
    """Return the unit in which `quantity` is printed; empty for ratios."""
    if quantity in _SCALES:
        return _SCALES[quantity][1]
    unit = QUANTITIES.get(quantity) or RESULTS.get(quantity, "")
    return "" if unit == "1" else unit


def name_of(quantity: str) -> str:
    """Return a quantity as it is said: ``DDM``, ``tone 90``."""
    return _NAMES.get(quantity, quantity.replace("_", " "))


def with_uncertainty(quantity: str, value: float, u: float) -> str:
    """Return ``0.15493 ± 0.00076``: value and expanded uncertainty in the printed unit.

    Parameters
    ----------
    value, u
        Value and *standard* uncertainty, SI. An uncertainty that is zero or no number is not
        printed, and the value gets four decimals.
    """
    factor = _factor(quantity)
    expanded = COVERAGE * u * factor
    if not (math.isfinite(expanded) and expanded > 0.0):
        return _signed(value * factor, 4)
    decimals = decimals_for(expanded)
    return f"{_signed(value * factor, decimals)} ± {fixed(expanded, decimals)}"


def plain(quantity: str, value: float) -> str:
    """Return a value without uncertainty, such as a target, in the printed unit.

    A ratio has at most five decimals, other values six significant digits; zeros at the end go.
    """
    if QUANTITIES.get(quantity) == "1":
        return _minus(f"{float(fixed(value, 5)):.6g}")
    return _minus(f"{value * _factor(quantity):.6g}")


def remark(quantity: str, value: float) -> str:
    """Return what stands beside a DDM: tone that predominates and deviation current.

    ``150 Hz, 149.9 uA``; empty for other quantities.
    """
    if quantity != "ddm":
        return ""
    tone = predominance(value, null=BALANCED_DDM).removesuffix(" predominates")
    return f"{tone}, {_signed(value * UA_PER_DDM, 1)} uA"


def toward(quantity: str, difference: float) -> str:
    """Return what stands beside a difference of DDM: ``toward 90 Hz``.

    Empty for other quantities, and where the difference rounds to nothing.
    """
    if quantity != "ddm" or abs(difference) <= BALANCED_DDM:
        return ""
    return f"toward {predominance(difference).removesuffix(' predominates')}"


def interval(quantity: str, low: float | None, high: float | None) -> str:
    """Return a limit in words: ``0.154 to 0.156``, ``at least 0.155``."""
    if low is None and high is None:
        return "none"
    if low is None:
        return f"at most {plain(quantity, high or 0.0)}"
    if high is None:
        return f"at least {plain(quantity, low)}"
    return f"{plain(quantity, low)} to {plain(quantity, high)}"


def _factor(quantity: str) -> float:
    return _SCALES[quantity][0] if quantity in _SCALES else 1.0


def _signed(value: float, decimals: int) -> str:
    return _minus(fixed(value, decimals))


def _minus(text: str) -> str:
    return text.replace("-", _MINUS)
