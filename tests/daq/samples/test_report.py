import re
from dataclasses import replace

import numpy as np
import pytest

from daq.samples.analyze import analyze_samples
from daq.samples.model import Estimate
from tests.daq.samples.synthetic import Truth, clean, record

RNG_SEED = 8


def agrees(estimate: Estimate | None, truth: float, k: float = 4.0) -> bool:
    return estimate is not None and abs(estimate.value - truth) < k * estimate.u


def test_everything_in_a_rich_record_comes_back_within_its_uncertainty() -> None:
    truth = Truth(
        m90=0.18,
        m150=0.23,
        f90=90.0,
        f150=150.0,
        p90=0.0,
        p150=np.radians(25.0),
        ident=0.08,
        f_ident=1021.0,
        hum=0.004,
        f_hum=50.02,
        extra=((0.006, 180.0, 0.1), (0.008, 270.0, 1.0), (0.005, 300.0, 2.0)),
    )
    a = analyze_samples(record(truth, np.random.default_rng(RNG_SEED)), truth.rate_hz)
    assert agrees(a.ddm, 0.05)
    assert agrees(a.sdm, 0.41)
    assert agrees(a.depth_90, 0.18)
    assert agrees(a.depth_150, 0.23)
    assert agrees(a.tone_90_hz, 90.0)
    assert agrees(a.tone_150_hz, 150.0)
    assert agrees(a.carrier_v, 2.0)
    assert agrees(a.noise_v, truth.sigma)
    assert agrees(a.ident_depth, 0.08)
    assert agrees(a.ident_hz, 1021.0)
    assert agrees(a.hum_depth, 0.004)
    assert agrees(a.hum_hz, 50.02)
    assert agrees(a.harmonics_90, 0.01 / 0.18)
    assert agrees(a.harmonics_150, 0.005 / 0.23)
    assert agrees(a.tone_phase_deg, 25.0)


@pytest.mark.parametrize("turns", range(-3, 4))
def test_tone_phase_is_the_150_hz_phase_where_90_hz_rises_through_zero(turns: int) -> None:
    """Starting at any of the 90 Hz tone's zeros gives the same phase modulo 120 degrees."""
    lag_s = turns / 90.0
    truth = Truth(p90=0.0, p150=np.radians(-40.0))
    v = clean(truth, truth.t + lag_s)
    a = analyze_samples(v, truth.rate_hz)
    assert a.tone_phase_deg.value == pytest.approx(-40.0, abs=1e-3)


def test_a_detector_of_negative_polarity_reads_the_same() -> None:
    truth = Truth(m90=0.15, p90=0.4)
    v = record(truth, np.random.default_rng(9))
    up, down = analyze_samples(v, truth.rate_hz), analyze_samples(-v, truth.rate_hz)
    assert down.ddm.value == pytest.approx(up.ddm.value, abs=1e-12)
    assert down.tone_phase_deg.value == pytest.approx(up.tone_phase_deg.value, abs=1e-6)
    assert down.ddm.u == pytest.approx(up.ddm.u, rel=1e-9)


def test_what_is_absent_is_none_not_zero() -> None:
    a = analyze_samples(record(Truth(), np.random.default_rng(10)), 48_000.0)
    assert a.ident_depth is None
    assert a.hum_depth is None
    assert a.second_carrier_hz is None
    assert a.harmonics_90.value == 0.0
    assert a.harmonics_90.u > 0.0


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"f90": 92.5}, "90 Hz tone is at 92.500 Hz, more than 2.5 per cent off"),
        ({"m150": 0.0}, "150 Hz tone does not stand out of the noise"),
        ({"m90": 0.02, "m150": 0.5}, "says nothing about position"),
        ({"f150": 151.0}, r"not locked: 150 Hz slips \+1 Hz"),
        ({"hum": 0.01, "f_hum": 60.0}, "may be the product of the tones"),
        ({"m90": 0.49, "m150": 0.49}, "over-modulated"),
    ],
)
def test_what_limits_the_numbers_is_said(change: dict[str, float], words: str) -> None:
    truth = replace(Truth(), **change)  # type: ignore[arg-type]
    a = analyze_samples(record(truth, np.random.default_rng(11)), truth.rate_hz)
    assert any(re.search(words, warning) for warning in a.warnings)


def test_a_normal_record_has_no_warnings() -> None:
    a = analyze_samples(record(Truth(ident=0.1), np.random.default_rng(12)), 48_000.0)
    assert a.warnings == ()


def test_ddm_is_a_little_surer_than_sdm_by_the_share_of_the_mean() -> None:
    """Variances 4 + DDM^2 and 4 + SDM^2 (in sigma^2 / N c0^2): the mean's error is shared.

    That is for whole periods; the longer a record, the less its odd piece of a period matters.
    """
    truth = Truth(m90=0.2, m150=0.5, duration_s=2.9)
    a = analyze_samples(record(truth, np.random.default_rng(13)), truth.rate_hz)
    assert a.ddm.u / a.sdm.u == pytest.approx(np.sqrt((4.0 + 0.09) / (4.0 + 0.49)), abs=0.002)
