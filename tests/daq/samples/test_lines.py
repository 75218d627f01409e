import numpy as np
import pytest

from daq.samples.lines import Lines, Weights, phasors
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


def test_phasors_are_complex_exponentials_about_the_middle() -> None:
    t = (np.arange(1001) - 500.0) / 3000.0
    expected = np.exp(2j * np.pi * np.multiply.outer([90.3, 1020.0], t))
    np.testing.assert_allclose(
        phasors(np.array([90.3, 1020.0]), 1001, 3000.0), expected, atol=1e-11
    )
