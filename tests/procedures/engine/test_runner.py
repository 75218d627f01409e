"""Runs that finish, are refused, are stopped, are cut off, and are gone on with."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass, replace
from itertools import repeat
from pathlib import Path

import numpy as np
import pytest

from daq.errors import Aborted, IdentityError, InputError, JournalMismatch, LinkLost, LogFull
from daq.log.entry import Entry, Kind
from daq.log.reader import LogReader
from daq.log.writer import LogWriter
from daq.reading import Reading
from daq.roles import Answer, Identity, InstrumentClass, ReadsInOneWay
from daq.station import Station, parse_station
from procedures.engine.run_started import started_body
from procedures.engine.runner import Crew, CutOff, RunEnd, begin, resume
from procedures.monitor_baseline import VERSION
from procedures.steps.preconditions import CAUTIONS
from tests.procedures.history.reference_rows import QUADRATURE, WIDTH, write_references
from tests.support.in_process import InProcessBench
from tests.support.operators import Interrupted, Minded
from tests.support.plants import STATION, demo_station

TEXT = STATION.read_text(encoding="utf-8")
LINE_IN = "the quarter-wave line is in the SBO path at the transmitter"


@pytest.fixture
def log(tmp_path: Path) -> Path:
    return tmp_path / "run.tblog"


@pytest.fixture
def bench(log: Path) -> Iterator[InProcessBench]:
    with InProcessBench.make(demo_station(), log=log) as made:
        yield made


def entries(log: Path, kind: Kind, run: int = 1) -> list[Entry]:
    with LogReader(log) as reader:
        return list(reader.entries(run=run, kind=kind))


def outcomes(log: Path, run: int = 1) -> list[tuple[str, object]]:
    return [(entry.key, entry.body) for entry in entries(log, Kind.OUTCOME, run)]


def events(log: Path, run: int = 1) -> list[object]:
    return [entry.body["event"] for entry in entries(log, Kind.EVENT, run)]


def stops_at(key: str, bench: InProcessBench, run: int = 1, **answers: Answer) -> Minded:
    """A simulated technician who stops the run when the watch of that name begins."""
    return Minded(bench.technician(run), answers=dict(answers), commands={key: repeat("abort")})


def dated(receiver_due: str) -> Station:
    """The demonstration's station, its receiver's calibration due on another day."""
    text = TEXT.replace("calibration_due = 2027-02-03", receiver_due)
    assert text != TEXT
    return parse_station(text, STATION)


# Ends --------------------------------------------------------------------------------------


def test_a_run_finishes_and_its_end_is_the_last_row(bench: InProcessBench, log: Path) -> None:
    end = bench.run("monitor-baseline")
    assert (end.run, end.result, end.message, end.open_hazards) == (1, "finished", "", ())
    with LogReader(log) as reader:
        summary = reader.run(1)
        reader.verify(digest=end.digest)
    assert summary.ended == {"result": "finished", "message": "", "open_hazards": []}
    assert bench.sim.plant.truth().lines_in == []


def test_the_first_row_says_with_what_the_run_was_made(bench: InProcessBench, log: Path) -> None:
    bench.run("monitor-baseline", stops_at("adjust 1", bench))
    (started,) = entries(log, Kind.RUN_STARTED)
    assert started.body["station_text"] == TEXT
    assert started.body["procedure_version"] == VERSION
    instruments = started.body["instruments"]
    assert isinstance(instruments, list)
    assert instruments[0]["model"] == "OS-4"
    assert instruments[0]["calibration_due"] == "2027-06-18"
    assert instruments[1]["maker"] == "HALVORSUND"
    assert (instruments[1]["serial"], instruments[1]["firmware"]) == ("20417", "3.2")


def test_there_is_no_such_procedure(bench: InProcessBench, log: Path) -> None:
    """Nothing of it is in the log."""
    with pytest.raises(InputError, match=r"no procedure 'monitor'.*monitor-baseline"):
        bench.run("monitor")
    with LogReader(log) as reader:
        assert reader.run_numbers() == []


@pytest.mark.parametrize("name", [name for name, _, _ in CAUTIONS])
def test_a_caution_that_is_not_acknowledged_ends_the_run_before_any_reading(
    name: str, bench: InProcessBench, log: Path
) -> None:
    who = Minded(bench.technician(1), answers={f"cautions/{name}": False})
    end = bench.run("monitor-baseline", who)
    assert end.result == "refused"
    assert end.message.startswith("Not acknowledged: ")
    assert who.asked_keys[-1] == f"cautions/{name}"
    assert entries(log, Kind.READING) == []


def test_every_caution_names_what_can_hurt_somebody() -> None:
    cautions = {name: caution for name, _, caution in CAUTIONS}
    assert "aircraft" in cautions["release"]
    assert "burn" in cautions["radiation"]
    assert "kill" in cautions["voltage"]


# Calibration -------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("due", "trouble"),
    [
        ("calibration_due = 2027-01-14", "was due on 2027-01-14"),
        ("", "date is not in the station file"),
    ],
)
def test_an_instrument_out_of_calibration_is_refused_without_a_reason(
    due: str, trouble: str, log: Path
) -> None:
    """The simulated day is 2027-01-15."""
    with InProcessBench.make(dated(due), log=log) as bench:
        no = bench.run("monitor-baseline", Minded(answers={"override": False}))
        blank = bench.run("monitor-baseline", Minded(answers={"reason": "  "}))
    assert no.result == blank.result == "refused"
    assert trouble in no.message
    assert "No reason was given." in blank.message
    assert entries(log, Kind.READING) == []


def test_the_day_on_which_a_calibration_is_due_is_still_in_date(log: Path) -> None:
    with InProcessBench.make(dated("calibration_due = 2027-01-15"), log=log) as bench:
        who = stops_at("adjust 1", bench)
        bench.run("monitor-baseline", who)
    assert not [key for key in who.asked_keys if key.startswith("calibration")]


def test_a_reason_goes_on_and_is_in_the_log(log: Path) -> None:
    with InProcessBench.make(dated("calibration_due = 2026-12-31"), log=log) as bench:
        bench.run("monitor-baseline", stops_at("adjust 1", bench, reason="only one at hand "))
    notes = dict(outcomes(log))
    assert notes["calibration/receiver/overridden"]["request"] == {  # type: ignore[index]
        "do": "note",
        "title": "Calibration overridden",
        "instrument": "receiver",
        "trouble": "its calibration was due on 2026-12-31",
        "reason": "only one at hand",
    }


# Stopped with something open ----------------------------------------------------------------


def test_stopped_with_the_line_in_it_is_seen_out(bench: InProcessBench, log: Path) -> None:
    who = stops_at("/null", bench)
    end = bench.run("monitor-baseline", who)
    assert (end.result, end.open_hazards) == ("aborted", ())
    assert "round 2/null" in end.message
    asked = who.asked[-1]
    assert LINE_IN in asked.text
    assert asked.caution
    (event,) = [e for e in entries(log, Kind.EVENT) if e.body["event"] == "put back"]
    assert event.body["confirmed"] is True


@pytest.mark.parametrize("says", [False, Aborted("Stopped by the technician.")])
def test_what_nobody_confirmed_as_put_back_stands_at_the_end_of_the_run(
    says: Answer | Aborted, bench: InProcessBench, log: Path
) -> None:
    who = Minded(
        bench.technician(1),
        answers={"put back/1.1": says},
        commands={"/null": repeat("abort")},
    )
    end = bench.run("monitor-baseline", who)
    (hazard,) = end.open_hazards
    assert LINE_IN in hazard
    (ended,) = entries(log, Kind.RUN_ENDED)
    assert ended.body["open_hazards"] == [hazard]


def test_a_line_that_is_not_taken_out_is_asked_for_again(bench: InProcessBench) -> None:
    """The technician says no to 'take it out'; the run ends, and not without asking."""
    who = Minded(bench.technician(1), answers={"line out": False})
    end = bench.run("monitor-baseline", who)
    assert end.result == "refused"
    assert end.message.startswith("Not done: Take the quarter-wave line out")
    assert who.asked_keys[-2:] == ["phasing/monitor/round 1/line out", "put back/1.1"]


def test_every_prompt_says_what_is_open(bench: InProcessBench) -> None:
    """From the line in to the line out, and from the wide profile to its removal verified."""
    who = Minded(bench.technician(1))
    bench.run("monitor-baseline", who)
    reminded = [prompt.key for prompt in who.asked if "Reminder:" in prompt.caution]
    cautions = {prompt.key: prompt.caution for prompt in who.asked}
    assert LINE_IN in cautions["phasing/monitor/round 1/line out"]
    assert LINE_IN not in cautions["phasing/monitor/round 1/cut"]
    assert "wide alarm profile is set" in cautions["wide/hold"]
    assert "wide/set course/adjust 1/connect" in reminded
    assert "wide/verify/clearance 150/connect" in reminded
    null = [view for view in who.views if view.key.endswith("/null")]
    assert null
    assert all(LINE_IN in view.instruction for view in null)


# Cut off, and gone on with -------------------------------------------------------------------


@dataclass(frozen=True)
class Whole:
    """A run that nothing interrupted, for comparison."""

    started: Entry
    outcomes: list[tuple[str, object]]
    truth: object


@pytest.fixture(scope="module")
def whole(tmp_path_factory: pytest.TempPathFactory) -> Whole:
    log = tmp_path_factory.mktemp("whole") / "run.tblog"
    with InProcessBench.make(demo_station(), log=log) as bench:
        assert bench.run("monitor-baseline").result == "finished"
        (started,) = entries(log, Kind.RUN_STARTED)
        return Whole(started, outcomes(log), bench.sim.plant.truth())


def go_on_until_finished(bench: InProcessBench, who: Interrupted) -> tuple[RunEnd, int]:
    """Begin, and resume after every interruption; return the end and how many there were."""
    interruptions = 0
    while True:
        try:
            if interruptions == 0:
                return bench.run("monitor-baseline", who), interruptions
            return bench.resume(1, who), interruptions
        except KeyboardInterrupt:
            interruptions += 1


def test_interrupted_before_and_after_every_answer_it_ends_as_if_it_never_was(
    bench: InProcessBench, log: Path, whole: Whole
) -> None:
    """Every outcome and the plant are the same as without an interruption, to the last digit."""
    seen: Counter[tuple[str, str]] = Counter()

    def once(key: str, when: str) -> bool:
        seen[key, when] += 1
        return seen[key, when] == 1

    end, interruptions = go_on_until_finished(bench, Interrupted(bench.technician(1), once))
    assert end.result == "finished"
    assert interruptions == len(seen) > 50
    # Once for each interruption, once for good: nothing that was recorded is asked again.
    assert {count for (_, when), count in seen.items() if when == "after"} == {2}
    assert outcomes(log) == whole.outcomes
    assert bench.sim.plant.truth() == whole.truth
    assert Counter(events(log))["resumed"] == interruptions


@pytest.mark.parametrize("seed", range(3))
def test_interrupted_while_a_hand_is_on_a_control_the_run_still_ends_right(
    seed: int, bench: InProcessBench, log: Path
) -> None:
    rng = np.random.default_rng(seed)
    who = Interrupted(bench.technician(1), at_view=lambda _view: bool(rng.random() < 0.02))
    end, interruptions = go_on_until_finished(bench, who)
    assert interruptions >= 2
    assert end.result == "finished"
    keys = [key for key, _ in outcomes(log)]
    assert len(keys) == len(set(keys))
    truth = bench.sim.plant.truth()
    assert (len(truth.cuts), truth.lines_in) == (1, [])
    judged = dict(outcomes(log))
    width = judged["wide/verify/course width/verdict"]["request"]  # type: ignore[index]
    assert width["value"] == pytest.approx(0.155, abs=0.0025)


def shown_by_key(who: Minded) -> dict[str, set[float | None]]:
    shown: dict[str, set[float | None]] = {}
    for view in who.views:
        shown.setdefault(view.key.split("/")[-1], set()).add(view.reference)
    return shown


def test_the_references_in_force_are_shown_and_change_nothing(
    bench: InProcessBench, log: Path, whole: Whole
) -> None:
    """The run is to the last digit the one that knew of no references."""
    write_references(bench.writer, {"course width": WIDTH, "course width, quadrature": QUADRATURE})
    who = Minded(bench.technician(1))
    assert bench.run("monitor-baseline", who).result == "finished"
    assert outcomes(log, run=2) == whole.outcomes
    assert shown_by_key(who)["null"] == {QUADRATURE.value}
    by_watch = {(view.key, view.reference) for view in who.views}
    assert ("phasing/monitor/round 2/width/adjust 1", WIDTH.value) in by_watch
    assert ("wide/set course/adjust 1", None) in by_watch
    assert any("'course width' reads" in told for told in who.told)


def test_a_resumed_run_shows_the_references_that_it_began_with(bench: InProcessBench) -> None:
    write_references(bench.writer, {"course width, quadrature": QUADRATURE})
    who = Minded(bench.technician(2))
    at_the_null = Interrupted(who, at_view=lambda view: view.key.endswith("/null"))
    with pytest.raises(KeyboardInterrupt):
        bench.run("monitor-baseline", at_the_null)
    told = len(who.told)
    write_references(bench.writer, {"course width, quadrature": WIDTH}, version=2)
    bench.resume(2, who)
    assert shown_by_key(who)["null"] == {QUADRATURE.value}
    assert "(version 1)" in who.told[told + 1]
    assert not any("(version 2)" in words for words in who.told)


def test_who_is_cut_off_with_the_line_in_is_told_so(bench: InProcessBench) -> None:
    told = Minded(bench.technician(1))
    who = Interrupted(told, at_view=lambda view: view.key.endswith("/null"))
    with pytest.raises(CutOff, match="run 1 was cut off") as stop:
        bench.run("monitor-baseline", who)
    assert LINE_IN in told.told[-1]
    assert "trimbench resume 1" in told.told[-1]
    assert stop.value.run == 1
    assert LINE_IN in stop.value.open_hazards[0]


class Broken:
    """An instrument whose link is gone until it is mended."""

    alias = "receiver"
    instrument_class = InstrumentClass.NAVIGATION_RECEIVER
    quantities = frozenset({"ddm"})

    def __init__(self, identity: Identity, way: str = "") -> None:
        self.identity = identity
        self._way = way

    def way_of_reading(self, quantity: str) -> str:
        return self._way

    def measure(self, quantity: str, *, point: str = "", channel: str = "") -> Reading:
        raise LinkLost("The far end closed the connection.", instrument="receiver")

    def close(self) -> None:
        pass


def test_an_instrument_that_is_not_mended_cuts_the_run_off_and_it_goes_on_later(
    bench: InProcessBench, log: Path
) -> None:
    whole = bench.instruments["receiver"]
    assert isinstance(whole, ReadsInOneWay)
    bench.instruments["receiver"] = Broken(whole.identity, whole.way_of_reading("ddm"))
    no = Minded(bench.technician(1), answers={"retry 1": False})
    with pytest.raises(LinkLost, match="closed the connection"):
        bench.run("monitor-baseline", no)
    assert events(log) == ["gap", "interrupted"]
    bench.instruments["receiver"] = whole
    assert bench.resume(1).result == "finished"


def test_a_full_disk_loses_nothing_and_the_run_goes_on_when_there_is_room(
    bench: InProcessBench, log: Path
) -> None:
    bench.writer.close()
    # A new log takes about 5 pages, each later one a handful of rows.
    with (
        LogWriter(log, bench.clock, max_pages=40) as small,
        pytest.raises(LogFull, match="disk is full; everything that was shown so far is kept"),
    ):
        begin(
            "monitor-baseline",
            bench.station,
            Crew(bench.instruments, bench.technician(1), bench.clock, small),
        )
    with LogReader(log) as reader:
        assert reader.verify().rows > 20
        assert reader.run(1).ended is None
    with LogWriter(log, bench.clock) as roomy:
        crew = Crew(bench.instruments, bench.technician(1), bench.clock, roomy)
        assert resume(1, bench.station, crew).result == "finished"


# Not gone on with ------------------------------------------------------------------------------


def cut_off(bench: InProcessBench, *, at: str = "phasing/monitor/centre") -> None:
    who = Interrupted(bench.technician(1), lambda key, _when: key == at)
    with pytest.raises(KeyboardInterrupt):
        bench.run("monitor-baseline", who)


def test_another_station_file_is_refused_with_the_first_difference(
    bench: InProcessBench, log: Path
) -> None:
    cut_off(bench)
    bench.station = parse_station(TEXT.replace('"0.35 dB"', '"0.53 dB"'), STATION)
    with pytest.raises(
        JournalMismatch, match=r'-line_loss = "0\.35 dB" / \+line_loss = "0\.53 dB"'
    ):
        bench.resume(1)
    assert "resumed" not in events(log)


def test_another_version_of_the_procedure_is_refused(bench: InProcessBench) -> None:
    body = started_body(
        "monitor-baseline", VERSION + 1, bench.station, tuple(bench.instruments.values()),
        operator="tester",
    )  # fmt: skip
    bench.writer.append(1, Kind.RUN_STARTED, "monitor-baseline", body)
    with pytest.raises(
        JournalMismatch, match=rf"begun by version {VERSION + 1} .* has version {VERSION}\."
    ):
        bench.resume(1)


def test_another_receiver_is_refused(bench: InProcessBench) -> None:
    cut_off(bench)
    identity = replace(bench.instruments["receiver"].identity, serial="99999")
    bench.instruments["receiver"] = Broken(identity)
    with pytest.raises(IdentityError, match=r"began with HALVORSUND NR-2 serial 20417.*99999"):
        bench.resume(1)


def test_a_missing_instrument_is_refused(bench: InProcessBench) -> None:
    cut_off(bench)
    del bench.instruments["receiver"]
    with pytest.raises(JournalMismatch, match="had an instrument 'receiver' that is not here"):
        bench.resume(1)


def test_there_is_no_such_run(bench: InProcessBench) -> None:
    with pytest.raises(InputError, match="7"):
        bench.resume(7)


def test_a_watch_that_was_cut_off_is_no_procedure_to_resume(bench: InProcessBench) -> None:
    body = started_body("watch", 1, bench.station, (), operator="tester")
    bench.writer.append(1, Kind.RUN_STARTED, "watch", body)
    with pytest.raises(InputError, match=r"Run 1 is 'watch'.*cannot be resumed.*trimbench record"):
        bench.resume(1)


def copied(bench: InProcessBench, whole: Whole, changed: dict[str, object] | None = None) -> None:
    """Put a finished run's outcomes into the log, as a run that has no end."""
    bench.writer.append(1, Kind.RUN_STARTED, whole.started.key, whole.started.body)
    for key, body in whole.outcomes:
        assert isinstance(body, dict)
        bench.writer.append(1, Kind.OUTCOME, key, {**body, **(changed or {})})


def test_cut_off_just_before_its_end_nothing_is_asked_or_read(
    bench: InProcessBench, log: Path, whole: Whole
) -> None:
    copied(bench, whole)
    who = Minded()
    assert bench.resume(1, who).result == "finished"
    assert (who.asked, who.views) == ([], [])
    assert entries(log, Kind.READING) == []


def test_more_steps_than_the_procedure_has_are_refused(bench: InProcessBench, whole: Whole) -> None:
    copied(bench, whole)
    bench.writer.append(1, Kind.OUTCOME, "one more", {"request": {}, "outcome": {}})
    with pytest.raises(JournalMismatch, match="holds more steps than the procedure has"):
        bench.resume(1)


def test_another_question_under_the_same_name_is_refused(
    bench: InProcessBench, whole: Whole
) -> None:
    copied(bench, whole, {"request": {"do": "acknowledge", "text": "Another caution."}})
    with pytest.raises(
        JournalMismatch, match=r"at 'cautions/release' .*'arguments' was None and is now"
    ):
        bench.resume(1)
