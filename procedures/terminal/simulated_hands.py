"""A technician whose station is a simulated bench: beside each prompt, what hands are to be told.

On a real station nobody types what hands do, and nothing here is in use.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import replace
from typing import Final

from daq.roles import Answer, Operator, Prompt, WatchCommand, WatchView
from daq.station import Station

_HERE: Final = re.compile(
    r"TCPIP\d*::(?:127\.0\.0\.1|localhost)::.*|ASRL\./.+::INSTR", re.IGNORECASE
)
"""Where a simulated bench serves: this machine's loopback, or a line beside the station file."""


def is_simulated(station: Station) -> bool:
    """Whether the station file describes a bench that is simulated, every instrument of it.

    It has a table ``[simulation]``, and no instrument is anywhere but on this machine's loopback or
    on a line beside the file.
    """
    return "simulation" in station.model_fields_set and all(
        _HERE.fullmatch(entry.resource) for entry in station.instruments
    )


class ToldWhatToType:
    """Shows, with what an operator is asked, the line for the terminal of ``trimbench simulate``.

    Fulfils `daq.roles.Operator`. What is logged is what was asked, without it.

    Parameters
    ----------
    technician
        Who is asked.
    """

    def __init__(self, technician: Operator) -> None:
        self._technician = technician

    @property
    def name(self) -> str:
        """See `Operator`."""
        return self._technician.name

    def answer(self, prompt: Prompt) -> Answer:
        """See `Operator`."""
        if prompt.action is not None:
            line = _line(prompt.action.verb, prompt.action.arguments)
            prompt = replace(prompt, text=f"{prompt.text}\n{line}")
        return self._technician.answer(prompt)

    def watching(self, view: WatchView) -> WatchCommand:
        """See `Operator`."""
        if view.control:
            line = _line("turn", {"control": view.control, "by": 0.02})
            view = replace(view, instruction=f"{view.instruction}\n{line}")
        return self._technician.watching(view)

    def tell(self, text: str) -> None:
        """See `Operator`."""
        self._technician.tell(text)


def _line(verb: str, arguments: Mapping[str, str | float]) -> str:
    words = [
        f'{key}="{v}"' if isinstance(v, str) else f"{key}={v:g}" for key, v in arguments.items()
    ]
    return f"Simulated bench, type there: {' '.join([verb, *words])}"
