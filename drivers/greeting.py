"""The first words with an instrument: who it is, its set-up, its own errors."""

from __future__ import annotations

import re
from typing import Final

from daq.errors import AnswerError, BenchError, IdentityError, InstrumentError
from daq.roles import Identity
from daq.scpi import QueuedError, decode_text, parse_error
from drivers.conversation import Conversation
from drivers.profile import Profile
from drivers.session import Greeting

_QUEUE_LIMIT: Final = 100
_POWER_ON: Final = 0x80  # bit 7 of the event status register, IEEE 488.2 11.5.1


def greet(conversation: Conversation, profile: Profile, label: str) -> Greeting:
    """Identify a newly opened instrument and set it up.

    Raises
    ------
    IdentityError
        The answer does not fit the profile's pattern, not even the second time; nothing but the
        question was sent.
    InstrumentError
        It refused the set-up; the commands are named.
    """
    timeout_s = profile.link.timeout_s
    identity = _identify(conversation, profile, label)
    power_cycled: bool | None = None
    if profile.errors.event_status_query:
        answer = conversation.ask(profile.errors.event_status_query, timeout_s)
        text = decode_text(answer)
        power_cycled = bool(int(text) & _POWER_ON) if text.isdecimal() else None
    if profile.errors.clear:
        conversation.tell(profile.errors.clear, timeout_s)  # errors of others are not ours
    commands = _setup_commands(profile)
    for command in commands:
        conversation.tell(command, timeout_s)
    if commands and profile.errors.queue_query:
        check_queue(conversation, profile, label, commands)
    return Greeting(identity, power_cycled)


def explain_wrong_answer(
    conversation: Conversation,
    profile: Profile,
    error: AnswerError,
    label: str,
    command: str,
    text: str,
) -> BenchError:
    """Return the best explanation of an answer that does not fit: the instrument's own, if any."""
    conversation.doubt()
    if profile.errors.reply and re.fullmatch(profile.errors.reply, text):
        return InstrumentError(
            "The instrument does not accept the command.",
            instrument=label,
            sent=command.encode(),
            received=text.encode("latin-1", "replace"),
            hint="check that the profile is for this model and firmware.",
        )
    if profile.errors.queue_query:
        try:
            check_queue(conversation, profile, label, (command,))
        except InstrumentError as exc:
            return exc
        except BenchError:
            pass  # the first error says more than the failure to explain it
    return AnswerError(
        error.message,
        instrument=label,
        sent=command.encode(),
        received=text.encode("latin-1", "replace"),
        hint=error.hint,
    )


def _identify(conversation: Conversation, profile: Profile, label: str) -> Identity:
    section = profile.identification
    text = _heard(conversation, profile)
    found = re.fullmatch(section.answer, text)
    if found is None and section.query:
        # The first question may have ended a line that somebody else left half sent, and been
        # refused for it; an instrument that is another one says so again.
        text = _heard(conversation, profile)
        found = re.fullmatch(section.answer, text)
    if found is None:
        raise IdentityError(
            f"This is not the instrument that the profile is for "
            f"({profile.instrument.description or 'no description'}).",
            instrument=label,
            sent=section.query.encode(),
            received=text.encode("latin-1", "replace"),
            hint="check the address, and the profile that the station file names.",
        )
    fields = {name: value or "" for name, value in found.groupdict().items()}
    return Identity(
        maker=fields.get("maker", ""),
        model=fields.get("model", ""),
        serial=fields.get("serial", ""),
        firmware=fields.get("firmware", ""),
        raw=text,
    )


def _heard(conversation: Conversation, profile: Profile) -> str:
    """Return what the instrument says to the question who it is, or on its own."""
    section, timeout_s = profile.identification, profile.link.timeout_s
    if section.query:
        return conversation.identify(section.query, timeout_s, after_recovery=profile.errors.clear)
    return conversation.hear(timeout_s, lambda _: True)


def _setup_commands(profile: Profile) -> tuple[str, ...]:
    """Return the set-up in order; a command with {channel} once for each channel."""
    channels = profile.instrument.channels
    return tuple(
        command.replace("{channel}", channel)
        for command in profile.setup.commands
        for channel in (channels if "{channel}" in command else ("",))
    )


def queued_errors(conversation: Conversation, profile: Profile) -> tuple[QueuedError, ...]:
    """Read the error queue empty, within bounds, and return what was in it.

    Raises
    ------
    BenchError
        The link failed, or an answer is no entry of a queue.
    """
    found: list[QueuedError] = []
    for _ in range(_QUEUE_LIMIT):
        answer = conversation.ask(profile.errors.queue_query, profile.link.timeout_s)
        entry = parse_error(decode_text(answer, conversation.encoding))
        if entry.code == 0:
            break
        found.append(entry)
    return tuple(found)


def check_queue(
    conversation: Conversation, profile: Profile, label: str, commands: tuple[str, ...]
) -> None:
    """Read the error queue empty; raise the first error in it, naming the commands since.

    Raises
    ------
    InstrumentError
        There was an error.
    BenchError
        As `queued_errors`.
    """
    found = queued_errors(conversation, profile)
    if found:
        listed = "; ".join(f"{entry.code} {entry.text} ({entry.kind})" for entry in found[:5])
        raise InstrumentError(
            f"The instrument reports {listed}.",
            code=found[0].code,
            instrument=label,
            sent="; ".join(commands).encode(),
            hint="check that the profile is for this model and firmware.",
        )
