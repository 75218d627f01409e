"""What a procedure holds in its hands, each call on its own, with instruments of a few lines."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import dataclass, field
from itertools import chain, repeat
from pathlib import Path

import numpy as np
import pytest

from daq.clock import ManualClock
from daq.errors import Aborted, LinkLost, LinkTimeout, Refused
from daq.journal import Journal
from daq.log.entry import Entry, Kind
from daq.log.reader import LogReader
from daq.log.writer import LogWriter
from daq.measurement import Measurement
from daq.reading import Quality, Reading
from daq.roles import Action, Identity, InstrumentClass, Prompt
from daq.station import Station, parse_station
from procedures.engine.bench import PATIENCE, Bench
from procedures.engine.hazards import Hazard
from procedures.judge import Limit, Verdict
from tests.support.operators import Minded

STATION_TEXT = """
[station]
name = "Tarnholt aerodrome"
runway = "16"
ident = "ITN"
category = "II"
frequency = "109.35 MHz"
log = "bench.tblog"

[geometry]
distance_to_threshold = "3120 m"

[conventions]
alarm_basis = "sensitivity"

[[instruments]]
alias = "receiver"
class = "navigation receiver"
profile = "halvorsund-nr2"
resource = "ASRL./receiver.tty::INSTR"

[[instruments]]
alias = "scope"
class = "oscilloscope"
profile = "fernmark-os4"
resource = "TCPIP::127.0.0.1::5025::SOCKET"

[[points]]
name = "course width"
quantity = "ddm"
instrument = "receiver"
target = "0.155"
adjust_to = "0.001"
control = "monitor width"

[[points]]
name = "course line"
quantity = "ddm"
instrument = "receiver"

[[points]]
name = "line IF"
quantity = "vpp"
instrument = "scope"
channel = "1"

[[points]]
name = "clearance 90 IF"
quantity = "vpp"
instrument = "scope"
channel = "3"

[[points]]
name = "clearance 150 IF"
quantity = "vpp"
instrument = "scope"
channel = "3"
"""

Answered = float | Quality | Exception


@dataclass
class Scripted:
    """An instrument that answers from a list, one reading every 0.1 s; the last one for ever."""

    alias: str
    clock: ManualClock
    script: Iterator[Answered] = field(default_factory=lambda: repeat(0.155))
    quantities: frozenset[str] = frozenset({"ddm", "vpp"})
    instrument_class: InstrumentClass = InstrumentClass.NAVIGATION_RECEIVER
    identity: Identity = field(default_factory=lambda: Identity("M", "1", "2", "3", "raw"))

    def measure(self, quantity: str, *, point: str = "", channel: str = "") -> Reading:
        self.clock.sleep(0.1)
        answered = next(self.script)
        if isinstance(answered, Exception):
            raise answered
        bad = isinstance(answered, Quality)
        return Reading(
            quantity=quantity,
            value=float("nan") if isinstance(answered, Quality) else answered,
            u=0.001,
            source=self.alias,
            point=point,
            utc_ns=self.clock.utc_ns(),
            mono_ns=self.clock.monotonic_ns(),
            quality=answered if isinstance(answered, Quality) else Quality.OK,
            raw="----" if bad else str(answered),
        )

    def close(self) -> None:
        pass


@dataclass
class Desk:
    """A bench whose receiver answers from a script, and what became of it."""

    bench: Bench
    who: Minded
    clock: ManualClock
    receiver: Scripted

    def answers(self, *script: Answered, then: Iterable[Answered] = ()) -> None:
        self.receiver.script = chain(script, then)

    def rows(self, kind: Kind) -> list[Entry]:
        with LogReader(self.bench.journal.writer.path) as reader:
            return list(reader.entries(run=1, kind=kind))

    def events(self) -> list[Mapping[str, object]]:
        return [row.body for row in self.rows(Kind.EVENT)]

    def adjust(self, key: str = "width") -> object:
        before = self.bench.measure(f"{key}/as found", "course width", label="as found")
        return self.bench.adjust(
            key,
            "course width",
            target=0.155,
            band=0.001,
            control="monitor width",
            instruction="Turn it.",
            before=before,
        )


@pytest.fixture
def station() -> Station:
    return parse_station(STATION_TEXT, Path("bench.toml"))


@pytest.fixture
def desk(tmp_path: Path, clock: ManualClock, station: Station) -> Iterator[Desk]:
    with LogWriter(tmp_path / "bench.tblog", clock) as writer:
        receiver = Scripted("receiver", clock)
        scope = Scripted("scope", clock, repeat(1.5))
        who = Minded()
        instruments = {"receiver": receiver, "scope": scope}
        bench = Bench(station, instruments, who, clock, Journal(writer, 1))
        yield Desk(bench, who, clock, receiver)


def noisy(value: float, scatter: float, seed: int = 1) -> Iterator[float]:
    rng = np.random.default_rng(seed)
    while True:
        yield value + scatter * float(rng.standard_normal())


# Connecting --------------------------------------------------------------------------------


def test_connecting_is_asked_for_only_when_something_has_to_move(desk: Desk) -> None:
    """Two points share channel 3 and two the receiver; channel 1 has a probe of its own."""
    for number, point in enumerate(
        ("line IF", "clearance 90 IF", "clearance 90 IF", "clearance 150 IF", "line IF",
         "clearance 90 IF", "course width", "course width", "course line"),
    ):  # fmt: skip
        desk.bench.measure(f"{number}", point, label="x")
    assert desk.who.asked_keys == [
        "1/connect", "3/connect", "5/connect", "6/connect", "8/connect",
    ]  # fmt: skip
    probe, receiver = desk.who.asked[0], desk.who.asked[3]
    assert probe.text == "Put the probe of scope channel 3 on 'clearance 90 IF'."
    assert probe.action == Action("connect probe", {"point": "clearance 90 IF", "channel": "3"})
    assert receiver.action == Action("connect receiver", {"point": "course width"})


def test_a_probe_that_is_not_connected_is_not_read(desk: Desk) -> None:
    desk.who.answers = {"connect": False}
    with pytest.raises(Refused, match="Not done: Connect the receiver to 'course width'"):
        desk.bench.measure("k", "course width", label="x")
    assert desk.rows(Kind.READING) == []


# Measuring ---------------------------------------------------------------------------------


def test_measure_waits_until_the_value_has_settled(desk: Desk) -> None:
    """A filter that still moves is waited for; its readings are logged and not averaged."""
    moving = [0.155 + 0.05 * 0.8**n for n in range(60)]
    desk.answers(*moving)
    measured = desk.bench.measure("k", "course width", label="x")
    readings = len(desk.rows(Kind.READING))
    assert measured.steady
    assert 15 < readings < PATIENCE
    assert measured.value == pytest.approx(np.mean(moving[readings - 8 : readings]))
    assert desk.who.told == []


def test_measure_says_when_the_value_did_not_settle(desk: Desk) -> None:
    desk.answers(then=(0.1 + 0.01 * n for n in range(1000)))
    measured = desk.bench.measure("k", "course width", label="x")
    assert not measured.steady
    assert len(desk.rows(Kind.READING)) == PATIENCE
    assert measured.n == 8
    assert "did not settle within 48 readings" in desk.who.told[-1]


def test_the_uncertainty_is_that_of_the_scatter_and_the_instrument(desk: Desk) -> None:
    """JCGM 100:2008, 4.2.3 and 5.1.2: s/sqrt(n), and 0.001 of the instrument."""
    desk.answers(then=noisy(0.155, 0.0002))
    measured = desk.bench.measure("k", "course width", label="x")
    values = [float(str(row.body["value"])) for row in desk.rows(Kind.READING)][-8:]
    scatter = np.std(values, ddof=1) / np.sqrt(8)
    assert measured.u == pytest.approx(np.hypot(scatter, 0.001))


def test_a_reading_without_a_value_is_logged_and_not_averaged(desk: Desk) -> None:
    desk.answers(0.9, Quality.OVER, then=repeat(0.155))
    measured = desk.bench.measure("k", "course width", label="x")
    assert measured.value == pytest.approx(0.155)
    qualities = [row.body["quality"] for row in desk.rows(Kind.READING)]
    assert qualities[:3] == ["ok", "over range", "ok"]
    assert desk.rows(Kind.READING)[1].body["value"] is None


def test_readings_without_any_value_are_a_gap_that_names_the_answer(desk: Desk) -> None:
    desk.answers(*repeat(Quality.NO_VALUE, PATIENCE), then=repeat(0.155))
    measured = desk.bench.measure("k", "course width", label="x")
    assert measured.value == pytest.approx(0.155)
    question = desk.who.asked[-1]
    assert question.key == "k/retry 1"
    assert "no value (it answered '----')" in question.text


# Gaps ---------------------------------------------------------------------------------------


def test_an_instrument_that_fails_is_a_gap_and_goes_on_when_mended(desk: Desk) -> None:
    lost = LinkLost("Gone.", instrument="receiver", sent=b"DDM\r")
    late = LinkTimeout("Nothing came.", instrument="receiver")
    desk.answers(0.155, lost, late, then=repeat(0.155))
    desk.bench.measure("k", "course width", label="x")
    assert [e["event"] for e in desk.events()] == ["gap", "tried again", "gap", "tried again"]
    assert desk.events()[0]["error"] == {**lost.details()}
    assert desk.who.asked_keys == ["k/connect", "k/retry 1", "k/retry 2"]
    assert "Gone. Sent 'DDM\\r'. Received nothing." in desk.who.asked[1].text


def test_an_instrument_that_is_not_mended_ends_in_its_own_error(desk: Desk) -> None:
    desk.who.answers = {"retry 1": False}
    desk.answers(LinkLost("Gone."))
    with pytest.raises(LinkLost, match="Gone"):
        desk.bench.measure("k", "course width", label="x")
    assert [e["event"] for e in desk.events()] == ["gap"]
    assert desk.rows(Kind.OUTCOME)[-1].key == "k/connect"


def test_a_fault_in_the_middle_of_an_adjustment_does_not_end_it(desk: Desk) -> None:
    desk.answers(*repeat(0.1, 12), LinkLost("Kicked out."), then=repeat(0.155))
    desk.adjust()
    assert [e["event"] for e in desk.events()] == ["gap", "tried again"]
    assert desk.rows(Kind.OUTCOME)[-1].key == "width"


# Adjusting ----------------------------------------------------------------------------------


def adjustment(desk: Desk) -> Mapping[str, object]:
    outcome = desk.rows(Kind.OUTCOME)[-1].body["outcome"]
    assert isinstance(outcome, Mapping)
    return outcome


def test_a_value_is_on_the_disk_before_it_is_shown(desk: Desk) -> None:
    on_disk: list[bool] = []
    inner = desk.who.inner

    class Looks:
        name = "looks"
        answer = staticmethod(inner.answer)
        tell = staticmethod(inner.tell)

        @staticmethod
        def watching(view):
            logged = {row.mono_ns for row in desk.rows(Kind.READING)}
            on_disk.append(view.reading.mono_ns in logged)
            return inner.watching(view)

    desk.who.inner = Looks
    desk.adjust()
    assert on_disk
    assert all(on_disk)


def test_redo_begins_the_best_so_far_and_the_count_again(desk: Desk) -> None:
    desk.who.commands = {"width": chain(repeat("go on", 4), ["redo"])}
    # As found is steady after 8 readings; the best value comes before the redo.
    desk.answers(*repeat(0.1, 8), *repeat(0.155, 5), then=repeat(0.1545))
    desk.adjust()
    assert adjustment(desk)["best"] == pytest.approx(0.1545)
    assert adjustment(desk)["readings"] == len(desk.who.views) - 5
    assert {"event": "adjustment begun again"} in desk.events()


def test_abort_stops_the_run_and_says_where(desk: Desk) -> None:
    desk.who.commands = {"width": iter(["go on", "abort"])}
    with pytest.raises(Aborted, match="Stopped by the tester at 'width'"):
        desk.adjust()
    assert desk.rows(Kind.OUTCOME)[-1].key == "width/as found"


def test_nothing_can_be_captured_while_there_is_no_value(desk: Desk) -> None:
    desk.who.commands = {"width": repeat("capture", 3)}
    desk.answers(*repeat(0.1, 8), *repeat(Quality.UNDER, 2), then=repeat(0.155))
    desk.adjust()
    assert adjustment(desk)["readings"] == 3


@pytest.mark.parametrize(("value", "inside"), [(0.1559, True), (0.1562, False)])
def test_an_adjustment_says_whether_it_ended_within_the_band(
    value: float, inside: bool, desk: Desk
) -> None:
    desk.answers(then=repeat(value))
    done = desk.adjust()
    assert getattr(done, "in_band") is inside  # noqa: B009
    assert getattr(done, "after").value == pytest.approx(value)  # noqa: B009


# Hazards -------------------------------------------------------------------------------------

ASKS: dict[str, Callable[[Bench], object]] = {
    "acknowledge": lambda bench: bench.acknowledge("k", "x", caution="Mind the mains."),
    "confirm": lambda bench: bench.confirm("k", "x"),
    "require": lambda bench: bench.require("k", "x"),
    "number": lambda bench: bench.number("k", "x", unit="m", suggestion=0.2),
    "text": lambda bench: bench.text("k", "x"),
    "connect": lambda bench: bench.measure("k", "course width", label="x"),
}


@pytest.mark.parametrize("how", ASKS)
def test_every_kind_of_prompt_reminds_of_what_is_open(how: str, desk: Desk) -> None:
    with desk.bench.false_guidance("line", "the line is in"):
        ASKS[how](desk.bench)
    assert desk.who.asked[0].caution.endswith("Reminder: the line is in.")
    assert desk.bench.hazards == {}
    desk.bench.confirm("after", "x")
    assert desk.who.asked[-1].caution == ""


def test_the_question_whether_to_try_again_reminds_too(desk: Desk) -> None:
    desk.answers(LinkLost("Gone."), then=repeat(0.155))
    with desk.bench.false_guidance("line", "the line is in"):
        desk.bench.measure("k", "course width", label="x")
    assert desk.who.asked[-1].caution == "Reminder: the line is in."


def test_a_hazard_outlives_an_error(desk: Desk) -> None:
    with pytest.raises(Refused), desk.bench.false_guidance("line", "the line is in"):
        raise Refused("x")
    assert desk.bench.hazards == {"line": Hazard("the line is in")}


def test_two_hazards_are_both_named(desk: Desk) -> None:
    with desk.bench.false_guidance("a", "the line is in"), desk.bench.false_guidance("b", "wide"):
        desk.bench.confirm("k", "x")
    assert desk.who.asked[0].caution == "Reminder: the line is in. Reminder: wide."


# Asking ---------------------------------------------------------------------------------------


def test_answers_are_journalled_with_who_gave_them(desk: Desk) -> None:
    assert desk.bench.number("cut", "How much?", unit="m", suggestion=0.5) == 1.0
    assert desk.bench.text("why", "Why?") == "because"
    outcomes = [row.body["outcome"] for row in desk.rows(Kind.OUTCOME)]
    assert outcomes == [
        {"answer": 1.0, "by": "tester"},
        {"answer": "because", "by": "tester"},
    ]
    asked = desk.who.asked[0]
    assert asked == Prompt("cut", "number", "How much?", unit="m", suggestion=0.5)


@pytest.mark.parametrize("how", ["acknowledge", "require"])
def test_a_no_where_a_yes_is_needed_ends_the_procedure(how: str, desk: Desk) -> None:
    desk.who.answers = {"k": False}
    with pytest.raises(Refused, match="Not"):
        ASKS[how](desk.bench)


# Time -----------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("seconds", "what"),
    [
        (-3600.0, "the calendar clock was set back"),
        (7200.0, "the computer slept, or its calendar clock was set"),
    ],
)
def test_a_calendar_clock_that_is_set_is_logged_once(seconds: float, what: str, desk: Desk) -> None:
    """A computer that sleeps does the same: clock_gettime(2), CLOCK_MONOTONIC."""
    desk.bench.measure("before", "course width", label="x")
    desk.clock.step_utc(seconds)
    desk.bench.measure("after", "course width", label="x")
    (event,) = desk.events()
    assert event == {"event": what, "seconds": seconds}
    order = [row.mono_ns for row in desk.rows(Kind.READING)]
    assert order == sorted(order)


# Judging --------------------------------------------------------------------------------------


def test_a_verdict_is_kept_with_its_limit_and_its_source(desk: Desk) -> None:
    measured = desk.bench.measure("k", "course width", label="x")
    limit = Limit(low=0.1535, high=None, name="width", source="Annex 10", status="from memory")
    simple = desk.bench.judge("simple", "width", measured, limit, rule="simple")
    guarded = desk.bench.judge("guarded", "width", measured, limit)
    assert simple.verdict is Verdict.IN_TOLERANCE
    # 0.155 is 0.0015 above the limit; twice the uncertainty of 0.001 is more than that.
    assert guarded.verdict is Verdict.TOO_CLOSE
    request = desk.rows(Kind.OUTCOME)[-1].body["request"]
    assert isinstance(request, Mapping)
    assert (request["low"], request["high"], request["source"]) == (0.1535, None, "Annex 10")
    assert (request["rule"], request["verdict"]) == ("guarded", "too close to call")


def test_a_measurement_comes_back_from_the_journal_as_it_was(desk: Desk) -> None:
    desk.answers(then=noisy(0.155, 0.0002))
    measured = desk.bench.measure("k", "course width", label="x")
    outcome = desk.rows(Kind.OUTCOME)[-1].body["outcome"]
    assert isinstance(outcome, Mapping)
    assert Measurement.from_body(outcome) == measured
