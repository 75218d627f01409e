"""The simulated technician against plants that it has not seen, over the instruments' own lines."""

from __future__ import annotations

import statistics
from collections import deque
from collections.abc import Callable
from dataclasses import dataclass

import pytest

from daq.clock import ManualClock
from daq.roles import Action, Prompt
from sim_instruments.bench import SimulatedBench
from sim_instruments.operator import MENDING_S, PATIENCE, SimulatedOperator


@dataclass(frozen=True)
class Seen:
    value: float


@dataclass(frozen=True)
class View:
    control: str
    reading: Seen
    target: float | None
    band: float | None
    steady: bool
    key: str = "watch"


def adjust(
    bench: SimulatedBench, control: str, read: Callable[[], float], target: float, band: float
) -> tuple[int, float]:
    """Watch until the technician captures; return readings taken and the mean of the last five."""
    technician = SimulatedOperator(bench.hands)
    last: deque[float] = deque(maxlen=5)
    for count in range(1, 300):
        last.append(read())
        steady = len(last) == 5 and max(last) - min(last) < 2 * band
        view = View(control, Seen(last[-1]), target, band, steady)
        if technician.watching(view) == "capture":
            return count, statistics.fmean(last)
    raise AssertionError("never captured")


def ddm_of(bench: SimulatedBench) -> Callable[[], float]:
    session = bench.device("halvorsund-nr2").session()
    return lambda: float(session.feed(b"DDM\r").split()[1])


def vpp_of(bench: SimulatedBench, channel: int) -> Callable[[], float]:
    session = bench.device("fernmark-os4").session()
    return lambda: float(session.feed(b"MEAS:VOLT:PTP? (@%d)\n" % channel))


def test_nulls_are_found_within_a_third_of_the_band():
    """Phase anywhere in the fine control's range, 25 plants: 5 to 60 readings, all good."""
    counts = []
    for seed in range(25):
        table = {"seed": seed, "phase_error_deg": -17 + 1.4 * seed}
        bench = SimulatedBench(table, ManualClock(), receiver="course width")
        bench.hands.do("insert line", {"path": "sbo", "stage": "transmitter"})
        count, found = adjust(bench, "monitor SBO phase", ddm_of(bench), 0.0, 0.001)
        # The mean of five readings itself scatters by 0.00013.
        assert abs(found) < 0.001 / 3 + 0.0003
        counts.append(count)
    assert 10 <= statistics.median(counts) <= 40
    assert max(counts) <= 60


def test_width_is_brought_to_0155_from_far_off():
    """Width 0.3 to 1.7 of nominal, 25 plants."""
    for seed in range(25):
        table = {"seed": seed, "width_ratio": 0.3 + 1.4 * seed / 24}
        bench = SimulatedBench(table, ManualClock(), receiver="course width")
        count, found = adjust(bench, "monitor width", ddm_of(bench), 0.155, 0.001)
        assert found == pytest.approx(0.155, abs=0.001 / 3 + 0.0003)
        assert count <= 60


@pytest.mark.parametrize(
    ("channel", "control"), [(2, "course width IF level"), (4, "phase detector level")]
)
def test_levels_are_brought_to_1_5_volts(channel, control):
    """Through the oscilloscope's 8 bits: 10 plants each."""
    for seed in range(10):
        bench = SimulatedBench({"seed": seed}, ManualClock())
        _, found = adjust(bench, control, vpp_of(bench, channel), 1.5, 0.03)
        assert found == pytest.approx(1.5, abs=0.03)


def test_at_a_stop_it_captures_what_there_is():
    """A phase error of 60 degrees is out of the fine control's reach: it ends at the stop."""
    bench = SimulatedBench({"phase_error_deg": 60.0}, ManualClock(), receiver="course width")
    bench.hands.do("insert line", {"path": "sbo", "stage": "transmitter"})
    count, found = adjust(bench, "monitor SBO phase", ddm_of(bench), 0.0, 0.001)
    assert found > 0.09
    assert count < 60
    assert bench.plant.position("monitor SBO phase") == 0.0


def test_a_control_that_does_nothing_is_given_up():
    """Turning the clearance control while watching the course width."""
    bench = SimulatedBench({}, ManualClock(), receiver="course width")
    count, _ = adjust(bench, "clearance SBO level", ddm_of(bench), 0.2, 0.001)
    assert count < 60


def test_without_a_control_it_waits_for_steadiness():
    """Nothing is turned; it does not wait for ever."""
    bench = SimulatedBench({}, ManualClock())
    before = bench.plant.truth().positions

    def looks(*, steady: bool) -> int:
        technician = SimulatedOperator(bench.hands)
        view = View("", Seen(0.1), None, None, steady)
        return next(n for n in range(1, 200) if technician.watching(view) == "capture")

    assert looks(steady=True) == 5
    assert looks(steady=False) == PATIENCE
    assert bench.plant.truth().positions == before


def test_prompts_are_answered_after_doing_what_they_ask():
    """Cautions, confirmations, lengths and texts; a repeated prompt does not cut again."""
    bench = SimulatedBench({}, ManualClock())
    technician = SimulatedOperator(bench.hands, "run 1")
    assert technician.name == "technician (simulated)"
    assert technician.answer(Prompt("a", "acknowledge", "Danger", caution="RF")) is True
    line_in = Action("insert line", {"path": "sbo", "stage": "transmitter"})
    assert technician.answer(Prompt("b", "confirm", "Line in", action=line_in)) is True
    assert bench.plant.truth().lines_in == ["sbo transmitter"]
    cut = Prompt(
        "c",
        "number",
        "Cut",
        "",
        Action("cut", {"path": "csb", "stage": "monitor", "length_m": 0.4}),
    )
    length_m = technician.answer(cut)
    assert length_m == pytest.approx(0.4, abs=0.005)
    assert SimulatedOperator(bench.hands, "run 1").answer(cut) == length_m
    assert len(bench.plant.truth().cuts) == 1
    SimulatedOperator(bench.hands, "run 2").answer(cut)
    assert len(bench.plant.truth().cuts) == 2
    assert technician.answer(Prompt("d", "number", "How much?", suggestion=0.7)) == 0.7
    assert isinstance(technician.answer(Prompt("e", "text", "Notes?")), str)
    technician.tell("hello")


def test_a_step_that_fails_a_third_time_is_given_up():
    """Each step has its own three; looking at the cable takes plant time."""
    clock = ManualClock()
    technician = SimulatedOperator(SimulatedBench({}, clock).hands, clock=clock)
    began_ns = clock.monotonic_ns()

    def tries_again(key: str) -> bool | float | str:
        return technician.answer(Prompt(key, "confirm", "No answer. Mend it and try again?"))

    assert [tries_again(f"width/retry {number}") for number in (1, 2, 3)] == [True, True, False]
    assert tries_again("line/retry 1") is True
    assert tries_again("width/retry 12") is False
    assert clock.monotonic_ns() - began_ns == 3 * MENDING_S * 1e9
