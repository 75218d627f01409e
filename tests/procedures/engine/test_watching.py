"""`trimbench watch`: what is watched, where, and that it is a run in the log like any other."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest

from daq.errors import Aborted, InputError, LinkLost, Refused, StationFileError, UnitError
from daq.log.entry import Kind
from daq.log.reader import LogReader
from daq.station import parse_station
from procedures.engine.watching import (
    connection_question,
    connection_wanted,
    plan_watch,
    that_reads,
    to_open,
    watch_quantity,
)
from tests.procedures.history.reference_rows import LEVEL, WIDTH, write_references
from tests.support.commands import CommandLine
from tests.support.in_process import InProcessBench
from tests.support.operators import Minded
from tests.support.plants import STATION, demo_station
from tests.support.served import Served, served_bench

TEXT = STATION.read_text(encoding="utf-8")


# What is planned ------------------------------------------------------------------------------


def test_a_receiver_is_watched_as_it_is_connected() -> None:
    plan = plan_watch(demo_station(), "ddm")
    assert (plan.alias, plan.task.point, plan.task.channel) == ("receiver", "", "")
    assert plan.task.seconds is None
    assert plan.task.target is None


def test_an_oscilloscope_needs_a_channel_and_the_first_point_has_one() -> None:
    plan = plan_watch(demo_station(), "vpp", seconds=3.0)
    assert (plan.alias, plan.task.point, plan.task.channel) == ("scope", "course line IF", "1")
    assert (plan.task.target, plan.task.band, plan.task.seconds) == (1.5, 0.03, 3.0)


def test_a_named_point_brings_its_target_unless_another_is_given() -> None:
    station = demo_station()
    plain = plan_watch(station, "ddm", point="course width")
    given = plan_watch(station, "ddm", point="course width", target="98.7 uA", band="1 uA")
    other = plan_watch(station, "sdm", point="course width")
    assert (plain.task.target, plain.task.band) == (0.155, 0.001)
    # 150 uA is 0.155 DDM.
    assert given.task.target == pytest.approx(98.7 * 0.155 / 150)
    assert given.task.band == pytest.approx(0.155 / 150)
    assert (other.task.target, other.task.band) == (None, None)


def test_a_detector_point_of_an_oscilloscope_does_not_take_the_receivers_place() -> None:
    """DDM without a point is the receiver's, although an oscilloscope has a channel for it."""
    text = TEXT.replace(
        "# Monitor phasing: the line goes in",
        '[[points]]\nname = "width detector"\nquantity = "ddm"\ninstrument = "scope"\n'
        'channel = "4"\n\n# Monitor phasing: the line goes in',
    )
    assert plan_watch(parse_station(text, STATION), "ddm").alias == "receiver"


@pytest.mark.parametrize(
    ("quantity", "more", "error", "words"),
    [
        ("ddn", {}, InputError, "'ddn' is no quantity"),
        ("ddm", {"point": "course with"}, StationFileError, "no point 'course with'"),
        ("ddm", {"target": "3 m"}, UnitError, "3 m"),
        ("vpp", {"band": "a bit"}, UnitError, "a bit"),
        ("vpp", {"band": "-0.03 V"}, InputError, "more than zero"),
        ("vpp", {"band": "0 V"}, InputError, "more than zero"),
        ("ddm", {"band": "0.001"}, InputError, "needs the target"),
    ],
)
def test_what_cannot_be_watched_is_said(
    quantity: str, more: dict[str, str], error: type[Exception], words: str
) -> None:
    with pytest.raises(error, match=words):
        plan_watch(demo_station(), quantity, **more)  # type: ignore[arg-type]  # strings only


READABLE = {"scope": {"vpp"}, "receiver": {"ddm", "depth_90"}, "typed": None}


@pytest.mark.parametrize(
    ("quantity", "opened"),
    [("vpp", ("scope",)), ("depth_90", ("receiver",)), ("voltage", ("typed",))],
)
def test_only_what_reads_the_quantity_is_opened(quantity: str, opened: tuple[str, ...]) -> None:
    """Where no point names it the profiles tell; one that cannot tell is tried last."""
    assert to_open(plan_watch(demo_station(), quantity), READABLE) == opened


def test_what_no_profile_reads_is_said_before_anything_is_opened() -> None:
    known = {alias: quantities for alias, quantities in READABLE.items() if quantities}
    with pytest.raises(InputError, match=r"reads voltage \(scope: vpp; receiver: ddm, depth_90\)"):
        to_open(plan_watch(demo_station(), "voltage"), known)


def test_a_named_point_is_asked_for_unless_nothing_has_to_be_moved() -> None:
    """What is logged under a point has to be there; an input of its own always is."""
    station = demo_station()
    move = connection_wanted(station, "clearance 150")
    assert move is not None
    question = connection_question(move, "clearance 150")
    assert question.text.startswith("Connect the receiver to 'clearance 150'.")
    assert (question.kind, question.action) == ("confirm", move.action)
    assert connection_wanted(station, "course width IF") is None
    assert connection_wanted(station, "") is None


# What is watched ------------------------------------------------------------------------------


@pytest.fixture
def bench(tmp_path: Path) -> Iterator[InProcessBench]:
    with InProcessBench.make(demo_station(), log=tmp_path / "watch.tblog") as made:
        yield made


def test_a_watch_is_a_run_with_an_end(bench: InProcessBench) -> None:
    plan = plan_watch(bench.station, "ddm", seconds=2.0)
    who = Minded()
    instrument = that_reads(bench.instruments, plan)
    summary = watch_quantity(
        bench.station, plan, instrument, bench.clock, bench.writer, who.watching
    )
    assert summary.n == len(who.views) == pytest.approx(20, abs=1)
    assert summary.rate_hz == pytest.approx(10.0, rel=0.05)
    assert summary.elapsed_s == pytest.approx(2.0, abs=0.11)
    assert summary.minimum is not None
    assert summary.maximum is not None
    assert summary.mean is not None
    assert summary.minimum <= summary.mean <= summary.maximum
    with LogReader(bench.writer.path) as reader:
        run = reader.run(1)
        readings = list(reader.entries(run=1, kind=Kind.READING))
        reader.verify()
    assert run.ended == {"result": "finished", "message": "", "open_hazards": []}
    assert run.started["procedure"] == "watch"
    assert [entry.mono_ns for entry in readings] == [view.reading.mono_ns for view in who.views]


@pytest.mark.parametrize(
    ("quantity", "point", "reference"),
    [
        ("ddm", "course width", WIDTH.value),
        ("vpp", "", LEVEL.value),
        ("sdm", "course width", None),
        ("ddm", "course line", None),
        ("ddm", "", None),
    ],
)
def test_a_watched_point_is_shown_with_its_reference(
    quantity: str, point: str, reference: float | None, bench: InProcessBench
) -> None:
    """Without a point nobody knows what a receiver is connected to; a probe's channel is known."""
    values = {"course width": WIDTH, "course line IF": LEVEL}
    write_references(bench.writer, values)
    plan = plan_watch(bench.station, quantity, point=point, seconds=0.3)
    who, instrument = Minded(), that_reads(bench.instruments, plan)
    watch_quantity(bench.station, plan, instrument, bench.clock, bench.writer, who.watching)
    assert {view.reference for view in who.views} == {reference}


def test_a_watch_ends_when_the_technician_says_so(bench: InProcessBench) -> None:
    who = Minded(commands={"watch": iter(("go on", "capture", "redo", "go on", "abort"))})
    plan = plan_watch(bench.station, "ddm")
    instrument = that_reads(bench.instruments, plan)
    summary = watch_quantity(
        bench.station, plan, instrument, bench.clock, bench.writer, who.watching
    )
    assert len(who.views) == 5
    assert summary.n == 2
    with LogReader(bench.writer.path) as reader:
        events = [entry.body["event"] for entry in reader.entries(kind=Kind.EVENT)]
        assert reader.run(1).readings == 5
    assert events == ["marked", "watch begun again"]


def test_an_instrument_that_fails_leaves_a_gap_and_no_end(bench: InProcessBench) -> None:
    class Dies:
        def __init__(self) -> None:
            self.left = 3
            whole = bench.instruments["receiver"]
            self.alias, self.identity = whole.alias, whole.identity
            self.instrument_class, self.quantities = whole.instrument_class, whole.quantities
            self.close = whole.close
            self._whole = whole

        def measure(self, quantity: str, *, point: str = "", channel: str = ""):
            self.left -= 1
            if self.left < 0:
                raise LinkLost("Kicked out.", instrument="receiver")
            return self._whole.measure(quantity, point=point, channel=channel)

    plan = plan_watch(bench.station, "ddm", seconds=5.0)
    with pytest.raises(LinkLost, match="Kicked out"):
        watch_quantity(bench.station, plan, Dies(), bench.clock, bench.writer, Minded().watching)
    with LogReader(bench.writer.path) as reader:
        assert reader.run(1).ended is None
        assert reader.run(1).readings == 3
        (gap,) = reader.entries(kind=Kind.EVENT)
    assert gap.body["event"] == "gap"


def test_what_no_instrument_reads_lists_what_each_can(bench: InProcessBench) -> None:
    plan = plan_watch(bench.station, "voltage")
    with pytest.raises(InputError, match=r"reads voltage \(scope: vpp; receiver: ddm, depth_150"):
        that_reads(bench.instruments, plan)


class Door:
    """Asked whether the instrument is connected; logs meanwhile that a screen was let go."""

    def __init__(self, bench: InProcessBench, says: bool | Exception) -> None:
        self.bench, self.says = bench, says
        # Looked up before, as the page does that is shown beside the watch.
        self.run = bench.writer.next_run()

    def __call__(self) -> bool:
        self.bench.writer.append(self.run, Kind.EVENT, "page", {"event": "screen let go"})
        if isinstance(self.says, Exception):
            raise self.says
        return self.says


def watched(bench: InProcessBench, door: Door) -> None:
    plan = plan_watch(bench.station, "ddm", point="clearance 150", seconds=0.3)
    instrument = that_reads(bench.instruments, plan)
    show = Minded().watching
    watch_quantity(bench.station, plan, instrument, bench.clock, bench.writer, show, connected=door)


def test_whether_it_is_connected_is_asked_within_the_run(bench: InProcessBench) -> None:
    """What the page logs while nobody has answered yet belongs to the run that it shows."""
    watched(bench, Door(bench, says=True))
    with LogReader(bench.writer.path) as reader:
        (run,) = reader.runs()
        kinds = [entry.kind for entry in reader.entries(run=1)]
    assert (run.run, run.started["procedure"], run.ended and run.ended["result"]) == (
        1, "watch", "finished",
    )  # fmt: skip
    assert kinds[:2] == [Kind.RUN_STARTED, Kind.EVENT]


@pytest.mark.parametrize(
    ("says", "error", "result", "words"),
    [
        (False, Refused, "refused", "Nothing is watched"),
        (Aborted("Stopped by the technician."), Aborted, "aborted", "Stopped by"),
    ],
)
def test_a_watch_that_is_not_connected_ends_without_a_reading(
    says: bool | Exception, error: type[Exception], result: str, words: str, bench: InProcessBench
) -> None:
    with pytest.raises(error, match=words):
        watched(bench, Door(bench, says))
    with LogReader(bench.writer.path) as reader:
        (run,) = reader.runs()
    assert run.readings == 0
    assert run.ended is not None
    assert run.ended["result"] == result
    assert words in str(run.ended["message"])


# The command ------------------------------------------------------------------------------------


@pytest.fixture(scope="module")
def served(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Served]:
    with served_bench(tmp_path_factory.mktemp("served")) as made:
        yield made


def test_over_the_real_links_it_stops_by_itself(
    served: Served, capsys: pytest.CaptureFixture[str]
) -> None:
    trimbench = CommandLine(capsys)
    people = trimbench("watch", "vpp", "--station", served.station, "--seconds", 0.3)
    program = trimbench("watch", "ddm", "--station", served.station, "--seconds", 0.3, "--json")
    assert (people.code, program.code, program.err) == (0, 0, "")
    assert "course line IF" in people.out
    seen = program.json
    assert (seen["quantity"], seen["unit"], seen["not_usable"]) == ("ddm", "1", 0)
    assert seen["n"] >= 3
    # Other tests watch on the same bench before or after.
    listed = trimbench("runs", "--station", served.station, "--json").json["runs"][-2:]
    assert [(run["procedure"], run["result"]) for run in listed] == [("watch", "finished")] * 2
    assert listed[1]["readings"] == seen["n"]


def test_a_dead_instrument_does_not_stop_a_watch_that_does_not_need_it(
    served: Served, capsys: pytest.CaptureFixture[str]
) -> None:
    text = served.station.read_text(encoding="utf-8")
    (scope, *_) = served.links.resources
    path = served.station.with_name("dead.toml")
    path.write_text(text.replace(scope, "TCPIP::127.0.0.1::1::SOCKET"), encoding="utf-8")
    for quantity in ("ddm", "depth_150"):
        said = CommandLine(capsys)("watch", quantity, "--station", path, "--seconds", 0.2, "--json")
        assert (said.code, said.err) == (0, "")
    path.unlink()


def test_a_watch_of_a_point_asks_first_and_is_refused_when_nobody_is_there(
    served: Served, capsys: pytest.CaptureFixture[str]
) -> None:
    trimbench = CommandLine(capsys)
    said = trimbench("watch", "ddm", "--station", served.station, "--point", "clearance 150")
    assert said.code == Aborted.exit_code
    assert "is logged as 'clearance 150'" in " ".join(said.out.split())
    newest = trimbench("runs", "--station", served.station, "--json").json["runs"][-1]
    assert (newest["result"], newest["readings"], newest["resumable"]) == ("aborted", 0, False)
