"""A wrong baud rate gives garbage: the right one is found and shown beside the others."""

from __future__ import annotations

from pathlib import Path

import pytest

from daq.clock import SystemClock
from daq.errors import LinkRefused
from drivers.baud_probe import probe_baud_rates
from drivers.profile_trial import try_profile
from drivers.registry import find_profile

IDENTITY = b"HALVORSUND NR-2,SN 20417,FW 3.2\r\n"
GARBAGE = bytes(0x80 | byte for byte in IDENTITY)


@pytest.fixture
def receiver(line):
    """Each identification query gets the next answer of a list, one for each rate tried."""

    def start(*answers: bytes) -> None:
        left = list(answers)
        line.serve(lambda command: left.pop(0) if left else b"", b"\r")

    return start


def probed(line, listen_s=0.05):
    return probe_baud_rates(
        find_profile("halvorsund-nr2", Path()),
        line.resource,
        clock=SystemClock(),
        base=Path(),
        listen_s=listen_s,
    )


def test_the_rate_that_fits_ends_the_search(line, receiver):
    receiver(GARBAGE, b"", IDENTITY)
    trials = probed(line)
    assert [(t.baud_rate, t.fits) for t in trials] == [(9600, False), (4800, False), (19200, True)]
    garbage, silent, right = trials
    assert garbage.received == len(GARBAGE)
    assert garbage.printable < 0.2
    assert (silent.received, silent.printable) == (0, 0.0)
    assert right.printable == 1.0


def test_when_none_fits_all_are_shown(line, receiver):
    receiver(*[GARBAGE] * 8)
    trials = probed(line)
    assert len(trials) == 8
    assert not any(trial.fits for trial in trials)


def test_a_profile_that_fails_on_a_serial_line_is_tried_at_other_rates(line, receiver):
    receiver(GARBAGE, GARBAGE, IDENTITY)
    trial = try_profile(
        "halvorsund-nr2", resource=line.resource, transcript=None, clock=SystemClock()
    )
    assert not trial.passed
    assert [rate.baud_rate for rate in trial.baud_rates if rate.fits]


def test_a_port_that_is_not_there_is_refused():
    with pytest.raises(LinkRefused, match="no serial port"):
        probe_baud_rates(
            find_profile("halvorsund-nr2", Path()),
            "ASRL/dev/not-there::INSTR",
            clock=SystemClock(),
            base=Path(),
        )
