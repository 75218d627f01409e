"""Judge a value against a limit, with its uncertainty (JCGM 106:2012).

Simple acceptance (JCGM 106, 8.2): in tolerance when the value lies within the limits, whatever its
uncertainty. Guarded acceptance (8.3.2): the acceptance interval is the tolerance interval less the
expanded uncertainty at each limit; between that and the interval widened by as much, the value
straddles a limit and is too close to call.

A verdict speaks of one value and one limit. It never says that a facility is fit for service.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from enum import StrEnum
from typing import Literal

from daq.errors import InputError

Rule = Literal["simple", "guarded"]


class Verdict(StrEnum):
    """What may be said of one value and one limit."""

    IN_TOLERANCE = "in tolerance"
    OUT_OF_TOLERANCE = "out of tolerance"
    TOO_CLOSE = "too close to call"


@dataclass(frozen=True, slots=True)
class Limit:
    """An interval in which a value has to lie.

    Attributes
    ----------
    low, high
        In `unit`; None where that side is open.
    unit
        SI unit of the value; ``1`` for ratios such as DDM.
    name
        What is limited, in words.
    source
        Document and section.
    status
        How sure the source is: read, from memory, derived, station file.
    """

    low: float | None
    high: float | None
    unit: str = "1"
    name: str = ""
    source: str = ""
    status: str = ""

    def __post_init__(self) -> None:
        if self.low is None and self.high is None:
            raise InputError(f"The limit {self.name!r} has neither a low nor a high end.")
        if any(end is not None and math.isnan(end) for end in (self.low, self.high)):
            raise InputError(f"The limit {self.name!r} has an end that is no number.")
        if self.low is not None and self.high is not None and self.low > self.high:
            raise InputError(
                f"The limit {self.name!r} has its low end {self.low:g} above its high end "
                f"{self.high:g}."
            )


@dataclass(frozen=True, slots=True)
class Result:
    """What was computed from readings and is to be judged.

    Attributes
    ----------
    quantity
        What it is, such as ``alignment``.
    value, u
        In the limit's unit; `u` is the standard uncertainty.
    point
        Where it was found; empty when it is of no single point.
    """

    quantity: str
    value: float
    u: float
    point: str = ""


@dataclass(frozen=True, slots=True)
class Judgement:
    """A value judged.

    Attributes
    ----------
    verdict
        What may be said.
    value, u, k
        The value, its standard uncertainty and the coverage factor.
    limit, rule
        What it was judged against, and how.
    margin
        Distance to the nearest limit in the value's unit; positive = inside.
    margin_u
        The same in standard uncertainties; infinite with the margin's sign when u is zero.
    probability
        Probability that the true value lies within the limits, taking the value as normally
        distributed and nothing else as known (JCGM 106, 7.2).
    """

    verdict: Verdict
    value: float
    u: float
    k: float
    limit: Limit
    rule: Rule
    margin: float
    margin_u: float
    probability: float


def judge(
    value: float, u: float, limit: Limit, rule: Rule = "guarded", k: float = 2.0
) -> Judgement:
    """Judge `value` with standard uncertainty `u` against `limit`.

    Raises
    ------
    InputError
        The value or the uncertainty is no number, or the rule is unknown.
    """
    if not (math.isfinite(value) and math.isfinite(u) and u >= 0.0 and k >= 0.0):
        raise InputError(
            f"A value of {value:g} with an uncertainty of {u:g} (k={k:g}) cannot be judged."
        )
    if rule not in ("simple", "guarded"):
        raise InputError(f"The acceptance rule is simple or guarded, not {rule!r}.")
    ends = []
    if limit.low is not None:
        ends.append(value - limit.low)
    if limit.high is not None:
        ends.append(limit.high - value)
    margin = min(ends)
    return Judgement(
        verdict=_verdict(margin, 0.0 if rule == "simple" else k * u, _width(limit)),
        value=value,
        u=u,
        k=k,
        limit=limit,
        rule=rule,
        margin=margin,
        margin_u=_in_units_of(margin, u),
        probability=_probability_within(value, u, limit),
    )


def _width(limit: Limit) -> float:
    if limit.low is None or limit.high is None:
        return math.inf
    return limit.high - limit.low


def _verdict(margin: float, guard: float, width: float) -> Verdict:
    # Limits and readings are decimal fractions; a value on the limit is within it, and binary
    # rounding of the two must not decide otherwise.
    rounding = 1e-12 * (width if math.isfinite(width) else max(1.0, abs(margin)))
    if margin >= guard - rounding:
        return Verdict.IN_TOLERANCE
    if margin < -guard - rounding:
        return Verdict.OUT_OF_TOLERANCE
    return Verdict.TOO_CLOSE


def _in_units_of(margin: float, u: float) -> float:
    if u > 0.0:
        return margin / u
    return math.copysign(math.inf, margin)


def _probability_within(value: float, u: float, limit: Limit) -> float:
    low = -math.inf if limit.low is None else limit.low
    high = math.inf if limit.high is None else limit.high
    if u == 0.0:
        return 1.0 if low <= value <= high else 0.0
    return _normal_below((high - value) / u) - _normal_below((low - value) / u)


def _normal_below(z: float) -> float:
    return 0.5 * math.erfc(-z / math.sqrt(2.0))
