"""Slow drift: a random walk that is a function of time, so that looking never changes it."""

from __future__ import annotations

import math

import numpy as np


class RandomWalk:
    """A walk with knots at a fixed spacing, straight in between; zero at time zero.

    Parameters
    ----------
    per_root_hour
        Standard deviation after one hour; it grows with the square root of time.
    rng
        Drawn from once a knot, in order, whatever times are asked for.
    """

    _SPACING_S = 10.0

    def __init__(self, per_root_hour: float, rng: np.random.Generator) -> None:
        self._step = per_root_hour * math.sqrt(self._SPACING_S / 3600)
        self._rng = rng
        self._knots = [0.0]

    def at(self, t_s: float) -> float:
        """Return the walk at plant time `t_s`; zero before time zero."""
        if t_s <= 0 or self._step == 0:
            return 0.0
        index, part = divmod(t_s / self._SPACING_S, 1.0)
        while len(self._knots) < index + 2:
            self._knots.append(self._knots[-1] + self._step * self._rng.standard_normal())
        left, right = self._knots[int(index)], self._knots[int(index) + 1]
        return left + part * (right - left)
