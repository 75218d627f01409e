import tracemalloc
from pathlib import Path

import numpy as np
import pytest

from daq.errors import SamplesError
from daq.samples.stream import ddm_series
from tests.daq.samples.synthetic import Truth, fisher_ddm_u, record

TRUTH = Truth(rate_hz=8_000.0, duration_s=6.3, m150=0.23)


@pytest.fixture
def path(tmp_path: Path) -> Path:
    np.save(tmp_path / "a.npy", record(TRUTH, np.random.default_rng(1)))
    return tmp_path / "a.npy"


def test_one_row_for_each_block(path: Path) -> None:
    rows = list(ddm_series(path, rate_hz=8_000.0))
    assert [row.t_s for row in rows] == pytest.approx([0.5, 1.5, 2.5, 3.5, 4.5, 5.65])
    bound = fisher_ddm_u(Truth(rate_hz=8_000.0, m150=0.23))
    for row in rows[:-1]:
        assert row.ddm_u == pytest.approx(bound, rel=0.1)
        assert abs(row.ddm - TRUTH.ddm) < 4.0 * row.ddm_u
        assert row.refused == ""


def test_progress_reaches_the_end(path: Path) -> None:
    seen: list[tuple[int, int | None]] = []
    list(ddm_series(path, rate_hz=8_000.0, progress=lambda *at: seen.append(at)))
    assert seen[0] == (8_000, 50_400)
    assert seen[-1] == (50_400, 50_400)


def test_a_block_that_cannot_be_measured_is_a_gap_with_its_reason(tmp_path: Path) -> None:
    v = record(TRUTH, np.random.default_rng(2))
    v[16_000:24_000] = 0.0
    np.save(tmp_path / "a.npy", v)
    rows = list(ddm_series(tmp_path / "a.npy", rate_hz=8_000.0))
    assert "Dead input" in rows[2].refused
    assert np.isnan(rows[2].ddm)
    assert not any(row.refused for row in rows[:2] + rows[3:])


def test_blocks_too_short_are_refused(path: Path) -> None:
    with pytest.raises(SamplesError, match=r"Blocks of 0\.05 s"):
        ddm_series(path, rate_hz=8_000.0, block_s=0.05)


def test_a_file_that_cannot_be_read_is_refused_before_the_first_row(tmp_path: Path) -> None:
    with pytest.raises(SamplesError, match="cannot be read"):
        ddm_series(tmp_path / "no.wav")


def test_memory_does_not_grow_with_the_record(tmp_path: Path) -> None:
    one = record(Truth(rate_hz=8_000.0, duration_s=10.0), np.random.default_rng(3))
    peaks = []
    for repeat in (1, 12):
        np.save(tmp_path / "a.npy", np.tile(one, repeat))
        tracemalloc.start()
        for _ in ddm_series(tmp_path / "a.npy", rate_hz=8_000.0):
            pass
        peaks.append(tracemalloc.get_traced_memory()[1])
        tracemalloc.stop()
    assert peaks[1] < 1.2 * peaks[0] + 100_000
