from dataclasses import replace

import numpy as np
import pytest

from daq.samples.analyze import analyze_samples
from daq.samples.quantise import quantisation_step, repeated_error_variance
from tests.daq.samples.synthetic import Truth, clean, fisher_ddm_u, record

STEP_V = 4.4 / 256.0


def test_the_step_of_a_converter_is_found() -> None:
    v = record(Truth(snr_db=45.0), np.random.default_rng(1))
    assert quantisation_step(np.round(v / STEP_V) * STEP_V) == pytest.approx(STEP_V)
    assert quantisation_step(v) == 0.0


def test_eight_bits_without_noise_state_what_they_are_worth() -> None:
    """The error repeats with the tones; counting samples would understate it sixfold."""
    errors, stated = [], []
    rng = np.random.default_rng(2)
    for _ in range(60):
        truth = Truth(m90=0.18, m150=0.22, p90=rng.uniform(0, 6.28), p150=rng.uniform(0, 6.28))
        ddm = analyze_samples(np.round(clean(truth) / STEP_V) * STEP_V, truth.rate_hz).ddm
        errors.append(ddm.value - truth.ddm)
        stated.append(ddm.u)
    in_u = np.abs(errors) / np.array(stated)
    assert np.count_nonzero(in_u > 2.0) <= 5
    assert np.sqrt(np.mean(in_u**2)) > 0.3


def test_a_long_record_is_worth_no_more_than_a_block_of_it() -> None:
    """Locked tones without noise: every block has the same error, and its mean has it too."""
    truth = Truth(m90=0.18, m150=0.22)
    short, long = (
        analyze_samples(np.round(clean(some) / STEP_V) * STEP_V, truth.rate_hz)
        for some in (replace(truth, duration_s=2.0), replace(truth, duration_s=20.0))
    )
    for name in ("ddm", "sdm", "carrier_v", "depth_90"):
        u = getattr(short, name).u
        assert getattr(long, name).u == pytest.approx(u, rel=0.1)
    assert abs(long.ddm.value - truth.ddm) == pytest.approx(
        abs(short.ddm.value - truth.ddm), rel=0.05
    )


def test_noise_of_a_step_leaves_nothing_to_add() -> None:
    truth = Truth(snr_db=20.0)
    step = truth.sigma / 1.5
    v = record(truth, np.random.default_rng(3))
    u = analyze_samples(np.round(v / step) * step, truth.rate_hz).ddm.u
    assert u == pytest.approx(fisher_ddm_u(truth) * np.sqrt(1.0 + 1.0 / 12.0 / 1.5**2), rel=0.06)


def test_tones_that_slip_make_new_patterns() -> None:
    locked = repeated_error_variance(0.01, 0.0, 0.4, 0.0, (48_000, 48_000.0))
    slipping = repeated_error_variance(0.01, 0.0, 0.4, 0.1, (48_000, 48_000.0))
    assert slipping < locked / 5.0
    assert repeated_error_variance(0.0, 0.0, 0.4, 0.0, (48_000, 48_000.0)) == 0.0


def test_a_float_record_of_clean_tones_is_not_taken_for_a_coarse_one() -> None:
    truth = replace(Truth(), snr_db=80.0)
    u = analyze_samples(record(truth, np.random.default_rng(4)), truth.rate_hz).ddm.u
    assert u == pytest.approx(fisher_ddm_u(truth), rel=0.05)
