"""A tone that is not there, beside hum that is.

The third harmonic of 50 Hz mains is 150 Hz: no record tells it from a tone by itself.
"""

from dataclasses import replace

import numpy as np
import pytest

from daq.errors import SamplesError
from daq.samples.analyze import analyze_samples
from tests.daq.samples.synthetic import Truth, random_truth, record

SHORT = Truth(rate_hz=8_000.0, duration_s=0.22, f90=89.6, f150=150.4, snr_db=45.0)


def analyzed(truth: Truth, seed: int = 1):
    return analyze_samples(record(truth, np.random.default_rng(seed)), truth.rate_hz)


@pytest.mark.parametrize("seed", range(6))
def test_hum_at_100_hz_is_not_read_as_the_90_hz_tone(seed: int) -> None:
    phase = float(seed)
    truth = replace(SHORT, m90=0.0, extra=((0.004, 50.0, 0.2), (0.006, 100.0, phase)))
    with pytest.raises(SamplesError, match=r"90 Hz tone is absent: .* at (99|100)\.\d\d Hz"):
        analyzed(truth, seed)


def test_hum_at_120_hz_is_not_read_as_the_150_hz_tone() -> None:
    truth = replace(SHORT, duration_s=0.11, m150=0.0, extra=((0.02, 119.9, 2.0),))
    with pytest.raises(SamplesError, match=r"150 Hz tone is absent: .* at 1(19|20)\.\d\d Hz"):
        analyzed(truth)


@pytest.mark.parametrize("fundamental", [0.02, 0.0])
def test_a_dead_station_with_hum_at_150_hz_has_no_tones(fundamental: float) -> None:
    hum = ((fundamental, 49.97, 0.2), (0.006, 149.91, 1.0))
    truth = replace(SHORT, duration_s=0.5, m90=0.0, m150=0.0, extra=hum)
    with pytest.raises(SamplesError, match=r"No tones: 90 Hz does not .* third harmonic"):
        analyzed(truth)


DOUBTFUL = replace(SHORT, duration_s=0.5, m150=0.004, f150=149.91, hum=0.008, f_hum=49.97)


def test_a_150_hz_tone_that_may_be_hum_is_said_to_be() -> None:
    assert any("may be the third harmonic of 50 Hz mains" in w for w in analyzed(DOUBTFUL).warnings)


@pytest.mark.parametrize(
    "truth",
    [
        replace(DOUBTFUL, m150=0.2),
        replace(DOUBTFUL, f150=151.2),
        replace(DOUBTFUL, f_hum=59.97),
        replace(DOUBTFUL, f_hum=50.3),
    ],
)
def test_a_150_hz_tone_that_cannot_be_hum_is_not_suspected(truth: Truth) -> None:
    """Far deeper than any hum, elsewhere, or beside mains of which it is no multiple."""
    assert not any("third harmonic" in w for w in analyzed(truth).warnings)


def test_either_tone_alone_is_measured_with_the_other_at_nothing() -> None:
    for m90, m150 in ((0.2, 0.0), (0.0, 0.2)):
        a = analyzed(replace(SHORT, m90=m90, m150=m150))
        assert a.ddm.value == pytest.approx(m150 - m90, abs=5.0 * a.ddm.u)
        assert any("does not stand out of the noise" in w for w in a.warnings)


def test_good_records_with_hum_are_never_refused() -> None:
    rng = np.random.default_rng(98)
    for _ in range(150):
        truth = replace(random_truth(rng), duration_s=rng.uniform(0.1, 0.5))
        hum = ((rng.uniform(0.0, 0.02), 100.0, 1.0), (rng.uniform(0.0, 0.01), 150.0, 2.0))
        analyze_samples(record(replace(truth, extra=hum), rng), truth.rate_hz)
