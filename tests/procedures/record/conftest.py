"""A log to write a run into."""

from collections.abc import Iterator
from pathlib import Path

import pytest

from tests.procedures.record.run_log import RunLog


@pytest.fixture
def log(tmp_path: Path) -> Iterator[RunLog]:
    with RunLog(tmp_path / "tarnholt-16.tblog") as run_log:
        yield run_log
