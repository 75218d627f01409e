"""Views to show, and a terminal to show them on."""

from __future__ import annotations

import io
import math
import os
import pty
import select
from collections.abc import Callable, Iterator
from dataclasses import dataclass

import pytest
from rich.console import Console

from daq.reading import Quality, Reading
from daq.roles import WatchView

MakeView = Callable[..., WatchView]


@pytest.fixture
def make_view() -> MakeView:
    """Return a maker of views: of the width channel below its target unless told otherwise."""

    def make(
        shown: float = 0.1427,
        *,
        quantity: str = "ddm",
        target: float | None = 0.155,
        band: float | None = 0.001,
        quality: Quality = Quality.OK,
        at_s: float = 83.0,
        key: str = "width",
        control: str = "SBO level",
        instruction: str = "Turn 'SBO level' until the width is right.",
        best: float | None = 0.1531,
        steady: bool = False,
        reference: float | None = None,
    ) -> WatchView:
        now_ns = 1_000_000_000 + round(at_s * 1e9)
        value = shown if quality is Quality.OK else math.nan
        reading = Reading(quantity, value, 0.0003, "receiver", "width", now_ns, now_ns, 0, quality)
        return WatchView(
            key=key,
            instruction=instruction,
            control=control,
            reading=reading,
            shown=shown,
            target=target,
            band=band,
            steady=steady,
            slope_per_s=0.0,
            rate_hz=10.0,
            best=best,
            count=1 + round(10 * at_s),
            elapsed_s=at_s,
            reference=reference,
        )

    return make


@dataclass
class PseudoTerminal:
    """A pseudo-terminal whose far end the test types on."""

    master: int
    slave: int

    def type(self, text: str) -> None:
        """Press keys and wait until they have arrived at the near end."""
        os.write(self.master, text.encode())
        assert select.select([self.slave], [], [], 5.0)[0], "the keys did not arrive"


@pytest.fixture
def terminal() -> Iterator[PseudoTerminal]:
    """Return a pseudo-terminal, closed after the test."""
    master, slave = pty.openpty()
    yield PseudoTerminal(master, slave)
    os.close(slave)
    os.close(master)


@pytest.fixture
def plain_console() -> Console:
    """Return a console that writes to memory and cannot redraw, as a pipe."""
    return Console(file=io.StringIO(), width=80, force_terminal=False, _environ={})


@pytest.fixture
def screen_console() -> Console:
    """Return a console that writes to memory and believes it is a terminal."""
    return Console(file=io.StringIO(), width=80, force_terminal=True, _environ={"TERM": "xterm"})
