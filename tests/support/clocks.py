"""Deadlines on a real clock, with room for a machine that does other things."""

from __future__ import annotations

import time
from collections.abc import Iterator
from contextlib import contextmanager
from typing import Final

SLACK_S: Final = 2.5
"""What a machine may halt or be busy with others in the meantime."""


@contextmanager
def within(limit_s: float) -> Iterator[None]:
    """Fail when the block takes longer than a limit and what a busy machine may add to it."""
    began = time.perf_counter()
    yield
    took_s = time.perf_counter() - began
    assert took_s < limit_s + SLACK_S, f"{took_s:.2f} s instead of {limit_s:g} s"
