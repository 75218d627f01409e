"""What a transmitter sends, and in what it differs from an ideal one."""

from __future__ import annotations

import math
from dataclasses import dataclass, field

from sim_instruments.signals import Keyer, Modulation


@dataclass(frozen=True, slots=True)
class CarrierParameters:
    """Course or clearance part of one transmitter: ``[simulation.plant.tx1.course]`` and so on.

    Attributes
    ----------
    power_db
        Carrier power over nominal, dB; SBO goes with it.
    depth_90, depth_150
        Depth of each tone in CSB, ratio.
    carrier_error_hz
        Of its oscillator, Hz.
    sbo_level_db, sbo_phase_deg
        SBO at the output over what it should be, relative to CSB.
    tone_90_phase_deg, tone_150_phase_deg
        How far the carrier's modulator leads with each tone, deg of the tone.
    """

    power_db: float = 0.0
    depth_90: float = 0.20
    depth_150: float = 0.20
    carrier_error_hz: float = 0.0
    sbo_level_db: float = 0.0
    sbo_phase_deg: float = 0.0
    tone_90_phase_deg: float = 0.0
    tone_150_phase_deg: float = 0.0


@dataclass(frozen=True, slots=True)
class TransmitterParameters:
    """One of the two transmitters: ``[simulation.plant.tx1]``, ``[simulation.plant.tx2]``.

    Attributes
    ----------
    course, clearance
        Its two carriers; their modulators take the tones from one generator.
    tone_90_error_percent, tone_150_error_percent
        Of the tone frequencies.
    tone_phase_deg
        Phase of the 150 Hz tone where the 90 Hz tone starts, deg of 150 Hz.
    harmonic_percent, third_harmonic_percent
        Second and third harmonic of each tone, per cent of the tone.
    ident_depth
        Ratio; 0: no ident.
    ident_dot_s
        Length of a dot, s.
    ident_repeat_s
        From the beginning of one identification to the next, s.
    ident_late_s
        How late every second one begins, s.
    """

    course: CarrierParameters = field(default_factory=CarrierParameters)
    clearance: CarrierParameters = field(default_factory=CarrierParameters)
    tone_90_error_percent: float = 0.0
    tone_150_error_percent: float = 0.0
    tone_phase_deg: float = 0.0
    harmonic_percent: float = 0.0
    third_harmonic_percent: float = 0.0
    ident_depth: float = 0.0
    ident_dot_s: float = 0.12
    ident_repeat_s: float = 8.0
    ident_late_s: float = 0.0


def second_transmitter() -> TransmitterParameters:
    """Return a standby transmitter as it would be: good, and not the same as the first."""
    return TransmitterParameters(
        course=CarrierParameters(
            power_db=-0.12, depth_90=0.1994, depth_150=0.1998, carrier_error_hz=-140.0
        ),
        clearance=CarrierParameters(power_db=0.09, depth_150=0.2005, carrier_error_hz=95.0),
        tone_90_error_percent=0.02,
        tone_150_error_percent=0.02,
        harmonic_percent=0.8,
    )


@dataclass(frozen=True, slots=True)
class ModulatorSetting:
    """Where the modulator's controls stand: factor on depth, DDM of balance, factor on ident."""

    depth: float
    balance_ddm: float
    ident: float


def modulation(
    given: TransmitterParameters,
    carrier: CarrierParameters,
    setting: ModulatorSetting,
    keyer: Keyer,
    continuous_ident_depth: float,
) -> Modulation:
    """Return the modulation of one carrier.

    `continuous_ident_depth` stands for the transmitter's own depth when it is not zero.
    """
    return Modulation(
        depth_90=carrier.depth_90 * setting.depth - setting.balance_ddm / 2,
        depth_150=carrier.depth_150 * setting.depth + setting.balance_ddm / 2,
        tone_90_hz=90.0 * (1 + given.tone_90_error_percent / 100),
        tone_150_hz=150.0 * (1 + given.tone_150_error_percent / 100),
        ident_depth=(continuous_ident_depth or given.ident_depth) * setting.ident,
        tone_phase_rad=math.radians(given.tone_phase_deg + carrier.tone_150_phase_deg),
        tone_90_phase_rad=math.radians(carrier.tone_90_phase_deg),
        harmonic=given.harmonic_percent / 100,
        third_harmonic=given.third_harmonic_percent / 100,
        keyer=keyer,
    )
