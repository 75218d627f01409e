"""Many blocks into one answer, in constant memory.

Each estimate is the mean of the blocks' estimates, weighted by their inverse variances. For
depths, DDM and SDM this loses nothing against one fit of the whole record, because a block's
amplitudes are as good as its share of the samples; and it needs no tone to hold its phase for an
hour, as one fit would. Tone frequencies come out less sharp than one fit would give them, still to
far better than a millihertz.

What a coarse converter's rounding adds without noise is the same in every block as long as the
tones keep their places: the mean does not lessen that part (it overstates it where they slip).

The ident's depth and frequency are those of the blocks in which it is keyed on. Between
transmissions a block may show a trace at the same place (a leak past the key, or a line of a coarse
converter), each with a small uncertainty because the whole block holds it: no part of the mean.

Where blocks scatter clearly more than their own uncertainties the quantity has moved: the mean's
uncertainty is widened by the ratio, and a warning says so.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from typing import Final

import numpy as np

from daq.samples.block import Block
from daq.samples.cautions import cautions
from daq.samples.lowpass import Floats
from daq.samples.model import ESTIMATES, Analysis, Estimate
from daq.samples.morse import decode

_PHASE_PERIOD_DEG: Final = 120.0
_MORSE_S: Final = 3.0
_CLEARLY: Final = 4.0
_ON: Final = 0.5
"""An ident is on in blocks with this part of the greatest depth, as rows of a block are told."""
_COVERAGE: Final = 2.0
"""Standard uncertainties by which the greatest depth may be too great by noise."""
_IDENT: Final = ("ident_depth", "ident_hz")


@dataclass(slots=True)
class _Mean:
    """Running weighted mean of one quantity; values are kept relative to the first."""

    period: float | None
    first: float = 0.0
    count: int = 0
    weight: float = 0.0
    sum: float = 0.0
    squares: float = 0.0
    common: float = 0.0
    common_squares: float = 0.0

    def add(self, one: Estimate) -> None:
        if self.count == 0:
            self.first = one.value
        away = one.value - self.first
        if self.period is not None:
            away = (away + self.period / 2.0) % self.period - self.period / 2.0
        weight = 1.0 / max(one.u, 1e-300) ** 2
        self.count += 1
        self.weight += weight
        self.sum += weight * away
        self.squares += weight * away**2
        self.common += weight * one.common_u
        self.common_squares += (weight * one.common_u) ** 2

    def moved(self) -> float:
        """Return the ratio by which blocks scatter beyond their uncertainty; 1 if not clearly."""
        if self.count < 2:
            return 1.0
        freedom = self.count - 1
        chi2 = (self.squares - self.sum**2 / self.weight) / freedom
        return float(np.sqrt(chi2)) if chi2 > 1.0 + _CLEARLY * np.sqrt(2.0 / freedom) else 1.0

    def result(self) -> Estimate:
        value = self.first + self.sum / self.weight
        if self.period is not None:
            value = (value + self.period / 2.0) % self.period - self.period / 2.0
        own = max(self.weight - self.common_squares, 0.0) * self.moved() ** 2
        u = float(np.sqrt(own + self.common**2)) / self.weight
        return Estimate(value, u, self.common / self.weight)


@dataclass(slots=True)
class Combined:
    """Collects blocks of one record; give them in order."""

    blocks: int = 0
    last: Analysis | None = None
    samples: int = 0
    step_s: float = 0.0
    means: dict[str, _Mean] = field(default_factory=dict)
    envelopes: list[Floats] = field(default_factory=list)
    idents: list[tuple[Estimate, Estimate]] = field(default_factory=list)

    def add(self, block: Block) -> None:
        """Take one more block into account."""
        # Most records are one block, which is its own mean.
        if self.blocks == 1 and self.last is not None:
            self._average(self.last)
        self.blocks += 1
        self.last = block.analysis
        self.samples += block.analysis.samples
        self.step_s = block.step_s
        self.envelopes.append(block.ident_envelope.astype(np.float32))
        depth, hz = block.analysis.ident_depth, block.analysis.ident_hz
        if depth is not None and hz is not None:
            self.idents.append((depth, hz))
        if self.blocks > 1:
            self._average(block.analysis)

    def _average(self, analysis: Analysis) -> None:
        for name in ESTIMATES:
            one: Estimate | None = getattr(analysis, name)
            if one is not None and name not in _IDENT:
                period = _PHASE_PERIOD_DEG if name == "tone_phase_deg" else None
                self.means.setdefault(name, _Mean(period)).add(one)

    def result(self) -> Analysis:
        """Return the analysis of the whole record.

        Raises
        ------
        ValueError
            If no block was added.
        """
        if self.last is None:
            raise ValueError("no block was added")
        text, wpm = self._morse()
        if self.blocks == 1 and text is None:
            return self.last
        if self.blocks == 1:
            return replace(self.last, ident_text=text, ident_wpm=wpm)
        means = self.means | self._ident_means()
        whole = replace(
            self.last,
            **{name: mean.result() for name, mean in means.items()},  # type: ignore[arg-type]
            duration_s=self.samples / self.last.rate_hz,
            samples=self.samples,
            ident_text=text,
            ident_wpm=wpm,
        )
        moved = self.means["ddm"].moved()
        extra = (
            f"DDM moved during the record: blocks scatter {moved:.1f} times their uncertainty.",
        )
        return replace(whole, warnings=cautions(whole) + (extra if moved > 1.0 else ()))

    def _ident_means(self) -> dict[str, _Mean]:
        """Return the means over the blocks in which the ident is keyed on; none without an ident.

        Its depth while on cannot be told before the last block: it may be in that one only.
        """
        if not self.idents:
            return {}
        greatest = max(depth.value - _COVERAGE * depth.u for depth, _ in self.idents)
        means = {name: _Mean(None) for name in _IDENT}
        for both in self.idents:
            if both[0].value > _ON * greatest:
                for name, one in zip(_IDENT, both, strict=True):
                    means[name].add(one)
        return means

    def _morse(self) -> tuple[str | None, float | None]:
        envelope = np.concatenate(self.envelopes).astype(np.float64)
        if not self.idents or len(envelope) * self.step_s < _MORSE_S:
            return None, None
        message = decode(envelope, self.step_s)
        return (None, None) if message is None else (message.text, message.wpm)
