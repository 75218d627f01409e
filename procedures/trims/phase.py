"""The phase between SBO and CSB from one normal and one quadrature reading.

With phi the phase by which SBO leads CSB, and D the DDM that the same point would show in phase
(D carries the sign of the wanted predominance), the readings are, to first order in S/C,

    normal                            N = D cos(phi)
    line of angle theta in SBO        Q = g D cos(phi - theta)
    line of angle theta in CSB        Q = (D / g) cos(phi + theta)

where g = 10^(-loss/20): loss in the SBO path weakens SBO, loss in the CSB path weakens the carrier
and so strengthens DDM. Both together give phi on the whole circle, the sense included. Textbook
transmission-line and AM theory; checked in the tests against a demodulated waveform.

The linear form is good to 0.12 per cent of D at D = 0.155 and phi = 20 degrees, and to 5 per cent
at D = 0.4 and phi = 60 degrees (derived numerically from the exact envelope). At a null it is
exact by symmetry, so a loop that ends at a null does not feel it.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import Final, Literal

from daq.errors import InputError
from daq.reading import IMPOSSIBLE_DDM
from daq.rounding import fixed

FeedPath = Literal["sbo", "csb"]
Tone = Literal[90, 150]

FOLDED_DDM: Final = 0.975 * IMPOSSIBLE_DDM
"""A reading this large is refused: a tone's depth has folded or is about to."""

STEEP_DDM: Final = 0.3
"""Above this the envelope's second-order terms bend the reading by more than a few per cent."""

MIN_LINE_SINE: Final = math.sin(math.radians(10.0))
"""A line nearer than 10 degrees to 0 or 180 degrees says nothing about the sense."""

_DB_TO_NEPER: Final = math.log(10.0) / 20.0


@dataclass(frozen=True, slots=True)
class PhaseEstimate:
    """By how much SBO leads CSB.

    Attributes
    ----------
    phase_deg
        -180 (excluded) to 180; positive = SBO leads.
    u_deg
        Standard uncertainty of `phase_deg`.
    reversed
        The sense is reversed: the normal reading shows the wrong predominance.
    ddm_in_phase
        D: the DDM that the point would show with SBO and CSB in phase, signed by the wanted
        predominance (positive = 150 Hz).
    warnings
        What makes the estimate less good than its uncertainty says, in words.
    """

    phase_deg: float
    u_deg: float
    reversed: bool
    ddm_in_phase: float
    warnings: tuple[str, ...] = ()


def phase_from_readings(  # noqa: PLR0913 - two readings and a line, each with its uncertainty
    normal_ddm: float,
    quadrature_ddm: float,
    *,
    wanted_tone: Tone,
    line_in: FeedPath,
    line_angle_deg: float = 90.0,
    line_loss_db: float = 0.0,
    u_normal: float = 0.0,
    u_quadrature: float = 0.0,
    u_line_angle_deg: float = 0.0,
    u_line_loss_db: float = 0.0,
) -> PhaseEstimate:
    """Return the phase of SBO against CSB on the whole circle.

    Parameters
    ----------
    normal_ddm, quadrature_ddm
        Readings without and with the line, DDM ratios, positive = 150 Hz predominates.
    wanted_tone
        Which tone has to predominate at this point, 90 or 150.
    line_in
        The path in which the line was inserted.
    line_angle_deg
        Electrical length of the line at the carrier; any angle that is not near 0 or 180.
    line_loss_db
        Loss of the line, positive; corrected before anything else.
    u_normal, u_quadrature, u_line_angle_deg, u_line_loss_db
        Standard uncertainties, taken as independent.

    Returns
    -------
    PhaseEstimate
        With the uncertainty by first-order propagation (JCGM 100:2008, 5.1.2), the partial
        derivatives in closed form.

    Raises
    ------
    InputError
        Both readings are zero or lost in their uncertainty, a reading is folded or no number, or
        the line says nothing about the sense.
    """
    _check_readings(normal_ddm, quadrature_ddm)
    _check_line(wanted_tone, line_in, line_angle_deg, line_loss_db)
    _check_uncertainties(u_normal, u_quadrature, u_line_angle_deg, u_line_loss_db)
    theta = math.radians(line_angle_deg)
    sine, cosine = math.sin(theta), math.cos(theta)
    turn = 1.0 if line_in == "sbo" else -1.0
    wanted = 1.0 if wanted_tone == 150 else -1.0
    gain = math.exp(turn * _DB_TO_NEPER * line_loss_db)
    lossless = gain * quadrature_ddm

    in_phase = wanted * normal_ddm
    across = wanted * turn * (lossless - normal_ddm * cosine) / sine
    size = math.hypot(in_phase, across)
    if size == 0.0:
        raise InputError(
            "Both readings are zero, so they do not say how far SBO is from CSB.",
            hint="raise the SBO level, or read at a point further off the course line.",
        )
    # Partial derivatives of `across`, each times its uncertainty, then of phi = atan2(across, x).
    radial, tangent = in_phase / size, across / size
    by_normal = (radial * -wanted * turn * cosine / sine - tangent * wanted) * u_normal
    by_quadrature = radial * gain / sine * u_quadrature
    by_angle = radial * (normal_ddm - lossless * cosine) / sine**2 * math.radians(u_line_angle_deg)
    by_loss = radial * lossless * _DB_TO_NEPER / sine * u_line_loss_db
    u_rad = math.hypot(by_normal, by_quadrature, by_angle, by_loss) / size
    _check_not_lost(size, u_normal, u_quadrature)
    phase_deg = math.degrees(math.atan2(across, in_phase))
    return PhaseEstimate(
        phase_deg=180.0 if phase_deg == -180.0 else phase_deg,
        u_deg=math.degrees(u_rad),
        reversed=in_phase < 0.0,
        ddm_in_phase=wanted * size,
        warnings=_warnings(normal_ddm, quadrature_ddm),
    )


def in_the_far_field(
    phase: PhaseEstimate, place_phase_deg: float, u_place_phase_deg: float = 0.0
) -> PhaseEstimate:
    """Return the far field's phase from one estimated near the array.

    Parameters
    ----------
    phase
        As found at the place.
    place_phase_deg, u_place_phase_deg
        By how much SBO leads there when the far field is in phase, and its standard uncertainty.
    """
    left_deg = math.remainder(phase.phase_deg - place_phase_deg, 360.0)
    return replace(
        phase,
        phase_deg=180.0 if left_deg == -180.0 else left_deg,
        u_deg=math.hypot(phase.u_deg, u_place_phase_deg),
        reversed=abs(left_deg) > 90.0,
    )


def quadrature_in_phase(
    ddm_in_phase: float, place_phase_deg: float, *, line_in: FeedPath, line_loss_db: float = 0.0
) -> float:
    """Return what a place reads with the line in when the far field is in phase, DDM.

    Zero where the place itself adds no phase. The line is taken as a quarter wave.
    """
    turn = 1.0 if line_in == "sbo" else -1.0
    gain = math.exp(-turn * _DB_TO_NEPER * line_loss_db)
    return turn * gain * ddm_in_phase * math.sin(math.radians(place_phase_deg))


def _check_readings(normal_ddm: float, quadrature_ddm: float) -> None:
    for name, value in (("normal", normal_ddm), ("quadrature", quadrature_ddm)):
        if not math.isfinite(value):
            raise InputError(f"The {name} reading is {value}, which is no number.")
        if abs(value) >= FOLDED_DDM:
            raise InputError(
                f"The {name} reading is {fixed(value, 4)} DDM. Near {IMPOSSIBLE_DDM} a tone's "
                "depth has folded and the reading no longer follows the phase.",
                hint="lower the SBO level, or read nearer to the course line.",
            )


def _check_line(
    wanted_tone: float, line_in: str, line_angle_deg: float, line_loss_db: float
) -> None:
    if wanted_tone not in (90, 150):
        raise InputError(f"The wanted tone is 90 or 150, not {wanted_tone}.")
    if line_in not in ("sbo", "csb"):
        raise InputError(f"The line is in the sbo or the csb path, not in {line_in!r}.")
    if (
        not math.isfinite(line_angle_deg)
        or abs(math.sin(math.radians(line_angle_deg))) < MIN_LINE_SINE
    ):
        raise InputError(
            f"A line of {line_angle_deg:g} degrees says nothing about the sense of the phase.",
            hint="use a quarter-wave line, or one that is well away from 0 and 180 degrees.",
        )
    if not (math.isfinite(line_loss_db) and line_loss_db >= 0.0):
        raise InputError(f"The loss of a line is zero or more dB, not {line_loss_db:g}.")


def _check_uncertainties(*uncertainties: float) -> None:
    if not all(math.isfinite(u) and u >= 0.0 for u in uncertainties):
        raise InputError("A standard uncertainty is zero or a positive number.")


def _check_not_lost(size: float, u_normal: float, u_quadrature: float) -> None:
    noise = 2.0 * max(u_normal, u_quadrature)
    if size <= noise:
        raise InputError(
            f"The two readings together amount to {fixed(size, 4)} DDM, which is within their "
            f"own uncertainty (k=2: {fixed(noise, 4)}).",
            hint="raise the SBO level, or average more readings.",
        )


def _warnings(normal_ddm: float, quadrature_ddm: float) -> tuple[str, ...]:
    largest = max(abs(normal_ddm), abs(quadrature_ddm))
    if largest <= STEEP_DDM:
        return ()
    return (
        f"a reading of {fixed(largest, 3)} DDM is so large that it no longer follows the phase in "
        "proportion; expect to repeat the trim",
    )
