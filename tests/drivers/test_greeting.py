"""The first question to an instrument that somebody else has talked to before."""

from __future__ import annotations

import socket
from collections.abc import Callable
from pathlib import Path

import pytest

from daq.clock import Clock
from daq.errors import IdentityError
from drivers.profiled import Place, ProfiledInstrument
from tests.drivers.profiles import tiny_profile
from tests.drivers.tiny_server import Handler, TinyServer, lines

QUANTITY = """[quantity.ddm]
query = "D?"
unit = "ratio"
positive_tone = 150
accuracy = [{floor = 0.001, coverage = "rectangular"}]
"""


def half_line_before(said: bytes) -> Handler:
    """Answer ``?`` to the first line, as if half of another had stood before it."""
    seen = 0

    def handle(connection: socket.socket) -> None:
        nonlocal seen
        for _ in lines(connection):
            seen += 1
            connection.sendall((b"?" if seen == 1 else said) + b"\n")

    return handle


def opened(tmp_path: Path, server: TinyServer, clock: Clock) -> ProfiledInstrument:
    place = Place("receiver", server.resource, clock, tmp_path)
    return ProfiledInstrument(tiny_profile(tmp_path, QUANTITY), place)


def test_a_line_that_another_left_half_sent_is_no_reason_to_refuse_the_instrument(
    tmp_path: Path, serve: Callable[[Handler], TinyServer], clock: Clock
) -> None:
    instrument = opened(tmp_path, serve(half_line_before(b"TINY 1")), clock)
    assert instrument.identity.model == "TINY"
    instrument.close()


def test_another_instrument_is_still_another_the_second_time(
    tmp_path: Path, serve: Callable[[Handler], TinyServer], clock: Clock
) -> None:
    with pytest.raises(IdentityError, match="This is not the instrument") as caught:
        opened(tmp_path, serve(half_line_before(b"OTHER")), clock)
    assert caught.value.received == b"OTHER"
