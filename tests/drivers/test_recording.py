"""Another day's readings or samples stand in for an instrument, and say so."""

from __future__ import annotations

import math
import wave

import numpy as np
import pytest

from daq.clock import ManualClock
from daq.errors import AnswerError, InputError, LinkLost, SamplesError
from daq.journal import Journal
from daq.log.entry import Kind
from daq.log.writer import LogWriter
from daq.reading import Quality, Reading
from daq.roles import InstrumentClass
from daq.samples.analyze import reading_from_waveform
from drivers.recorded_samples import RecordedSamples
from drivers.registry import open_instrument

RATE_HZ = 8000


def replay(tmp_path, resource, kind=InstrumentClass.NAVIGATION_RECEIVER, clock=None):
    return open_instrument(
        "receiver", kind, "recording", resource, clock=clock or ManualClock(), base=tmp_path
    )


def detector(ddm: float, seconds: float):
    """Detector output by the definition: 1 + m90 cos + m150 cos, m150 - m90 = ddm, sum 0.4."""
    t = np.arange(round(seconds * RATE_HZ)) / RATE_HZ
    rng = np.random.default_rng(3)
    tones = (0.2 - ddm / 2) * np.cos(2 * np.pi * 90 * t) + (0.2 + ddm / 2) * np.cos(
        2 * np.pi * 150 * t
    )
    return 0.5 * (1 + tones) + 1e-4 * rng.standard_normal(t.size)


@pytest.fixture
def wav(tmp_path):
    with wave.open(str(tmp_path / "morning.wav"), "wb") as file:
        file.setparams((1, 2, RATE_HZ, 0, "NONE", ""))
        file.writeframes((detector(0.1, 1.6) * 32767).astype("<i2").tobytes())
    return "RECORDING::morning.wav"


def test_a_sound_file_is_demodulated_as_a_receiver_until_it_is_over(tmp_path, wav):
    receiver = replay(tmp_path, wav)
    for _ in range(3):
        reading = receiver.measure("ddm", point="course width")
        assert reading.value == pytest.approx(0.1, abs=4 * reading.u)
        assert (reading.raw, reading.point) == ("recorded in morning.wav", "course width")
    with pytest.raises(LinkLost, match="The recording is over"):
        receiver.measure("ddm")


def test_a_sound_file_is_handed_over_as_an_oscilloscope(tmp_path, wav):
    clock = ManualClock()
    scope = replay(tmp_path, wav, InstrumentClass.OSCILLOSCOPE, clock)
    assert isinstance(scope, RecordedSamples)
    began = clock.monotonic_ns()
    assert reading_from_waveform(scope.waveform()).value == pytest.approx(0.1, abs=0.001)
    assert clock.monotonic_ns() - began == 500_000_000  # at its own pace
    reading = scope.measure("vpp")
    assert reading.value == pytest.approx(np.ptp(detector(0.1, 0.5)), abs=0.002)
    assert reading.u > 0


def test_a_table_of_samples_is_told_from_one_of_readings(tmp_path):
    values = detector(-0.05, 0.6)
    rows = (f"{n / RATE_HZ:.6f},{value:.6f}" for n, value in enumerate(values))
    (tmp_path / "scope.csv").write_text("time,volts\n" + "\n".join(rows))
    receiver = replay(tmp_path, "RECORDING::scope.csv")
    assert receiver.measure("ddm").value == pytest.approx(-0.05, abs=0.001)


def test_noise_without_tones_is_an_error_with_the_reason(tmp_path):
    rng = np.random.default_rng(4)
    with wave.open(str(tmp_path / "noise.wav"), "wb") as file:
        file.setparams((1, 2, RATE_HZ, 0, "NONE", ""))
        file.writeframes((rng.standard_normal(RATE_HZ) * 3000).astype("<i2").tobytes())
    with pytest.raises(AnswerError, match=r"receiver \(RECORDING"):
        replay(tmp_path, "RECORDING::noise.wav").measure("ddm")


CSV = """\
quantity,point,value,u,source,quality,raw,time_utc,mono_ns
ddm,course line,0.0012,0.0005,receiver,ok,DDM +0.0012 OK,2026-05-04T08:00:00.000Z,1000000000
ddm,course width,0.1551,0.0009,receiver,ok,DDM +0.1551 OK,2026-05-04T08:00:00.300Z,1300000000
vpp,course width IF,1.5,0.01,scope,ok,1.5,2026-05-04T08:00:00.350Z,1350000000
ddm,course width,,,receiver,no value,DDM ---- LOW,2026-05-04T08:00:00.400Z,1400000000
"""


def test_a_csv_of_readings_is_replayed_in_order_and_at_its_pace(tmp_path):
    (tmp_path / "day.csv").write_text(CSV)
    clock = ManualClock()
    receiver = replay(tmp_path, "RECORDING::day.csv", clock=clock)
    assert receiver.quantities == {"ddm"}  # the oscilloscope's rows are another instrument's
    began = clock.monotonic_ns()
    readings = [receiver.measure("ddm") for _ in range(3)]
    assert [r.value for r in readings[:2]] == [0.0012, 0.1551]
    assert readings[0].raw == "recorded 2026-05-04T08:00:00.000Z: DDM +0.0012 OK"
    assert readings[1].point == "course width"
    assert math.isnan(readings[2].value)
    assert readings[2].quality is Quality.NO_VALUE
    assert clock.monotonic_ns() - began == 400_000_000


def test_only_readings_of_the_point_that_is_asked_for_are_replayed(tmp_path):
    (tmp_path / "day.csv").write_text(CSV)
    receiver = replay(tmp_path, "RECORDING::day.csv")
    assert receiver.measure("ddm", point="course width").value == 0.1551


@pytest.mark.parametrize(
    ("text", "match"),
    [
        ("quantity,u\nddm,1\n", "no column value"),
        ("quantity,value\nddm,abc\n", r"day\.csv:2: this is no reading"),
        ("quantity,value\nspeed,1\n", "'speed' is no quantity"),
        ("quantity,value,quality\nddm,1,splendid\n", "splendid"),
        ("quantity,value\n", "holds no readings"),
    ],
)
def test_a_csv_that_is_none_of_readings_is_refused_with_the_line(tmp_path, text, match):
    (tmp_path / "day.csv").write_text(text)
    with pytest.raises(InputError, match=match):
        replay(tmp_path, "RECORDING::day.csv")


@pytest.fixture
def log(tmp_path):
    clock = ManualClock()
    with LogWriter(tmp_path / "day.tblog", clock) as writer:
        for run, value in ((1, 0.01), (2, 0.02)):
            reading = Reading(
                "ddm", value, 0.001, "receiver", "course line", clock.utc_ns(), clock.monotonic_ns()
            )
            writer.append(run, Kind.RUN_STARTED, "watch", {"procedure": "watch"})
            Journal(writer, run).reading("as found", reading)
    return tmp_path / "day.tblog"


@pytest.mark.parametrize(("resource", "value"), [("day.tblog", 0.02), ("day.tblog::1", 0.01)])
def test_a_run_of_a_log_is_replayed(tmp_path, log, resource, value):
    receiver = replay(tmp_path, f"RECORDING::{resource}")
    reading = receiver.measure("ddm", point="course line")
    assert (reading.value, reading.u) == (value, 0.001)
    assert reading.raw.startswith("recorded 2027-")


@pytest.mark.parametrize(
    ("resource", "match"),
    [
        ("RECORDING::day.tblog::7", "run 7 has no readings of 'receiver'"),
        ("RECORDING::other.tblog", "there is no such recording"),
        ("day.tblog", "no resource of the driver 'recording'"),
    ],
)
def test_what_cannot_be_replayed_is_refused(tmp_path, log, resource, match):
    with pytest.raises(InputError, match=match):
        replay(tmp_path, resource)


def test_a_file_that_is_neither_samples_nor_a_class_for_them_is_refused(tmp_path, wav):
    (tmp_path / "empty.wav").write_bytes(b"")
    with pytest.raises(SamplesError, match="empty"):
        replay(tmp_path, "RECORDING::empty.wav")
    with pytest.raises(InputError, match="cannot stand for a power meter"):
        replay(tmp_path, wav, InstrumentClass.POWER_METER)
