"""The keyboard and the screens as one source of answers: whoever is first answers."""

from __future__ import annotations

import select

from procedures.page.doorway import Doorway
from procedures.page.offers import Offers
from procedures.terminal.keys import Keyboard


class SharedKeys(Keyboard):
    """`procedures.terminal.keys.Keys` from a descriptor and from screens.

    While screens can answer, the end of a piped input ends nothing: the run waits for them. The
    end-of-file key at a terminal still means what it says.

    Parameters
    ----------
    offers
        What the screens say.
    descriptor
        As for `Keyboard`.
    door
        Takes its own key out of what is typed; what a screen says never gets there.
    """

    def __init__(self, offers: Offers, descriptor: int = 0, door: Doorway | None = None) -> None:
        super().__init__(descriptor)
        self._offers = offers
        self._door = door

    @property
    def ended(self) -> bool:
        """See `Keys`."""
        return super().ended and self._terminal

    def pressed(self) -> str:
        """See `Keys`; what a screen pressed comes before what is typed."""
        keys = ""
        while (key := self._offers.take()) is not None:
            keys += key
        if keys:
            return keys
        typed = super().pressed()
        return typed if self._door is None else self._door.without(typed)

    def line(self) -> str:
        """See `Keys`."""
        self.release()
        while True:
            if (said := self._offers.take()) is not None:
                return said
            if (typed := self._pop_line()) is not None:
                if self._door is not None and self._door.takes_line(typed):
                    continue
                return typed
            if self._ended and self._terminal:
                self._ended = False
                raise EOFError
            self._wait()

    def _wait(self) -> None:
        """Sleep until somebody types or a screen answers."""
        awaited = [self._offers.descriptor] + ([] if self._ended else [self._descriptor])
        readable, _, _ = select.select(awaited, [], [])
        if self._descriptor in readable:
            self._receive()
