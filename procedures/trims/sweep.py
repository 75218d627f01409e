"""One cable from a Touchstone sweep: electrical length, loss, velocity factor, health.

A sweep is S21 through the cable, or S11 into it with the far end open (reflection +1) or shorted
(-1), in which case the wave passes the cable twice. The phase is unwrapped and a line fitted
against frequency: its slope is the group delay, and where the line meets zero frequency tells how
many whole turns the unwrapping could not see. Loss grows with the square root of frequency (skin
effect), so its line is fitted against that; what is left is ripple.

Source: transmission-line theory (textbook); checked in the tests against scikit-rf's lines.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from pathlib import Path
from typing import Final

import numpy as np
import numpy.typing as npt

from daq.errors import InputError
from procedures.trims.cable import SPEED_OF_LIGHT_M_PER_S, FarEnd

Floats = npt.NDArray[np.float64]

FEWEST_POINTS: Final = 5
DENSE_ENOUGH_TURN: Final = 0.4
"""Largest step of phase between two points, in turns; at half a turn unwrapping is a guess."""

SURE_TURN: Final = 0.25
"""The fitted line has to meet zero frequency this near to a whole turn, in turns."""


@dataclass(frozen=True, slots=True)
class Sweep:
    """A measured sweep.

    Attributes
    ----------
    name
        The file's name.
    frequency_hz
        Shape (n,), increasing.
    s
        Shape (n,), complex: S11 or S21.
    passes
        How often the wave passes the cable: 1 for S21, 2 for a reflection.
    far_end_turns
        Phase of the far end's reflection, in turns: 0.5 for a short, else 0.
    """

    name: str
    frequency_hz: Floats
    s: npt.NDArray[np.complex128]
    passes: int
    far_end_turns: float


@dataclass(frozen=True, slots=True)
class CableSweep:
    """What a sweep says of a cable at the carrier.

    Attributes
    ----------
    name
        The file's name.
    delay_deg
        Electrical length, one way, degrees at the carrier; not reduced to one turn.
    delay_u_deg
        Its standard uncertainty: root mean square distance of the phase from the fitted line,
        not divided by the number of points because ripple is not noise, and the analyser's own.
    electrical_m
        Electrical length as a length in vacuum, m.
    group_delay_s
        One way, from the slope.
    loss_db
        One way at the carrier, positive.
    ripple_db
        Peak to peak distance of the loss from its fitted line, one way.
    velocity_factor
        Physical over electrical length; None where the physical length is not known.
    """

    name: str
    delay_deg: float
    delay_u_deg: float
    electrical_m: float
    group_delay_s: float
    loss_db: float
    ripple_db: float
    velocity_factor: float | None


def read_sweep(path: Path, *, far_end: FarEnd = "open") -> Sweep:
    """Return the sweep in a Touchstone file; `far_end` matters for one port only.

    Raises
    ------
    InputError
        The file cannot be read, is no Touchstone file, or has more than two ports.
    """
    import skrf

    network = skrf.Network()
    try:
        # By this name, because a Network given a file tries first to run it as a pickle.
        network.read_touchstone(str(path))
    except OSError as error:
        raise InputError(f"{path}: {_why_unreadable(path, error)}") from error
    except Exception as error:  # scikit-rf raises whatever its parser stumbles on
        raise InputError(
            f"{path}: this is no Touchstone file, or a damaged one.",
            hint="save the sweep as .s1p (open or short at the far end) or .s2p.",
        ) from error
    ports = int(network.nports)
    if ports not in (1, 2):
        raise InputError(f"{path}: the sweep has {ports} ports; one or two were expected.")
    s = np.asarray(network.s[:, ports - 1, 0], dtype=np.complex128)
    return Sweep(
        name=path.name,
        frequency_hz=np.asarray(network.f, dtype=np.float64),
        s=s,
        passes=1 if ports == 2 else 2,
        far_end_turns=0.5 if ports == 1 and far_end == "short" else 0.0,
    )


def _why_unreadable(path: Path, error: OSError) -> str:
    if isinstance(error, FileNotFoundError):
        return "there is no such file."
    return "this is a folder." if path.is_dir() else f"it cannot be read: {error.strerror}."


def measure_sweep(
    sweep: Sweep,
    frequency_hz: float,
    *,
    physical_m: float | None = None,
    u_analyser_deg: float = 0.0,
) -> CableSweep:
    """Return the cable's electrical length and loss at the carrier.

    Parameters
    ----------
    sweep
        The measured sweep.
    frequency_hz
        Carrier; has to lie within the sweep.
    physical_m
        Length by the tape measure, if known.
    u_analyser_deg
        Standard uncertainty of the analyser's phase, as measured (both ways for a reflection).

    Raises
    ------
    InputError
        The sweep does not reach the carrier, is too coarse to unwrap, amplifies, or its phase
        does not extrapolate to a whole number of turns.
    """
    _check_sweep(sweep, frequency_hz)
    if physical_m is not None and not (math.isfinite(physical_m) and physical_m > 0.0):
        raise InputError(f"The physical length has to be positive, not {physical_m:g} m.")
    f = sweep.frequency_hz
    turns = _unwrapped_turns(sweep)
    slope, intercept, residuals = _line(f, turns)
    whole = round(intercept - sweep.far_end_turns)
    doubt = abs(intercept - sweep.far_end_turns - whole)
    if doubt > SURE_TURN:
        raise InputError(
            f"{sweep.name}: the phase meets zero frequency {doubt:.2f} turns from a whole number, "
            "so the number of whole turns in the cable is not certain.",
            hint="sweep a wider band around the carrier, and say whether the far end is open or "
            "short.",
        )
    at_carrier = intercept + slope * frequency_hz - whole - sweep.far_end_turns
    delay_turns = -at_carrier / sweep.passes
    if delay_turns <= 0.0:
        raise InputError(
            f"{sweep.name}: the phase rises with frequency, which no cable does; but with points "
            f"{_step_hz(f) / 1e6:g} MHz apart one with an electrical length above "
            f"{_longest_m(f, sweep.passes):.1f} m looks so.",
            hint="sweep with more points or over a narrower band.",
        )
    scatter_deg = 360.0 * float(np.sqrt(np.mean(residuals**2)))
    loss_db, ripple_db = _loss(sweep, frequency_hz)
    electrical_m = delay_turns * SPEED_OF_LIGHT_M_PER_S / frequency_hz
    return CableSweep(
        name=sweep.name,
        delay_deg=360.0 * delay_turns,
        delay_u_deg=math.hypot(scatter_deg, u_analyser_deg) / sweep.passes,
        electrical_m=electrical_m,
        group_delay_s=-slope / sweep.passes,
        loss_db=loss_db,
        ripple_db=ripple_db,
        velocity_factor=None if physical_m is None else physical_m / electrical_m,
    )


def _check_sweep(sweep: Sweep, frequency_hz: float) -> None:
    f = sweep.frequency_hz
    if len(f) < FEWEST_POINTS:
        raise InputError(f"{sweep.name}: {len(f)} points; at least {FEWEST_POINTS} are needed.")
    if not (np.all(np.isfinite(f)) and np.all(np.isfinite(sweep.s)) and np.all(np.diff(f) > 0.0)):
        raise InputError(f"{sweep.name}: a value is no number, or frequencies do not increase.")
    if not f[0] <= frequency_hz <= f[-1]:
        raise InputError(
            f"{sweep.name}: swept from {f[0] / 1e6:.3f} to {f[-1] / 1e6:.3f} MHz, which does not "
            f"hold the carrier, {frequency_hz / 1e6:.3f} MHz.",
        )
    if float(np.min(np.abs(sweep.s))) < 1e-6:
        raise InputError(f"{sweep.name}: next to nothing comes through; is the cable connected?")
    if float(np.median(np.abs(sweep.s))) > 1.06:
        raise InputError(
            f"{sweep.name}: more comes out of the cable than goes in.",
            hint="calibrate the analyser and sweep again.",
        )


def _unwrapped_turns(sweep: Sweep) -> Floats:
    turns = np.unwrap(np.angle(sweep.s)) / (2.0 * math.pi)
    step = float(np.median(np.abs(np.diff(turns))))
    if step > DENSE_ENOUGH_TURN:
        raise InputError(
            f"{sweep.name}: the phase turns by {360.0 * step:.0f} degrees from point to point, "
            "too much to follow.",
            hint="sweep with more points or over a narrower band.",
        )
    return np.asarray(turns, dtype=np.float64)


def _step_hz(f: Floats) -> float:
    return float(np.max(np.diff(f)))


def _longest_m(f: Floats, passes: int) -> float:
    """Return the electrical length at which the phase turns by half a turn from point to point."""
    return SPEED_OF_LIGHT_M_PER_S / (2.0 * passes * _step_hz(f))


def _line(x: Floats, y: Floats) -> tuple[float, float, Floats]:
    """Return slope, intercept at zero and residuals of the least-squares line."""
    centre = float(np.mean(x))
    spread = x - centre
    slope = float(spread @ y) / float(spread @ spread)
    mean = float(np.mean(y))
    return slope, mean - slope * centre, y - mean - slope * spread


def _loss(sweep: Sweep, frequency_hz: float) -> tuple[float, float]:
    db = -20.0 * np.log10(np.abs(sweep.s)) / sweep.passes
    slope, intercept, residuals = _line(np.sqrt(sweep.frequency_hz), np.asarray(db))
    return intercept + slope * math.sqrt(frequency_hz), float(np.ptp(residuals))
