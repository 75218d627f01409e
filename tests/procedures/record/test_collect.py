"""What a record holds, against logs written row by row."""

import sqlite3

import pytest

from daq.clock import iso_utc
from daq.errors import InputError, LogDamaged
from daq.journal import Journal
from daq.log.entry import Kind
from daq.log.reader import LogReader
from procedures.record.collect import collect
from procedures.record.model import Record
from tests.procedures.record.run_log import STATION, RunLog, instrument, write_reversed_width


def record_of(log: RunLog, run: int = 1) -> Record:
    log.writer.close()
    with LogReader(log.path) as reader:
        return collect(reader, run)


def test_header_comes_from_the_first_row_and_the_station_text_in_it(log: RunLog) -> None:
    write_reversed_width(log)
    header = record_of(log).header
    assert (header.station, header.runway, header.ident) == ("Tarnholt aerodrome", "16", "ITN")
    assert header.frequency_hz == 109.35e6
    assert header.acceptance == "guarded"
    assert iso_utc(header.started_utc_ns) == "2027-01-15T08:00:00.000Z"


def test_digest_and_counts_are_those_of_the_file(log: RunLog) -> None:
    """Independent reader: sqlite3."""
    write_reversed_width(log)
    record = record_of(log)
    with sqlite3.connect(log.path) as connection:
        (digest,) = connection.execute(
            "SELECT hex(digest) FROM entries ORDER BY seq DESC LIMIT 1"
        ).fetchone()
        rows, readings = connection.execute(
            "SELECT count(*), sum(kind = 'reading') FROM entries"
        ).fetchone()
    connection.close()
    assert record.digest == digest.lower()
    assert (record.rows, record.reading_count) == (rows, readings)
    assert record.chain_ok


def test_as_found_and_as_left_are_paired_by_point_and_state(log: RunLog) -> None:
    write_reversed_width(log)
    found_left = {
        (line.point, line.variant): (
            line.found and line.found.measurement.value,
            line.left and line.left.measurement.value,
            line.adjusted,
        )
        for line in record_of(log).summary
    }
    assert found_left == {
        ("course line IF", ""): (1.213, 1.5031, True),
        ("course width", ""): (-0.1023, 0.15493, True),
        ("course width", "quadrature"): (0.0312, 0.00031, True),
    }


def test_the_wide_alarm_is_no_as_found_and_the_profile_is_compared_around_itself(
    log: RunLog,
) -> None:
    log.start()
    log.measure("wide/normal", "normal", log.measured(0.1550))
    alarm = log.measured(0.1287)
    log.adjust("wide/set/1", alarm, start=0.155, target=0.1287, band=0.001, control="SBO")
    log.judge("wide/set/v", "course width, profile", alarm, low=0.1277, high=0.1297)
    restored = log.measured(0.1552)
    log.adjust("wide/restore/1", restored, start=0.13, target=0.155, band=0.001, control="SBO")
    log.judge("wide/restore/v", "course width, profile removed", restored, low=0.154, high=0.156)
    log.measure("wide/verify", "normal restored", log.measured(0.1549))
    log.end()
    around, at_alarm = record_of(log).summary
    assert around.found is not None
    assert around.left is not None
    assert at_alarm.left is not None
    assert (around.found.measurement.value, around.left.measurement.value) == (0.1550, 0.1549)
    assert at_alarm.found is None
    assert at_alarm.left.measurement.value == 0.1287


def test_a_point_that_was_right_has_no_as_left_and_is_not_adjusted(log: RunLog) -> None:
    log.start()
    log.measure("a", "as found", log.measured(0.155))
    log.end()
    (line,) = record_of(log).summary
    assert line.left is None
    assert not line.adjusted


def test_verdicts_hang_on_the_measurement_they_were_passed_on(log: RunLog) -> None:
    write_reversed_width(log)
    worst = [line.worst.verdict if line.worst else None for line in record_of(log).measured]
    assert worst == [
        "out of tolerance",
        "in tolerance",
        None,
        "out of tolerance",
        "in tolerance",
        None,
        "in tolerance",
    ]


def test_a_later_reading_does_not_take_the_verdict_of_an_earlier_one(log: RunLog) -> None:
    log.start()
    first = log.measured(0.1601)
    log.measure("a", "as found", first)
    log.measure("b", "normal", log.measured(0.1550))
    log.judge("v", "width", first, low=0.154, high=0.156, verdict="out of tolerance")
    assert [len(line.verdicts) for line in record_of(log).measured] == [1, 0]


def test_of_two_equal_readings_the_newer_one_is_judged(log: RunLog) -> None:
    log.start()
    for key in ("a", "b"):
        log.measure(key, "as found", log.measured(0.155))
    log.judge("v", "width", log.measured(0.155), low=0.154, high=0.156)
    assert [len(line.verdicts) for line in record_of(log).measured] == [0, 1]


def test_the_worst_of_several_verdicts_counts(log: RunLog) -> None:
    log.start()
    reading = log.measured(0.1559)
    log.measure("a", "as found", reading)
    for number, verdict in enumerate(("in tolerance", "out of tolerance", "too close to call")):
        log.judge(f"a/{number}", "width", reading, low=0.154, high=0.156, verdict=verdict)
    (line,) = record_of(log).measured
    assert line.worst is not None
    assert line.worst.verdict == "out of tolerance"


def test_cut_keeps_the_planned_and_the_real_length(log: RunLog) -> None:
    write_reversed_width(log)
    (cut,) = record_of(log).cuts
    assert (cut.path, cut.stage, cut.planned_m, cut.really_m) == ("sbo", "monitor", 0.97, 0.965)
    assert cut.confirmed


def test_a_length_that_was_asked_for_again_is_the_one_that_was_cut(log: RunLog) -> None:
    """The plan stays beside it, and both answers stay among the answers."""
    log.start()
    arguments = {"path": "sbo", "stage": "monitor", "length_m": 0.935}
    log.ask("r/cut", "number", "Shorten it.", 10.0, unit="m", verb="cut", arguments=arguments)
    log.ask("r/cut/again 1", "number", "Measure the piece.", 0.93, unit="m")
    log.ask("r/level", "number", "Another number.", 7.0)
    record = record_of(log)
    (cut,) = record.cuts
    assert (cut.planned_m, cut.really_m) == (0.935, 0.93)
    assert [line.answer for line in record.answers] == ["10 m", "0.93 m", "7"]


def test_a_reading_that_was_taken_again_is_no_as_found_value(log: RunLog) -> None:
    """A receiver that was not connected says 0.0003; that was never the station's width."""
    log.start()
    log.measure("r/normal", "normal, round 1", log.measured(0.0003))
    log.measure("r/quadrature", "quadrature, round 1", log.measured(0.0006))
    void = {"void": ["r/normal", "r/quadrature"], "why": "too small"}
    log.note("r/again 1/void", "Readings taken again", void)
    log.measure("r/again 1/normal", "normal, round 1", log.measured(-0.09))
    record = record_of(log)
    assert [line.label for line in record.measured] == [
        "void, normal, round 1", "void, quadrature, round 1", "normal, round 1",
    ]  # fmt: skip
    (line,) = record.summary
    assert line.found is not None
    assert line.found.measurement.value == -0.09


@pytest.mark.parametrize("agrees", [True, False])
def test_a_cut_that_did_not_do_what_it_should_is_warned_of(agrees: bool, log: RunLog) -> None:
    log.start()
    log.note("r/cut check", "Cut checked", {"cut_m": 0.935, "as_if_m": 0.5, "agrees": agrees})
    log.end()
    told = [words for words in record_of(log).warnings if "phase after a cut" in words]
    assert told == (
        []
        if agrees
        else [
            "The phase after a cut of 0.935 m (36.8 in) was not what such a cut makes: it is as if "
            "0.500 m (19.7 in) had been cut, or another line."
        ]
    )


def test_a_cut_that_was_only_confirmed_has_no_real_length(log: RunLog) -> None:
    log.start()
    arguments = {"path": "csb", "stage": "monitor", "length_m": 0.3}
    log.ask("cut", "confirm", "Shorten it.", True, verb="cut", arguments=arguments)
    (cut,) = record_of(log).cuts
    assert cut.really_m is None
    assert cut.confirmed


def test_caution_says_who_and_when(log: RunLog) -> None:
    write_reversed_width(log)
    (caution,) = record_of(log).cautions
    assert (caution.by, caution.answer, caution.caution) == ("technician", "yes", "It can kill.")
    assert iso_utc(caution.utc_ns) == "2027-01-15T08:00:05.000Z"


def test_adjustment_has_its_readings_over_monotonic_time(log: RunLog) -> None:
    write_reversed_width(log)
    level, null, width = record_of(log).adjustments
    assert len(level.series.values) == len(null.series.values) == 60
    assert width.series.seconds[0] == 0.0
    assert width.series.seconds[-1] == pytest.approx(5.9)
    assert width.before is not None
    assert width.before.value == 0.1021
    assert width.in_band


def test_an_adjustment_that_was_stopped_is_not_passed_over(log: RunLog) -> None:
    """The hand was on the control, nothing was captured: the point is not as it was found."""
    log.start()
    log.measure("found", "as found", log.measured(0.155))
    log.reading("turn", 0.14)
    log.end("aborted", "Stopped.")
    assert record_of(log).warnings[-1].endswith("no outcome of the step 'turn'.")


def test_a_watch_that_came_to_its_end_needs_no_outcome(log: RunLog) -> None:
    log.start(procedure="watch")
    log.reading("watch", 0.14)
    log.end()
    assert record_of(log).warnings == ()


def test_a_clock_that_was_set_back_does_not_bend_the_series(log: RunLog) -> None:
    log.start()
    log.reading("a", 0.1)
    log.clock.step_utc(-3600)
    after = log.measured(0.155)
    log.adjust("a", after, start=0.1, target=0.155, band=0.001, control="width", count=5)
    (line,) = record_of(log).adjustments
    assert line.series.seconds == pytest.approx([0.0, 0.1, 0.2, 0.3, 0.4, 0.5])


def test_a_machine_started_anew_begins_the_series_anew(log: RunLog) -> None:
    """Monotonic time has another origin after a start; both parts cannot share an axis."""
    log.start()
    log.clock.sleep(1000)
    log.reading("a", 0.1)
    log.clock.mono_ns = 5
    after = log.measured(0.155)
    log.adjust("a", after, start=0.1, target=0.155, band=0.001, control="width", count=3)
    (line,) = record_of(log).adjustments
    assert line.series.seconds == pytest.approx([0.0, 0.1, 0.2])


def test_an_adjustment_that_is_done_anew_has_only_its_new_readings(log: RunLog) -> None:
    """After a take-up the same step is done again, hours later; so is one that was broken off."""
    log.start()
    first = log.measured(0.150)
    log.adjust("a", first, start=0.1, target=0.155, band=0.001, control="width", count=5)
    log.event("b", {"event": "tried again"})
    log.reading("b", 0.14)
    log.end("aborted", "Stopped.")
    log.clock.sleep(7200.0)
    log.journal = Journal(log.writer, log.run)
    log.event("resumed", {"event": "resumed", "outcomes": 0})
    after = log.measured(0.155)
    log.adjust("a", after, start=0.12, target=0.155, band=0.001, control="width", count=3)
    log.adjust("b", after, start=0.12, target=0.155, band=0.001, control="width", count=4)
    log.end()
    _, again, other = record_of(log).adjustments
    assert again.series.seconds == pytest.approx([0.0, 0.1, 0.2])
    assert other.series.seconds == pytest.approx([0.0, 0.1, 0.2, 0.3])
    assert other.series.restarts_s == ()


def test_a_step_that_was_broken_off_and_not_done_anew_is_still_named(log: RunLog) -> None:
    log.start()
    log.reading("turn", 0.14)
    log.end("aborted", "Stopped.")
    log.event("resumed", {"event": "resumed", "outcomes": 0})
    log.end("aborted", "Stopped.")
    assert record_of(log).warnings[-1].endswith("no outcome of the step 'turn'.")


def test_an_event_after_the_end_leaves_the_run_ended(log: RunLog) -> None:
    log.start()
    log.end("refused", "No spare.", ["the line is in"])
    log.event("gap", {"event": "instrument was away"})
    record = record_of(log)
    assert (record.end.result, record.end.open_hazards) == ("refused", ("the line is in",))
    assert record.events[-1].what == "instrument was away"


def test_run_without_an_end_was_cut_off_and_keeps_its_last_reminder(log: RunLog) -> None:
    log.start()
    log.ask("a", "confirm", "Go on?", True, caution="Hot. Reminder: the line is in. Reminder: B.")
    record = record_of(log)
    assert record.end.result == "cut off"
    assert record.end.open_hazards == ("the line is in.", "B.")
    assert record.warnings[:2] == ("STILL OPEN: the line is in.", "STILL OPEN: B.")
    assert "The run did not finish (cut off)." in record.warnings


def test_reminder_of_a_hazard_that_was_undone_does_not_stay(log: RunLog) -> None:
    log.start()
    log.ask("a", "confirm", "Go on?", True, caution="Reminder: the line is in.")
    log.ask("b", "confirm", "Go on?", True)
    assert record_of(log).end.open_hazards == ()


def test_refused_run_says_why_and_open_hazards_come_first(log: RunLog) -> None:
    log.start()
    log.end("refused", "The spare cable cannot do it.", ["the quarter-wave line is in"])
    record = record_of(log)
    assert (record.end.result, record.end.message) == ("refused", "The spare cable cannot do it.")
    assert record.warnings[0] == "STILL OPEN: the quarter-wave line is in."


def test_clean_run_has_no_warnings(log: RunLog) -> None:
    write_reversed_width(log)
    assert record_of(log).warnings == ()


def test_a_simulated_station_is_said_to_be_one(log: RunLog) -> None:
    """A print of the demonstration must not pass for a real facility's."""
    log.start(station_text=STATION + "[simulation]\nhands_port = 5099\n")
    log.end()
    (warning,) = record_of(log).warnings
    assert warning.startswith("SIMULATED: ")


@pytest.mark.parametrize(
    ("due", "expected"),
    [
        ("2027-01-14", ("The calibration of 'receiver' was due on 2027-01-14.",)),
        ("2027-01-15", ()),
        (None, ("No calibration date is known for 'receiver'.",)),
    ],
)
def test_calibration_is_judged_by_the_day_of_the_run(
    log: RunLog, due: str | None, expected: tuple[str, ...]
) -> None:
    """The run begins on 2027-01-15; the day on which it is due is still good."""
    log.start(instruments=[instrument(calibration_due=due)])
    log.end()
    assert record_of(log).warnings == expected


def test_everything_doubtful_is_a_warning(log: RunLog) -> None:
    log.start()
    log.note("c", "Calibration overridden", {"instrument": "receiver", "reason": "spare one"})
    reading = log.measured(0.16, steady=False)
    log.measure("a", "as found", reading)
    log.judge(
        "a/v",
        "width",
        reading,
        low=0.154,
        high=0.156,
        verdict="out of tolerance",
        source="Annex, table 3",
        status="from memory",
    )
    log.event("a", {"event": "gap", "error": {"kind": "LinkLost"}})
    log.end()
    assert record_of(log).warnings == (
        "'course width': out of tolerance when last judged.",
        "A limit is from memory and was not read in its source: Annex, table 3.",
        "Calibration overridden: instrument: receiver; reason: spare one.",
        "1 of 1 measurements had not settled when taken.",
        "An instrument failed 1 time; see the events.",
    )


def test_events_are_kept_with_their_details(log: RunLog) -> None:
    log.start()
    log.event("a", {"event": "gap", "error": {"kind": "LinkLost", "message": "gone"}})
    (event,) = record_of(log).events
    assert (event.what, event.detail) == ("gap", "error: kind LinkLost, message gone")


def test_a_changed_row_is_said_on_the_record(log: RunLog) -> None:
    write_reversed_width(log)
    log.writer.close()
    connection = sqlite3.connect(log.path)
    with connection:
        connection.execute("DROP TRIGGER no_update")
        connection.execute("UPDATE entries SET body = replace(body, '0.1021', '0.1551')")
    connection.close()
    record = record_of(log)
    assert not record.chain_ok
    assert record.warnings[0].startswith("THE LOG WAS CHANGED: ")


def test_row_of_another_shape_is_named(log: RunLog) -> None:
    log.start()
    log.writer.append(1, Kind.OUTCOME, "x", {"request": {"do": "measure"}, "outcome": {}})
    with pytest.raises(LogDamaged, match=r"Row 2 of the log \(outcome, 'x'\)"):
        record_of(log)


def test_unknown_run_is_an_input_error(log: RunLog) -> None:
    log.start()
    with pytest.raises(InputError, match="no run 7"):
        record_of(log, 7)


@pytest.mark.parametrize("text", ["not = toml = at all", "[station]\nname = 'x'"])
def test_station_text_of_another_time_does_not_stop_the_record(log: RunLog, text: str) -> None:
    log.start(station_text=text)
    log.end()
    record = record_of(log)
    assert record.header.station == ""
    assert "The station file's text in the log cannot be read by this version." in record.warnings
