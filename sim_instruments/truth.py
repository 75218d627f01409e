"""What the plant knows of itself and no instrument shows."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class PlantTruth:
    """What no instrument shows; for tests and for a trainer.

    Attributes
    ----------
    phase_deg
        Phase of SBO relative to CSB at the width channel now, -180 to 180, positive = SBO leads;
        includes the line while it is in.
    sbo_to_csb
        |S|/|C| at the width channel.
    lengths_m, spare_m
        Physical length and slack by ``"sbo monitor"`` and so on, m.
    lines_in
        Where the quarter-wave line is, named likewise.
    cuts
        Every cut: name of the cable and length in m.
    positions
        Position of each control, 0 to 1.
    transmitter
        The one that feeds the arrays.
    transmit_phase_deg
        Phase of SBO relative to CSB at the course and at the clearance array, includes the line.
    tones_off
        Tones that the modulators are switched not to make, Hz.
    """

    phase_deg: float
    sbo_to_csb: float
    lengths_m: dict[str, float]
    spare_m: dict[str, float]
    lines_in: list[str]
    cuts: list[tuple[str, float]]
    positions: dict[str, float]
    transmitter: int
    transmit_phase_deg: dict[str, float]
    tones_off: list[int]


@dataclass(frozen=True, slots=True)
class FieldTruth:
    """What an ideal receiver reads at a place.

    Attributes
    ----------
    ddm, sdm
        Ratios, both carriers together.
    course_to_clearance_db
        Level of the course carrier over the clearance carrier, dB.
    """

    ddm: float
    sdm: float
    course_to_clearance_db: float
