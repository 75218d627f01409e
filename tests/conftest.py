"""What every test may use: a clock that it moves itself, and seeded noise."""

from __future__ import annotations

import gc
import signal
from collections.abc import Iterator

import numpy as np
import pytest
from hypothesis import settings

from daq.clock import ManualClock

# A test run that was started in the background ignores these, and every program that a test
# starts would inherit that; the tests of Ctrl-C and of a lost terminal need the usual answer.
for _number, _handler in (
    (signal.SIGINT, signal.default_int_handler),
    (signal.SIGHUP, signal.SIG_DFL),
):
    if signal.getsignal(_number) is signal.SIG_IGN:
        signal.signal(_number, _handler)

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


@pytest.fixture(autouse=True)
def forgotten_sockets(request: pytest.FixtureRequest) -> Iterator[None]:
    """Let what a library forgot be collected in the test that says so, and not in a later one."""
    yield
    marks = request.node.iter_markers("filterwarnings")
    if any("unclosed <socket" in str(words) for mark in marks for words in mark.args):
        gc.collect()
