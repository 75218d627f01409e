"""Controls as a hand meets them: two stops, slack when the direction changes, a little jitter."""

from __future__ import annotations

import cmath
import math
from dataclasses import dataclass

import numpy as np


@dataclass(frozen=True, slots=True)
class ControlLaw:
    """What a control does from one stop (position 0) to the other (position 1).

    Attributes
    ----------
    level_db, phase_deg, ddm
        Total change of level (dB), phase (deg, positive advances) and DDM that is added, from
        stop to stop; all are zero in the middle.
    """

    level_db: float = 0.0
    phase_deg: float = 0.0
    ddm: float = 0.0

    def gain(self, position: float) -> complex:
        """Return the phasor at `position` (0 to 1); 1 in the middle."""
        off_centre = position - 0.5
        return cmath.rect(
            10 ** (self.level_db * off_centre / 20), math.radians(self.phase_deg * off_centre)
        )

    def fraction_for(
        self, *, change_db: float, change_deg: float, change_ddm: float
    ) -> float | None:
        """Return the part of the range that makes the one change that is not zero.

        None: this control does not change that.
        """
        changes = ((change_ddm, self.ddm), (change_deg, self.phase_deg), (change_db, self.level_db))
        wanted, per_range = next((pair for pair in changes if pair[0]), changes[-1])
        return wanted / per_range if per_range else None


@dataclass(frozen=True, slots=True)
class HandError:
    """How far a hand on a multi-turn control misses, in fractions of the control's range.

    Attributes
    ----------
    backlash
        Slack that is lost when the direction changes.
    relative, absolute
        Standard deviation of a turn: part of the turn, and what is left of the smallest turn.
    """

    backlash: float = 4e-4
    relative: float = 0.02
    absolute: float = 5e-5


@dataclass(frozen=True, slots=True)
class Turned:
    """What the hand feels after a turn: position (0 to 1) and whether it met a stop."""

    position: float
    at_stop: bool


@dataclass(slots=True)
class Control:
    """One control of the plant.

    Attributes
    ----------
    law
        What it does.
    position
        0 to 1.
    mark
        Where it stood before it was first turned, or was last restored; None while unturned.
    """

    law: ControlLaw
    position: float = 0.5
    mark: float | None = None
    _direction: int = 0

    @property
    def gain(self) -> complex:
        """Phasor that it puts on its signal."""
        return self.law.gain(self.position)

    @property
    def added_ddm(self) -> float:
        """DDM that it adds to its signal."""
        return self.law.ddm * (self.position - 0.5)

    def turn(self, fraction: float, hand: HandError, rng: np.random.Generator) -> Turned:
        """Turn by `fraction` of the range, as far as backlash, jitter and the stops allow."""
        if self.mark is None:
            self.mark = self.position
        direction = int(math.copysign(1, fraction)) if fraction else 0
        moved = abs(fraction)
        if direction and self._direction and direction != self._direction:
            moved = max(0.0, moved - hand.backlash)
        if direction:
            self._direction = direction
        spread = hand.relative * moved + (hand.absolute if moved else 0.0)
        return self._move_to(self.position + direction * moved + spread * rng.standard_normal())

    def place(self, position: float, hand: HandError, rng: np.random.Generator) -> Turned:
        """Bring it to a position that can be seen (a mark, the middle), within the jitter."""
        if self.mark is None:
            self.mark = self.position
        return self._move_to(position + hand.absolute * rng.standard_normal())

    def restore(self, hand: HandError, rng: np.random.Generator) -> Turned:
        """Bring it back to its mark and forget the mark."""
        if self.mark is None:
            return Turned(self.position, at_stop=False)
        turned = self.place(self.mark, hand, rng)
        self.mark = None
        return turned

    def _move_to(self, wanted: float) -> Turned:
        self.position = min(1.0, max(0.0, wanted))
        return Turned(self.position, at_stop=self.position != wanted)
