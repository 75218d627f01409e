"""The runs of cable that can be cut, and in which the quarter-wave line can be put."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Final, Literal

from sim_instruments.cable import Cable, line_of
from sim_instruments.parameters import PlantParameters

PathName = Literal["sbo", "csb", "clearance sbo", "clearance csb"]
StageName = Literal["transmitter", "monitor"]
CableName = tuple[PathName, StageName]
CABLES: Final[tuple[CableName, ...]] = (
    ("sbo", "transmitter"),
    ("sbo", "monitor"),
    ("csb", "transmitter"),
    ("csb", "monitor"),
    ("clearance sbo", "transmitter"),
    ("clearance csb", "transmitter"),
)
"""``sbo`` and ``csb`` alone are the course signals'; clearance has no return lines to trim."""


@dataclass(slots=True)
class Path:
    """One signal's cable through one stage, and the line that may be in series with it.

    Attributes
    ----------
    cable
        What is there now.
    spare_m
        What can still be cut off before the cable no longer reaches, m.
    line
        The quarter-wave line, while it is in.
    cuts_m
        Every length cut off so far, m, in order.
    """

    cable: Cable
    spare_m: float
    line: Cable | None = None
    cuts_m: list[float] = field(default_factory=list)

    def gain(self, frequency_hz: float) -> complex:
        """Return output over input as a phasor."""
        through = self.cable.gain(frequency_hz)
        return through if self.line is None else through * self.line.gain(frequency_hz)

    def cut(self, length_m: float) -> None:
        """Cut `length_m` off.

        Raises
        ------
        ValueError
            More than there is to spare, or less than nothing.
        """
        if length_m > self.spare_m:
            raise ValueError(
                f"a cut of {length_m:.4f} m is more than the {self.spare_m:.4f} m to spare"
            )
        self.cable = self.cable.shortened(length_m)
        self.spare_m -= length_m
        self.cuts_m.append(length_m)


def build_paths(given: PlantParameters) -> dict[CableName, Path]:
    """Return all cables; phase errors are differences in length between SBO and CSB cables.

    SBO leads when its cable is the shorter one, so a positive phase error shortens it.
    """
    lengths = {"transmitter": given.transmitter_length_m, "monitor": given.monitor_length_m}
    transmit_deg = given.transmit_phase_error_deg
    errors_deg: dict[CableName, float] = {
        ("sbo", "transmitter"): transmit_deg,
        ("sbo", "monitor"): given.phase_error_deg - transmit_deg,
        ("clearance sbo", "transmitter"): given.clearance_phase_error_deg,
    }

    def cable(name: CableName) -> Cable:
        plain = Cable(lengths[name[1]], given.velocity_factor, given.cable_loss_db_per_m)
        error_m = errors_deg.get(name, 0.0) / 360 * plain.wavelength_m(carrier_hz(given))
        return Cable(plain.length_m - error_m, given.velocity_factor, given.cable_loss_db_per_m)

    return {name: Path(cable(name), given.spare_m) for name in CABLES}


def carrier_hz(given: PlantParameters) -> float:
    """Return the course carrier's frequency, Hz."""
    return given.frequency_hz + given.carrier_offset_hz


def quarter_wave_line(given: PlantParameters) -> Cable:
    """Return the line at hand, with the angle and loss that it really has."""
    return line_of(
        given.line_angle_deg + given.line_angle_error_deg,
        given.line_loss_db + given.line_loss_error_db,
        given.velocity_factor,
        carrier_hz(given),
    )
