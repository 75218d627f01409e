"""Values and distances as a technician reads them; pure functions, text in and out.

Every quantity is shown in the one unit that is said aloud for it (DDM in thousandths, depths in
per cent). A tone is always named in words: neither sign nor colour alone says which predominates.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from types import MappingProxyType
from typing import Final

from daq.reading import BALANCED_DDM, QUANTITIES, UA_PER_DDM, Quality, Reading, predominance
from daq.rounding import fixed
from procedures.record.figures import toward

DDM_NULL: Final = BALANCED_DDM
"""Up to this the display rounds to 0.0 thousandths, so no tone is said to predominate."""

NUMBER_WIDTH: Final = 9
"""Longest number that is written out; longer ones get an exponent (then up to 10 characters)."""


@dataclass(frozen=True, slots=True)
class Displayed:
    """A value in its display form.

    Attributes
    ----------
    number
        The digits, such as ``155.0``.
    unit
        The unit that is said after it, such as ``thousandths DDM``.
    meaning
        Which tone predominates, in words; empty for other quantities.
    also
        The same value in the other units in use; empty where there are none.
    """

    number: str
    unit: str
    meaning: str = ""
    also: str = ""


def displayed(quantity: str, value: float) -> Displayed:
    """Return `value` (SI unit of `quantity`) as it is shown.

    A value that is not finite is shown in words, never as a number.
    """
    if not math.isfinite(value):
        return Displayed("", str(Quality.NO_VALUE))
    if quantity == "ddm":
        return Displayed(
            number(1000.0 * abs(value), 1),
            "thousandths DDM",
            predominance(value, null=DDM_NULL),
            f"ratio {number(abs(value), 4)}, {number(abs(value) * UA_PER_DDM, 1)} uA",
        )
    if quantity == "alarm":
        return Displayed(number(value, 0), "(1 = alarm)")
    if quantity in _PER_CENT:
        return Displayed(number(100.0 * value, 1), "%", also=f"ratio {number(value, 4)}")
    factor, unit, decimals = _scale(quantity, value)
    return Displayed(number(factor * value, decimals), unit)


def number(value: float, decimals: int) -> str:
    """Return a number with so many decimals; zero has no sign.

    One longer than `NUMBER_WIDTH` is written with an exponent instead.
    """
    text = fixed(value, decimals)
    return f"{value:.2e}" if len(text) > NUMBER_WIDTH else text


def with_unit(quantity: str, value: float) -> str:
    """Return number and unit on one line: ``12.3 thousandths DDM``."""
    shown = displayed(quantity, value)
    return f"{shown.number} {shown.unit}".strip()


def in_words(reading: Reading) -> str:
    """Return why a reading has no value that may be shown, in words; empty when it has one."""
    if reading.usable:
        return ""
    return str(Quality.NO_VALUE if reading.quality is Quality.OK else reading.quality)


def distance_words(quantity: str, shown: float, target: float, band: float | None) -> str:
    """Return how far it is to the target and which way: ``12.3 thousandths to go, more 150 Hz``.

    Parameters
    ----------
    shown, target, band
        SI unit of the quantity; `band` is the accepted distance, None when there is none.
    """
    distance = target - shown
    if not math.isfinite(distance):
        return ""
    amount = _beside(quantity, abs(distance), target).removesuffix(" DDM")
    if band is not None and abs(distance) <= band:
        return f"in the band, {amount} from the target"
    return f"{amount} to go, {_direction(quantity, distance)}"


def called_out(quantity: str, value: float) -> str:
    """Return a value as it is called out across a room: ``155.3 150 Hz``, ``1.500 V``."""
    if quantity != "ddm":
        return with_unit(quantity, value)
    shown = displayed(quantity, value)
    return f"{shown.number} {shown.meaning.removesuffix(' predominates')}".strip()


def reference_words(quantity: str, shown: float, reference: float) -> str:
    """Return a reference value, and by how much what is shown differs from it.

    ``reference 155.3 150 Hz, differs by -0.4, toward 90 Hz``; DDM in thousandths, and the tone
    that the difference is toward in words, like that of every DDM.

    Parameters
    ----------
    shown, reference
        SI unit of the quantity; of what is not finite no difference is told.
    """
    known = f"reference {called_out(quantity, reference)}"
    difference = shown - reference
    if not math.isfinite(difference):
        return known
    if quantity != "ddm":
        # What lies between two levels in dBm is in dB.
        amount = _beside(quantity, difference, reference).replace("dBm", "dB")
        return f"{known}, differs by {_with_sign(amount)}"
    amount = _with_sign(number(1000.0 * difference, 1))
    parts = (known, f"differs by {amount}", toward(quantity, difference))
    return ", ".join(part for part in parts if part)


def _beside(quantity: str, amount: float, value: float) -> str:
    """Return an amount of power in the unit in which `value` is shown: 0.010 W beside 13.8 W.

    Other quantities are said in the unit that suits the amount: 12 Hz beside 109.35 MHz.
    """
    if QUANTITIES.get(quantity) != "W":
        return with_unit(quantity, amount)
    factor, unit, decimals = _scale(quantity, value)
    return f"{number(factor * amount, decimals)} {unit}".strip()


def _with_sign(amount: str) -> str:
    """Return a number in words with its sign; zero has none."""
    digits = amount.partition(" ")[0]
    return f"+{amount}" if digits.strip("0.") and not amount.startswith("-") else amount


def elapsed_words(elapsed_s: float) -> str:
    """Return minutes and seconds, ``01:23``; from one hour on ``1:01:23``."""
    if not math.isfinite(elapsed_s):
        return "--:--"
    seconds = max(0, int(elapsed_s))
    hours, minutes = seconds // 3600, seconds // 60 % 60
    clock = f"{minutes:02d}:{seconds % 60:02d}"
    return f"{hours}:{clock}" if hours else clock


def printable(text: str) -> str:
    """Return foreign text without anything that could steer a terminal.

    Control characters, the first bytes of escape sequences and text-direction marks become
    ``?``; line ends and tabs become spaces.
    """
    return "".join(" " if c.isspace() else c if c.isprintable() else "?" for c in text)


_PER_CENT: Final = frozenset({"sdm", "depth_90", "depth_150", "ident_depth"})

_DECIMALS: Final = MappingProxyType({"Hz": 2, "dBm": 1, "W": 3, "V": 3})


def _scale(quantity: str, value: float) -> tuple[float, str, int]:
    """Return factor, unit and decimals with which `value` reads best."""
    unit = QUANTITIES.get(quantity, "")
    size = abs(value)
    if unit == "Hz" and size >= 1e6:
        return 1e-6, "MHz", 5
    if unit == "Hz" and size >= 1e4:
        return 1e-3, "kHz", 3
    if unit == "W" and 0.0 < size < 0.1:
        return 1e3, "mW", 3
    return 1.0, unit, _DECIMALS.get(unit, 3)


def _direction(quantity: str, distance: float) -> str:
    up, down = ("more 150 Hz", "more 90 Hz") if quantity == "ddm" else ("raise", "lower")
    return up if distance > 0.0 else down
