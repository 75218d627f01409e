from dataclasses import replace

import numpy as np
import pytest

from daq.samples.analyze import analyze_samples
from daq.samples.choose import first_fit, grow
from daq.samples.fit import Fit, fit
from daq.samples.ident import ident_rows, keying, shift_hz
from daq.samples.lowpass import Baseband, to_baseband
from tests.daq.samples.synthetic import Truth, fisher_ddm_u, record

RATE_HZ = 48_000.0


def keyed(truth: Truth, on: np.ndarray, depth: float, seed: int) -> np.ndarray:
    tone = truth.c0 * depth * np.sin(2.0 * np.pi * 1021.3 * truth.t + 0.7)
    return record(truth, np.random.default_rng(seed)) + on * tone


def test_the_depth_of_a_keyed_ident_is_its_depth_while_on() -> None:
    truth = Truth(snr_db=45.0)
    on = (truth.t % 0.4 < 0.1).astype(float)
    a = analyze_samples(keyed(truth, on, 0.08, 1), RATE_HZ)
    assert a.ident_depth is not None
    assert a.ident_depth.value == pytest.approx(0.08, abs=4.0 * a.ident_depth.u)
    assert a.ident_hz is not None
    assert a.ident_hz.value == pytest.approx(1021.3, abs=0.01)


def test_abrupt_keying_does_not_disturb_the_ddm() -> None:
    """Clicks of 10 per cent ident would be some 30 standard deviations at 60 dB."""
    errors = []
    for seed in range(20):
        truth = Truth(snr_db=60.0, m150=0.23, p90=float(seed), p150=0.3 * seed)
        on = ((truth.t + 0.013 * seed) % 0.23 < 0.1).astype(float)
        a = analyze_samples(keyed(truth, on, 0.1, seed), RATE_HZ)
        errors.append((a.ddm.value - truth.ddm) / fisher_ddm_u(truth))
        assert a.ddm.u < 1.2 * fisher_ddm_u(truth)
    assert np.abs(errors).max() < 4.0
    assert np.std(errors) < 1.5


def fitted(v: np.ndarray) -> tuple[Baseband, Fit]:
    band = to_baseband(v, RATE_HZ)
    return band, grow(band, first_fit(band))


def test_a_steady_ident_has_no_gate() -> None:
    truth = Truth(ident=0.1, snr_db=25.0)
    assert keying(ident_rows(*fitted(record(truth, np.random.default_rng(3))))) is None


def test_no_ident_no_gate() -> None:
    rows = ident_rows(*fitted(record(Truth(), np.random.default_rng(4))))
    assert not rows.any()
    assert keying(rows) is None


def test_the_envelope_follows_the_key() -> None:
    truth = Truth(snr_db=50.0)
    on = (truth.t > 0.5).astype(float)
    size = np.abs(ident_rows(*fitted(keyed(truth, on, 0.1, 5))))
    assert size[:95] == pytest.approx(np.zeros(95), abs=0.02)
    assert size[105:195] == pytest.approx(np.full(90, 0.2), rel=0.1)


def test_the_gate_finds_the_tone_among_the_side_lobes_of_its_keying() -> None:
    """A fit of the keyed tone as a steady one, started in a side lobe 2 Hz away, stays there."""
    truth = Truth(snr_db=50.0, duration_s=0.7)
    on = (np.abs(truth.t - 0.12) < 0.05) | (np.abs(truth.t - 0.55) < 0.05)
    band, now = fitted(keyed(truth, on.astype(float), 0.1, 6))
    free_hz = now.free_hz + np.array([0.0, 0.0, 1023.6 - now.free_hz[2], 0.0])
    lobe = fit(band, now.terms, free_hz)
    assert abs(lobe.free_hz[2] - 1021.3) > 1.0
    rows = ident_rows(band, lobe)
    weights = keying(rows)
    assert weights is not None
    found_hz = lobe.free_hz[2] + shift_hz(rows, weights, band.rate_hz / band.piece)
    assert found_hz == pytest.approx(1021.3, abs=0.15 / truth.duration_s)


def begun(truth: Truth, on_s: float, depth: float, seed: int) -> np.ndarray:
    """Return an 8-bit record whose ident is keyed on for its last `on_s`."""
    on = (truth.t >= truth.duration_s - on_s).astype(float)
    step = truth.c0 / 64.0
    return np.asarray(np.round(keyed(truth, on, depth, seed) / step) * step)


@pytest.mark.parametrize("on_ms", [4.0, 6.0, 8.0, 12.0])
def test_a_letter_that_has_just_begun_is_left_out(on_ms: float) -> None:
    """A few milliseconds of ident are too little to fit, and disturb nothing."""
    truth = Truth(snr_db=49.0, duration_s=0.4, m90=0.2237, m150=0.2186)
    for seed in range(4):
        a = analyze_samples(begun(truth, on_ms / 1e3, 0.16, seed), RATE_HZ)
        assert abs(a.ddm.value - truth.ddm) < 4.0 * a.ddm.u
        assert a.ident_depth is None or a.ident_depth.value < 0.01


def test_the_depth_of_a_short_mark_in_a_long_record_is_true_or_not_given() -> None:
    """Far from the middle, a phase and a frequency that are both uncertain inflate the depth."""
    truth, depth = Truth(snr_db=49.0, duration_s=2.0), None
    for on_ms in (18.0, 20.0, 25.0, 30.0, 45.0, 60.0):
        depth = analyze_samples(begun(truth, on_ms / 1e3, 0.16, 1), RATE_HZ).ident_depth
        assert depth is None or depth.value == pytest.approx(0.16, rel=0.02)
    assert depth is not None


def test_a_letter_in_the_last_samples_is_not_overlooked() -> None:
    """Without a converter's steps to hide in, 20 ms of ident would be ten uncertainties of DDM."""
    truth = Truth(snr_db=55.0, duration_s=2.0)
    on = (truth.t >= 1.98).astype(float)
    for seed in range(4):
        phases = replace(truth, p90=1.0 + seed, p150=1.3 * seed)
        a = analyze_samples(keyed(phases, on, 0.16, seed), RATE_HZ)
        assert abs(a.ddm.value - truth.ddm) < 4.0 * a.ddm.u


def test_a_few_milliseconds_of_ident_neither_move_the_ddm_nor_blur_it() -> None:
    """Too short to be found and keyed, they would click into everything if they were left in."""
    truth = Truth(snr_db=45.0, duration_s=0.5)
    bound = fisher_ddm_u(truth)
    for on_ms in (1.0, 3.0, 5.0, 8.0):
        for seed, start_s in enumerate((0.0, 0.23, 0.5 - on_ms / 1e3)):
            on = ((truth.t >= start_s) & (truth.t < start_s + on_ms / 1e3)).astype(float)
            ddm = analyze_samples(keyed(truth, on, 0.1, seed), RATE_HZ).ddm
            assert abs(ddm.value - truth.ddm) < 4.0 * ddm.u
            assert ddm.u < 1.2 * bound


def test_where_a_tenth_of_the_record_is_loud_it_is_not_left_out() -> None:
    """The depths of a record in which they change are blurred, and say so."""
    truth = Truth(snr_db=45.0, duration_s=0.5)
    changed = record(replace(truth, m90=0.3), np.random.default_rng(6))
    v = np.where(truth.t < 0.35, record(truth, np.random.default_rng(7)), changed)
    assert analyze_samples(v, RATE_HZ).ddm.u > 3.0 * fisher_ddm_u(truth)


@pytest.mark.parametrize("first", [0, 60, 97])
def test_a_gate_of_too_few_rows_is_never_on_and_what_it_held_is_left_out(first: int) -> None:
    rows = np.full(100, 0.001, dtype=np.complex128)
    rows[first : first + 6] = 0.16
    weights = keying(rows)
    assert weights is not None
    assert not weights.ever_on
    assert not weights.keep[first : first + 6].any()
    assert weights.keep.sum() >= 92
