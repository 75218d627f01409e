"""Traverses from a receiver's own log, whole runs on the simulated plant."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from daq.log.entry import Kind
from daq.log.reader import LogReader
from daq.roles import InstrumentClass
from daq.station import parse_station
from drivers.registry import open_instrument
from procedures.record.collect import collect
from sim_instruments.drive import CarPosition, Circle, OstrelDl4, Straight, Trip
from sim_instruments.geometry import Position
from tests.support.driving import RECEIVER_LOG, Driver, positions
from tests.support.ground import Ground, Ran, ground, true_course
from tests.support.operators import Minded

NOMINAL_PER_M = 0.155 / 106.9
OUT = {"alignment_ddm": 0.008, "tx1": {"course": {"sbo_level_db": -1.2}}}
SPEED_M_S = 20.0
ACROSS = Trip(Straight(Position(3120.0, -130.0), Position(3120.0, 130.0)), SPEED_M_S)
BY_LOG = positions("course", u="0.05 m")
EVERY = 3
LOW = {"tx1": {"clearance": {"sbo_level_db": -5.0, "power_db": 2.0}}}


def driver(on: Ground, trip: Trip = ACROSS, receiver: OstrelDl4 | None = None) -> Driver:
    """Put a driver in the technician's place; a row each three tenths of a second."""
    made = Driver(
        on.who.inner,
        on.plant,
        on.bench.clock,
        on.folder,
        trip,
        receiver or OstrelDl4(0.5, every=EVERY),
    )
    on.who.inner = made
    return made


def drive_of(ran: Ran, moment: str = "course/as found") -> Mapping[str, object]:
    return ran.requests[f"{moment}/drive"]


def test_a_course_is_measured_set_and_measured_again_from_logs() -> None:
    with ground(OUT, BY_LOG) as on:
        driver(on)
        before = true_course(on.plant)
        ran = on.run("course")
        after = true_course(on.plant)
    assert ran.end.result == "finished", ran.end
    line = ran.requests["course/as found/line"]
    assert line["alignment_m"] == pytest.approx(before.alignment, abs=0.3)
    assert line["sensitivity_per_metre"] == pytest.approx(before.sensitivity, rel=0.005)
    assert after.sensitivity == pytest.approx(NOMINAL_PER_M, rel=0.02)
    assert abs(after.alignment) < 1.5
    assert "course/as left/alignment/verdict" in ran.requests


def test_the_lag_is_found_corrected_and_told() -> None:
    """The truth of the receiver is half an integration and its smoothing; clocks add to it."""
    receiver = OstrelDl4(0.8, EVERY, clock_ahead_s=0.4)
    with ground(None, BY_LOG) as on:
        driver(on, receiver=receiver)
        ran = on.run("course")
    note = drive_of(ran)
    late_ms = 1e3 * (receiver.lag_s + 0.4)
    u_ms = float(str(note["delay_milliseconds_u"]))
    assert note["delay_milliseconds"] == pytest.approx(late_ms, abs=3.0 * u_ms)
    assert u_ms < 15.0
    assert note["hysteresis_m"] == pytest.approx(2 * SPEED_M_S * late_ms / 1e3, rel=0.03)
    assert any("ms late (k=2, by both directions, which lay" in told for told in ran.told)


def test_every_row_that_is_used_is_a_reading_with_file_and_digest() -> None:
    with ground(None, BY_LOG) as on:
        name = driver(on).drive()
        on.who.answers = {"/log 1": name}
        ran = on.run("course")
        with LogReader(on.bench.writer.path) as reader:
            readings = [e.body for e in reader.entries(run=1, kind=Kind.READING)]
            measured = [e for e in reader.entries(run=1, kind=Kind.OUTCOME) if "/place" in e.key]
            lines = (on.folder / name).read_text(encoding="utf-8").splitlines()
    source = str(drive_of(ran)["source"])
    assert source.startswith(f"{name} (SHA-256 ")
    taken = [body for body in readings if body["source"] == source]
    assert len(taken) == drive_of(ran)["rows_on_the_traverse"]
    assert all(body["raw"] == f"{name}:{_line(body)}: {lines[_line(body) - 1]}" for body in taken)
    assert len(measured) == 11
    for entry in measured:
        request, outcome = entry.body["request"], entry.body["outcome"]
        assert isinstance(request, dict)
        assert isinstance(outcome, dict)
        assert request["label"].startswith("traverse, as found, driven, ")
        assert outcome["source"] == f"{source[: len(name) + 18]}…)"


def _line(body: Mapping[str, object]) -> int:
    return int(str(body["raw"]).split(":")[1])


def test_rows_that_may_not_be_used_are_kept_with_their_reason_and_not_used() -> None:
    with ground(None, BY_LOG) as on:
        name = driver(on).drive()
        path = on.folder / name
        lines = path.read_text(encoding="utf-8").splitlines()
        bad = range(26, 32)
        for n in bad:
            lines[n] = ",".join([lines[n].split(",")[0], "+900.0", "40.0", "-48.0", "LOW"])
        path.write_text("\n".join(lines), encoding="utf-8")
        on.who.answers = {"/log 1": name}
        truth = true_course(on.plant)
        ran = on.run("course")
        with LogReader(on.bench.writer.path) as reader:
            flagged = [
                e.body
                for e in reader.entries(run=1, kind=Kind.READING)
                if e.body["quality"] == "flagged by the instrument"
            ]
    assert len(flagged) == len(bad)
    note = drive_of(ran)
    assert note["rows_not_usable"] == len(bad)
    assert [gap["why"] for gap in note["gaps"]] == ["flagged by the instrument"]  # type: ignore[attr-defined]
    line = ran.requests["course/as found/line"]
    assert line["alignment_m"] == pytest.approx(truth.alignment, abs=0.3)


def test_a_value_that_stands_still_is_found_left_out_and_told() -> None:
    """A display that hangs for 4 s while 80 m are driven: the line would be metres off."""
    known = positions("course", u="0.05 m", more='noise = "0.05 uA"\nresolution = "0.01 uA"')
    with ground(None, known) as on:
        name = driver(on).drive()
        path = on.folder / name
        lines = [line.split(",") for line in path.read_text(encoding="utf-8").splitlines()]
        still = range(28, 41)
        for n in still:
            lines[n][1] = lines[still[0]][1]
        path.write_text("\n".join(map(",".join, lines)), encoding="utf-8")
        on.who.answers = {"/log 1": name}
        truth = true_course(on.plant)
        ran = on.run("course")
    note = drive_of(ran)
    assert note["rows_frozen"] == note["rows_not_usable"] == len(still)
    assert [gap["why"] for gap in note["gaps"]] == ["frozen"]  # type: ignore[attr-defined]  # objects
    assert any(
        f"NOTE: {len(still)} rows hold a value that stands still" in told for told in ran.told
    )
    line = ran.requests["course/as found/line"]
    assert line["alignment_m"] == pytest.approx(truth.alignment, abs=0.3)


def test_one_direction_is_widened_by_the_lag_that_is_not_known() -> None:
    stated = positions("course", u="0.05 m", more='lag = "0.3 s"\nlag_u = "0.2 s"')
    with ground(None, stated) as on:
        driver(on, replace(ACROSS, passes=1), OstrelDl4(0.6, EVERY))
        truth = true_course(on.plant)
        ran = on.run("course")
    found = ran.requests["course/as found/line"]
    off_m = float(str(found["alignment_m"])) - truth.alignment
    assert found["alignment_u_m"] == pytest.approx(np.hypot(SPEED_M_S * 0.2, 0.35), rel=0.03)
    assert abs(off_m) < 2.0 * float(str(found["alignment_u_m"]))
    assert off_m == pytest.approx(SPEED_M_S * (OstrelDl4(0.6).lag_s - 0.3), abs=0.5)
    assert any("takes both directions" in told for told in ran.told)


def test_a_run_that_was_cut_off_goes_on_without_the_file() -> None:
    with ground(OUT, BY_LOG) as on:
        made = driver(on)
        stopped = Minded(made, answers={"round 1/log 1": KeyboardInterrupt()})
        with pytest.raises(KeyboardInterrupt):
            on.bench.run("course", stopped)
        (on.folder / made.names[0]).unlink()
        again = Minded(made)
        end = on.bench.resume(1, again)
    assert end.result == "finished"
    assert not any("as found" in key for key in again.asked_keys)
    assert "course/round 1/log 1" in again.asked_keys


def test_a_wrong_name_is_asked_again_and_walking_is_always_possible() -> None:
    with ground(None, BY_LOG) as on:
        on.who.answers = {"/log 1": "none.csv", "/track 1": "none.nmea", "/log 2": " Walk "}
        ran = on.run("course")
    assert ran.end.result == "finished"
    again = next(prompt for prompt in on.who.asked if prompt.key.endswith("/log 2"))
    assert "none.csv: this file cannot be read" in again.text
    assert "course/as found/place 1/position" in ran.requests


def test_a_file_that_is_wrong_again_and_again_ends_the_run() -> None:
    with ground(None, BY_LOG) as on:
        on.who.answers = {f"/{what} {n}": "none" for what in ("log", "track") for n in (1, 2, 3)}
        ran = on.run("course")
    assert ran.end.result == "refused"
    assert "this file cannot be read" in ran.end.message


def test_a_log_with_places_of_its_own_needs_no_track() -> None:
    own = positions("course", u="0.05 m", more='offset = "Offset m"')
    with ground(None, own) as on:
        name = driver(on).drive()
        _with_offsets(on.folder / name)
        on.who.answers = {"/log 1": name}
        truth = true_course(on.plant)
        ran = on.run("course")
    assert not any("/track" in key for key in on.who.asked_keys)
    line = ran.requests["course/as found/line"]
    assert line["alignment_m"] == pytest.approx(truth.alignment, abs=0.3)


def _with_offsets(path: Path) -> None:
    """Add where the car was at the time of each row."""
    head, *rows = path.read_text(encoding="utf-8").splitlines()
    at = [ACROSS.place(0.1 * EVERY * (n + 1)).lateral_m for n in range(len(rows))]
    pairs = zip(rows, at, strict=True)
    text = "\n".join([f"{head},Offset m", *(f"{row},{x:.3f}" for row, x in pairs)])
    path.write_text(text, encoding="utf-8")


def test_a_fix_of_a_kind_that_is_not_accepted_is_no_position() -> None:
    with ground(None, BY_LOG) as on:
        made = driver(on)
        made.car = CarPosition(quality=1)
        name = made.drive()
        on.who.answers = {"/log 1": name, "/log 2": name, "/log 3": name}
        ran = on.run("course")
    assert ran.end.result == "refused"
    assert "fixes in it: single; accepted: rtk fixed" in ran.end.message


def test_the_wrong_sign_is_a_reversed_sense() -> None:
    wrong = positions("course", u="0.05 m", log=RECEIVER_LOG.replace("= 90", "= 150"))
    with ground(OUT, wrong) as on:
        driver(on)
        ran = on.run("course")
    assert ran.end.result == "refused"
    assert "the sense is reversed" in ran.end.message


def test_a_driven_clearance_finds_a_narrow_sag() -> None:
    """An ideal receiver finds 0.138 at 9.4 degrees: between two places of the walked traverse."""
    with ground(LOW, positions("clearance", u="0.5 m")) as on:
        driver(on, Trip(Circle(2000.0, -36.0, 36.0), SPEED_M_S))
        azimuths = np.arange(8.0, 10.0, 0.1)
        truth = min(
            on.plant.field_truth(Position.at_azimuth(2000.0, float(a))).ddm for a in azimuths
        )
        ran = on.run("clearance")
    assert ran.end.result == "finished", ran.end
    row = ran.judged()["clearance/150 inner/verdict"]
    assert row["value"] == pytest.approx(truth, abs=0.004)
    assert abs(row["value"] - truth) < 2.0 * row["u"]
    assert row["verdict"] == "out of tolerance"
    assert ran.requests["clearance/lowest"]["reached_150_side_deg"] == pytest.approx(35.0, abs=0.3)
    assert drive_of(ran, "clearance")["passes"] == 2


def test_a_drive_that_ends_early_says_what_is_not_known() -> None:
    with ground(None, positions("clearance", u="0.5 m")) as on:
        driver(on, Trip(Circle(2000.0, -20.0, 12.0), 20.0))
        ran = on.run("clearance")
    assert ran.requests["clearance/lowest"]["reached_90_side_deg"] == pytest.approx(19.4, abs=0.5)
    known = [told for told in ran.told if told.startswith("NOT KNOWN")]
    assert [
        f"{side} Hz side: the readings end at 1" in told
        for side, told in zip(("90", "150"), known, strict=True)
    ] == [True, True]
    assert {key.split("/")[1] for key in ran.judged() if key.startswith("clearance/")} == {
        "90 inner",
        "150 inner",
    }


def test_where_the_receiver_was_blind_is_not_in_tolerance() -> None:
    """LOW from 12 to 19 degrees both ways: nothing is known of the 150 Hz side's outer sector."""
    trip = Trip(Circle(2000.0, -36.0, 36.0), SPEED_M_S)
    with ground(None, positions("clearance", u="0.5 m")) as on:
        name = driver(on, trip).drive()
        path = on.folder / name
        head, *rows = path.read_text(encoding="utf-8").splitlines()
        at = [trip.place(0.1 * EVERY * (n + 1)).azimuth_deg for n in range(len(rows))]
        flagged = [
            ",".join([row.split(",")[0], "+900.0", "40.0", "-48.0", "LOW"])
            if 12.0 < azimuth < 19.0 else row
            for row, azimuth in zip(rows, at, strict=True)
        ]  # fmt: skip
        path.write_text("\n".join([head, *flagged]), encoding="utf-8")
        on.who.answers = {"/log 1": name}
        ran = on.run("clearance")
        with LogReader(on.bench.writer.path) as reader:
            warnings = collect(reader, 1).warnings
    assert ran.end.result == "finished", ran.end
    verdicts = ran.judged()
    assert "clearance/150 outer/verdict" not in verdicts
    assert verdicts["clearance/150 inner/verdict"]["verdict"] == "in tolerance"
    assert verdicts["clearance/90 outer/verdict"]["verdict"] == "in tolerance"
    told = [words for words in ran.told if words.startswith("NOT KNOWN")]
    assert [words[:46] for words in told] == ["NOT KNOWN: the log has no usable row from +12."[:46]]
    assert any("NOT JUDGED: clearance, 150 Hz side, outer sector" in words for words in ran.told)
    assert any("Clearance is NOT KNOWN: the log has no" in words for words in warnings)


def test_a_reversed_log_passes_no_clearance() -> None:
    """Its values have the right size everywhere, towards the wrong tone."""
    wrong = positions("clearance", u="0.5 m", log=RECEIVER_LOG.replace("= 90", "= 150"))
    with ground(None, wrong) as on:
        name = driver(on, Trip(Circle(2000.0, -36.0, 36.0), SPEED_M_S)).drive()
        on.who.answers = {f"/log {n}": name for n in (1, 2, 3)}
        ran = on.run("clearance")
    assert ran.end.result == "refused"
    assert "the sense is reversed" in ran.end.message
    assert not [key for key in ran.judged() if key.startswith("clearance/")]


@pytest.mark.parametrize("procedure", ["course", "clearance"])
def test_a_simulated_technician_drives_what_the_prompt_asks_for(procedure: str) -> None:
    """Nothing is put in its place here: hands drive, and it answers with what they say."""
    u = {"course": "0.05 m", "clearance": "0.5 m"}[procedure]
    with ground(None, positions(procedure, u=u, more='receiver = "receiver"')) as on:
        ran = on.run(procedure)
        made = sorted(path.name for path in on.folder.glob("drive-*"))
    assert ran.end.result == "finished", ran.end
    assert made == ["drive-1.csv", "drive-1.nmea"]
    moment = {"course": "course/as found", "clearance": "clearance"}[procedure]
    note = drive_of(ran, moment)
    assert note["passes"] == 2
    # 15 m/s, half a second of smoothing and half an integration of 0.1 s.
    assert note["delay_milliseconds"] == pytest.approx(1e3 * OstrelDl4(0.5).lag_s, abs=20.0)
    assert str(note["log_of"]).startswith("receiver: ")
    assert note["positive_where"] == "90 Hz predominates, as the station file declares"
    assert note["rows_frozen"] == "not looked for: noise and resolution not given"
    asked = {prompt.key: prompt.action for prompt in on.who.asked}
    road = asked[f"{moment}/log 1"]
    assert road is not None
    assert road.verb == "drive receiver"
    # 40 m beyond the outermost place: 103.45 m for 0.15 DDM, and 35 degrees at 2000 m.
    farthest = {"course": ("to_m", 143.45), "clearance": ("to_deg", 36.15)}[procedure]
    assert road.arguments[farthest[0]] == pytest.approx(farthest[1], abs=0.1)
    if procedure == "clearance":
        reached = ran.requests["clearance/lowest"]
        assert reached["reached_90_side_deg"] == pytest.approx(35.0, abs=0.3)
        assert reached["reached_150_side_deg"] == pytest.approx(35.0, abs=0.3)


@pytest.mark.parametrize("alias", ["logger", "scope"])
def test_a_log_is_of_a_receiver_whose_calibration_was_looked_at(alias: str) -> None:
    """One that the file does not have, and one that is no receiver."""
    with ground(None, positions("course", u="0.05 m", more=f'receiver = "{alias}"')) as on:
        driver(on)
        ran = on.run("course")
    assert ran.end.result == "refused"
    assert f"receiver_log names the receiver '{alias}', which is no navigation" in ran.end.message


LOGGER = """
[[instruments]]
alias = "logger"
class = "navigation receiver"
profile = "keyed"
resource = "KEYED"
"""
POWER_METER = '[[instruments]]\nalias = "power meter"'


def test_a_logger_without_a_port_is_an_instrument_of_the_run() -> None:
    """Its plate is read by the technician; its calibration is asked about, and it is listed."""
    with ground(None, positions("course", u="0.05 m", more='receiver = "logger"')) as on:
        text = on.bench.station.text.replace(POWER_METER, LOGGER + POWER_METER)
        on.bench.station = parse_station(text, on.bench.station.path)
        on.bench.instruments["logger"] = open_instrument(
            "logger", InstrumentClass.NAVIGATION_RECEIVER, "keyed", "KEYED",
            clock=on.bench.clock, base=on.folder, ask=lambda _question: "Ostrel, DL-4, 2203",
        )  # fmt: skip
        ran = on.run("course")
        with LogReader(on.bench.writer.path) as reader:
            listed = reader.run(1).started["instruments"]
    assert ran.end.result == "finished", ran.end
    assert "calibration/logger/overridden" in ran.requests
    assert drive_of(ran)["log_of"] == "logger: Ostrel DL-4 serial 2203, calibration due not known"
    assert isinstance(listed, list)
    assert {"alias": "logger", "maker": "Ostrel", "model": "DL-4"}.items() <= listed[-1].items()
    assert not any(key.startswith("sense/logger") for key in ran.requests)
