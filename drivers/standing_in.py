"""What the instruments without a wire have in common: a name, a class, and nothing to close."""

from __future__ import annotations

from collections.abc import Iterable

from daq.roles import Identity, InstrumentClass
from drivers.profiled import Place, no_such_quantity


class StandingIn:
    """Base of a person who types and of a recording: both stand in for an instrument.

    Parameters
    ----------
    instrument_class
        What kind of instrument it stands for.
    place
        Its alias and resource; the clock gives the pace.
    """

    def __init__(self, instrument_class: InstrumentClass, place: Place) -> None:
        self._class = instrument_class
        self._place = place

    @property
    def alias(self) -> str:
        """See `Instrument`."""
        return self._place.alias

    @property
    def instrument_class(self) -> InstrumentClass:
        """See `Instrument`."""
        return self._class

    def close(self) -> None:
        """See `Instrument`; there is nothing to let go of."""

    def _check_quantity(self, quantity: str, known: Iterable[str]) -> None:
        if quantity not in known:
            raise no_such_quantity(self.alias, quantity, known)


class Recording(StandingIn):
    """A recording of another day."""

    @property
    def identity(self) -> Identity:
        """The file stands in for the instrument."""
        return Identity("", "recording", raw=self._place.resource)
