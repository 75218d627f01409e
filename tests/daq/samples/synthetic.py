"""Detector records whose truth is known, and the least variance any estimator can have on them.

Written from the formulas of amplitude modulation, independently of the code under test.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field, fields, replace

import numpy as np
import numpy.typing as npt

Floats = npt.NDArray[np.float64]


@dataclass(frozen=True)
class Truth:
    """One record: mean, tones (depth, Hz, rad), ident, hum, and noise.

    `snr_db` is the power of a tone of nominal depth (0.20 of the carrier) over the power of the
    white noise in the whole sampled bandwidth: sigma = 0.2 c0 / sqrt(2) / 10^(snr/20).
    """

    rate_hz: float = 48_000.0
    duration_s: float = 1.0
    c0: float = 2.0
    m90: float = 0.2
    m150: float = 0.2
    f90: float = 90.0
    f150: float = 150.0
    p90: float = 0.3
    p150: float = 1.1
    ident: float = 0.0
    f_ident: float = 1020.0
    p_ident: float = 0.5
    hum: float = 0.0
    f_hum: float = 50.0
    p_hum: float = 2.0
    snr_db: float = 40.0
    extra: tuple[tuple[float, float, float], ...] = field(default=())

    @property
    def ddm(self) -> float:
        return self.m150 - self.m90

    @property
    def sigma(self) -> float:
        return 0.2 * self.c0 / math.sqrt(2.0) / math.pow(10.0, self.snr_db / 20.0)

    @property
    def samples(self) -> int:
        return round(self.rate_hz * self.duration_s)

    @property
    def t(self) -> Floats:
        return np.arange(self.samples) / self.rate_hz


def clean(truth: Truth, t: Floats | None = None) -> Floats:
    """Return the record without noise."""
    t = truth.t if t is None else t
    parts = (
        (truth.m90, truth.f90, truth.p90),
        (truth.m150, truth.f150, truth.p150),
        (truth.ident, truth.f_ident, truth.p_ident),
        (truth.hum, truth.f_hum, truth.p_hum),
        *truth.extra,
    )
    v = np.ones_like(t)
    for depth, frequency, phase in parts:
        if depth:
            v += depth * np.sin(2.0 * np.pi * frequency * t + phase)
    return np.asarray(truth.c0 * v)


def record(truth: Truth, rng: np.random.Generator) -> Floats:
    """Return the record with its noise."""
    return np.asarray(clean(truth) + truth.sigma * rng.standard_normal(truth.samples))


def random_truth(rng: np.random.Generator) -> Truth:
    """Draw a record as a technician may bring it.

    0.2 to 2 s at a usual rate, tones up to 2.5 per cent off at any phase, SNR (see `Truth`) 20 to
    60 dB; half with an ident of 4 to 12 per cent, half with hum of 0.05 to 2 per cent at 50, 60,
    100 or 120 Hz give or take 0.2 Hz.
    """
    return Truth(
        rate_hz=float(rng.choice([8_000.0, 16_000.0, 44_100.0, 48_000.0])),
        duration_s=rng.uniform(0.2, 2.0),
        c0=rng.uniform(0.5, 5.0),
        m90=rng.uniform(0.1, 0.3),
        m150=rng.uniform(0.1, 0.3),
        f90=90.0 * (1.0 + rng.uniform(-0.025, 0.025)),
        f150=150.0 * (1.0 + rng.uniform(-0.025, 0.025)),
        p90=rng.uniform(0.0, 2.0 * np.pi),
        p150=rng.uniform(0.0, 2.0 * np.pi),
        ident=rng.uniform(0.04, 0.12) * rng.integers(2),
        f_ident=1020.0 + rng.uniform(-45.0, 45.0),
        p_ident=rng.uniform(0.0, 2.0 * np.pi),
        hum=rng.uniform(0.0005, 0.02) * rng.integers(2),
        f_hum=float(rng.choice([50.0, 60.0, 100.0, 120.0])) + rng.uniform(-0.2, 0.2),
        p_hum=rng.uniform(0.0, 2.0 * np.pi),
        snr_db=rng.uniform(20.0, 60.0),
    )


def key(t: Floats, rng: np.random.Generator) -> Floats:
    """Return 1 where an abruptly switched key of 100 and 300 ms is down, 0 elsewhere."""
    edges = np.cumsum(rng.choice([0.1, 0.3], size=60)) - rng.uniform(0.0, 0.3)
    return (np.searchsorted(edges, t) % 2).astype(np.float64)


def fisher_ddm_u(truth: Truth) -> float:
    """Cramer-Rao bound of the DDM's standard deviation, every parameter of the record unknown.

    Fisher information J^T J / sigma^2 of white Gaussian noise, the Jacobian by central
    differences of the record itself; the bound is g^T F^-1 g with g the gradient of the DDM.
    """
    names = ["c0", "m90", "m150", "f90", "f150", "p90", "p150"]
    names += ["ident", "f_ident", "p_ident"] if truth.ident else []
    names += ["hum", "f_hum", "p_hum"] if truth.hum else []
    steps = {
        f.name: 1e-4 / truth.duration_s if f.name[:2] in {"f9", "f1", "f_"} else 1e-5
        for f in fields(truth)
    }
    t = truth.t - truth.t.mean()
    rows = []
    for name in names:
        h = steps[name]
        up = replace(truth, **{name: getattr(truth, name) + h})
        down = replace(truth, **{name: getattr(truth, name) - h})
        rows.append((clean(up, t) - clean(down, t)) / (2.0 * h))
    jacobian = np.array(rows)
    scale = np.linalg.norm(jacobian, axis=1)
    jacobian /= scale[:, np.newaxis]
    gradient = np.array([{"m90": -1.0, "m150": 1.0}.get(n, 0.0) for n in names]) / scale
    information = jacobian @ jacobian.T
    return float(truth.sigma * np.sqrt(gradient @ np.linalg.solve(information, gradient)))
