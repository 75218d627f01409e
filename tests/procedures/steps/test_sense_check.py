"""A receiver's sense is proved once for each serial number, and a reversed one is found."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, field
from pathlib import Path

import pytest

from daq.clock import ManualClock
from daq.errors import InputError, Refused
from daq.journal import Journal
from daq.log.entry import Kind
from daq.log.reader import LogReader
from daq.log.writer import LogWriter
from daq.reading import Reading
from daq.roles import Identity, InstrumentClass
from daq.station import Point, parse_station
from procedures.engine.bench import Bench
from procedures.sense import check_sense
from procedures.steps.sense_check import (
    Sense,
    places_of_proof,
    require_sense_check,
    sense_check,
)
from tests.support.operators import Minded, Says
from tests.support.plants import STATION

POINT = "course width"
WHOLE_CHECK = [
    "possible", "caution", "before/connect", "make 150", "undo 150", "make 90", "undo 90",
]  # fmt: skip


@dataclass
class Receiver:
    """Reads what the technician last made to predominate; `sign` is -1 where it is reversed."""

    clock: ManualClock
    who: Minded
    sign: float = 1.0
    size: float = 0.1
    serial: str = "20417"
    way: str = "as shipped"
    alias: str = "receiver"
    instrument_class: InstrumentClass = InstrumentClass.NAVIGATION_RECEIVER
    quantities: frozenset[str] = frozenset({"ddm"})

    @property
    def identity(self) -> Identity:
        return Identity("HALVORSUND", "NR-2", self.serial, raw="raw")

    def way_of_reading(self, quantity: str) -> str:
        return self.way

    @property
    def last_act(self) -> str:
        done = [key.rpartition("/")[2] for key in self.who.asked_keys]
        return next((act for act in reversed(done) if act.startswith(("make", "undo"))), "")

    def measure(self, quantity: str, *, point: str = "", channel: str = "") -> Reading:
        self.clock.sleep(0.1)
        value = self.sign * {"make 150": self.size, "make 90": -self.size}.get(self.last_act, 0.0)
        now = self.clock.monotonic_ns()
        return Reading(quantity, value, 0.001, self.alias, point, self.clock.utc_ns(), now)

    def close(self) -> None:
        pass


@dataclass
class Desk:
    """One log, and as many runs with as many receivers as a test wants."""

    writer: LogWriter
    clock: ManualClock
    runs: int = 0
    who: Minded = field(default_factory=Minded)

    def begin(self, *, answers: Mapping[str, Says] | None = None, **receiver: object) -> Bench:
        self.runs += 1
        self.who = Minded(answers=answers or {})
        station = parse_station(STATION.read_text(encoding="utf-8"), STATION)
        opened = Receiver(self.clock, self.who, **receiver)  # type: ignore[arg-type]  # a test's own
        return Bench(
            station, {"receiver": opened}, self.who, self.clock, Journal(self.writer, self.runs)
        )


@pytest.fixture
def desk(tmp_path: Path) -> Iterator[Desk]:
    clock = ManualClock()
    with LogWriter(tmp_path / "sense.tblog", clock) as writer:
        yield Desk(writer, clock)


def test_a_right_sense_is_told_and_kept_with_the_serial_number(desk):
    bench = desk.begin()
    assert sense_check(bench, "receiver", POINT) is Sense.RIGHT
    assert "Sense of 'receiver': right." in desk.who.told[-1]
    with LogReader(desk.writer.path) as reader:
        [found] = [e for e in reader.entries(kind=Kind.OUTCOME) if e.key.endswith("/found")]
    request = found.body["request"]
    assert isinstance(request, dict)
    assert (request["serial"], request["sense"]) == ("20417", "right")
    assert request["ddm with 150 Hz"] == pytest.approx(0.1)


def test_the_technician_is_warned_before_false_guidance_is_made(desk):
    bench = desk.begin()
    sense_check(bench, "receiver", POINT)
    assert "false guidance" in desk.who.asked[0].caution


@pytest.mark.parametrize(
    ("receiver", "match"),
    [
        ({"sign": -1.0}, "is reversed: it calls 150 Hz what is 90 Hz"),
        ({"size": 0.01}, "not proved"),
    ],
)
def test_a_reversed_or_doubtful_receiver_stops_the_run(desk, receiver, match):
    with pytest.raises(Refused, match=match):
        require_sense_check(desk.begin(**receiver), "receiver", POINT)


def test_the_same_instrument_is_asked_for_once_and_another_one_again(desk):
    require_sense_check(desk.begin(), "receiver", POINT)
    assert [key.removeprefix("sense/receiver/") for key in desk.who.asked_keys] == WHOLE_CHECK
    require_sense_check(desk.begin(), "receiver", POINT)
    assert desk.who.asked == []
    require_sense_check(desk.begin(serial="20418"), "receiver", POINT)
    assert len(desk.who.asked) == len(WHOLE_CHECK)


def test_a_profile_whose_sign_was_changed_since_is_asked_for_again(desk):
    require_sense_check(desk.begin(), "receiver", POINT)
    require_sense_check(desk.begin(way="another positive_tone"), "receiver", POINT)
    assert len(desk.who.asked) == len(WHOLE_CHECK)


def test_an_instrument_without_a_serial_number_is_checked_in_every_run(desk):
    for _ in range(2):
        require_sense_check(desk.begin(serial=""), "receiver", POINT)
        assert len(desk.who.asked) == len(WHOLE_CHECK)


def test_a_check_that_failed_later_counts_more_than_one_that_was_right(desk):
    require_sense_check(desk.begin(), "receiver", POINT)
    sense_check(desk.begin(sign=-1.0), "receiver", POINT)
    require_sense_check(desk.begin(), "receiver", POINT)
    assert len(desk.who.asked) == len(WHOLE_CHECK)


def test_where_no_tone_can_be_made_to_predominate_a_reason_goes_on_and_is_in_the_log(desk):
    bench = desk.begin(answers={"possible": False, "reason": "modulator is sealed "})
    require_sense_check(bench, "receiver", POINT)
    with LogReader(desk.writer.path) as reader:
        [noted] = [e for e in reader.entries(kind=Kind.OUTCOME) if e.key.endswith("/overridden")]
    assert noted.body["request"] == {
        "do": "note",
        "title": "Sense check overridden",
        "instrument": "receiver",
        "maker": "HALVORSUND",
        "model": "NR-2",
        "serial": "20417",
        "sense": "not proved",
        "reason": "modulator is sealed",
    }


def test_a_reason_proves_nothing_so_the_next_run_asks_again(desk):
    no = {"possible": False}
    require_sense_check(desk.begin(answers=no), "receiver", POINT)
    require_sense_check(desk.begin(answers=no), "receiver", POINT)
    assert "sense/receiver/possible" in desk.who.asked_keys


@pytest.mark.parametrize(
    ("answers", "match"),
    [
        ({"possible": False, "override": False}, "is not proved"),
        ({"possible": False, "reason": "  "}, "No reason was given"),
        ({"make 150": False}, "Not done: Make 150 Hz predominate"),
    ],
)
def test_without_proof_and_without_a_reason_the_run_does_not_go_on(desk, answers, match):
    with pytest.raises(Refused, match=match):
        require_sense_check(desk.begin(answers=answers), "receiver", POINT)


def test_a_resumed_run_asks_nothing_again_although_the_log_has_grown(desk):
    bench = desk.begin()
    require_sense_check(bench, "receiver", POINT)
    with LogReader(desk.writer.path) as reader:
        recorded = tuple(reader.entries(run=1, kind=Kind.OUTCOME))
    again = Bench(
        bench.station,
        bench.instruments,
        desk.who,
        desk.clock,
        Journal(desk.writer, 1, recorded),
    )
    asked = len(desk.who.asked)
    require_sense_check(again, "receiver", POINT)
    assert len(desk.who.asked) == asked
    assert not again.journal.replaying


def test_a_point_that_is_no_place_for_it_is_refused(desk):
    with pytest.raises(InputError, match="no place for a sense check"):
        sense_check(desk.begin(), "receiver", "course width IF")


def test_it_is_checked_at_the_station_before_out_in_the_field_and_on_a_traverse_last(desk):
    """Of the points in the file, what is left when the better ones are taken away."""
    bench = desk.begin()
    backwards = bench.station.points[::-1]

    def place(keep: Callable[[Point], object]) -> dict[str, str]:
        points = tuple(point for point in backwards if keep(point))
        # The copy is not validated again: tables that name the missing points stay as they are.
        bench.station = bench.station.model_copy(update={"points": points})
        return places_of_proof(bench)

    assert place(lambda _point: True) == {"receiver": "far field monitor"}
    assert place(lambda point: point.place or "traverse" in point.name) == {
        "receiver": "centreline, field"
    }
    assert place(lambda point: "traverse" in point.name) == {"receiver": "clearance traverse"}
    assert place(lambda _point: False) == {}


def test_the_procedure_checks_every_receiver_and_refuses_a_reversed_one(desk):
    check_sense(desk.begin())
    with pytest.raises(Refused, match="The sense of 'receiver' is reversed"):
        check_sense(desk.begin(sign=-1.0))
