"""Records of a detector by an oscilloscope, and means over what several of them say."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from daq.errors import Refused, SamplesError
from daq.log.entry import Body
from daq.reading import Waveform
from daq.roles import Action
from daq.station import Point
from procedures.engine.bench import Bench
from procedures.engine.taking import oscilloscope

if TYPE_CHECKING:
    import numpy as np
    import numpy.typing as npt

    from daq.samples.model import Analysis, Estimate


@dataclass(frozen=True, slots=True)
class Mean:
    """A mean over records and its standard uncertainty."""

    value: float
    u: float


def connect_probe(bench: Bench, key: str, point_name: str) -> Point:
    """Have a probe put on a point, or on the socket that it names, and return the point."""
    point = bench.station.point(point_name)
    channel = f" channel {point.channel}" if point.channel else ""
    place = point.port or point.name
    bench.require(
        f"{key}/connect",
        f"Put the probe of {point.instrument}{channel} on '{place}'.",
        action=Action("connect probe", {"point": place, "channel": point.channel}),
    )
    bench.carried(point)
    return point


def kept(bench: Bench, key: str, what: str, point: Point, live: Callable[[], Body]) -> Body:
    """Return what `live` says of a point, from the journal when it was said before."""
    request = {"do": what, "point": point.name}
    return bench.journal.outcome(key, request, lambda: bench.patiently(key, live))


def take_record(bench: Bench, point: Point) -> Waveform:
    """Take one record.

    Raises
    ------
    Refused
        It leaves the oscilloscope's range.
    """
    scope = oscilloscope(bench.instruments[point.instrument])
    waveform = scope.waveform(point=point.name, channel=point.channel)
    if waveform.clipped:
        raise Refused(
            f"The record of '{point.name}' leaves the range of {waveform.source}.",
            hint="use a profile with more volts for the detectors.",
        )
    return waveform


def analyzed(point: Point, samples_v: npt.NDArray[np.float64], rate_hz: float) -> Analysis:
    """Return what the estimator says of samples; Refused, with its reason, when it cannot."""
    # scipy and the estimator load only where samples are really looked at.
    from daq.samples.analyze import analyze_samples

    try:
        return analyze_samples(samples_v, rate_hz)
    except SamplesError as error:
        raise refusal(point, error) from error


def refusal(point: Point, error: SamplesError) -> Refused:
    """Return why a record of `point` ends the work."""
    return Refused(f"'{point.name}': {error.message}", hint=error.hint)


def mean_of(estimates: Sequence[Estimate]) -> dict[str, float]:
    """Return the mean; its uncertainty is the larger of what records state and what they show.

    What they state is not divided by the root of their number: the rounding of a converter whose
    records lock to the tones is the same in each.
    """
    n = len(estimates)
    value = math.fsum(one.value for one in estimates) / n
    stated = math.sqrt(math.fsum(one.u**2 for one in estimates) / n)
    spread = math.fsum((one.value - value) ** 2 for one in estimates)
    shown = math.sqrt(spread / (n * (n - 1))) if n > 1 else 0.0
    return {"value": value, "u": max(stated, shown)}


def read_mean(body: object) -> Mean:
    """Return a mean that was kept; Refused when it is none."""
    if not isinstance(body, Mapping):
        raise Refused("The journal holds a modulation without its values.")
    return Mean(float(str(body["value"])), float(str(body["u"])))


def read_mean_or_none(body: object) -> Mean | None:
    """Return a mean that was kept, None where there was none."""
    return None if body is None else read_mean(body)
