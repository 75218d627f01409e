"""From the accuracy line of a data sheet to a standard uncertainty."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Final, Literal

from pydantic import BaseModel, ConfigDict, Field

_DIVISORS: Final = {"rectangular": math.sqrt(3.0), "k=2": 2.0, "k=1": 1.0}


class Accuracy(BaseModel):
    """One line of a specification: ``± (percent of reading + digits + floor)``.

    Attributes
    ----------
    up_to
        The line holds for magnitudes up to this, in the answer's unit; None for all above too.
    percent
        Per cent of the reading.
    digits, resolution
        So many steps of the last place, and the size of one step in the answer's unit.
    floor
        Constant part, in the answer's unit.
    coverage
        What the limits mean: ``rectangular`` for limits of error without a probability
        (JCGM 100:2008 4.3.7, divided by the root of three), ``k=2`` for limits at about 95 per
        cent, ``k=1`` for a standard uncertainty.
    """

    model_config = ConfigDict(frozen=True, extra="forbid")

    up_to: float | None = Field(default=None, gt=0, allow_inf_nan=False)
    percent: float = Field(default=0.0, ge=0, allow_inf_nan=False)
    digits: float = Field(default=0.0, ge=0, allow_inf_nan=False)
    resolution: float = Field(default=0.0, ge=0, allow_inf_nan=False)
    floor: float = Field(default=0.0, ge=0, allow_inf_nan=False)
    coverage: Literal["rectangular", "k=2", "k=1"]

    def u(self, value: float) -> float:
        """Return the standard uncertainty of `value`, both in the answer's unit."""
        limit = self.percent / 100.0 * abs(value) + self.digits * self.resolution + self.floor
        return limit / _DIVISORS[self.coverage]


def standard_uncertainty(lines: Sequence[Accuracy], value: float) -> float:
    """Return the standard uncertainty of `value` by the first line that covers it.

    Parameters
    ----------
    lines
        Ascending in `Accuracy.up_to`, the last one without; at least one.
    value
        In the answer's unit; NaN gives NaN.
    """
    for line in lines[:-1]:
        if line.up_to is not None and abs(value) <= line.up_to:
            return line.u(value)
    return lines[-1].u(value)
