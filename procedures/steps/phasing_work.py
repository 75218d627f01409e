"""What one phasing carries from round to round, and the line that goes in and comes out again."""

from __future__ import annotations

import math
from dataclasses import dataclass, field

from daq.errors import InputError, Refused
from daq.measurement import Measurement
from daq.roles import Action
from daq.station import PathName, Phasing, Point
from procedures.engine.bench import Bench
from procedures.engine.undo_words import cable_words
from procedures.judge import Limit
from procedures.record.words import TAKEN_AGAIN
from procedures.show import said
from procedures.steps.setting import around
from procedures.trims.phase import PhaseEstimate, quadrature_in_phase


@dataclass(frozen=True, slots=True)
class Made:
    """A cut that was made.

    Attributes
    ----------
    key
        Step in which it was made.
    path, cut_m
        Which path was shortened, and by how much as was entered.
    before, spare_m
        The phase before it, and what that path had to spare.
    """

    key: str
    path: PathName
    cut_m: float
    before: PhaseEstimate
    spare_m: float


@dataclass
class Work:
    """What one phasing carries from round to round.

    Attributes
    ----------
    bench, key, phasing, point
        Whose run it is, the keys' beginning, the table, and the point that is read.
    spare_m
        What is left to cut, by path.
    cuts
        What was cut so far.
    unchecked
        The last cut, until the phase after it has been read.
    fine_moved
        The fine control is no longer known to stand in the middle.
    """

    bench: Bench
    key: str
    phasing: Phasing
    point: Point
    spare_m: dict[PathName, float]
    cuts: list[Made] = field(default_factory=list)
    unchecked: Made | None = None
    fine_moved: bool = False

    @property
    def fine_may_be_away(self) -> bool:
        """Whether the fine control was turned in a part of the run that holds no more."""
        return self.bench.may_be_away(self.phasing.fine_control)

    def null_limit(self, target: float) -> Limit:
        """Return the interval in which the point has to read with the line in."""
        return around(
            target,
            self.phasing.null,
            f"{self.point.name} with the line in",
            source="common practice, no source",
        )

    def null_target(self, phase: PhaseEstimate) -> float:
        """Return what the point reads with the line in when the far field is in phase."""
        phasing = self.phasing
        if phasing.place_phase_deg == 0.0:
            return 0.0
        return quadrature_in_phase(
            phase.ddm_in_phase,
            phasing.place_phase_deg,
            line_in=phasing.line_in,
            line_loss_db=phasing.line_loss_db,
        )

    def cable(self, path: PathName) -> str:
        """Return how hands and technician name a path: those of course need no word for it."""
        return path if self.phasing.carrier == "course" else f"{self.phasing.carrier} {path}"

    @property
    def width_limit(self) -> Limit:
        """The interval in which the point has to read with the line out; may raise Refused."""
        if self.point.target is None:
            raise Refused(f"The point '{self.point.name}' has no target to be set to.")
        return around(self.point.target, self.phasing.width_band, self.point.name)


def ask_again(work: Work, key: str, question: str, nothing: InputError) -> None:
    """Say what to look at when a pair of readings says nothing, and ask whether to read again.

    Parameters
    ----------
    key
        Under which the pair was read.
    question
        Step of the question; empty where it is not asked any more.
    nothing
        Why the pair says nothing.

    Raises
    ------
    Refused
        It was answered with no, or not asked any more.
    """
    phasing = work.phasing
    where = f"the {cable_words(work.cable(phasing.line_in))} path at the {phasing.line_stage}"
    look = (
        f"Is the receiver connected to '{work.point.name}', is the line in {where}, is the "
        f"{phasing.carrier} carrier on?"
    )
    if not question or not work.bench.confirm(
        question, f"{nothing.message} {look} Mend it and take both readings again?"
    ):
        raise Refused(nothing.message, hint=look)
    _void(work, key, nothing.message)


def is_surely_in(work: Work, key: str, normal: Measurement, quadrature: Measurement) -> bool:
    """Ask whether the line is in when it has changed nothing; False: both are to be read again.

    At 45 and at 135 degrees the two readings are alike with the line in, so it is only asked.
    """
    alike = abs(quadrature.value - normal.value) <= 2.0 * math.hypot(normal.u, quadrature.u)
    if not alike or work.bench.confirm(
        f"{key}/line surely in",
        f"The reading with the line is the one without it, {said(normal)}. That can be, but mostly "
        "the line is not where it should be. Is it surely in?",
    ):
        return True
    _void(work, key, "the line was not in")
    return False


def _void(work: Work, key: str, why: str) -> None:
    """Note that a pair of readings does not count."""
    void = [f"{key}/normal", f"{key}/quadrature"]
    work.bench.note(f"{key}/void", TAKEN_AGAIN, {"void": void, "why": why})


class quarter_wave_line:  # noqa: N801 - reads as a statement: with quarter_wave_line(...)
    """The quarter-wave line is in: ask for it, remind of it, and see it out again."""

    def __init__(self, work: Work, key: str) -> None:
        phasing = work.phasing
        self._bench = work.bench
        self._key = key
        cable = work.cable(phasing.line_in)
        self._where = f"the {cable_words(cable)} path at the {phasing.line_stage}"
        self._arguments = {"path": cable, "stage": phasing.line_stage}
        self._reminder = work.bench.false_guidance(
            key,
            f"the quarter-wave line is in {self._where}; the radiated guidance is false",
            Action("remove line", self._arguments),
        )

    def __enter__(self) -> None:
        try:
            self._bench.require(
                f"{self._key} in",
                f"Insert the quarter-wave line in {self._where}.",
                action=Action("insert line", self._arguments),
            )
        except Refused:
            raise  # it is not in: that was the answer
        except BaseException:
            # The run stops at the question, when the line may be in already.
            self._reminder.__enter__()
            raise
        self._reminder.__enter__()

    def __exit__(self, kind: object, error: BaseException | None, trace: object) -> None:
        if error is not None:
            # The reminder stays: whoever ends the run still has to see the line.
            return
        self._bench.require(
            f"{self._key} out",
            f"Take the quarter-wave line out of {self._where} and restore the connection.",
            action=Action("remove line", self._arguments),
        )
        self._reminder.__exit__(None, None, None)
