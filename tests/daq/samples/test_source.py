import numpy as np
import pytest

from daq.samples.source import ArraySource, as_samples, blocks


@pytest.mark.parametrize(
    ("samples", "sizes"),
    [(1000, [500, 500]), (1200, [500, 700]), (1300, [500, 500, 300]), (100, [100]), (0, [])],
)
def test_a_short_last_piece_joins_the_block_before(samples: int, sizes: list[int]) -> None:
    source = ArraySource(np.arange(samples), 1000.0)
    parts = list(blocks(source, 0.5))
    assert [len(part) for _, part in parts] == sizes
    assert [place for place, _ in parts] == list(np.cumsum([0, *sizes])[: len(sizes)])
    if parts:
        np.testing.assert_array_equal(np.concatenate([part for _, part in parts]), range(samples))


def test_two_columns_are_i_and_q() -> None:
    pair = np.array([[1, 2], [3, -4]], dtype=np.int16)
    np.testing.assert_array_equal(as_samples(pair), [1 + 2j, 3 - 4j])


def test_integers_become_floating_point() -> None:
    assert as_samples(np.array([1, 2], dtype=np.int16)).dtype == np.float64
