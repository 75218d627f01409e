"""What the simulated plant is told: the keys of a station file's ``[simulation.plant]`` table."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, fields


def _number(key: str, value: object, kind: type[int] | type[float]) -> int | float:
    """Return `value` as a number of `kind`; ValueError that names the key when it is none."""
    whole = isinstance(value, int) and not isinstance(value, bool)
    if whole or (kind is float and isinstance(value, float)):
        return kind(str(value))
    wanted = "a whole number" if kind is int else "a number"
    raise ValueError(f"simulation.plant.{key}: {wanted} is expected, not {value!r}")


@dataclass(frozen=True, slots=True)
class PlantParameters:
    """A localizer as it is found. Every field is a key of the table; all have a default.

    Attributes
    ----------
    seed
        Of everything random in the plant.
    frequency_hz
        Mean of the two carriers, Hz.
    carrier_offset_hz
        Course carrier above, clearance carrier below the mean, Hz.
    phase_error_deg
        Phase of SBO relative to CSB at the width channel at the start, fine control centred;
        positive = SBO leads. Built into the length of the monitor's SBO return line.
    width_ratio
        Width-channel DDM that phase zero would give at the start, over 0.155.
    wanted_tone
        Tone that predominates at the width channel when the sense is right: 90 or 150.
    velocity_factor, cable_loss_db_per_m
        Of every cable, ratio and dB/m.
    transmitter_length_m, monitor_length_m
        Feed cables and monitor return lines before any difference between SBO and CSB, m.
    spare_m
        Slack in each cable: the most that can be cut off before it no longer reaches, m.
    line_angle_deg, line_loss_db
        Nominal angle and loss of the quarter-wave line.
    line_angle_error_deg, line_loss_error_db
        What the line at hand has on top of that.
    fine_range_deg, width_range_db
        Ranges of the monitor's fine phase and width controls, stop to stop.
    width_coupling_deg_per_db
        Phase that the width control adds with each dB.
    receiver_noise_ddm
        Standard deviation of DDM in one receiver reading of 0.1 s, ratio.
    phase_drift_deg, level_drift_db
        Standard deviation of the SBO path's drift after one hour.
    clearance_in_course_db, course_in_clearance_db
        How far down the other carrier is in a monitor channel, dB.
    ident_depth
        Depth of a continuously keyed ident, ratio; 0 for none.
    """

    seed: int = 1
    frequency_hz: float = 109.35e6
    carrier_offset_hz: float = 4750.0
    phase_error_deg: float = 0.0
    width_ratio: float = 1.0
    wanted_tone: int = 150
    velocity_factor: float = 0.82
    cable_loss_db_per_m: float = 0.07
    transmitter_length_m: float = 12.0
    monitor_length_m: float = 18.0
    spare_m: float = 1.32
    line_angle_deg: float = 90.0
    line_loss_db: float = 0.35
    line_angle_error_deg: float = 0.0
    line_loss_error_db: float = 0.0
    fine_range_deg: float = 40.0
    width_range_db: float = 26.0
    width_coupling_deg_per_db: float = 1.0
    receiver_noise_ddm: float = 0.0003
    phase_drift_deg: float = 0.1
    level_drift_db: float = 0.003
    clearance_in_course_db: float = 40.0
    course_in_clearance_db: float = 30.0
    ident_depth: float = 0.0

    def __post_init__(self) -> None:
        if self.wanted_tone not in (90, 150):
            raise ValueError(f"simulation.plant.wanted_tone: 90 or 150, not {self.wanted_tone}")
        if not -180 <= self.phase_error_deg <= 180:
            raise ValueError(
                f"simulation.plant.phase_error_deg: -180 to 180 degrees, not {self.phase_error_deg}"
            )
        if not 0 < self.width_ratio < 2.5:
            raise ValueError(
                f"simulation.plant.width_ratio: above 0, below 2.5, not {self.width_ratio}"
            )
        if self.receiver_noise_ddm < 0:
            raise ValueError("simulation.plant.receiver_noise_ddm: not negative")

    @classmethod
    def from_table(cls, table: Mapping[str, object]) -> PlantParameters:
        """Return the parameters that a ``[simulation.plant]`` table states.

        Raises
        ------
        ValueError
            A key is unknown or its value is no number; the message names the key.
        """
        kinds: dict[str, type[int] | type[float]] = {
            field.name: int if field.type == "int" else float for field in fields(cls)
        }
        values: dict[str, int | float] = {}
        for key, value in table.items():
            if key not in kinds:
                known = ", ".join(kinds)
                raise ValueError(f"simulation.plant.{key}: unknown key; known are {known}")
            values[key] = _number(key, value, kinds[key])
        return cls(**values)  # type: ignore[arg-type]  # each value was cast to its field's type
