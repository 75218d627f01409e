"""What a history is made of: parameters, and what was found and left of them at each visit."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import UTC, date, datetime, timedelta
from typing import Final

from daq.reading import QUANTITIES
from procedures.record.figures import unit_of

NS_PER_DAY: Final = 86_400_000_000_000
NS_PER_YEAR: Final = 31_557_600_000_000_000
"""A Julian year of 365.25 days, the year of every figure "per year"."""


@dataclass(frozen=True, slots=True, order=True)
class Parameter:
    """One thing that is followed over the years: a reading at a point, or a computed result.

    Attributes
    ----------
    point
        Test point; empty for a result that is of no single point.
    quantity
        A name in `daq.reading.QUANTITIES`, or the result's, such as ``alignment``.
    state
        In which state the point was read, such as ``quadrature``; empty for the normal one. For a
        result the step that gave it, such as ``course: alignment``.
    unit
        SI; ``1`` for ratios.
    """

    point: str
    quantity: str
    state: str = ""
    unit: str = field(default="1", compare=False)

    @property
    def name(self) -> str:
        """What it is called: ``course width``, ``course width, quadrature``."""
        return ", ".join(part for part in (self.point, self.state) if part)

    @property
    def printed_unit(self) -> str:
        """The unit in which it is printed; empty for ratios."""
        return printed_unit(self.quantity, self.unit)


@dataclass(frozen=True, slots=True)
class Value:
    """One value with its standard uncertainty, SI, and when it was had."""

    value: float
    u: float
    utc_ns: int


@dataclass(frozen=True, slots=True)
class LimitLine:
    """The limit that a reading was judged by; SI, None where a side is open."""

    low: float | None
    high: float | None
    source: str
    status: str


@dataclass(frozen=True, slots=True)
class Visit:
    """One parameter in one run.

    Attributes
    ----------
    run, procedure, result
        The run, what it did, and how it ended (``cut off`` when the log does not say).
    utc_ns
        When the parameter was first measured in the run.
    found
        The first measurement of the run, before any hand touched a control; None when there was
        none, or when the state is one that the procedure itself makes.
    left
        The last one; None when there was only one.
    adjusted
        A control was turned, or a cable cut, between the two; for whatever point, since one
        control moves several readings.
    limit
        By which `found` was judged; None when it was not.
    verdict
        What was said of what the run left; empty when that was not judged.
    """

    run: int
    procedure: str
    result: str
    utc_ns: int
    found: Value | None
    left: Value | None
    adjusted: bool
    limit: LimitLine | None = None
    verdict: str = ""

    @property
    def last(self) -> Value | None:
        """What the run left behind."""
        return self.left or self.found


History = Mapping[Parameter, Sequence[Visit]]
"""Each parameter's visits, oldest first."""


def printed_unit(quantity: str, unit: str) -> str:
    """Return the unit in which a value is printed; empty for ratios.

    Parameters
    ----------
    unit
        SI; for a quantity that is no reading's but a computed result's.
    """
    if quantity in QUANTITIES:
        return unit_of(quantity)
    return "" if unit == "1" else unit


def day_of(utc_ns: int) -> date:
    """Return the calendar day (UTC) of a moment."""
    # Whole days by integer arithmetic: moments far in the past or future stay exact.
    return date(1970, 1, 1) + timedelta(days=utc_ns // NS_PER_DAY)


def start_of(day: date) -> int:
    """Return the first moment of a day (UTC), ns."""
    moment = datetime(day.year, day.month, day.day, tzinfo=UTC)
    return round(moment.timestamp()) * 1_000_000_000
