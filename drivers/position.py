"""A position receiver from a profile: it talks NMEA 0183 on its own."""

from __future__ import annotations

from dataclasses import replace
from typing import Final

from daq.errors import AnswerError
from daq.nmea import is_gga, parse_gga, seconds_between
from daq.position import Position
from daq.roles import Identity
from drivers.conversation import Conversation
from drivers.profiled import ProfiledInstrument

LONGEST_STEP_S: Final = 30.0
"""Largest step of the receiver's own time between two sentences in a row; a larger one is a jump,
forward or, modulo a day, back."""


class ProfiledPositionReceiver(ProfiledInstrument):
    """Fulfils `daq.roles.PositionReceiver` from a profile of class "position receiver"."""

    @property
    def identity(self) -> Identity:
        """See `Instrument`; NMEA 0183 has no question for it, so the profile says what it is."""
        identity = super().identity
        if identity.model:
            return identity
        return replace(identity, model=self._profile.instrument.description or "position receiver")

    def position(self) -> Position:
        """See `PositionReceiver`.

        Two sentences in a row are heard, and the receiver's own time has to move on between them:
        a receiver that hangs repeats its last fix for ever, and every one of them looks good.

        Raises
        ------
        BenchError
            It is silent or gone, a checksum is wrong, there is no fix, or its time stands still.
        """
        timeout_s = self._timeout_s

        def job(conversation: Conversation) -> Position:
            first = self._heard(conversation, timeout_s)
            second = self._heard(conversation, timeout_s)
            moved_s = seconds_between(first, second)
            if not 0.0 < moved_s <= LONGEST_STEP_S:
                raise AnswerError(
                    "The position is stale: the time in two sentences in a row "
                    f"{'stands still' if moved_s == 0.0 else 'does not move on'}.",
                    instrument=self._place.label,
                    received=second.raw.encode("latin-1", "replace"),
                    hint="switch the position receiver off and on, and wait for a new fix.",
                )
            return second

        return self._worker.call(lambda: self._session.run(job), self._limit_s(2 * timeout_s))

    def _heard(self, conversation: Conversation, timeout_s: float) -> Position:
        text = conversation.hear(timeout_s, is_gga)
        try:
            position = parse_gga(text)
        except AnswerError as exc:
            raise AnswerError(
                exc.message,
                instrument=self._place.label,
                received=text.encode("latin-1", "replace"),
                hint=exc.hint,
            ) from exc
        clock = self._place.clock
        return replace(
            position, source=self.alias, utc_ns=clock.utc_ns(), mono_ns=clock.monotonic_ns()
        )
