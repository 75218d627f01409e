from dataclasses import replace

import numpy as np
import pytest

from daq.errors import SamplesError
from daq.samples.analyze import analyze_samples
from daq.samples.screen import check_clipping, check_samples, extremes
from tests.daq.samples.synthetic import Truth, clean, record

TRUTH = Truth(duration_s=0.5)
RATE_HZ = TRUTH.rate_hz


@pytest.fixture
def v() -> np.ndarray:
    return record(TRUTH, np.random.default_rng(5))


def test_a_good_record_passes(v: np.ndarray) -> None:
    check_samples(v, RATE_HZ)


def test_empty() -> None:
    with pytest.raises(SamplesError, match="empty"):
        analyze_samples([], RATE_HZ)


def test_too_short_says_how_long_it_is(v: np.ndarray) -> None:
    with pytest.raises(SamplesError, match=r"too short: 50 ms .* at least 100 ms"):
        analyze_samples(v[:2400], RATE_HZ)


@pytest.mark.parametrize("bad", [np.nan, np.inf, -np.inf])
def test_a_sample_that_is_no_number_is_named(v: np.ndarray, bad: float) -> None:
    v[777] = bad
    with pytest.raises(SamplesError, match=r"1 of 24000 samples are not numbers.* sample 777"):
        analyze_samples(v, RATE_HZ)


@pytest.mark.parametrize("rate_hz", [2000.0, 0.0, -48_000.0, np.nan])
def test_a_rate_that_cannot_be(v: np.ndarray, rate_hz: float) -> None:
    with pytest.raises(SamplesError, match=r"[Ss]ample rate"):
        analyze_samples(v, rate_hz)


def test_dead_input() -> None:
    with pytest.raises(SamplesError, match=r"Dead input: every sample is 0\.25"):
        analyze_samples(np.full(24_000, 0.25), RATE_HZ)


def test_an_input_that_freezes_on_the_way(v: np.ndarray) -> None:
    v[10_000:12_000] = v[10_000]
    with pytest.raises(SamplesError, match=r"Frozen input: from 0\.2"):
        analyze_samples(v, RATE_HZ)


@pytest.mark.parametrize("sign", [1.0, -1.0])
def test_clipped_at_either_end(v: np.ndarray, sign: float) -> None:
    limit = TRUTH.c0 * 1.3
    with pytest.raises(
        SamplesError, match="Clipped: .* highest" if sign > 0 else "Clipped: .* low"
    ):
        analyze_samples(sign * np.minimum(v, limit), RATE_HZ)


def not_clipped(v: np.ndarray) -> None:
    check_clipping(v, extremes(v))


def test_clipping_is_found_in_noiseless_and_in_coarsely_quantised_records() -> None:
    smooth = clean(TRUTH)
    for step in (0.0, 0.02):
        cut = np.minimum(smooth, 2.6)
        with pytest.raises(SamplesError, match="Clipped"):
            not_clipped(cut if step == 0.0 else np.round(cut / step) * step)


@pytest.mark.parametrize("bits", [8, 12, 16])
def test_the_flat_tops_of_quantisation_are_not_clipping(bits: int) -> None:
    step = 4.0 / 2**bits
    for m in (0.05, 0.2):
        smooth = clean(replace(TRUTH, m90=m, m150=m))
        not_clipped(np.round(smooth / step) * step)


def test_the_equal_peaks_of_a_computed_record_are_not_clipping() -> None:
    not_clipped(clean(Truth(rate_hz=24_000.0, duration_s=0.4, m90=0.0625, m150=0.25, p90=2.0)))
    not_clipped(np.tile(clean(Truth(duration_s=1.0 / 30.0)), 30))


@pytest.mark.parametrize("scale", [1e-200, 1e200])
def test_levels_that_no_detector_gives(v: np.ndarray, scale: float) -> None:
    with pytest.raises(SamplesError, match="which no detector gives"):
        analyze_samples(v * scale, RATE_HZ)


def test_ac_coupled() -> None:
    v = record(TRUTH, np.random.default_rng(6))
    with pytest.raises(SamplesError, match=r"No DC component.*DC coupling"):
        analyze_samples(v - v.mean(), RATE_HZ)


def test_tones_absent() -> None:
    noise = 1.0 + 0.01 * np.random.default_rng(7).standard_normal(24_000)
    with pytest.raises(SamplesError, match="No tones"):
        analyze_samples(noise, RATE_HZ)


def test_every_refusal_says_what_to_do(v: np.ndarray) -> None:
    for bad in (v[:100], v - v.mean(), np.minimum(v, 2.5), np.zeros(24_000)):
        with pytest.raises(SamplesError) as caught:
            analyze_samples(bad, RATE_HZ)
        assert caught.value.hint


@pytest.mark.parametrize("bad", [np.zeros((10, 2)), np.array(["1", "2"]), np.array([True, False])])
def test_what_is_not_a_row_of_numbers(bad: np.ndarray) -> None:
    with pytest.raises(SamplesError, match="One row of numbers"):
        analyze_samples(bad, RATE_HZ)
