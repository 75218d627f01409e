"""A trend in words and as data: what the table prints, and what a program gets."""

from __future__ import annotations

from typing import Final

from daq.clock import iso_utc
from procedures.history.drift import COVERAGE, HORIZON_YR, Exit
from procedures.history.model import Parameter, Value, Visit, day_of
from procedures.history.references import Difference
from procedures.history.trend import SAID, Step, Trend
from procedures.record.figures import COVERAGE as PRINTED_K
from procedures.record.figures import interval, plain, with_uncertainty

MOST_CAUSES: Final = 3
"""Causes said of one step; the log has the rest."""

EXPLANATION: Final = (
    f"drift: interval of {100 * COVERAGE:.0f} per cent by generalised least squares with "
    "autocorrelated noise; adjustments, steps and outliers (Hampel identifier) are taken out, a "
    "season is fitted where the values show one",
    "intervals are of what the instruments read on average; an instrument's own error is not in "
    "them",
    f"dates beyond {HORIZON_YR:g} years are not foretold",
)


def expanded(parameter: Parameter, value: float, half_width: float) -> str:
    """Return ``-0.00120 ± 0.00031``, with the half width of a 95 per cent interval, and unit."""
    words = with_uncertainty(parameter.quantity, value, half_width / PRINTED_K)
    return f"{words} {parameter.printed_unit}".strip()


def newest_words(trend: Trend) -> str:
    """Return what the last visit left, with its uncertainty and unit."""
    last = trend.newest.last
    return "none" if last is None else expanded(trend.parameter, last.value, PRINTED_K * last.u)


def limit_words(trend: Trend) -> str:
    """Return the limit: ``0.154 to 0.156``."""
    if trend.limit is None:
        return "none"
    words = interval(trend.parameter.quantity, trend.limit.low, trend.limit.high)
    return f"{words} {trend.parameter.printed_unit}".strip()


def difference_words(trend: Trend) -> str:
    """Return the difference from the reference in force; empty without one."""
    if trend.difference is None:
        return ""
    return expanded(trend.parameter, trend.difference.value, PRINTED_K * trend.difference.u)


def drift_words(trend: Trend) -> str:
    """Return the drift a year; empty when there is no fit."""
    if trend.drift is None:
        return ""
    return expanded(trend.parameter, trend.drift.per_year, trend.drift.half_width)


def leaves_words(leaves: Exit | None) -> str:
    """Return when the limits are left: ``2031-04-02 (2030-11-20 to 2031-12-01)``."""
    if leaves is None:
        return ""
    far = f"not within {HORIZON_YR:g} years"
    if leaves.utc_ns is None and leaves.earliest_utc_ns is None:
        return far
    if (
        leaves.utc_ns is not None
        and leaves.earliest_utc_ns == leaves.utc_ns == leaves.latest_utc_ns
    ):
        return "the fitted line is outside already"
    meets = far if leaves.utc_ns is None else day_of(leaves.utc_ns).isoformat()
    early, late = (
        "later" if moment is None else day_of(moment).isoformat()
        for moment in (leaves.earliest_utc_ns, leaves.latest_utc_ns)
    )
    return f"{meets} ({early} to {late})"


def step_words(step: Step, parameter: Parameter) -> str:
    """Return a step and what may explain it."""
    begin, seen = day_of(step.after_utc_ns), day_of(step.seen_utc_ns)
    size = expanded(parameter, step.size, step.half_width)
    causes = [f"run {d.run}: {d.what}" for d in step.deeds[:MOST_CAUSES]]
    more = len(step.deeds) - len(causes)
    why = "; ".join(causes) + (f"; and {more} more" if more > 0 else "")
    nothing = f"the log has nothing between {begin} and {seen}: look outside it"
    return f"step of {size}, first seen {seen}, not yet {begin}; {why or nothing}"


def season_words(trend: Trend) -> str:
    """Return the season in words; empty without one."""
    season = None if trend.drift is None else trend.drift.season
    if season is None:
        return ""
    swing = plain(trend.parameter.quantity, float(f"{season.amplitude:.2g}"))
    swing = f"{swing} {trend.parameter.printed_unit}".strip()
    return f"season of ± {swing}, highest about day {season.peak_day} of the year"


def remarks(trend: Trend) -> list[str]:
    """Return everything worth a line of its own about a trend."""
    words = [step_words(step, trend.parameter) for step in trend.steps]
    if season := season_words(trend):
        words.append(season)
    if trend.outliers:
        days = ", ".join(day_of(trend.visits[i].utc_ns).isoformat() for i in trend.outliers)
        words.append(f"left out as standing apart: {days}")
    return words


def visit_rows(trend: Trend) -> list[list[str]]:
    """Return a line a visit, oldest first: day, run, as found, as left, less the reference."""
    quantity = trend.parameter.quantity
    apart = set(trend.outliers)

    def said(value: Value | Difference | None) -> str:
        return "" if value is None else with_uncertainty(quantity, value.value, value.u)

    return [
        [
            day_of(visit.utc_ns).isoformat(),
            str(visit.run),
            said(visit.found),
            said(visit.left),
            said(less),
            "stands apart" if index in apart else "adjusted" * visit.adjusted,
        ]
        for index, (visit, less) in enumerate(zip(trend.visits, trend.differences, strict=True))
    ]


def as_data(trend: Trend, *, with_visits: bool = False) -> dict[str, object]:
    """Return a trend as JSON can hold it: SI, times as ISO 8601 UTC."""
    parameter, drift, limit, last = trend.parameter, trend.drift, trend.limit, trend.newest.last
    data: dict[str, object] = {
        "parameter": parameter.name,
        "point": parameter.point,
        "quantity": parameter.quantity,
        "state": parameter.state,
        "unit": parameter.unit,
        "attention": SAID[trend.attention],
        "visits": len(trend.visits),
        "newest": None if last is None else {"value": last.value, "u": last.u},
        "newest_time": iso_utc(trend.newest.utc_ns),
        "limit": None
        if limit is None
        else {
            "low": limit.low,
            "high": limit.high,
            "source": limit.source,
            "status": limit.status,
        },
        "reference": None if trend.reference is None else trend.reference.value,
        "reference_version": None if trend.difference is None else trend.difference.version,
        "difference": None
        if trend.difference is None
        else {
            "value": trend.difference.value,
            "u": trend.difference.u,
            "version": trend.difference.version,
        },
        "drift_per_year": None if drift is None else drift.per_year,
        "drift_half_width": None if drift is None else drift.half_width,
        "drift_significant": None if drift is None else drift.significant,
        "season": None
        if drift is None or drift.season is None
        else {"amplitude": drift.season.amplitude, "peak_day": drift.season.peak_day},
        "leaves_limits": _exit_data(trend.leaves),
        "steps": [_step_data(step) for step in trend.steps],
        "outliers": [iso_utc(trend.visits[i].utc_ns) for i in trend.outliers],
    }
    if with_visits:
        data["history"] = [
            _visit_data(visit, less)
            for visit, less in zip(trend.visits, trend.differences, strict=True)
        ]
    return data


def _exit_data(leaves: Exit | None) -> dict[str, object] | None:
    if leaves is None:
        return None
    return {
        "side": leaves.side,
        "time": _iso(leaves.utc_ns),
        "earliest": _iso(leaves.earliest_utc_ns),
        "latest": _iso(leaves.latest_utc_ns),
    }


def _step_data(step: Step) -> dict[str, object]:
    return {
        "after": iso_utc(step.after_utc_ns),
        "seen": iso_utc(step.seen_utc_ns),
        "size": step.size,
        "half_width": step.half_width,
        "causes": [
            {"time": iso_utc(d.utc_ns), "run": d.run, "kind": d.kind, "what": d.what}
            for d in step.deeds
        ],
    }


def _visit_data(visit: Visit, less: Difference | None) -> dict[str, object]:
    return {
        "run": visit.run,
        "time": iso_utc(visit.utc_ns),
        "found": None if visit.found is None else visit.found.value,
        "left": None if visit.left is None else visit.left.value,
        "adjusted": visit.adjusted,
        "difference": None if less is None else less.value,
        "reference_version": None if less is None else less.version,
    }


def _iso(utc_ns: int | None) -> str | None:
    return None if utc_ns is None else iso_utc(utc_ns)
