"""What a run's last verdicts come to: how many lines are in, and which are out or undecided."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import Final

from daq.log.entry import Kind
from daq.log.reader import LogReader
from procedures.judge import Verdict
from procedures.record.figures import interval, unit_of, with_uncertainty
from procedures.record.judged import last_verdict
from procedures.record.model import FoundLeft
from procedures.record.model import Verdict as VerdictLine
from procedures.record.pairing import summarise
from procedures.record.steps import read_steps
from procedures.record.warn import wrong_codes

_DEGREE: Final = "°"


@dataclass(frozen=True, slots=True)
class Judged:
    """One line of the record's summary as it was judged last.

    Attributes
    ----------
    point, state
        As the record has them; `state` is empty for the normal one.
    verdict
        The one that matters most of those passed on its last measurement.
    """

    point: str
    state: str
    verdict: VerdictLine

    def in_words(self) -> str:
        """Return ``'course line': 0.00270 ± 0.00060, out of tolerance (-0.002 to 0.002)``."""
        said, quantity = self.verdict, self.verdict.quantity
        unit = unit_of(quantity)
        gap = "" if unit in ("", _DEGREE) else " "
        state = f", {self.state}" if self.state else ""
        value = f"{with_uncertainty(quantity, said.value, said.u)}{gap}{unit}"
        limit = f"{interval(quantity, said.low, said.high)}{gap}{unit}"
        return f"'{self.point}'{state}: {value}, {said.verdict} ({limit})"

    def as_data(self) -> dict[str, object]:
        """Return the line as JSON can hold it; SI."""
        said = self.verdict
        return {
            "point": self.point,
            "state": self.state,
            "quantity": said.quantity,
            "value": said.value,
            "u": said.u,
            "low": said.low,
            "high": said.high,
            "source": said.source,
            "verdict": said.verdict,
            "words": self.in_words(),
        }


@dataclass(frozen=True, slots=True)
class Verdicts:
    """The judged lines of a run's record, by what was said of each last.

    Attributes
    ----------
    within, out, undecided
        In tolerance, out of it, and too close to call.
    wrong_codes
        Identifications that are not the station's, in words: they are right or wrong without a
        limit.
    """

    within: tuple[Judged, ...]
    out: tuple[Judged, ...]
    undecided: tuple[Judged, ...]
    wrong_codes: tuple[str, ...] = ()

    def as_data(self) -> dict[str, object]:
        """Return how many are in, and the others one by one."""
        return {
            "in": len(self.within),
            "out": [line.as_data() for line in self.out],
            "undecided": [line.as_data() for line in self.undecided],
            "wrong_codes": list(self.wrong_codes),
        }


def verdicts_of(log_path: Path, run: int) -> Verdicts:
    """Return the verdicts of a run; the same lines that its record counts.

    Raises
    ------
    InputError
        There is no such log.
    LogDamaged
        A row is not what this program writes.
    """
    with LogReader(log_path) as reader:
        steps = read_steps(list(reader.entries(run=run, kind=Kind.OUTCOME)))
    lines = [_judged(line) for line in summarise(steps.measured, steps.adjustments)]
    judged = [line for line in lines if line is not None]

    def that_are(verdict: Verdict) -> tuple[Judged, ...]:
        return tuple(line for line in judged if line.verdict.verdict == verdict)

    return Verdicts(
        within=that_are(Verdict.IN_TOLERANCE),
        out=that_are(Verdict.OUT_OF_TOLERANCE),
        undecided=that_are(Verdict.TOO_CLOSE),
        wrong_codes=tuple(wrong_codes(steps)),
    )


def _judged(line: FoundLeft) -> Judged | None:
    verdict = last_verdict(line)
    return None if verdict is None else Judged(line.point, line.variant, verdict)
