"""The forty channels of the localizer."""

from __future__ import annotations

import pytest

from daq.channels import CHANNELS_HZ, check_channel, parse_carrier_hz
from daq.errors import UnitError

# FAA Aeronautical Information Manual, table 1-1-4, the localizer's column, as it was read there.
TABLE_MHZ = """
108.10 108.15 108.30 108.35 108.50 108.55 108.70 108.75 108.90 108.95
109.10 109.15 109.30 109.35 109.50 109.55 109.70 109.75 109.90 109.95
110.10 110.15 110.30 110.35 110.50 110.55 110.70 110.75 110.90 110.95
111.10 111.15 111.30 111.35 111.50 111.55 111.70 111.75 111.90 111.95
"""


def test_the_channels_are_those_of_the_table():
    assert [f"{channel / 1e6:.2f}" for channel in CHANNELS_HZ] == TABLE_MHZ.split()
    for channel in CHANNELS_HZ:
        assert check_channel(float(channel)) == channel


@pytest.mark.parametrize(
    ("frequency_hz", "neighbours"),
    [
        (109.40e6, "its neighbours are 109.35 and 109.50 MHz"),
        (109.20e6, "its neighbours are 109.15 and 109.30 MHz"),
        (109.355e6, "109.355 MHz is no localizer channel.*are 109.35 and 109.50 MHz"),
        (108.05e6, "the nearest is 108.10 MHz"),
        (112.00e6, "the nearest is 111.95 MHz"),
        (332.0e6, "the nearest is 111.95 MHz"),
    ],
)
def test_what_is_no_channel_is_refused_with_its_neighbours(frequency_hz, neighbours):
    with pytest.raises(ValueError, match=neighbours.replace(".", r"\.").replace(r"\.*", ".*")):
        check_channel(frequency_hz)


def test_a_carrier_is_in_a_band_of_the_ils():
    assert parse_carrier_hz("109.35 MHz") == 109.35e6
    assert parse_carrier_hz("331.85 MHz") == 331.85e6
    for text in ("109.35kHz", "109.35 mHz", "120 MHz", "10935 MHz"):
        with pytest.raises(UnitError, match="no frequency of an ILS carrier"):
            parse_carrier_hz(text)
