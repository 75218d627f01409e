"""What the analysis of a record says: values with standard uncertainties."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final


@dataclass(frozen=True, slots=True)
class Estimate:
    """A value and its standard uncertainty, in the same unit.

    Attributes
    ----------
    value, u
        The value and its standard uncertainty.
    common_u
        The part of `u` that is alike in every block of a record: their mean does not lessen it.
    """

    value: float
    u: float
    common_u: float = 0.0


@dataclass(frozen=True, slots=True)
class Analysis:
    """What a record says about the modulation of the carrier.

    Depths are ratios to the carrier, amplitude over mean. Where nothing significant was found the
    attribute is None, not zero.

    Attributes
    ----------
    ddm
        m150 - m90; positive when 150 Hz predominates.
    sdm
        m150 + m90.
    depth_90, depth_150
        Depth of modulation of each tone, never negative.
    tone_90_hz, tone_150_hz
        Frequency of each tone.
    tone_phase_deg
        Phase of the 150 Hz tone, in degrees of 150 Hz, where the 90 Hz tone passes zero upward;
        such passages are 120 degrees apart, so it is in -60..60. Taken in the middle of the record.
    carrier_v
        Mean of the envelope; volts, or the file's own unit (1 = full scale for integer samples).
    noise_v
        Standard deviation that white noise of the density found around the tones (below 1.2 kHz)
        would have at the record's sample rate; unit of `carrier_v`.
    harmonics_90, harmonics_150
        Total harmonic content of each tone, ratio to the tone. Orders 2 to 4; 450 Hz, where the
        third of 150 meets the fifth of 90, is counted with 150.
    ident_depth, ident_hz
        The ident tone while it is keyed on.
    ident_text, ident_wpm
        Its Morse text and speed, where the record is long enough.
    hum_depth, hum_hz
        Strongest mains component: 50 or 60 Hz or twice that.
    carrier_offset_hz
        Complex input only: the strongest carrier from the centre of the band.
    second_carrier_hz, second_carrier_ratio
        Complex input only: the other carrier, and its amplitude relative to the strongest.
    duration_s, samples, rate_hz
        What was analysed.
    warnings
        What a technician should know before trusting the numbers.
    """

    ddm: Estimate
    sdm: Estimate
    depth_90: Estimate
    depth_150: Estimate
    tone_90_hz: Estimate
    tone_150_hz: Estimate
    tone_phase_deg: Estimate
    carrier_v: Estimate
    noise_v: Estimate
    harmonics_90: Estimate
    harmonics_150: Estimate
    duration_s: float
    samples: int
    rate_hz: float
    ident_depth: Estimate | None = None
    ident_hz: Estimate | None = None
    ident_text: str | None = None
    ident_wpm: float | None = None
    hum_depth: Estimate | None = None
    hum_hz: Estimate | None = None
    carrier_offset_hz: Estimate | None = None
    second_carrier_hz: Estimate | None = None
    second_carrier_ratio: Estimate | None = None
    warnings: tuple[str, ...] = ()

    def to_dict(self) -> dict[str, object]:
        """Return one flat object for JSON: ``name`` and ``name_u``; None where there is none."""
        flat: dict[str, object] = {}
        for name in ESTIMATES:
            estimate: Estimate | None = getattr(self, name)
            flat[name] = None if estimate is None else _number(estimate.value)
            flat[f"{name}_u"] = None if estimate is None else _number(estimate.u)
        for name in ("ident_text", "ident_wpm", "duration_s", "samples", "rate_hz"):
            flat[name] = getattr(self, name)
        flat["warnings"] = list(self.warnings)
        return flat


def _number(value: float) -> float | None:
    """JSON has no NaN and no infinity."""
    return value if math.isfinite(value) else None


ESTIMATES: Final = (
    "ddm",
    "sdm",
    "depth_90",
    "depth_150",
    "tone_90_hz",
    "tone_150_hz",
    "tone_phase_deg",
    "carrier_v",
    "noise_v",
    "harmonics_90",
    "harmonics_150",
    "ident_depth",
    "ident_hz",
    "hum_depth",
    "hum_hz",
    "carrier_offset_hz",
    "second_carrier_hz",
    "second_carrier_ratio",
)
"""Attributes of `Analysis` that are estimates, in the order in which they are listed."""
