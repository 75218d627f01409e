"""Numbers as digits: rounded in decimal, half away from zero, the one way in the whole program.

People round decimals: 0.12865 is said 0.1287. A binary number is never quite the decimal that was
meant, and formatting it directly says 0.1286; a product such as 0.155 x 1.17 misses the decimal by
a little more. So a number is first taken as the decimal with `MEANT_DIGITS` digits, which every
double keeps, and that is rounded.
"""

from __future__ import annotations

import math
from decimal import ROUND_HALF_UP, Context, Decimal
from typing import Final

MEANT_DIGITS: Final = 15
"""Decimal digits that a double holds whatever its value (IEEE 754 binary64: DBL_DIG)."""

MOST_DECIMALS: Final = 9
"""An uncertainty is shown with no more decimals than this."""

_WIDE: Final = Context(prec=400, rounding=ROUND_HALF_UP)
"""Room for every digit of the largest double and its decimals."""


def fixed(value: float, decimals: int, *, plus: bool = False) -> str:
    """Return a number with so many decimals; one that rounds to zero has no sign.

    Parameters
    ----------
    value
        Any number; one that is not finite becomes a word.
    decimals
        0 or more.
    plus
        Put ``+`` before a number above zero.
    """
    if not math.isfinite(value):
        return str(value)
    rounded = _meant(value).quantize(Decimal(1).scaleb(-decimals), context=_WIDE)
    if rounded == 0:
        rounded = abs(rounded)
    return f"{'+' if plus and rounded > 0 else ''}{rounded:f}"


def decimals_for(u: float) -> int:
    """Return the decimals that show `u` (positive) with two significant digits, 0 to 9.

    JCGM 100:2008, 7.2.6: at most two significant digits of uncertainty.
    """
    # Round first: 0.0996 is 0.10, not 0.100.
    two_digits = Context(prec=2, rounding=ROUND_HALF_UP).plus(_meant(u))
    return min(max(1 - two_digits.adjusted(), 0), MOST_DECIMALS)


def with_doubt(value: float, u_expanded: float, *, decimals: int, plus: bool = False) -> str:
    """Return ``4.4 ± 4.5``: two significant digits of uncertainty, and the value to match.

    Parameters
    ----------
    value, u_expanded
        Value and expanded uncertainty, same unit.
    decimals
        Of a value whose uncertainty is zero, no number, or too small to be shown with
        `MOST_DECIMALS`; that is not printed then.
    plus
        Put ``+`` before a value above zero.
    """
    if math.isfinite(u_expanded) and u_expanded > 0.0:
        places = decimals_for(u_expanded)
        doubt = fixed(u_expanded, places)
        if float(doubt) > 0.0:
            return f"{fixed(value, places, plus=plus)} ± {doubt}"
    return fixed(value, decimals, plus=plus)


def _meant(value: float) -> Decimal:
    return Decimal(f"{value:.{MEANT_DIGITS}g}")
