"""A bench to try each call on."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest

from daq.clock import ManualClock
from tests.procedures.engine.desk import Desk, desk_at


@pytest.fixture
def desk(tmp_path: Path, clock: ManualClock) -> Iterator[Desk]:
    with desk_at(tmp_path, clock) as made:
        yield made
