"""A phasing stopped or interrupted at any moment, and gone on with, ends as if it had not been."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from contextlib import contextmanager, suppress
from dataclasses import dataclass, field
from itertools import repeat
from pathlib import Path

import pytest

from daq.errors import Aborted, InputError, Refused
from daq.journal import recorded_outcomes
from daq.log.entry import Kind
from daq.log.reader import LogReader
from daq.roles import Answer, Operator, Prompt, WatchCommand, WatchView
from procedures.engine.going_on import earlier_of
from procedures.engine.left_open import happened, left_open, open_hazards
from procedures.engine.runner import CutOff, times_ended
from sim_instruments.operator import SimulatedOperator
from tests.support.ground import ground
from tests.support.in_process import InProcessBench
from tests.support.operators import Minded
from tests.support.plants import demo_station

PLANTS: Mapping[str, Mapping[str, object]] = {
    "a cut": {"phase_error_deg": 130.0},
    "no cut": {"phase_error_deg": 6.0},
}


PHASING = "phasing/monitor/"


@dataclass
class Stops:
    """Stops at the question or the watch of a number in phasing, and once phasing is done.

    Who stops a watch has turned its control the wrong way before.

    Attributes
    ----------
    at
        Number of the question or watch; -1 for none.
    interrupted_at
        Number of the question at the end, whether something is put back, that Ctrl-C answers.
    """

    bench: InProcessBench
    inner: Operator
    at: int = -1
    interrupted_at: int = -1
    count: int = 0
    put_back: int = 0
    began: bool = False
    watched: set[str] = field(default_factory=set)

    @property
    def name(self) -> str:
        return self.inner.name

    def answer(self, prompt: Prompt) -> Answer:
        if prompt.key.startswith("put back/"):
            self.put_back += 1
            if self.put_back - 1 == self.interrupted_at:
                raise KeyboardInterrupt
        elif self._now(prompt.key):
            raise Aborted("Stopped.")
        return self.inner.answer(prompt)

    def watching(self, view: WatchView) -> WatchCommand:
        first = view.key not in self.watched
        self.watched.add(view.key)
        if first and self._now(view.key):
            self.bench.sim.hands.do("turn", {"control": view.control, "by": 0.35})
            return "abort"
        return self.inner.watching(view)

    def tell(self, text: str) -> None:
        self.inner.tell(text)

    def _now(self, key: str) -> bool:
        if not key.startswith(PHASING):
            return self.began
        self.began = True
        self.count += 1
        return self.count - 1 == self.at


@contextmanager
def fresh(folder: Path, plant: str) -> Iterator[InProcessBench]:
    folder.mkdir()
    with InProcessBench.make(demo_station(), PLANTS[plant], log=folder / "x.tblog") as made:
        yield made


def phased(bench: InProcessBench) -> Stops:
    """Go on with run 1 until phasing is done."""
    ended = times_ended(bench.writer.path, 1)
    who = Stops(bench, SimulatedOperator(bench.sim.hands, f"run 1, taken up {ended}"))
    assert bench.resume(1, who).result in ("aborted", "finished")
    return who


def ends_in_phase(bench: InProcessBench, cuts: int) -> None:
    truth = bench.sim.plant.truth()
    assert (len(truth.cuts), truth.lines_in) == (cuts, [])
    with LogReader(bench.writer.path) as reader:
        assert open_hazards(reader, reader.run(1)) == ()
        rows = recorded_outcomes(happened(reader, 1))
    judged = {}
    for row in rows:
        request = row.body["request"]
        if isinstance(request, dict) and request["do"] == "judge" and row.key.startswith(PHASING):
            judged[str(request["title"]).split(", ")[-1].split(" ")[0]] = request["value"]
    # The very last of each that holds.
    assert abs(float(judged["quadrature"])) <= 0.001
    # The line at hand is off by what its null cannot see.
    assert truth.phase_deg == pytest.approx(0.0, abs=6.0)


@pytest.mark.parametrize("plant", PLANTS)
def test_a_phasing_stopped_anywhere_is_taken_up_to_the_same_end(plant: str, tmp_path: Path) -> None:
    with fresh(tmp_path / "whole", plant) as bench:
        whole = Stops(bench, bench.technician(1))
        bench.run("monitor-baseline", whole)
        cuts = len(bench.sim.plant.truth().cuts)
        ends_in_phase(bench, cuts)
    assert whole.count > 4
    for at in range(whole.count):
        with fresh(tmp_path / str(at), plant) as bench:
            # Where something is put back, Ctrl-C instead of every second answer.
            stops = Stops(bench, bench.technician(1), at=at, interrupted_at=at % 2 - 1)
            with suppress(CutOff):
                bench.run("monitor-baseline", stops)
            phased(bench)
            ends_in_phase(bench, cuts)


@pytest.mark.parametrize("question", [0, 1])
def test_ctrl_c_while_it_is_put_back_is_told_and_what_was_put_back_is_set_anew(
    question: int,
) -> None:
    """The carrier may be on again: nothing is read as if it were still off."""
    with ground({"transmit_phase_error_deg": 6.0, "clearance_phase_error_deg": 4.0}) as on:
        interrupted = Stops(on.bench, on.bench.technician(1), interrupted_at=question)
        stop = {"phasing/course/round 1/line out": Aborted("Stopped.")}
        told = Minded(interrupted, answers=stop)
        with pytest.raises(CutOff) as cut_off:
            on.bench.run("transmit-phasing", told)
        assert len(cut_off.value.open_hazards) == 2 - question
        assert "resume 1" in told.told[-1]
        with LogReader(on.bench.writer.path) as reader:
            assert reader.run(1).ended is None
            assert open_hazards(reader, reader.run(1)) == cut_off.value.open_hazards
        again = Minded(SimulatedOperator(on.bench.sim.hands, "run 1, again"))
        end = on.bench.resume(1, again)
        truth = on.plant.truth()
        keys = again.asked_keys
        assert keys[: 2 - question] == [f"put back/{n}.1" for n in range(1, 3 - question)]
        # The fine control was turned, and nothing that holds was adjusted: all is read again.
        assert keys[2 - question] == "sense/receiver/before/connect"
        assert "phasing/course/alone/off" in keys
        assert sum("CAUTION: when the run ended" in said for said in again.told) == 2 - question
        assert (end.result, truth.lines_in, truth.cuts) == ("finished", [], [])
        assert truth.transmit_phase_deg["course"] == pytest.approx(0.0, abs=2.5)


@pytest.mark.parametrize("question", [0, 1])
def test_ctrl_c_while_it_is_put_back_after_a_cut_is_no_end_to_be_taken_up(question: int) -> None:
    with ground({"transmit_phase_error_deg": 130.0}) as on:
        cuts = Stops(on.bench, on.bench.technician(1), interrupted_at=question)
        stops = Minded(cuts, answers={"phasing/course/round 2/line out": Aborted("Stopped.")})
        with pytest.raises(CutOff) as cut_off:
            on.bench.run("transmit-phasing", stops)
        assert not cut_off.value.resumable
        assert "resume" not in stops.told[-1]
        with LogReader(on.bench.writer.path) as reader:
            (left,) = left_open(reader)
        assert not left.resumable
        with pytest.raises(InputError, match="a cable was cut since"):
            on.bench.resume(1)


def test_what_is_still_not_put_back_is_not_taken_up(tmp_path: Path) -> None:
    """Nothing is read with the line in that was read without."""
    with fresh(tmp_path / "x", "no cut") as bench:
        not_yet: dict[str, Answer | BaseException] = {
            "put back/1.1": False,
            "round 1/line out": Aborted("Stopped."),
        }
        stops = Minded(bench.technician(1), answers=not_yet)
        assert bench.run("monitor-baseline", stops).open_hazards
        with pytest.raises(Refused, match="not taken up: the quarter-wave line is in"):
            bench.resume(1, Minded(bench.technician(1), answers=not_yet))
        interrupted = Stops(bench, bench.technician(1), interrupted_at=0)
        with pytest.raises(CutOff) as cut_off:
            bench.resume(1, interrupted)
        assert len(cut_off.value.open_hazards) == 1
        phased(bench)
        ends_in_phase(bench, 0)


def test_a_run_is_not_gone_on_with_once_a_later_one_changed_the_station(tmp_path: Path) -> None:
    with fresh(tmp_path / "x", "no cut") as bench:
        stop = {"round 1/line out": Aborted("Stopped.")}
        bench.run("monitor-baseline", Minded(bench.technician(1), answers=stop))
        untouched = Minded(bench.technician(2), answers={"round 1/line in": False})
        bench.run("monitor-baseline", untouched)
        assert earlier_of_run_1(bench) is None
        turns = Minded(bench.technician(3), commands={"/null": repeat("abort")})
        bench.run("monitor-baseline", turns)
        with pytest.raises(Refused, match=r"run 3 changed the station since .* was turned"):
            bench.resume(1)
        bench.writer.append(
            4,
            Kind.OUTCOME,
            "x/cut",
            {"request": {"do": "number", "verb": "cut"}, "outcome": {"answer": 0.2}},
        )
        with pytest.raises(Refused, match=r"run 4 changed the station since .*a cable was cut"):
            bench.resume(3)


def earlier_of_run_1(bench: InProcessBench) -> Refused | None:
    with LogReader(bench.writer.path) as reader:
        try:
            earlier_of(reader, 1)
        except Refused as refusal:
            return refusal
    return None
