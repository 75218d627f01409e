"""What people say, into SI: "38.2 in", "109.35 MHz", "98.7 uA", "-1.6 dB"; and back.

Inside the program everything is SI. This is the one door. The units that are said every day are
in a small table, so that most runs never load pint (90 ms); every other unit goes to pint.

A number without a unit is taken only where the trade has one way to mean it: DDM as a ratio, a
plain ratio, a level in dB, an angle in degrees. A bare length or frequency is refused.
"""

from __future__ import annotations

import math
import re
from enum import StrEnum
from functools import cache
from types import MappingProxyType
from typing import TYPE_CHECKING, Any, Final

from daq.errors import UnitError
from daq.reading import UA_PER_DDM
from daq.rounding import fixed

if TYPE_CHECKING:
    import pint

METRES_PER_INCH: Final = 0.0254


class Kind(StrEnum):
    """What a quantity is; the value is the word used in messages."""

    LENGTH = "length"
    FREQUENCY = "frequency"
    DDM = "DDM"
    LEVEL = "level in dB"
    ANGLE = "angle"
    VOLTAGE = "voltage"
    CURRENT = "current"
    POWER = "power"
    TIME = "time"
    RATIO = "ratio"
    SENSITIVITY = "displacement sensitivity"


_PLAIN_NUMBER_OK: Final = frozenset(
    {Kind.DDM, Kind.LEVEL, Kind.ANGLE, Kind.RATIO, Kind.SENSITIVITY}
)

_EXAMPLES: Final = MappingProxyType(
    {
        Kind.LENGTH: "38.2 in",
        Kind.FREQUENCY: "109.35 MHz",
        Kind.DDM: "0.102, 10.2 % or 98.7 uA",
        Kind.LEVEL: "-1.6 dB",
        Kind.ANGLE: "90 deg",
        Kind.VOLTAGE: "1.5 V",
        Kind.CURRENT: "150 uA",
        Kind.POWER: "12 W",
        Kind.TIME: "2 s",
        Kind.RATIO: "0.82 or 82 %",
        Kind.SENSITIVITY: "0.00145 DDM/m or 0.145 %/m",
    }
)

_SI_UNIT: Final = MappingProxyType(
    {
        Kind.LENGTH: "meter",
        Kind.FREQUENCY: "hertz",
        Kind.ANGLE: "degree",
        Kind.VOLTAGE: "volt",
        Kind.CURRENT: "ampere",
        Kind.POWER: "watt",
        Kind.TIME: "second",
    }
)
"""Unit in which `parse` returns each kind that pint knows; angles are kept in degrees."""

_EVERYDAY: Final = MappingProxyType(
    {
        "m": (Kind.LENGTH, 1.0),
        "cm": (Kind.LENGTH, 1e-2),
        "mm": (Kind.LENGTH, 1e-3),
        "km": (Kind.LENGTH, 1e3),
        "in": (Kind.LENGTH, METRES_PER_INCH),
        "inch": (Kind.LENGTH, METRES_PER_INCH),
        "inches": (Kind.LENGTH, METRES_PER_INCH),
        '"': (Kind.LENGTH, METRES_PER_INCH),
        "ft": (Kind.LENGTH, 0.3048),
        "NM": (Kind.LENGTH, 1852.0),
        "Hz": (Kind.FREQUENCY, 1.0),
        "kHz": (Kind.FREQUENCY, 1e3),
        "MHz": (Kind.FREQUENCY, 1e6),
        "GHz": (Kind.FREQUENCY, 1e9),
        "DDM": (Kind.DDM, 1.0),
        "dB": (Kind.LEVEL, 1.0),
        "deg": (Kind.ANGLE, 1.0),
        "°": (Kind.ANGLE, 1.0),
        "V": (Kind.VOLTAGE, 1.0),
        "Vpp": (Kind.VOLTAGE, 1.0),
        "mV": (Kind.VOLTAGE, 1e-3),
        "uA": (Kind.CURRENT, 1e-6),
        "mA": (Kind.CURRENT, 1e-3),
        "A": (Kind.CURRENT, 1.0),
        "W": (Kind.POWER, 1.0),
        "mW": (Kind.POWER, 1e-3),
        "s": (Kind.TIME, 1.0),
        "ms": (Kind.TIME, 1e-3),
        "%": (Kind.RATIO, 1e-2),
        "percent": (Kind.RATIO, 1e-2),
        "DDM/m": (Kind.SENSITIVITY, 1.0),
        "/m": (Kind.SENSITIVITY, 1.0),
        "%/m": (Kind.SENSITIVITY, 1e-2),
        "uA/m": (Kind.SENSITIVITY, 1.0 / UA_PER_DDM),
    }
)
"""Unit as people write it -> kind and factor to SI."""

_HERTZ: Final = MappingProxyType({unit.lower(): unit for unit in _EVERYDAY if unit.endswith("Hz")})
"""Nobody means millihertz by mhz: hertz may be written in capitals or not."""

_QUANTITY: Final = re.compile(
    r"(?P<number>[+-]?(?:\d+\.?\d*|\.\d+)(?:[eE][+-]?\d{1,3})?)\s*(?P<unit>[^\d\s,._].{0,30})?"
)
_WORDS_FOR_PINT: Final = re.compile(r"[A-Za-z]+(?: ?/ ?[A-Za-z]+)?")
_SIGNS: Final = str.maketrans({"−": "-", "µ": "u", "μ": "u"})


def parse(text: str, kind: Kind) -> float:
    """Return the quantity in SI: m, Hz, V, A, W, s, a ratio; dB for levels, degrees for angles.

    Parameters
    ----------
    text
        A number and a unit, such as ``38.2 in``; for some kinds the unit may be left out.
        DDM is taken as a ratio, in per cent, or as localizer deviation current
        (0.155 DDM = 150 uA; the glide path has another factor).
    kind
        What is expected.

    Raises
    ------
    UnitError
        The text is no number, is not finite, or its unit is unknown, missing or of another kind.
    """
    number, unit = _split(text, kind)
    if not unit:
        if kind not in _PLAIN_NUMBER_OK:
            raise UnitError(
                f"{text.strip()!r} has no unit; {_a(kind)} was expected.",
                hint=f"write it like {_EXAMPLES[kind]}.",
            )
        return number
    found = _EVERYDAY.get(_HERTZ.get(unit.lower(), unit) if unit != "mHz" else unit)
    return (
        _convert(text, number * found[1], found[0], kind)
        if found
        else _by_pint(text, number, unit, kind)
    )


def parse_length_m(text: str) -> float:
    """Return a length in m; raises `UnitError` as `parse` does."""
    return parse(text, Kind.LENGTH)


def parse_frequency_hz(text: str) -> float:
    """Return a frequency in Hz; raises `UnitError` as `parse` does."""
    return parse(text, Kind.FREQUENCY)


def parse_rate_hz(text: str) -> float:
    """Return a rate of samples in 1/s, from ``48 kHz`` or the number alone.

    Raises
    ------
    UnitError
        As `parse`, or it is not more than zero.
    """
    number, unit = _split(text, Kind.FREQUENCY)
    rate_hz = parse(text, Kind.FREQUENCY) if unit else number
    if rate_hz <= 0.0:
        raise UnitError(
            f"{text.strip()!r} is no rate of samples: it is more than zero.",
            hint="write it like 48 kHz, or 48000.",
        )
    return rate_hz


def parse_percent(text: str) -> float:
    """Return a percentage, 17 for ``17 %`` and for ``17``.

    Raises
    ------
    UnitError
        The text is no such number.
    """
    try:
        number, unit = _split(text, Kind.RATIO)
        return 100.0 * parse(text, Kind.RATIO) if unit else number
    except UnitError as error:
        raise UnitError(
            f"{text.strip()!r} is no percentage.", hint="write it like 17 %, or 17."
        ) from error


def parse_ddm(text: str) -> float:
    """Return a DDM as a ratio; raises `UnitError` as `parse` does."""
    return parse(text, Kind.DDM)


def parse_level_db(text: str) -> float:
    """Return a level or loss in dB; raises `UnitError` as `parse` does."""
    return parse(text, Kind.LEVEL)


def parse_angle_deg(text: str) -> float:
    """Return an angle in degrees; raises `UnitError` as `parse` does."""
    return parse(text, Kind.ANGLE)


def parse_voltage_v(text: str) -> float:
    """Return a voltage in V; raises `UnitError` as `parse` does."""
    return parse(text, Kind.VOLTAGE)


def format_length(length_m: float) -> str:
    """Return a length as it is shown: ``0.970 m (38.2 in)``."""
    return f"{fixed(length_m, 3)} m ({fixed(length_m / METRES_PER_INCH, 1)} in)"


def format_ddm(ddm: float) -> str:
    """Return a localizer DDM with its sign and deviation current: ``0.1550 (150.0 uA)``."""
    return f"{fixed(ddm, 4)} ({fixed(ddm * UA_PER_DDM, 1)} uA)"


def _split(text: str, kind: Kind) -> tuple[float, str]:
    match = _QUANTITY.fullmatch(text.strip().translate(_SIGNS))
    if match is None:
        comma = " with a decimal point, not a comma" if re.search(r"\d,\d", text) else ""
        raise UnitError(
            f"{text!r} is no number with a unit; {_a(kind)} was expected.",
            hint=f"write it like {_EXAMPLES[kind]}{comma}.",
        )
    number = float(match["number"])
    if not math.isfinite(number):
        raise UnitError(f"{text!r} is too large to be {_a(kind)}.")
    return number, (match["unit"] or "").strip()


def _convert(text: str, si_value: float, found: Kind, kind: Kind) -> float:
    if found is kind:
        return si_value
    if kind is Kind.DDM and found is Kind.RATIO:
        return si_value
    if kind is Kind.DDM and found is Kind.CURRENT:
        return si_value * 1e6 / UA_PER_DDM
    raise _wrong_kind(text, found, kind)


def _a(noun: str) -> str:
    return f"an {noun}" if noun == Kind.ANGLE else f"a {noun}"


def _dimension_words(dimensionality: str) -> str:
    return "quantity of " + dimensionality.replace("[", "").replace("]", "")


def _wrong_kind(text: str, found: str, kind: Kind) -> UnitError:
    return UnitError(
        f"{text.strip()!r} is {_a(found)}; {_a(kind)} was expected.",
        hint=f"write it like {_EXAMPLES[kind]}.",
    )


@cache
def _registry() -> pint.UnitRegistry[Any]:
    import pint

    return pint.UnitRegistry()


def _by_pint(text: str, number: float, unit: str, kind: Kind) -> float:
    import pint

    registry = _registry()
    meant = next((known for known in _EVERYDAY if known.lower() == unit.lower()), "")
    unknown = UnitError(
        f"The unit {unit!r} of {text.strip()!r} is not known; {_a(kind)} was expected.",
        hint=f"did you mean {meant!r}?" if meant else f"write it like {_EXAMPLES[kind]}.",
    )
    if _WORDS_FOR_PINT.fullmatch(unit) is None:
        raise unknown
    try:
        quantity = registry.Quantity(number, registry.parse_units(unit))
        root = quantity.to_root_units()
    except (pint.PintError, AttributeError, TypeError, ValueError):
        raise unknown from None
    for found, si_unit in _SI_UNIT.items():
        if root.units == registry.Quantity(1.0, si_unit).to_root_units().units:
            return _convert(text, float(quantity.to(si_unit).magnitude), found, kind)
    if root.unitless:
        raise unknown
    raise _wrong_kind(text, _dimension_words(str(quantity.dimensionality)), kind)
