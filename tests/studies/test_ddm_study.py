"""How good is DDM from samples? 1,000 seeded records against the Cramer-Rao bound.

The signal-to-noise ratio is that of a tone of nominal depth (0.20 of the carrier, its mean square
power) over white Gaussian noise in the whole sampled bandwidth, half the sample rate:
sigma = 0.2 c0 / sqrt(2) / 10^(snr / 20). At 20 dB the noise is 1.4 per cent of the carrier.

The bound comes from an independent Fisher information: central differences of the synthetic
record by every parameter that it has (mean; depth, frequency and phase of both tones, of the ident
and of the hum where present).
"""

from __future__ import annotations

import sys
from dataclasses import dataclass, replace

import numpy as np
import pytest

from daq.samples.analyze import analyze_samples
from daq.samples.model import Analysis
from tests.daq.samples.synthetic import Truth, fisher_ddm_u, key, random_truth, record

RECORDS = 1000


@dataclass(frozen=True)
class Outcome:
    truth: Truth
    analysis: Analysis
    bound: float

    @property
    def error(self) -> float:
        return self.analysis.ddm.value - self.truth.ddm

    @property
    def in_bounds(self) -> float:
        return self.error / self.bound

    @property
    def in_u(self) -> float:
        return self.error / self.analysis.ddm.u


def line(name: str, some: list[Outcome]) -> str:
    z = np.array([one.in_bounds for one in some])
    k = np.array([one.in_u for one in some])
    u = np.array([one.analysis.ddm.u / one.bound for one in some])
    return (
        f"{name:<22}{len(some):>8}{z.mean() / z.std():>10.3f}{z.std():>10.3f}"
        f"{np.mean(np.abs(k) < 2.0) * 100.0:>10.1f}{k.std():>12.3f}{np.median(u):>12.3f}"
    )


HEAD = (
    f"\n{'records':<22}{'number':>8}{'bias/sd':>10}{'sd/CRB':>10}{'k=2, %':>10}"
    f"{'sd of e/u':>12}{'u/CRB':>12}"
)


@pytest.mark.study
@pytest.mark.timeout(600)
def test_a_thousand_records() -> None:
    rng = np.random.default_rng(2026)
    outcomes = []
    for _ in range(RECORDS):
        truth = random_truth(rng)
        analysis = analyze_samples(record(truth, rng), truth.rate_hz)
        outcomes.append(Outcome(truth, analysis, fisher_ddm_u(truth)))
    groups = {
        "all": outcomes,
        "no ident, no hum": [o for o in outcomes if not o.truth.ident and not o.truth.hum],
        "ident": [o for o in outcomes if o.truth.ident],
        "hum": [o for o in outcomes if o.truth.hum],
        "SNR 20 to 40 dB": [o for o in outcomes if o.truth.snr_db < 40.0],
        "SNR 40 to 60 dB": [o for o in outcomes if o.truth.snr_db >= 40.0],
        "shorter than 0.5 s": [o for o in outcomes if o.truth.duration_s < 0.5],
        "0.5 s and longer": [o for o in outcomes if o.truth.duration_s >= 0.5],
    }
    sys.stdout.write("\n".join([HEAD, *(line(name, some) for name, some in groups.items())]))
    sys.stdout.write(others(outcomes))

    z = np.array([one.in_bounds for one in outcomes])
    k = np.array([one.in_u for one in outcomes])
    assert abs(z.mean()) < 0.1 * z.std()
    assert z.std() <= 1.05
    assert 0.94 <= np.mean(np.abs(k) < 2.0) <= 0.97
    assert 0.9 <= k.std() <= 1.1


def others(outcomes: list[Outcome]) -> str:
    """Return how the other estimates' errors compare with their stated uncertainties."""
    text = f"\n\n{'estimate':<22}{'number':>8}{'mean e/u':>10}{'sd of e/u':>12}{'k=2, %':>10}\n"
    for name, field in (
        ("depth_90", "m90"),
        ("depth_150", "m150"),
        ("tone_90_hz", "f90"),
        ("tone_150_hz", "f150"),
        ("carrier_v", "c0"),
        ("noise_v", "sigma"),
        ("ident_depth", "ident"),
        ("ident_hz", "f_ident"),
        ("hum_depth", "hum"),
        ("hum_hz", "f_hum"),
    ):
        k = []
        for one in outcomes:
            estimate = getattr(one.analysis, name)
            absent = {"hum": not one.truth.hum, "ident": not one.truth.ident}
            if estimate is not None and not absent.get(name.split("_")[0], False):
                k.append((estimate.value - getattr(one.truth, field)) / estimate.u)
        text += (
            f"{name:<22}{len(k):>8}{np.mean(k):>10.3f}{np.std(k):>12.3f}"
            f"{np.mean(np.abs(k) < 2.0) * 100.0:>10.1f}\n"
        )
    return text


@pytest.mark.study
@pytest.mark.timeout(600)
def test_records_with_an_ident_that_is_keyed_abruptly() -> None:
    """Ident of 4 to 12 per cent, switched at once; the bound is that of a record without ident.

    Left alone, the clicks would be up to 30 standard deviations. What is left out around each
    costs some precision; a few records whose ends cut a switching keep a click, and say so by a
    larger uncertainty.
    """
    rng = np.random.default_rng(2027)
    outcomes = []
    for _ in range(400):
        truth = replace(random_truth(rng), ident=0.0, hum=0.0)
        depth, frequency_hz = rng.uniform(0.04, 0.12), 1020.0 + rng.uniform(-45.0, 45.0)
        tone = truth.c0 * depth * np.sin(2.0 * np.pi * frequency_hz * truth.t)
        v = record(truth, rng) + key(truth.t, rng) * tone
        analysis = analyze_samples(v, truth.rate_hz)
        outcomes.append(Outcome(truth, analysis, fisher_ddm_u(truth)))
    usual = [o for o in outcomes if o.analysis.ddm.u < 1.15 * o.bound]
    sys.stdout.write(
        "\n".join([HEAD, line("keyed ident", outcomes), line("... u near the bound", usual), ""])
    )
    k = np.array([one.in_u for one in outcomes])
    assert len(usual) > 0.95 * len(outcomes)
    assert np.std([one.in_bounds for one in usual]) < 1.1
    assert np.mean(np.abs(k) < 2.0) > 0.93
