"""A station file: what is read from it, and how each fault in it is told."""

from __future__ import annotations

import hashlib
from datetime import date
from pathlib import Path

import pytest

from daq.errors import StationFileError
from daq.reading import QUANTITIES
from daq.roles import InstrumentClass
from daq.station import KIND_OF_QUANTITY, Station, load_station, parse_station
from tests.support.plants import STATION

TEXT = STATION.read_text(encoding="utf-8")


def loaded(folder: Path, *changes: tuple[str, str]) -> Station:
    """Load the demonstration's file with the first occurrence of some pieces changed."""
    text = TEXT
    for before, after in changes:
        assert before in text
        text = text.replace(before, after, 1)
    path = folder / "station.toml"
    path.write_text(text, encoding="utf-8")
    return load_station(path)


# What is read ----------------------------------------------------------------------------------


def test_everything_is_si_and_says_so_in_its_name(tmp_path: Path) -> None:
    station = loaded(tmp_path)
    assert station.station.frequency_hz == pytest.approx(109.35e6)
    assert station.geometry.distance_to_threshold_m == pytest.approx(3120.0)
    phasing = station.phasing["monitor"]
    assert phasing.line_loss_db == pytest.approx(0.35)
    assert phasing.line_angle_deg == pytest.approx(90.0)
    assert phasing.allowance_m == pytest.approx(0.010)
    assert (phasing.sbo.spare_m, phasing.csb.velocity_factor) == (1.30, 0.82)
    assert station.point("course width").target == pytest.approx(0.155)
    assert station.point("course line IF").adjust_to == pytest.approx(0.03)
    scope = station.instrument("scope")
    assert scope.instrument_class is InstrumentClass.OSCILLOSCOPE
    assert scope.calibration_due == date(2027, 6, 18)


@pytest.mark.parametrize(
    ("before", "after", "read", "value"),
    [
        ('spare = "1.30 m"', 'spare = "51.2 in"', "spare_m", 51.2 * 0.0254),
        ('spare = "1.30 m"', 'spare = "130 cm"', "spare_m", 1.30),
        ('spare = "1.30 m"', 'spare = "4 ft"', "spare_m", 4 * 0.3048),
    ],
)
def test_a_length_is_written_as_people_say_it(
    before: str, after: str, read: str, value: float, tmp_path: Path
) -> None:
    """Inch and foot by their definition, 25.4 mm and 304.8 mm (international yard, 1959)."""
    found = loaded(tmp_path, (before, after)).phasing["monitor"].sbo
    assert getattr(found, read) == pytest.approx(value)


@pytest.mark.parametrize(
    ("written", "ddm"), [("150 uA", 0.155), ("15.5 %", 0.155), ("-75 uA", -0.0775)]
)
def test_a_ddm_may_be_written_in_microamperes_or_per_cent(
    written: str, ddm: float, tmp_path: Path
) -> None:
    station = loaded(tmp_path, ('target = "0.155"', f'target = "{written}"'))
    assert station.point("course width").target == pytest.approx(ddm)


def test_the_file_its_text_its_digest_and_its_log_are_known(tmp_path: Path) -> None:
    station = loaded(tmp_path)
    assert station.path == tmp_path / "station.toml"
    assert station.text == TEXT
    assert station.digest == hashlib.sha256(TEXT.encode()).hexdigest()
    assert station.log_path == tmp_path / "tarnholt-16.tblog"


def test_an_absolute_log_stays_where_it_is(tmp_path: Path) -> None:
    elsewhere = tmp_path / "elsewhere" / "x.tblog"
    station = loaded(tmp_path, ('log = "tarnholt-16.tblog"', f'log = "{elsewhere}"'))
    assert station.log_path == elsewhere


def test_what_the_log_keeps_describes_the_same_station(tmp_path: Path) -> None:
    station = loaded(tmp_path)
    again = parse_station(station.text, station.path)
    assert again == station
    assert again.digest == station.digest


def test_a_comment_changes_the_digest_and_nothing_else(tmp_path: Path) -> None:
    """The digest is of the file, so a resumed run sees even a remark that was added."""
    before, after = loaded(tmp_path), loaded(tmp_path, ("[geometry]", "# resurveyed\n[geometry]"))
    assert before.geometry == after.geometry
    assert before.digest != after.digest


def test_every_quantity_has_a_kind_in_which_its_target_is_written() -> None:
    assert set(KIND_OF_QUANTITY) == set(QUANTITIES)


# What is not there ------------------------------------------------------------------------------


def test_a_point_or_an_instrument_that_is_not_there_lists_those_that_are(tmp_path: Path) -> None:
    station = loaded(tmp_path)
    with pytest.raises(StationFileError, match=r"no point 'x' \(points: 'course line IF'"):
        station.point("x")
    with pytest.raises(StationFileError, match=r"no instrument 'x' \(instruments: scope, receiv"):
        station.instrument("x")


# What is wrong ----------------------------------------------------------------------------------

FAULTS: dict[str, tuple[str, str, str, list[str]]] = {
    "misspelt key": ('runway = "16"', 'runwya = "16"', "station.runwya", ["'runway'"]),
    "misspelt table": ("[geometry]", "[geometrie]", "", ["geometrie", "'geometry'"]),
    "ident too long": ('ident = "ITN"', 'ident = "ITNXX"', "station.ident", []),
    "category": ('category = "II"', 'category = "2"', "station.category", ["'I'", "'III'"]),
    "metres of frequency": ('"109.35 MHz"', '"109.35 m"', "station.frequency", ["109.35 m"]),
    "not the band": ('"109.35 MHz"', '"332.0 MHz"', "station.frequency", ["111.95"]),
    "no channel": ('"109.35 MHz"', '"109.40 MHz"', "station.frequency", ["109.35 and 109.50"]),
    "due before calibrated": (
        "calibration_due = 2027-06-18", "calibration_due = 2025-06-18", "calibration_due", ["2026"],
    ),
    "a length without unit": ('"3120 m"', '"3120"', "distance_to_threshold", ["3120"]),
    "a negative distance": ('"3120 m"', '"-3120 m"', "distance_to_threshold", []),
    "basis": ('basis = "sensitivity"', 'basis = "sector"', "alarm_basis", ["'width'"]),
    "per cent": ("alarm_percent = 17", "alarm_percent = 0", "alarm_percent", []),
    "class": ('class = "oscilloscope"', 'class = "scope"', "class", ["'oscilloscope'"]),
    "alias": ('alias = "scope"', 'alias = "Scope!"', "alias", []),
    "date": ("= 2026-06-18", '= "last June"', "calibrated", []),
    "quantity": ('quantity = "vpp"', 'quantity = "volts"', "points.1.quantity", ["'voltage'?"]),
    "target of another kind": ('target = "1.5 V"', 'target = "1.5 m"', "points", ["1.5 m"]),
    "tone": ("wanted_tone = 150", "wanted_tone = 120", "wanted_tone", []),
    "velocity factor": ("velocity_factor = 0.82", "velocity_factor = 82", "velocity_factor", []),
    "negative spare": ('spare = "1.30 m"', 'spare = "-1 m"', "spare", []),
    "line angle": ('line_angle = "90 deg"', 'line_angle = "10 deg"', "line_angle", []),
    "instrument of a point": (
        'instrument = "receiver"', 'instrument = "recevier"', "points.6.instrument",
        ["'recevier'", "did you mean 'receiver'?"],
    ),
    "point of the phasing": (
        'point = "course width"', 'point = "course widht"', ".point", ["mean 'course width'?"],
    ),
    "point of the alarm": (
        'course_point = "course width"', 'course_point = "w"', "wide_alarm.course_point", ["'w'"],
    ),
    "channel of the monitor": (
        'channels = ["course line"', 'channels = ["course lime"', "monitor.channels.1",
        ["mean 'course line'?"],
    ),
    "alias twice": (
        'alias = "receiver"', 'alias = "scope"', "instruments.2.alias", ["'scope'", "twice"],
    ),
    "point twice": (
        'name = "course width IF"', 'name = "course line IF"', "points.2.name", ["twice"],
    ),
}  # fmt: skip


@pytest.mark.parametrize("fault", FAULTS)
def test_a_fault_is_told_with_its_key_its_line_and_what_is_expected(
    fault: str, tmp_path: Path
) -> None:
    before, after, key, words = FAULTS[fault]
    with pytest.raises(StationFileError) as caught:
        loaded(tmp_path, (before, after))
    error = caught.value
    assert error.file == str(tmp_path / "station.toml")
    assert key in error.key or key in str(error)
    if key:
        text = (tmp_path / "station.toml").read_text(encoding="utf-8").splitlines()
        place = next(n for n, line in enumerate(text, start=1) if after.split("\n")[0] in line)
        if fault.endswith("twice"):
            place = max(n for n, line in enumerate(text, start=1) if after in line)
        assert error.line is not None
        # A missing key is told at the head of its table, which stands before the line.
        assert error.line == place or (fault == "misspelt key" and error.line < place)
    for word in words:
        assert word in str(error)
    assert "Traceback" not in str(error)
    assert "pydantic" not in str(error).lower()


def test_several_faults_are_told_at_once(tmp_path: Path) -> None:
    with pytest.raises(StationFileError) as caught:
        loaded(tmp_path, ('ident = "ITN"', 'ident = "?"'), ('"3120 m"', '"x"'))
    assert "station.ident" in str(caught.value)
    assert "geometry.distance_to_threshold" in str(caught.value)


@pytest.mark.parametrize(
    ("content", "words"),
    [
        (b"", "station"),
        (b"[station", "not TOML"),
        (b'name = "\xff"', "not UTF-8"),
        (b"\x00\x01\x02", "not TOML"),
        (b"[station]\n[station]\n", "not TOML"),
    ],
)
def test_a_file_that_describes_no_station(content: bytes, words: str, tmp_path: Path) -> None:
    path = tmp_path / "station.toml"
    path.write_bytes(content)
    with pytest.raises(StationFileError, match=words):
        load_station(path)


def test_a_folder_or_nothing_is_no_station_file(tmp_path: Path) -> None:
    with pytest.raises(StationFileError, match="folder"):
        load_station(tmp_path)
    with pytest.raises(StationFileError, match="no such file"):
        load_station(tmp_path / "none.toml")


def test_a_station_without_points_and_profiles_is_one_too(tmp_path: Path) -> None:
    """What `instruments` needs: a facility and an instrument."""
    start, end = TEXT.index("# Test points"), TEXT.index("# What the simulator")
    station = loaded(tmp_path, (TEXT[start:end], ""))
    assert station.points == ()
    assert station.wide_alarm is None
