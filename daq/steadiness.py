"""Watch a value while a hand is on a control: smoothed value, slope, steadiness, best so far."""

from __future__ import annotations

import math
from collections import deque
from dataclasses import dataclass, field
from typing import Final

import numpy as np

from daq.measurement import Measurement, combine
from daq.reading import Reading

WINDOW: Final = 8
"""Readings that decide about steadiness: about a second with a common receiver."""

SHOWN: Final = 3
"""Readings that are averaged for the number on the screen: less lag than the window."""


@dataclass(frozen=True, slots=True)
class Trend:
    """A straight line through the newest readings.

    Attributes
    ----------
    slope_per_s
        Rate of change, SI unit of the quantity per second.
    change
        What the line moves over the window, same unit as the quantity.
    scatter
        Standard deviation of the readings about the line.
    """

    slope_per_s: float
    change: float
    scatter: float


@dataclass
class Watch:
    """The newest readings of one quantity and what they say.

    Attributes
    ----------
    target
        Wanted value, SI; None when just watching.
    settle
        Change over the window below which the value counts as settled, SI; the noise of the
        readings themselves is allowed for on top.
    """

    target: float | None
    settle: float
    count: int = 0
    best: float | None = None
    first_mono_ns: int = 0
    last_mono_ns: int = 0
    _window: deque[Reading] = field(default_factory=lambda: deque(maxlen=WINDOW))

    def add(self, reading: Reading) -> None:
        """Take one more reading into account; one that is not usable empties the window."""
        self.count += 1
        if self.count == 1:
            self.first_mono_ns = reading.mono_ns
        self.last_mono_ns = reading.mono_ns
        if not reading.usable:
            self._window.clear()
            return
        self._window.append(reading)
        shown = self.shown
        if self.target is not None and (
            self.best is None or abs(shown - self.target) < abs(self.best - self.target)
        ):
            self.best = shown

    @property
    def shown(self) -> float:
        """Mean of the last `SHOWN` usable readings; NaN when there is none."""
        newest = [r.value for r in list(self._window)[-SHOWN:]]
        return math.fsum(newest) / len(newest) if newest else math.nan

    @property
    def elapsed_s(self) -> float:
        """Seconds from the first reading to the newest."""
        return (self.last_mono_ns - self.first_mono_ns) / 1e9

    @property
    def rate_hz(self) -> float:
        """Readings per second so far; 0 before the second one."""
        return (self.count - 1) / self.elapsed_s if self.elapsed_s > 0 else 0.0

    @property
    def trend(self) -> Trend | None:
        """Straight line through the window; None until it is full."""
        if len(self._window) < WINDOW:
            return None
        t = np.array([r.mono_ns - self._window[0].mono_ns for r in self._window]) / 1e9
        v = np.array([r.value for r in self._window])
        span_s = float(t[-1])
        if span_s <= 0:
            return None
        slope, offset = np.polyfit(t, v, 1)
        scatter = float(np.std(v - (slope * t + offset), ddof=2))
        return Trend(slope_per_s=float(slope), change=float(slope) * span_s, scatter=scatter)

    @property
    def steady(self) -> bool:
        """Whether the value has settled.

        The line's change over the window must be within `settle`, or within twice its own
        standard uncertainty (for n evenly spaced readings, s * sqrt(12/n) over the window),
        and the scatter must not hide a swing much larger than `settle`.
        """
        trend = self.trend
        if trend is None:
            return False
        u_change = trend.scatter * math.sqrt(12.0 / WINDOW)
        return abs(trend.change) <= max(self.settle, 2.0 * u_change) and trend.scatter <= max(
            2.0 * self.settle, 0.0
        )

    def measurement(self) -> Measurement:
        """Return the mean of the window.

        Raises
        ------
        AnswerError
            The window holds no usable reading.
        """
        return combine(list(self._window), steady=self.steady)
