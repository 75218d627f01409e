"""In what state the feed cables are, and what an analyser shows of them from one end."""

from __future__ import annotations

import math
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from sim_instruments.cable import Cable
from sim_instruments.signals import ComplexArray, FloatArray

SWEEP_HALF_SPAN_HZ = 10e6
SWEEP_POINTS = 201
FAULT_AT = 0.4
"""Part of the cable's length at which a fault lies."""


@dataclass(frozen=True, slots=True)
class FeedCondition:
    """The keys of ``[simulation.plant.feeds]``.

    Attributes
    ----------
    vswr, insulation_megohm
        Of every cable that is not damaged.
    damaged
        Name of the cable that is, such as ``clearance sbo transmitter``; empty for none.
    damaged_vswr, damaged_insulation_megohm, damaged_echo, damaged_loss_db
        Of that one: its match and insulation, what the fault reflects (ratio), and what it takes
        besides.
    analyser_noise_deg, analyser_error_deg
        Standard deviation of the analyser's phase from point to point, and from sweep to sweep.
    """

    vswr: float = 1.06
    insulation_megohm: float = 400.0
    damaged: str = ""
    damaged_vswr: float = 1.4
    damaged_insulation_megohm: float = 8.0
    damaged_echo: float = 0.08
    damaged_loss_db: float = 0.9
    analyser_noise_deg: float = 0.2
    analyser_error_deg: float = 0.3

    def __post_init__(self) -> None:
        if self.vswr < 1 or self.damaged_vswr < 1:
            raise ValueError("simulation.plant.feeds: a standing wave ratio is 1 or more")
        if not 0 <= self.damaged_echo < 1:
            raise ValueError("simulation.plant.feeds.damaged_echo: 0 to 1")


def reflection(
    cable: Cable,
    carrier_hz: float,
    frequency_hz: FloatArray,
    *,
    far_end: complex,
    echo: float = 0.0,
    extra_loss_db: float = 0.0,
) -> ComplexArray:
    """Return S11 into a cable, shape of `frequency_hz`.

    Parameters
    ----------
    cable
        Its loss is that at the carrier; it grows with the root of frequency (skin effect).
    far_end
        Reflection there: +1 open, -1 shorted.
    echo, extra_loss_db
        Reflection of a fault on the way, and what the fault takes from the wave once.
    """

    def through(part: float) -> ComplexArray:
        turns = part * cable.length_m * frequency_hz / (cable.wavelength_m(carrier_hz) * carrier_hz)
        loss_db = part * cable.length_m * cable.loss_db_per_m * np.sqrt(frequency_hz / carrier_hz)
        wave: ComplexArray = 10 ** (-loss_db / 20) * np.exp(-2j * math.pi * turns)
        return wave

    # The wave that comes back has passed the fault twice; echoes of echoes are left out.
    passed = (1 - echo**2) * 10 ** (-2 * extra_loss_db / 20)
    total: ComplexArray = echo * through(FAULT_AT) ** 2 + passed * far_end * through(1.0) ** 2
    return total


def write_sweep(
    path: Path,
    cable: Cable,
    carrier_hz: float,
    condition: FeedCondition,
    rng: np.random.Generator,
    *,
    far_end: str,
    damaged: bool,
) -> None:
    """Write what the analyser shows of a cable as a Touchstone file (version 1.1, RI).

    Raises
    ------
    ValueError
        The far end is neither open nor short.
    """
    if far_end not in ("open", "short"):
        raise ValueError(f"a far end is open or short, not {far_end!r}")
    frequency_hz = carrier_hz + SWEEP_HALF_SPAN_HZ * np.linspace(-1, 1, SWEEP_POINTS)
    s11 = reflection(
        cable,
        carrier_hz,
        frequency_hz,
        far_end=1 if far_end == "open" else -1,
        echo=condition.damaged_echo if damaged else 0.0,
        extra_loss_db=condition.damaged_loss_db if damaged else 0.0,
    )
    common_deg = condition.analyser_error_deg * rng.standard_normal()
    noise_deg = condition.analyser_noise_deg * rng.standard_normal(SWEEP_POINTS)
    s11 *= np.exp(1j * np.radians(common_deg + noise_deg))
    lines = ["! simulated sweep", "# Hz S RI R 50"]
    lines += [
        f"{hz:.1f} {s.real:.8f} {s.imag:.8f}" for hz, s in zip(frequency_hz, s11, strict=True)
    ]
    path.write_text("\n".join(lines) + "\n", encoding="ascii")
