"""What every test may use: a clock that it moves itself, and seeded noise."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import settings

from daq.clock import ManualClock

settings.register_profile("steady", derandomize=True, deadline=None, max_examples=60)
settings.load_profile("steady")


@pytest.fixture
def clock() -> ManualClock:
    """A clock that moves only when told."""
    return ManualClock()


@pytest.fixture
def rng() -> np.random.Generator:
    """Noise that is the same in every run."""
    return np.random.default_rng(20260116)
