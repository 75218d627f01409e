"""Each parameter over all runs: drift, steps and their causes, and what needs attention first."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from enum import IntEnum
from types import MappingProxyType
from typing import Final

from daq.log.reader import LogReader
from daq.station import Station
from procedures.history.drift import Drift, Exit, fit_drift, leaves_limits
from procedures.history.model import (
    NS_PER_DAY,
    History,
    LimitLine,
    Parameter,
    Visit,
)
from procedures.history.observations import observe
from procedures.history.references import (
    Difference,
    Reference,
    ReferenceSet,
    all_versions,
    difference,
    in_force,
)
from procedures.history.series import read_history
from procedures.history.steps import levels
from procedures.history.work_done import Deed, near, read_deeds
from procedures.judge import Limit, judge
from procedures.judge import Verdict as Judged

SOON_DAYS: Final = 90
"""A date out of limits within so many days is soon: three monthly visits."""

YEAR_DAYS: Final = 365


class Attention(IntEnum):
    """How much a parameter needs attention; the lowest number first."""

    OUT = 0
    SOON = 1
    APART = 2
    UNEXPLAINED = 3
    COULD_SOON = 4
    WITHIN_A_YEAR = 5
    DRIFTS = 6
    QUIET = 7
    TOO_SHORT = 8


SAID: Final[Mapping[Attention, str]] = MappingProxyType(
    {
        Attention.OUT: "out of limits",
        Attention.SOON: f"leaves its limits within {SOON_DAYS} days",
        Attention.APART: "the newest reading stands apart: read it again",
        Attention.UNEXPLAINED: "a step for which the log has no cause",
        Attention.COULD_SOON: f"could leave its limits within {SOON_DAYS} days",
        Attention.WITHIN_A_YEAR: "leaves its limits within a year",
        Attention.DRIFTS: "drifts",
        Attention.QUIET: "quiet",
        Attention.TOO_SHORT: "too few visits for a trend",
    }
)


@dataclass(frozen=True, slots=True)
class Step:
    """The level changed between two visits.

    Attributes
    ----------
    after_utc_ns, seen_utc_ns
        The last reading before it and the first one after it.
    size, half_width
        SI, with half of its 95 per cent interval.
    deeds
        What the log has between the two, the most telling first; see
        `procedures.history.work_done`.
    """

    after_utc_ns: int
    seen_utc_ns: int
    size: float
    half_width: float
    deeds: tuple[Deed, ...]


@dataclass(frozen=True, slots=True)
class Trend:
    """One parameter over the years.

    Attributes
    ----------
    visits
        Oldest first; those with an as-found value are what is fitted.
    limit
        The newest that it was judged by, else the station file's target; None without either.
    difference
        What the last visit left, less the reference value in force on the day the trend was made;
        None without either.
    reference
        That reference value.
    differences
        What each visit left, less the reference in force then; None without one.
    drift, leaves
        None when the history is too short, or there is no limit; there is also no day of leaving
        what was left already.
    outliers
        Visits, by index, whose as-found value stands apart.
    attention
        How much it needs attention, on the day the trend was made.
    """

    parameter: Parameter
    visits: tuple[Visit, ...]
    limit: LimitLine | None
    reference: Reference | None
    difference: Difference | None
    differences: tuple[Difference | None, ...]
    drift: Drift | None
    leaves: Exit | None
    steps: tuple[Step, ...]
    outliers: tuple[int, ...]
    attention: Attention

    @property
    def newest(self) -> Visit:
        """The last visit."""
        return self.visits[-1]


def make_trends(
    reader: LogReader,
    station: Station,
    now_utc_ns: int,
    *,
    before_utc_ns: int | None = None,
) -> tuple[Trend, ...]:
    """Return the trend of every parameter that was ever found, most urgent first.

    Parameters
    ----------
    station
        Gives the target of a point that was never judged as found.
    now_utc_ns
        The day from which dates are foretold.
    before_utc_ns
        Only runs begun before it; all when None.

    Raises
    ------
    LogDamaged
        A row is not what this program writes.
    """
    history = read_history(reader, before_utc_ns=before_utc_ns)
    deeds = read_deeds(reader)
    versions = all_versions(reader)
    trends = [
        _trend(parameter, tuple(visits), station, deeds, versions, now_utc_ns)
        for parameter, visits in followed(history).items()
    ]
    return tuple(sorted(trends, key=_urgency))


def followed(history: History) -> History:
    """Return the parameters that have an as-found value: a state that is made has none."""
    return {
        parameter: visits
        for parameter, visits in history.items()
        if any(visit.found is not None for visit in visits)
    }


def limit_of(parameter: Parameter, visits: Sequence[Visit], station: Station) -> LimitLine | None:
    """Return the limit of a parameter: as judged last, else the station file's target."""
    for visit in reversed(visits):
        if visit.limit is not None:
            return visit.limit
    for point in station.points:
        if point.name != parameter.point or parameter.state:
            continue
        if point.target is not None and point.adjust_to is not None:
            ends = (point.target - point.adjust_to, point.target + point.adjust_to)
            return LimitLine(*ends, "station file, target of the point", "station file")
    return None


def _trend(
    parameter: Parameter,
    visits: tuple[Visit, ...],
    station: Station,
    deeds: tuple[Deed, ...],
    versions: tuple[ReferenceSet, ...],
    now_utc_ns: int,
) -> Trend:
    limit = limit_of(parameter, visits, station)
    seen = observe(visits)
    drift = fit_drift(seen)
    leaves = None
    # What is out has left its limits: a day on which it will would contradict that.
    if drift is not None and limit is not None and not _is_out(visits[-1], limit):
        leaves = leaves_limits(drift, limit.low, limit.high, now_utc_ns)
    steps = () if drift is None else _steps(drift, visits, parameter, deeds)
    standing, last = in_force(versions, now_utc_ns), visits[-1].last
    return Trend(
        parameter=parameter,
        visits=visits,
        limit=limit,
        reference=None if standing is None else standing.of(parameter),
        difference=None if standing is None or last is None else standing.less(parameter, last),
        differences=tuple(
            None if visit.last is None else difference(versions, parameter, visit.last)
            for visit in visits
        ),
        drift=drift,
        leaves=leaves,
        steps=steps,
        outliers=seen.outliers,
        attention=_attention(visits, limit, drift, leaves, steps, seen.outliers, now_utc_ns),
    )


def _steps(
    drift: Drift, visits: tuple[Visit, ...], parameter: Parameter, deeds: tuple[Deed, ...]
) -> tuple[Step, ...]:
    seen = drift.seen
    level = levels(seen, drift.steps)
    reach = drift.fitted.quantile()
    found = []
    for k in drift.steps:
        new, old = int(level[k]), int(level[k - 1])
        cov, beta = drift.fitted.cov, drift.fitted.beta
        variance = cov[new, new] + cov[old, old] - 2.0 * cov[new, old]
        before, after = visits[int(seen.visit[k - 1])], visits[int(seen.visit[k])]
        begin = (before.last if before.adjusted else before.found) or before.last
        begin_ns = before.utc_ns if begin is None else begin.utc_ns
        own = frozenset({before.run, after.run})
        found.append(
            Step(
                after_utc_ns=begin_ns,
                seen_utc_ns=after.utc_ns,
                size=float(beta[new] - beta[old]),
                half_width=reach * math.sqrt(max(float(variance), 0.0)),
                deeds=near(deeds, begin_ns, after.utc_ns, parameter.point, own_runs=own),
            )
        )
    return tuple(found)


def _attention(
    visits: tuple[Visit, ...],
    limit: LimitLine | None,
    drift: Drift | None,
    leaves: Exit | None,
    steps: tuple[Step, ...],
    outliers: tuple[int, ...],
    now_utc_ns: int,
) -> Attention:
    newest = len(visits) - 1
    soon, year = (now_utc_ns + days * NS_PER_DAY for days in (SOON_DAYS, YEAR_DAYS))
    meets = None if leaves is None else leaves.utc_ns
    could = None if leaves is None else leaves.earliest_utc_ns
    unexplained = any(
        not step.deeds and step.seen_utc_ns > now_utc_ns - YEAR_DAYS * NS_PER_DAY for step in steps
    )
    reasons = (
        (Attention.OUT, _is_out(visits[-1], limit)),
        (Attention.SOON, meets is not None and meets <= soon),
        (Attention.APART, newest in outliers),
        (Attention.UNEXPLAINED, unexplained),
        (Attention.COULD_SOON, could is not None and could <= soon),
        (Attention.WITHIN_A_YEAR, meets is not None and meets <= year),
        (Attention.DRIFTS, drift is not None and drift.significant),
        (Attention.QUIET, drift is not None),
    )
    return next((reason for reason, holds in reasons if holds), Attention.TOO_SHORT)


def _is_out(visit: Visit, limit: LimitLine | None) -> bool:
    """Whether what was left lies outside, by simple acceptance: a guard band is for verdicts."""
    last = visit.last
    if last is None or limit is None or (limit.low is None and limit.high is None):
        return False
    judged = judge(last.value, last.u, Limit(limit.low, limit.high), rule="simple")
    return judged.verdict is Judged.OUT_OF_TOLERANCE


def _urgency(trend: Trend) -> tuple[int, float, str]:
    meets = None if trend.leaves is None else trend.leaves.utc_ns
    return (int(trend.attention), math.inf if meets is None else meets, trend.parameter.name)
