"""Cable: wavelength, half wave, phase against length, and which cut to make.

A technician can only shorten. Shortening the SBO path advances SBO; shortening the CSB path
advances CSB and so retards SBO. An angle is known modulo a turn, so both ways lead to the goal:
one short, one long.

Source: delay of a transmission line, phase = 360 L f / (c vf) (textbook).
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final, Literal

from daq.errors import InputError
from daq.rounding import fixed
from daq.units import METRES_PER_INCH
from procedures.trims.phase import FeedPath, PhaseEstimate

FarEnd = Literal["open", "short"]
"""What a cable ends in while it is swept from one end."""

SPEED_OF_LIGHT_M_PER_S: Final = 299_792_458.0

WHOLE_TURN_DEG: Final = 1e-9
"""Closer than this to a whole turn is rounding, and no reason to cut off a wavelength."""

COVERAGE: Final = 2.0
"""Coverage factor of the uncertainty that a rough cut leaves on."""


@dataclass(frozen=True, slots=True)
class CablePath:
    """One feed line that may be shortened.

    Attributes
    ----------
    velocity_factor
        Velocity in the cable over that in vacuum, above 0 up to 1.
    spare_m
        How much may be cut off at most; None where nobody said.
    u_velocity_factor
        Standard uncertainty of the velocity factor.
    """

    velocity_factor: float
    spare_m: float | None = None
    u_velocity_factor: float = 0.0

    def __post_init__(self) -> None:
        if not 0.0 < self.velocity_factor <= 1.0:
            raise InputError(
                f"A velocity factor lies above 0 and not above 1, not at {self.velocity_factor:g}."
            )
        if self.spare_m is not None and not (math.isfinite(self.spare_m) and self.spare_m >= 0.0):
            raise InputError(f"A spare length is zero or more metres, not {self.spare_m:g}.")
        if not (math.isfinite(self.u_velocity_factor) and self.u_velocity_factor >= 0.0):
            raise InputError("The uncertainty of a velocity factor is zero or positive.")


@dataclass(frozen=True, slots=True)
class Cut:
    """One way to bring SBO and CSB into phase.

    Attributes
    ----------
    path
        Which path to shorten.
    length_m, length_in
        What to take off now: the exact length less what is left on. Zero = leave the cable alone.
    phase_left_deg
        What remains after that cut alone, -180 to 180, positive = SBO leads.
    phase_left_u_deg
        Its standard uncertainty.
    fine_control_deg
        What the fine control should then add to the phase of SBO (positive = advance); zero where
        there is no fine control.
    within_spare
        The path has that much to spare, as far as is known.
    note
        Why the cut is impossible or not needed; empty otherwise.
    exact_m
        The length that would leave no phase at all, 0 to one wavelength.
    """

    path: FeedPath
    length_m: float
    length_in: float
    phase_left_deg: float
    phase_left_u_deg: float
    fine_control_deg: float
    within_spare: bool
    note: str
    exact_m: float


def wavelength_m(frequency_hz: float, velocity_factor: float = 1.0) -> float:
    """Return the wavelength in a cable, m.

    Raises
    ------
    InputError
        The frequency is not positive, or the velocity factor not in (0, 1].
    """
    if not (math.isfinite(frequency_hz) and frequency_hz > 0.0):
        raise InputError(f"A frequency is positive, not {frequency_hz:g} Hz.")
    return CablePath(velocity_factor).velocity_factor * SPEED_OF_LIGHT_M_PER_S / frequency_hz


def half_wave_m(frequency_hz: float, velocity_factor: float) -> float:
    """Return half a wavelength in the cable, m: the cut that mends a reversed sense."""
    return wavelength_m(frequency_hz, velocity_factor) / 2.0


def length_for_phase_m(phase_deg: float, frequency_hz: float, velocity_factor: float) -> float:
    """Return the length of cable that delays by `phase_deg`, m; same sign as the phase."""
    return phase_deg / 360.0 * wavelength_m(frequency_hz, velocity_factor)


def phase_for_length_deg(length_m: float, frequency_hz: float, velocity_factor: float) -> float:
    """Return the delay of `length_m` of cable in degrees; not reduced to one turn."""
    return 360.0 * length_m / wavelength_m(frequency_hz, velocity_factor)


def wrap_deg(angle_deg: float) -> float:
    """Return the angle in -180 (excluded) to 180."""
    wrapped = math.remainder(angle_deg, 360.0)
    return 180.0 if wrapped == -180.0 else wrapped


def advance_of(path: FeedPath) -> float:
    """Return 1 where shortening that path advances SBO and so mends a lag, -1 where it retards."""
    return 1.0 if path == "sbo" else -1.0


def plan_cuts(
    phase: PhaseEstimate,
    *,
    frequency_hz: float,
    sbo: CablePath,
    csb: CablePath,
    allowance_m: float = 0.0,
    fine_range_deg: float = 0.0,
    fine_now_deg: float = 0.0,
) -> tuple[Cut, ...]:
    """Return the cuts that would bring SBO and CSB into phase, best first.

    A first cut is rough. It leaves on `allowance_m`, or where that is more the expanded uncertainty
    (k = 2) of what would be left: of the phase, and of the length itself by its velocity factor.
    So one first cut in 44 takes too much. For the uncertainty it never leaves on more than a
    quarter of the fine control's travel, because the fine control has to take it and takes what
    was cut too much as well.

    Best first means: possible before impossible; then those that leave the fine control in the
    middle half of its travel; then the shorter.

    Parameters
    ----------
    phase
        What is to be taken out.
    frequency_hz
        Carrier.
    sbo, csb
        The two paths.
    allowance_m
        What to leave on for the connector.
    fine_range_deg
        Travel of the fine phase control from stop to stop; zero where there is none.
    fine_now_deg
        Where it stands, from the middle of its travel, positive = SBO advanced.

    Returns
    -------
    tuple of Cut
        Two alternatives; or one of zero length where the fine control alone can take the phase.

    Raises
    ------
    InputError
        A length or an angle is negative or no number.
    """
    _check_control(allowance_m, fine_range_deg, fine_now_deg)
    fine = _FineControl(fine_range_deg / 2.0, fine_now_deg)
    cuts = (
        _cut("sbo", sbo, phase, frequency_hz, allowance_m, fine),
        _cut("csb", csb, phase, frequency_hz, allowance_m, fine),
    )
    ranked = sorted(cuts, key=lambda cut: _rank(cut, fine))
    if fine.takes(phase.phase_deg, phase.u_deg):
        return (_no_cut(ranked[0], phase),)
    return tuple(ranked)


@dataclass(frozen=True, slots=True)
class _FineControl:
    """A phase control: half its travel and where it stands, degrees."""

    half_range_deg: float
    now_deg: float

    def after(self, phase_left_deg: float) -> float:
        """Return where it stands once it has taken `phase_left_deg`."""
        return self.now_deg - phase_left_deg

    def takes(self, phase_left_deg: float, u_deg: float) -> bool:
        """Say whether it can take the phase, uncertainty included."""
        reach = abs(self.after(phase_left_deg)) + COVERAGE * u_deg
        return self.half_range_deg > 0.0 and reach <= self.half_range_deg


def _cut(
    name: FeedPath,
    path: CablePath,
    phase: PhaseEstimate,
    frequency_hz: float,
    allowance_m: float,
    fine: _FineControl,
) -> Cut:
    wave = wavelength_m(frequency_hz, path.velocity_factor)
    advance = advance_of(name)
    exact_deg = (-advance * phase.phase_deg) % 360.0
    if exact_deg > 360.0 - WHOLE_TURN_DEG:
        exact_deg = 0.0
    exact_m = exact_deg / 360.0 * wave
    # By the whole cut: a little more than by the one that leaves some on, so on the safe side.
    u_left_deg = math.hypot(phase.u_deg, _u_of_cut_deg(exact_deg, path))
    length_m = max(0.0, exact_m - _left_on_m(u_left_deg, wave, allowance_m, fine))
    cut_deg = 360.0 * length_m / wave
    left_deg = wrap_deg(phase.phase_deg + advance * cut_deg)
    within = path.spare_m is None or length_m <= path.spare_m
    return Cut(
        path=name,
        length_m=length_m,
        length_in=length_m / METRES_PER_INCH,
        phase_left_deg=left_deg,
        phase_left_u_deg=math.hypot(phase.u_deg, _u_of_cut_deg(cut_deg, path)),
        fine_control_deg=-left_deg if fine.half_range_deg > 0.0 else 0.0,
        within_spare=within,
        note=_note(name, path, length_m, exact_m),
        exact_m=exact_m,
    )


def _u_of_cut_deg(cut_deg: float, path: CablePath) -> float:
    """Return the standard uncertainty of the phase that a cut makes, degrees."""
    return cut_deg * path.u_velocity_factor / path.velocity_factor


def _left_on_m(u_left_deg: float, wave_m: float, allowance_m: float, fine: _FineControl) -> float:
    doubt_deg = COVERAGE * u_left_deg
    if fine.half_range_deg > 0.0:
        doubt_deg = min(doubt_deg, fine.half_range_deg / 2.0)
    return max(allowance_m, doubt_deg / 360.0 * wave_m)


def _note(name: FeedPath, path: CablePath, length_m: float, exact_m: float) -> str:
    if path.spare_m is not None and length_m > path.spare_m:
        return (
            f"not possible: the {name.upper()} path has {fixed(path.spare_m, 3)} m to spare and "
            f"the cut takes {fixed(length_m, 3)} m"
        )
    if length_m == 0.0 and exact_m > 0.0:
        return (
            f"no cut: the exact length of {fixed(exact_m, 3)} m is not more than what a rough "
            "cut leaves on"
        )
    return ""


def _rank(cut: Cut, fine: _FineControl) -> tuple[bool, bool, float]:
    off_middle = (
        fine.half_range_deg > 0.0
        and abs(fine.after(cut.phase_left_deg)) > fine.half_range_deg / 2.0
    )
    return (not cut.within_spare, off_middle, cut.length_m)


def _no_cut(best: Cut, phase: PhaseEstimate) -> Cut:
    return Cut(
        path=best.path,
        length_m=0.0,
        length_in=0.0,
        phase_left_deg=phase.phase_deg,
        phase_left_u_deg=phase.u_deg,
        fine_control_deg=-phase.phase_deg,
        within_spare=True,
        note="no cut is needed: the fine control can take this phase",
        exact_m=best.exact_m,
    )


def _check_control(allowance_m: float, fine_range_deg: float, fine_now_deg: float) -> None:
    if not (math.isfinite(allowance_m) and allowance_m >= 0.0):
        raise InputError(f"The length to leave on is zero or more, not {allowance_m:g} m.")
    if not (math.isfinite(fine_range_deg) and fine_range_deg >= 0.0):
        raise InputError(f"The fine control's travel is zero or more, not {fine_range_deg:g} deg.")
    if not math.isfinite(fine_now_deg) or abs(fine_now_deg) > max(fine_range_deg / 2.0, 0.0):
        raise InputError(
            f"The fine control stands {fine_now_deg:g} deg from the middle, which is outside its "
            f"travel of {fine_range_deg:g} deg from stop to stop."
        )
