from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from daq.errors import SamplesError
from daq.reading import Quality, Waveform
from daq.samples.analyze import analyze_file, analyze_samples, reading_from_waveform
from tests.daq.samples.synthetic import Truth, clean, record

TRUTH = Truth(rate_hz=20_000.0, duration_s=0.5, m150=0.355)


def waveform(truth: Truth = TRUTH) -> Waveform:
    v = record(truth, np.random.default_rng(1))
    return Waveform(v, truth.rate_hz, source="scope", point="width", utc_ns=5, mono_ns=7)


def test_a_waveform_becomes_a_reading_of_ddm() -> None:
    reading = reading_from_waveform(waveform())
    assert reading.quantity == "ddm"
    assert abs(reading.value - 0.155) < 4.0 * reading.u
    assert (reading.source, reading.point) == ("scope", "width")
    assert (reading.utc_ns, reading.mono_ns) == (5, 7)
    assert reading.quality is Quality.OK
    assert reading.raw.endswith("150 Hz predominates")


def test_an_impossible_ddm_is_marked() -> None:
    reading = reading_from_waveform(waveform(replace(TRUTH, m90=0.05, m150=0.5)))
    assert reading.quality is Quality.IMPOSSIBLE
    assert not reading.usable


def test_a_waveform_that_the_instrument_calls_clipped_is_refused() -> None:
    with pytest.raises(SamplesError, match="Clipped: scope reports"):
        reading_from_waveform(replace(waveform(), clipped=True))


@settings(deadline=None, max_examples=60)
@given(
    st.integers(0, 2**32 - 1),
    st.sampled_from(["noise", "walk", "steps", "line", "coarse", "complex", "growing", "flipped"]),
    st.sampled_from([2_500.0, 8_000.0, 48_000.0]),
)
def test_whatever_comes_in_there_is_a_number_or_a_reason(
    seed: int, kind: str, rate_hz: float
) -> None:
    rng = np.random.default_rng(seed)
    truth = Truth(rate_hz=rate_hz, duration_s=rng.uniform(0.1, 0.5))
    good, noise = clean(truth), rng.standard_normal(truth.samples)
    made = {
        "noise": noise,
        "walk": np.cumsum(noise),
        "steps": rng.integers(0, 3, truth.samples),
        "line": 1.0 + 0.3 * np.sin(2.0 * np.pi * rng.uniform(1.0, 1200.0) * truth.t),
        "coarse": np.round(3.0 * good),
        "complex": good + 1j * noise,
        "growing": good * np.exp(5.0 * truth.t),
        "flipped": np.where(np.arange(truth.samples) % 7, good, -good),
    }
    try:
        ddm = analyze_samples(made[kind], rate_hz).ddm
    except SamplesError:
        return
    assert np.isfinite(ddm.value)
    assert ddm.u > 0.0


def test_a_refusal_deep_in_a_record_says_where() -> None:
    truth = Truth(rate_hz=8_000.0, duration_s=9.0)
    v = record(truth, np.random.default_rng(2))
    v[5 * 8_000] = np.nan
    with pytest.raises(SamplesError, match="In the part from 4 s on: 1 of 16000 samples"):
        analyze_samples(v, truth.rate_hz)


def test_a_file_and_its_samples_give_one_answer(tmp_path: Path) -> None:
    truth = Truth(rate_hz=8_000.0, duration_s=7.0)
    v = record(truth, np.random.default_rng(3))
    np.save(tmp_path / "a.npy", v)
    seen: list[int] = []
    a = analyze_file(
        tmp_path / "a.npy", rate_hz=8_000.0, progress=lambda done, _: seen.append(done)
    )
    assert a == analyze_samples(v, 8_000.0)
    assert seen == [16_000, 32_000, 48_000, 56_000]
