"""NMEA 0183 sentences. The example sentences and their checksums are the ones that circulate with
descriptions of the standard (from memory); the checksum of any other is computed by hand below."""

import contextlib
from datetime import date

import pytest
from hypothesis import given
from hypothesis import strategies as st

from daq.errors import AnswerError
from daq.nmea import (
    checksum,
    is_gga,
    is_rmc,
    parse_gga,
    parse_rmc,
    parse_sentence,
    seconds_between,
)
from daq.position import Fix, Position

EXAMPLE = "$GPGGA,123519,4807.038,N,01131.000,E,1,08,0.9,545.4,M,46.9,M,,*47"


def gga(*, time="101500.20", lat="5715.00000,N", lon="00430.00000,E", fix="4", tail=",M,,M,,"):
    body = f"GNGGA,{time},{lat},{lon},{fix},09,0.9,31.0{tail}"
    return f"${body}*{checksum(body):02X}"


def test_the_common_example_is_read():
    position = parse_gga(EXAMPLE)
    assert position.latitude_deg == pytest.approx(48 + 7.038 / 60)
    assert position.longitude_deg == pytest.approx(11 + 31.0 / 60)
    assert position.time_of_day_s == 12 * 3600 + 35 * 60 + 19
    assert (position.fix, position.satellites, position.dilution) == (Fix.SINGLE, 8, 0.9)
    assert position.raw == EXAMPLE


def test_a_checksum_is_the_exclusive_or_of_the_bytes():
    assert checksum("A") == 0x41
    assert checksum("AB") == 0x41 ^ 0x42
    assert parse_sentence("$GPRMC,,V*09".replace("09", f"{checksum('GPRMC,,V'):02X}")).kind == "RMC"


def test_south_and_west_are_negative():
    position = parse_gga(gga(lat="5715.00000,S", lon="00430.00000,W"))
    assert (position.latitude_deg, position.longitude_deg) == (-57.25, -4.5)


@pytest.mark.parametrize(
    ("line", "match"),
    [
        (EXAMPLE.replace("4807", "4808"), "checksum of .* is 47, but"),
        (EXAMPLE[:-3], "no NMEA 0183 sentence"),
        ("", "no NMEA 0183 sentence"),
        ("garbage \xff\xfe", "no NMEA 0183 sentence"),
        (gga(fix="0"), "nothing to go by: no fix"),
        (gga(fix="6"), "nothing to go by: estimated"),
        (gga(fix="7"), "typed into the receiver"),
        (gga(fix="8"), "simulated by the receiver"),
        (gga(fix="9"), "gives its fix as '9'"),
        (gga(lat="5760.00000,N"), "latitude in the sentence is 5760"),
        (gga(lat="9100.00000,N"), "latitude in the sentence is 9100"),
        (gga(lat="5715.00000,E"), "latitude in the sentence"),
        (gga(lon="18100.00000,E"), "longitude in the sentence"),
        (gga(lat=",N"), "latitude in the sentence is ''"),
        (gga(time="246000"), "time in the sentence"),
        (gga(time="1e5"), "time in the sentence is '1e5'"),
        (gga(tail=""), "no whole GGA sentence"),
    ],
)
def test_what_is_no_position_is_refused(line, match):
    with pytest.raises(AnswerError, match=match):
        parse_gga(line)


def test_another_sentence_is_not_taken_for_a_position():
    body = "GPRMC,101500.20,A,5715.00000,N,00430.00000,E,0.0,,160126,,,A"
    with pytest.raises(AnswerError, match="no whole GGA"):
        parse_gga(f"${body}*{checksum(body):02X}")
    assert not is_gga(f"${body}*00")
    assert is_gga(EXAMPLE)


def test_time_moves_on_over_midnight():
    late, early = parse_gga(gga(time="235959.80")), parse_gga(gga(time="000000.20"))
    assert seconds_between(late, early) == pytest.approx(0.4)
    assert seconds_between(late, late) == 0.0


def test_a_position_survives_the_journal():
    position = parse_gga(gga())
    assert Position.from_body(position.to_body()) == position


@given(st.text(max_size=120))
def test_any_line_is_a_position_or_a_documented_error(line):
    with contextlib.suppress(AnswerError):
        parse_gga(line)


@given(st.integers(1, 60), st.characters(min_codepoint=33, max_codepoint=126))
def test_a_changed_character_is_noticed(at, letter):
    line = gga()
    changed = line[:at] + letter + line[at + 1 :]
    if changed != line:
        with pytest.raises(AnswerError):
            parse_gga(changed)


RMC_EXAMPLE = "$GPRMC,123519,A,4807.038,N,01131.000,E,022.4,084.4,230394,003.1,W*6A"


def rmc(*, status="A", day="251126", tail=",,,R"):
    body = f"GNRMC,101500.20,{status},5715.00000,N,00430.00000,E,0.0,,{day}{tail}"
    return f"${body}*{checksum(body):02X}"


def test_the_common_example_with_a_date_is_read():
    """The sentence that circulates beside the GGA example (from memory)."""
    found = parse_rmc(RMC_EXAMPLE)
    assert found.date == date(1994, 3, 23)
    assert found.position.latitude_deg == pytest.approx(48 + 7.038 / 60)
    assert found.position.fix is Fix.SINGLE
    assert is_rmc(RMC_EXAMPLE)
    assert not is_rmc(EXAMPLE)


def test_an_independent_reader_finds_the_same_date_and_place():
    """pynmea2; not required, used where it is installed."""
    pynmea2 = pytest.importorskip("pynmea2")
    for line in (RMC_EXAMPLE, rmc()):
        theirs, ours = pynmea2.parse(line, check=True), parse_rmc(line)
        assert ours.date == theirs.datestamp
        assert ours.position.latitude_deg == pytest.approx(theirs.latitude)
        assert ours.position.longitude_deg == pytest.approx(theirs.longitude)


@pytest.mark.parametrize(("mode", "fix"), [("R", Fix.RTK_FIXED), ("F", Fix.RTK_FLOAT)])
def test_the_mode_tells_the_kind_of_fix(mode, fix):
    assert parse_rmc(rmc(tail=f",,,{mode}")).position.fix is fix


@pytest.mark.parametrize(
    ("line", "match"),
    [
        (rmc(status="V"), "nothing to go by"),
        (rmc(tail=",,,N"), "nothing to go by"),
        (rmc(day="310226"), "The date in the sentence is '310226'"),
        (rmc(day="2511"), "The date in the sentence is '2511'"),
        (EXAMPLE, "no whole RMC sentence: GGA"),
    ],
)
def test_a_sentence_without_a_fix_or_a_date_is_none(line, match):
    with pytest.raises(AnswerError, match=match):
        parse_rmc(line)
