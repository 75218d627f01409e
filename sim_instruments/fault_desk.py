"""Hands that also make and repair faults: what a trainer types at the hands' port.

``faults`` lists the menu; ``fault drop link instrument=fernmark-os4 after=3`` arms one;
``repair instrument=fernmark-os4`` (or ``repair`` alone) clears them. ``after``, ``count`` and
``matching`` are as in `FaultPanel.arm`; other words are the fault's own, such as ``seconds=2``.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Protocol, cast, runtime_checkable

from sim_instruments.arguments import Arguments
from sim_instruments.clock import Clock
from sim_instruments.fault_panel import FaultPanel
from sim_instruments.faults import MENU, fault_from_words
from sim_instruments.hands import HandsError, HandsPort, Outcome
from sim_instruments.link_faults import DropLink
from sim_instruments.scpi import ScpiInstrument


@runtime_checkable
class _HasStatus(Protocol):
    scpi: ScpiInstrument


@runtime_checkable
class _Restarts(Protocol):
    def power_cycle(self) -> None: ...


def panel_for(device: object, clock: Clock) -> FaultPanel:
    """Return a panel that knows the error queue and the power switch of `device`, if it has any."""
    if isinstance(device, _HasStatus):
        scpi = device.scpi
        return FaultPanel(clock, report=scpi.status.report, restart=scpi.power_cycle)
    return FaultPanel(clock, restart=device.power_cycle if isinstance(device, _Restarts) else None)


class FaultDesk:
    """A `HandsPort` that knows faults and leaves every other verb to the hands.

    Parameters
    ----------
    hands
        What else can be done.
    panels
        One for each instrument that is served, by its model.
    """

    def __init__(self, hands: HandsPort, panels: Mapping[str, FaultPanel]) -> None:
        self._hands = hands
        self._panels = panels

    def do(self, verb: str, arguments: Arguments, act: str = "") -> Outcome:
        """See `HandsPort`.

        Raises
        ------
        HandsError
            No such instrument, fault or word.
        """
        if verb == "help":
            outcome = self._hands.do(verb, arguments, act)
            return {"lines": [*cast("list[str]", outcome["lines"]), *self._help()]}
        if verb == "faults":
            return {"faults": {name: kind.sentence for name, kind in MENU.items()}}
        if verb == "repair":
            for panel in self._chosen(arguments):
                panel.clear()
            return {}
        if verb.startswith("fault "):
            return self._arm(verb.removeprefix("fault "), arguments)
        return self._hands.do(verb, arguments, act)

    def _help(self) -> list[str]:
        model = next(iter(self._panels), "MODEL")
        return [
            "",
            "faults  shows which faults there are; to make one and to mend it:",
            f"fault {DropLink.name} instrument={model} after=3",
            f"repair instrument={model}",
            f"instruments: {', '.join(self._panels) or 'none'}",
        ]

    def _arm(self, name: str, arguments: Arguments) -> Outcome:
        words = {key: str(value) for key, value in arguments.items()}
        if "instrument" not in words:
            raise HandsError(f"'instrument' is missing; it is one of {', '.join(self._panels)}")
        (panel,) = self._chosen(words)
        try:
            after = _whole(words, "after", 0)
            count = _whole(words, "count", 1)
            matching = words.pop("matching", "")
            words.pop("instrument")
            fault = fault_from_words(name, words)
        except ValueError as error:
            raise HandsError(f"fault: {error}") from error
        panel.arm(fault, after=after, count=count, matching=matching)
        return {"fault": name, "after": after, "count": count}

    def _chosen(self, arguments: Arguments) -> list[FaultPanel]:
        if "instrument" not in arguments:
            return list(self._panels.values())
        name = str(arguments["instrument"])
        if name not in self._panels:
            known = ", ".join(self._panels) or "none"
            raise HandsError(f"no instrument {name!r} is served; there are: {known}")
        return [self._panels[name]]


def _whole(words: dict[str, str], key: str, default: int) -> int:
    """Take a whole number out of `words`."""
    text = words.pop(key, None)
    if text is None:
        return default
    try:
        return int(text)
    except ValueError as error:
        raise ValueError(f"{key!r} is to be a whole number, not {text!r}") from error
