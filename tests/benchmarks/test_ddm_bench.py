"""DDM from samples beside what one would write with scipy, on the same records.

Nothing here asserts on a clock; the table says how the three compare on this machine.
"""

from __future__ import annotations

import sys
import timeit
from collections.abc import Callable
from functools import partial

import numpy as np
import pytest
from pytest_benchmark.fixture import BenchmarkFixture
from scipy import signal

from daq.samples.analyze import analyze_samples
from tests.daq.samples.synthetic import Floats, Truth, fisher_ddm_u, record

RATE_HZ = 48_000.0


def least_squares(v: Floats) -> float:
    return analyze_samples(v, RATE_HZ).ddm.value


def filters_and_hilbert(v: Floats) -> float:
    """Band-pass each tone, take the Hilbert envelope, leave out the ends, divide by the mean."""
    edge = len(v) // 10
    depths = []
    for nominal_hz in (90.0, 150.0):
        band = [nominal_hz - 15.0, nominal_hz + 15.0]
        sos = signal.butter(2, band, btype="bandpass", fs=RATE_HZ, output="sos")
        envelope = np.abs(signal.hilbert(signal.sosfiltfilt(sos, v - v.mean())))
        depths.append(envelope[edge:-edge].mean() / v.mean())
    return float(depths[1] - depths[0])


def windowed_fft(v: Floats) -> float:
    """Flat-top window, one transform, the largest line near each tone."""
    window = signal.windows.flattop(len(v), sym=False)
    spectrum = 2.0 * np.abs(np.fft.rfft(v * window)) / window.sum()
    axis_hz = np.fft.rfftfreq(len(v), 1.0 / RATE_HZ)
    lines = [
        spectrum[np.abs(axis_hz - hz) <= 0.03 * hz + RATE_HZ / len(v)].max() for hz in (90.0, 150.0)
    ]
    return float((lines[1] - lines[0]) / (spectrum[0] / 2.0))


METHODS: dict[str, Callable[[Floats], float]] = {
    "least squares": least_squares,
    "filters and Hilbert": filters_and_hilbert,
    "windowed FFT": windowed_fft,
}


def truths(duration_s: float) -> list[Truth]:
    rng = np.random.default_rng(5)
    return [
        Truth(
            duration_s=duration_s,
            m90=rng.uniform(0.15, 0.25),
            m150=rng.uniform(0.15, 0.25),
            f90=90.0 * (1.0 + rng.uniform(-0.025, 0.025)),
            f150=150.0 * (1.0 + rng.uniform(-0.025, 0.025)),
            p90=rng.uniform(0.0, 6.28),
            p150=rng.uniform(0.0, 6.28),
            ident=0.1 * float(rng.integers(2)),
            hum=0.005 * float(rng.integers(2)),
        )
        for _ in range(12)
    ]


@pytest.mark.parametrize("name", METHODS)
def test_one_second_at_48_khz(benchmark: BenchmarkFixture, name: str) -> None:
    v = record(Truth(f90=91.0, f150=149.0), np.random.default_rng(6))
    ddm = benchmark(METHODS[name], v)
    assert abs(ddm) < 0.05


def seconds(method: Callable[[Floats], float], v: Floats) -> float:
    """Return the least of timed calls, for a tenth of a second and at least ten of them.

    On a busy machine a fast method would else be timed in one bad moment, a slow one in many.
    """
    once = min(timeit.repeat(partial(method, v), number=1, repeat=3))
    return min(timeit.repeat(partial(method, v), number=1, repeat=max(10, int(0.1 / once))))


def test_side_by_side(benchmark: BenchmarkFixture) -> None:
    """Accuracy is asserted, speed is printed. Half the records have an ident, half a hum."""
    benchmark(least_squares, record(truths(2.0)[0], np.random.default_rng(9)))
    rows = [f"\n{'method':<22}{'length':>8}{'rms error':>12}{'in CRB':>10}{'x real time':>13}"]
    rms: dict[tuple[str, float], float] = {}
    for duration_s in (0.5, 1.0, 2.0):
        rng = np.random.default_rng(7)
        records = [(truth, record(truth, rng)) for truth in truths(duration_s)]
        bounds = [fisher_ddm_u(truth) for truth, _ in records]
        for name, method in METHODS.items():
            errors = np.array([method(v) - truth.ddm for truth, v in records])
            rms[name, duration_s] = float(np.sqrt(np.mean(errors**2)))
            in_bounds = float(np.sqrt(np.mean((errors / bounds) ** 2)))
            speed = duration_s / np.mean([seconds(method, v) for _, v in records[:4]])
            rows.append(
                f"{name:<22}{duration_s:>6g} s{rms[name, duration_s]:>12.2e}{in_bounds:>10.1f}"
                f"{speed:>13.0f}"
            )
    rows += real_time()
    sys.stdout.write("\n".join([*rows, ""]))
    for duration_s in (0.5, 2.0):
        ours = rms["least squares", duration_s]
        assert 5.0 * ours < rms["filters and Hilbert", duration_s]
        assert 2.0 * ours < rms["windowed FFT", duration_s]


def real_time() -> list[str]:
    """Return a table of the least squares' speed at 48 kHz, by what there is besides the tones."""
    rows = [
        f"\n{'least squares':<22}{'length':>8}{'ms':>9}{'x real time':>13}{'x filter chain':>16}"
    ]
    for duration_s in (0.2, 0.5, 1.0, 2.0, 20.0):
        for words, ident, hum in (("tones", 0.0, 0.0), ("... ident and hum", 0.1, 0.005)):
            truth = Truth(duration_s=duration_s, f90=91.0, f150=149.0, ident=ident, hum=hum)
            v = record(truth, np.random.default_rng(8))
            ours, chain = (seconds(method, v) for method in (least_squares, filters_and_hilbert))
            rows.append(
                f"{words:<22}{duration_s:>6g} s{ours * 1e3:>9.2f}{duration_s / ours:>13.0f}"
                f"{chain / ours:>16.1f}"
            )
    return rows
