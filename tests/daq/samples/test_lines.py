import numpy as np
import pytest

from daq.samples.lines import Lines, Weights, grid
from daq.samples.lowpass import Baseband, Floats, to_baseband
from tests.daq.samples.synthetic import Truth, record

HZ = np.array([90.3, 149.2, 1021.7])
GATED = np.array([False, False, True])


def band() -> Baseband:
    truth = Truth(duration_s=0.4)
    return to_baseband(record(truth, np.random.default_rng(1)), truth.rate_hz)


def weights(rows: int) -> Weights:
    keep, gate = np.ones(rows), np.ones(rows)
    keep[20:24] = 0.0
    gate[20:50] = 0.0
    return Weights(keep=keep, gate=gate)


def plain(some: Baseband, on: Weights | None) -> tuple[Floats, Floats]:
    """Return the design matrix, column by column as the textbook has it, and the time axis."""
    t = (np.arange(len(some.v)) - (len(some.v) - 1) / 2.0) / some.rate_hz
    turn = 2.0 * np.pi * np.multiply.outer(HZ, t)
    design = np.vstack([np.ones_like(t), np.cos(turn), np.sin(turn)])
    if on is not None:
        design *= np.repeat(on.keep, some.piece)
        design[[3, 6]] *= np.repeat(on.gate, some.piece)
    return np.asarray(design), np.asarray(t)


@pytest.mark.parametrize("weighted", [False, True])
def test_sums_are_those_of_the_design_matrix_that_is_never_built(weighted: bool) -> None:
    some = band()
    on = weights(len(some.v) // some.piece) if weighted else None
    design, t = plain(some, on)
    lines = Lines(some, HZ, on, GATED)
    for p, (gram, known) in enumerate(zip(lines.gram(), lines.project(), strict=False)):
        np.testing.assert_allclose(gram, (design * t**p) @ design.T, atol=1e-9)
        np.testing.assert_allclose(known, (design * t**p) @ some.v, atol=1e-9)
    np.testing.assert_allclose(lines.gram()[2], (design * t**2) @ design.T, atol=1e-9)


@pytest.mark.parametrize("weighted", [False, True])
def test_the_residual_is_what_the_amplitudes_leave(weighted: bool) -> None:
    some = band()
    on = weights(len(some.v) // some.piece) if weighted else None
    design, t = plain(some, on)
    linear, shift_hz = (
        np.array([2.0, 0.1, 0.3, 0.05, -0.2, 0.1, 0.02]),
        np.array([0.01, 0.0, -0.02]),
    )
    a, b = np.hsplit(linear[1:], 2)
    slope = np.concatenate([[0.0], shift_hz * b, -shift_hz * a])
    y = some.v if on is None else some.v * np.repeat(on.keep, some.piece)
    expected = y - linear @ design - 2.0 * np.pi * t * (slope @ design)
    lines = Lines(some, HZ, on, GATED)
    np.testing.assert_allclose(lines.residual(linear, shift_hz), expected, atol=1e-10)


def test_many_lines_on_a_long_record_are_summed_in_pieces() -> None:
    truth = Truth(duration_s=2.9)
    some = to_baseband(record(truth, np.random.default_rng(3)), truth.rate_hz)
    hz = np.linspace(47.0, 1100.0, 14)
    t = (np.arange(len(some.v)) - (len(some.v) - 1) / 2.0) / some.rate_hz
    turn = 2.0 * np.pi * np.multiply.outer(hz, t)
    design = np.vstack([np.ones_like(t), np.cos(turn), np.sin(turn)])
    lines, linear = Lines(some, hz), np.linspace(-1.0, 1.0, 29)
    np.testing.assert_allclose(lines.gram()[0], design @ design.T, atol=1e-8)
    np.testing.assert_allclose(lines.project()[0], design @ some.v, atol=1e-8)
    residual = lines.residual(linear, np.zeros(14))
    np.testing.assert_allclose(residual, some.v - linear @ design, atol=1e-9)


def test_phasors_are_complex_exponentials_about_the_middle() -> None:
    """The record's is that of its rows times that of the places in a row."""
    rows, piece, rate_hz = 67, 15, 3000.0
    t = (np.arange(rows * piece) - (rows * piece - 1) / 2.0) / rate_hz
    hz = np.array([90.3, 1020.0])
    outer, inner = grid(rows, piece, rate_hz).phasors(hz)
    expected = np.exp(2j * np.pi * np.multiply.outer(t, hz))
    both = (outer[:, np.newaxis] * inner).reshape(-1, 2)
    np.testing.assert_allclose(both, expected, atol=1e-11)
