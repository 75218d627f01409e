"""Wait for a measurement that takes long, the way the instrument is honest about.

IEEE 488.2: ``*OPC?`` (12.5.3) is answered when every operation is over; ``*OPC`` (12.5.2) sets
bit 0 of the event status register then, which ``*ESR?`` reads and clears (11.5.1). Clauses from
memory.
"""

from __future__ import annotations

from typing import Final

from daq.clock import Clock
from daq.errors import AnswerError, LinkTimeout
from daq.scpi import decode_text
from drivers.conversation import Conversation
from drivers.deadline import Deadline
from drivers.question import Question

_COMPLETE: Final = 0x01  # operation complete, bit 0 of the event status register
_FIRST_WAIT_S: Final = 0.01
_LONGEST_WAIT_S: Final = 0.25


def wait_until_done(conversation: Conversation, question: Question, clock: Clock) -> None:
    """Start the question's measurement and return when the instrument says that it is over.

    The question's own limit covers all of it. ``*OPC?`` is sent once: a second one while the
    first is unanswered would leave an answer behind.

    Raises
    ------
    LinkTimeout
        It was not over in time.
    AnswerError
        What it answered says nothing about that.
    """
    deadline = Deadline(clock, question.timeout_s)
    if question.section.done == "*OPC?":
        conversation.tell(question.start, deadline.remaining_s)
        _complete(conversation, "*OPC?", deadline)
        return
    conversation.ask("*ESR?", deadline.remaining_s)  # reading clears what was there before
    conversation.tell(question.start, deadline.remaining_s)
    conversation.tell("*OPC", deadline.remaining_s)
    wait_s = _FIRST_WAIT_S
    while not _complete(conversation, "*ESR?", deadline):
        if deadline.remaining_s <= wait_s:
            raise LinkTimeout(
                f"The measurement was not over within {question.timeout_s:g} s.",
                instrument=conversation.instrument,
                sent=question.start.encode(),
                hint="give the quantity a longer timeout_s in the profile, or average less.",
            )
        clock.sleep(wait_s)
        wait_s = min(_LONGEST_WAIT_S, 2 * wait_s)


def _complete(conversation: Conversation, query: str, deadline: Deadline) -> bool:
    answer = conversation.ask(query, deadline.remaining_s)
    text = decode_text(answer).removeprefix("+")
    if not (text.isascii() and text.isdecimal()):
        conversation.doubt()
        raise AnswerError(
            "A status register was expected.",
            instrument=conversation.instrument,
            sent=query.encode(),
            received=answer[:200],
            hint="let `done` in the profile name the other query.",
        )
    return bool(int(text) & _COMPLETE)
