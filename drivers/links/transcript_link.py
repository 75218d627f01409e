"""A transcript in the place of an instrument: what was sent finds the answer that came then.

One line of the file is ``-> *IDN?`` for what was sent or ``<- …`` for what came; the lines that a
check prints, in quotes and with their terminators, are taken as well. Lines that begin with ``#``
are comments.
"""

from __future__ import annotations

import ast
from collections import defaultdict, deque
from pathlib import Path
from typing import Final

from daq.clock import Clock
from daq.errors import InputError, LinkTimeout
from daq.link import Chunk
from daq.scpi_messages import PADDING

_SENT: Final = "->"
_CAME: Final = "<-"


class TranscriptLink:
    """Fulfils `daq.link.Link` from a transcript.

    Parameters
    ----------
    path
        The file.
    read_terminator
        Put behind each answer.
    clock
        Waited on where nothing comes, as a real link would.

    Raises
    ------
    InputError
        The file cannot be read, or a line of it is none; the line is named.
    """

    marks_end = False

    def __init__(self, path: Path, read_terminator: bytes, clock: Clock) -> None:
        self.resource = f"transcript {path.name}"
        self._clock = clock
        self._answers: dict[bytes, deque[bytes]] = defaultdict(deque)
        self._unasked: deque[bytes] = deque()
        self._waiting: deque[bytes] = deque()
        self._load(path, read_terminator)

    def write(self, data: bytes, timeout_s: float) -> None:
        """Let the answer to `data` wait to be read; of several the last one stays."""
        del timeout_s
        answers = self._answers.get(data.strip(PADDING))
        if answers:
            self._waiting.append(answers.popleft() if len(answers) > 1 else answers[0])

    def read(self, timeout_s: float) -> Chunk:
        """Return the answer that waits, or what the instrument said on its own, in turn."""
        if self._waiting:
            return Chunk(self._waiting.popleft())
        if self._unasked and timeout_s > 0:
            self._unasked.rotate(-1)
            return Chunk(self._unasked[-1])
        self._clock.sleep(min(timeout_s, 0.001))
        raise LinkTimeout("The transcript holds no answer to this.", instrument=self.resource)

    def clear(self, timeout_s: float) -> None:
        """Forget answers that wait."""
        del timeout_s
        self._waiting.clear()

    def close(self) -> None:
        """See `Link`; there is nothing to let go of."""

    def _load(self, path: Path, read_terminator: bytes) -> None:
        question: bytes | None = None
        for number, line in enumerate(_lines(path), start=1):
            words = line.strip()
            if not words or words.startswith("#"):
                continue
            mark, text = words[:2], words[2:].strip()
            if mark not in (_SENT, _CAME):
                raise InputError(
                    f"{path}:{number}: a line begins with '{_SENT}' (sent) or '{_CAME}' (came)."
                )
            data = _unquoted(text).encode("latin-1", "replace").strip(PADDING)
            if mark == _SENT:
                question = data
            elif question is None:
                self._unasked.append(data + read_terminator)
            else:
                self._answers[question].append(data + read_terminator)


def _lines(path: Path) -> list[str]:
    try:
        return path.read_text(encoding="utf-8").splitlines()
    except OSError as error:
        raise InputError(f"{path} cannot be read: {error.strerror or error}.") from error
    except UnicodeDecodeError as error:
        raise InputError(f"{path} is no text: {error.reason}.") from error


def _unquoted(text: str) -> str:
    """Return what stands in quotes as it was on the wire; anything else as it is."""
    if text[:1] not in ("'", '"'):
        return text
    try:
        value = ast.literal_eval(text)
    except (ValueError, SyntaxError):
        return text
    return value if isinstance(value, str) else text
