"""A run that was stopped, or refused by an answer, is taken up again; no other that ended is."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator
from itertools import repeat
from pathlib import Path

import pytest

from daq.errors import Aborted, InputError
from daq.log.entry import Kind
from daq.log.reader import LogReader
from daq.roles import Action, Answer, Prompt
from daq.station import parse_station
from procedures.engine.hazards import Hazard
from procedures.engine.left_open import left_open, open_hazards
from procedures.engine.runner import RunEnd, times_ended
from procedures.engine.taking_up import TakeUp, Trail, refused_at, stopped_at
from procedures.record.collect import collect
from sim_instruments.operator import SimulatedOperator
from tests.support.in_process import InProcessBench
from tests.support.operators import Interrupted, Minded
from tests.support.plants import STATION, demo_station

LINE_IN = (
    "the quarter-wave line is in the SBO path at the transmitter; the radiated guidance is false"
)


@pytest.fixture
def log(tmp_path: Path) -> Path:
    return tmp_path / "run.tblog"


@pytest.fixture
def bench(log: Path) -> Iterator[InProcessBench]:
    with InProcessBench.make(demo_station(), log=log) as made:
        yield made


def technician(bench: InProcessBench) -> SimulatedOperator:
    """One who does once more what was put back when the run ended."""
    return SimulatedOperator(
        bench.sim.hands, f"run 1, taken up {times_ended(bench.writer.path, 1)}"
    )


def taken_up(bench: InProcessBench) -> tuple[RunEnd, Minded]:
    who = Minded(technician(bench))
    return bench.resume(1, who), who


def kept(log: Path) -> list[str]:
    with LogReader(log) as reader:
        return [entry.key for entry in reader.entries(run=1, kind=Kind.OUTCOME)]


def ends_well(bench: InProcessBench, end: RunEnd, log: Path) -> None:
    """One cut, no line in, a run that finished, a record of it, and a chain that holds."""
    assert (end.result, end.open_hazards, end.resumable) == ("finished", (), False)
    truth = bench.sim.plant.truth()
    assert (len(truth.cuts), truth.lines_in) == (1, [])
    with LogReader(log) as reader:
        assert collect(reader, 1).chain_ok
        assert reader.run(1).ended == {"result": "finished", "message": "", "open_hazards": []}


@pytest.mark.parametrize(
    ("key", "answer"),
    [
        ("cautions/voltage", False),
        ("phasing/monitor/round 1/line in", False),
        ("phasing/monitor/round 1/centre", False),
        ("phasing/monitor/round 1/cut", Aborted("Stopped.")),
        ("phasing/monitor/round 1/normal/connect", False),
    ],
)
def test_what_one_answer_ended_goes_on_with_that_question(
    key: str, answer: Answer | Aborted, bench: InProcessBench, log: Path
) -> None:
    first = Minded(bench.technician(1), answers={key: answer})
    assert bench.run("monitor-baseline", first).resumable
    at = first.asked[-1].key
    end, who = taken_up(bench)
    assert who.asked[0].key == at
    assert not set(first.asked_keys[:-1]) - {at} & set(who.asked_keys)
    ends_well(bench, end, log)


def test_a_run_stopped_with_the_line_in_sets_it_anew(bench: InProcessBench, log: Path) -> None:
    """It was taken out at the end, so it is asked for again, and read again."""
    stops = Minded(bench.technician(1), commands={"/null": repeat("abort")})
    end = bench.run("monitor-baseline", stops)
    assert (end.result, end.resumable, end.open_hazards) == ("aborted", True, ())
    assert bench.sim.plant.truth().lines_in == []
    end, who = taken_up(bench)
    assert "taken up at 'phasing/monitor/round 2/normal'" in who.told[0]
    assert "was turned since and stays as it is" in who.told[1]
    assert who.asked[0].key == "phasing/monitor/round 2/centre first"
    assert who.asked[1].key == "phasing/monitor/round 2/line in"
    ends_well(bench, end, log)
    assert Counter(kept(log))["phasing/monitor/round 2/line in"] == 2


def test_a_run_stopped_with_the_wide_profile_set_sets_it_anew(
    bench: InProcessBench, log: Path
) -> None:
    stops = Minded(bench.technician(1), answers={"wide/hold": Aborted("Stopped.")})
    assert bench.run("monitor-baseline", stops).resumable
    end, who = taken_up(bench)
    assert any(key.startswith("wide/set") for key in {view.key for view in who.views})
    ends_well(bench, end, log)


def test_what_was_not_confirmed_as_put_back_is_told_before_it_is_set_anew(
    bench: InProcessBench,
) -> None:
    stops = Minded(
        bench.technician(1),
        answers={"put back/1.1": False},
        commands={"/null": repeat("abort")},
    )
    assert bench.run("monitor-baseline", stops).open_hazards
    _, who = taken_up(bench)
    assert who.told[0].startswith("CAUTION: when the run ended it was not confirmed")


def test_a_run_that_was_taken_up_may_be_cut_off_and_ended_again(
    bench: InProcessBench, log: Path
) -> None:
    """What no longer holds does not come back by a second resuming."""
    bench.run("monitor-baseline", Minded(bench.technician(1), commands={"/null": repeat("abort")}))
    cut = Interrupted(technician(bench), at_view=lambda view: view.key.endswith("/null"))
    with pytest.raises(KeyboardInterrupt):
        bench.resume(1, cut)
    with LogReader(log) as reader:
        assert reader.run(1).ended is None
    stops = Minded(technician(bench), commands={"/null": repeat("abort")})
    assert bench.resume(1, stops).resumable
    end, _ = taken_up(bench)
    ends_well(bench, end, log)


def test_an_answer_on_disk_whose_end_was_cut_off_is_asked_again(
    bench: InProcessBench, log: Path
) -> None:
    """A kill between the no and the end of the run: the no is read back, and ends it then."""
    key = "phasing/monitor/round 1/line in"
    bench.run("monitor-baseline", Minded(bench.technician(1), answers={key: False}))
    with LogReader(log) as reader:
        rows = list(reader.entries(run=1))
    for row in rows[:-2]:
        bench.writer.append(2, row.kind, row.key, row.body)
    end = bench.resume(2)
    assert (end.result, end.resumable) == ("refused", True)
    assert bench.resume(2).result == "finished"


def test_what_the_plant_refused_is_not_taken_up(log: Path) -> None:
    text = STATION.read_text(encoding="utf-8").replace('spare = "1.30 m"', 'spare = "0.10 m"')
    short = parse_station(text, STATION)
    with InProcessBench.make(short, {"phase_error_deg": 180.0}, log=log) as bench:
        end = bench.run("monitor-baseline")
        assert (end.result, end.resumable) == ("refused", False)
        assert "spare cable" in end.message
        with pytest.raises(InputError, match=r"Run 1 has ended \(refused\)"):
            bench.resume(1)


def test_what_finished_is_not_taken_up(bench: InProcessBench) -> None:
    assert not bench.run("monitor-baseline").resumable
    with pytest.raises(InputError, match=r"Run 1 has ended \(finished\)"):
        bench.resume(1)


# How many outcomes hold -----------------------------------------------------------------------

QUIET = ("confirm",) * 5
FINE = "fine phase"


def trail(*steps: tuple[str, Answer]) -> Trail:
    made = Trail()
    for number, (verb, answer) in enumerate(steps):
        prompt = Prompt("k", "confirm", "x", action=Action(verb) if verb else None)
        made.asked(number, prompt, answer)
    return made


def turning(*numbers: int, control: str = FINE) -> Trail:
    return Trail(turned=dict.fromkeys(numbers, control))


def test_without_anything_open_all_of_it_holds() -> None:
    assert stopped_at(trail(("cut", 0.4)), [], QUIET) == TakeUp(5)


def test_the_act_just_before_the_reminder_is_done_again_and_a_cut_is_not() -> None:
    inserted = trail(("", True), ("insert line", True))
    assert stopped_at(inserted, [Hazard("x", since=2)], QUIET).holds == 1
    assert stopped_at(trail(("", True), ("", True)), [Hazard("x", since=2)], QUIET).holds == 2
    assert stopped_at(trail(("", True), ("cut", 0.4)), [Hazard("x", since=2)], QUIET).holds == 2


def test_an_act_that_undid_an_earlier_hazard_is_not_done_again() -> None:
    said = trail(("", True), ("remove line", True))
    said.undoing.append(Action("remove line"))
    assert stopped_at(said, [Hazard("x", since=2)], QUIET).holds == 2


def test_the_first_of_two_hazards_counts() -> None:
    both = [Hazard("x", since=4), Hazard("y", since=2)]
    assert stopped_at(Trail(), both, QUIET).holds == 2


def test_a_cut_that_would_be_made_again_prevents_it_and_is_said() -> None:
    cut_within = trail(("", True), ("", True), ("cut cable", True))
    ended = stopped_at(cut_within, [Hazard("x", since=1)], QUIET)
    assert ended.holds is None
    assert "a cable was cut since" in ended.why_not
    refused_to_cut = trail(("", True), ("", True), ("cut cable", False))
    assert refused_at(refused_to_cut, [Hazard("x", since=1)], QUIET[:3]).holds == 1


@pytest.mark.parametrize("answer", [False, "", "  "])
def test_only_the_last_answer_refuses(answer: Answer) -> None:
    said = trail(("", True), ("", answer))
    assert refused_at(said, [], QUIET[:2]) == TakeUp(1)
    assert refused_at(said, [], QUIET[:3]) == TakeUp(None)


def test_a_control_turned_under_a_hazard_takes_back_every_reading_since_the_last_adjustment() -> (
    None
):
    deeds = ("measure", "adjust", "judge", "measure", "confirm", "measure", "adjust")
    assert stopped_at(turning(1, 6), [Hazard("x", since=5)], deeds) == TakeUp(3, (FINE,))
    begun = stopped_at(turning(1, 6), [Hazard("x", since=5)], deeds[:-1])
    assert begun == TakeUp(3, (FINE,))


def test_readings_of_any_kind_are_taken_back() -> None:
    deeds = ("day", "time to alarm", "confirm", "measure")
    assert stopped_at(turning(4), [Hazard("x", since=3)], deeds).holds == 1


def test_a_control_that_is_put_back_takes_nothing_back() -> None:
    undo = (Action("restore control", {"control": FINE}),)
    deeds = ("measure", "measure", "adjust", "measure")
    assert stopped_at(turning(2), [Hazard("x", undo, since=2)], deeds) == TakeUp(2)


def test_an_adjustment_that_was_only_begun_goes_on() -> None:
    """Nothing was put back, and everything after it is still to be read."""
    assert stopped_at(turning(2), [], ("measure", "judge")) == TakeUp(2, (FINE,))


def test_a_reading_under_a_hazard_that_is_undone_by_now_is_taken_from_its_beginning() -> None:
    deeds = ("adjust", "measure", "measure", "confirm", "measure", "adjust")
    said = turning(0, 5)
    said.spans.append((0, 3))
    assert stopped_at(said, [Hazard("x", since=4)], deeds).holds == 0


def test_the_way_back_does_not_lead_over_a_cut() -> None:
    deeds = ("confirm", "number", "measure", "confirm", "measure")
    said = turning(5)
    said.acts[1] = Action("cut")
    assert stopped_at(said, [Hazard("x", since=3)], deeds).holds == 2
    said.spans.append((0, 3))
    assert stopped_at(said, [Hazard("x", since=3)], deeds).holds is None


def test_what_was_connected_for_the_reading_is_connected_again() -> None:
    deeds = ("adjust", "confirm", "measure", "confirm", "measure")
    said = turning(0, 5)
    said.acts[1] = Action("carry receiver")
    assert stopped_at(said, [Hazard("x", since=3)], deeds) == TakeUp(1, (FINE,), moved=True)


@pytest.mark.parametrize(
    ("ended", "take_up"),
    [
        ({}, TakeUp(None)),
        ({"take_up": 3}, TakeUp(3)),
        ({"take_up": "x"}, TakeUp(None)),
        (TakeUp(3, ("a",), moved=True).to_body(), TakeUp(3, ("a",), moved=True)),
        (TakeUp(None, why_not="w").to_body(), TakeUp(None, why_not="w")),
    ],
)
def test_the_last_row_says_it(ended: dict[str, object], take_up: TakeUp) -> None:
    assert TakeUp.from_body(ended) == take_up


# What is left open ----------------------------------------------------------------------------


def cut_off_at_the_null(bench: InProcessBench) -> None:
    who = Interrupted(bench.technician(1), at_view=lambda view: view.key.endswith("/null"))
    with pytest.raises(KeyboardInterrupt):
        bench.run("monitor-baseline", who)


def test_a_run_cut_off_with_the_line_in_left_it_open(bench: InProcessBench, log: Path) -> None:
    """As its record says: from the same rows."""
    cut_off_at_the_null(bench)
    with LogReader(log) as reader:
        assert open_hazards(reader, reader.run(1)) == (LINE_IN,)
        assert f"STILL OPEN: {LINE_IN}." in collect(reader, 1).warnings
        (left,) = left_open(reader)
    assert (left.run, left.procedure, left.resumable) == (1, "monitor-baseline", True)


def test_the_next_run_begins_with_a_warning_of_what_an_earlier_one_left(
    bench: InProcessBench, log: Path
) -> None:
    cut_off_at_the_null(bench)
    stops = Minded(bench.technician(2), answers={"cautions/release": Aborted("Stopped.")})
    bench.run("monitor-baseline", stops)
    assert stops.told[0].startswith("CAUTION: run 1 (monitor-baseline) left this behind")
    assert LINE_IN in stops.told[0]
    assert "`trimbench resume 1`" in stops.told[0]


def test_after_a_procedure_that_finished_nothing_earlier_is_warned_of(
    bench: InProcessBench, log: Path
) -> None:
    cut_off_at_the_null(bench)
    taken_up(bench)
    who = Minded(answers={"cautions/release": False})
    bench.run("monitor-baseline", who)
    assert not [told for told in who.told if "left this behind" in told]
