"""Status reporting as IEEE 488.2 and SCPI-1999 have it."""

from __future__ import annotations

import pytest

from sim_instruments.status import QUEUE_LENGTH, Status, event_of


@pytest.mark.parametrize(("code", "bit"), [(-113, 32), (-222, 16), (-350, 8), (-410, 4)])
def test_each_class_of_error_has_its_event_bit(code, bit):
    """SCPI-1999 21.8: -1xx command, -2xx execution, -3xx device, -4xx query error."""
    assert event_of(code) == bit
    status = Status()
    status.clear()
    status.report(code)
    assert status.take_events() == bit


def test_power_on_is_set_at_the_start_and_reading_clears():
    """IEEE 488.2 11.5.1.2: bit 7 after power-on; reading the register clears it."""
    status = Status()
    assert status.take_events() == 128
    assert status.take_events() == 0


def test_queue_is_first_in_first_out_and_overflows_at_its_end():
    """The newest entry of a full queue becomes -350; the oldest ones stay."""
    status = Status()
    for _ in range(QUEUE_LENGTH + 3):
        status.report(-113)
    answers = [status.next_error() for _ in range(QUEUE_LENGTH + 1)]
    assert answers[:19] == ['-113,"Undefined header"'] * 19
    assert answers[19:] == ['-350,"Queue overflow"', '0,"No error"']


def test_master_summary_needs_an_enabled_bit():
    """IEEE 488.2 11.2: MSS is the OR of the enabled bits of the status byte; reading keeps it."""
    status = Status()
    status.clear()
    status.event_enable = 32
    status.report(-113)
    assert status.byte(message_available=False) == 4 + 32
    status.service_enable = 32
    assert status.byte(message_available=False) == 4 + 32 + 64
    assert status.byte(message_available=False) == 4 + 32 + 64
    status.take_events()
    assert status.byte(message_available=False) == 4
    status.service_enable = 16
    assert status.byte(message_available=True) == 4 + 16 + 64
