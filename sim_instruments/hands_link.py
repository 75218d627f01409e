r"""Hands over loopback TCP: one line an act, one JSON line back.

A program writes JSON, ``{"verb": "cut", "act": "7f", "path": "sbo", "stage": "monitor",
"length_m": 0.2}``; a person may type ``cut path=sbo stage=monitor length_m=0.2`` or
``turn control="monitor width" by=0.02``. The answer is ``{"ok": true, ...}`` or
``{"ok": false, "error": "..."}``.
"""

from __future__ import annotations

import json
import shlex
import socket
from typing import Final

from sim_instruments.arguments import Arguments
from sim_instruments.hands import HandsError, HandsPort, Outcome

LINE_LIMIT: Final = 65_536


def parse_line(text: str) -> tuple[str, dict[str, str | float], str]:
    """Return verb, arguments and identity (empty when none) of one typed or sent line.

    Raises
    ------
    HandsError
        The line is neither an object of JSON with a verb nor words with ``key=value``.
    """
    if not text.lstrip().startswith("{"):
        try:
            words = shlex.split(text)
        except ValueError as error:
            raise HandsError(f"cannot read {text!r}: {error}") from error
        pairs = dict(word.split("=", 1) for word in words if "=" in word)
        act = pairs.pop("act", "")
        return " ".join(word for word in words if "=" not in word), dict(pairs), act
    try:
        given = json.loads(text)
    except (ValueError, RecursionError) as error:
        raise HandsError(f"cannot read {text[:200]!r}: {error}") from error
    if not isinstance(given.get("verb"), str):
        raise HandsError(f"no verb in {text[:200]!r}")
    arguments = {key: value for key, value in given.items() if isinstance(value, str | int | float)}
    return str(arguments.pop("verb")), arguments, str(arguments.pop("act", ""))


class HandsSession:
    """The server's side of one client: bytes in, bytes out."""

    def __init__(self, hands: HandsPort) -> None:
        self._hands = hands
        self._input = b""

    def feed(self, data: bytes) -> bytes:
        """Take bytes and return an answer to every line that they complete."""
        *lines, rest = (self._input + data).split(b"\n")
        self._input = rest if len(rest) <= LINE_LIMIT else b""
        return b"".join(self._answer(line) for line in lines if line.strip())

    def _answer(self, line: bytes) -> bytes:
        try:
            outcome = self._hands.do(*parse_line(line.decode("utf-8", errors="replace")))
        except HandsError as error:
            return json.dumps({"ok": False, "error": str(error)}).encode("ascii") + b"\n"
        return json.dumps({"ok": True, **outcome}).encode("ascii") + b"\n"


class HandsClient:
    """Hands in another process.

    Parameters
    ----------
    address
        Host and port of the bench's hands port.
    timeout_s
        How long to wait for an answer, s.

    Raises
    ------
    HandsError
        Nobody listens there.
    """

    def __init__(self, address: tuple[str, int], *, timeout_s: float = 10.0) -> None:
        self._address = address
        try:
            self._socket = socket.create_connection(address, timeout=timeout_s)
        except OSError as error:
            raise HandsError(f"no hands at {address[0]}:{address[1]}: {error}") from error
        self._lines = self._socket.makefile("rb")

    def do(self, verb: str, arguments: Arguments, act: str = "") -> Outcome:
        """See `HandsPort`; a link that fails is a `HandsError` too."""
        request = json.dumps({**arguments, "verb": verb, "act": act})
        try:
            self._socket.sendall(request.encode("ascii") + b"\n")
            line = self._lines.readline()
        except OSError as error:
            raise HandsError(f"the hands' link failed during {verb!r}: {error}") from error
        if not line:
            raise HandsError(f"the bench closed the hands' link during {verb!r}")
        answer = json.loads(line)
        if not answer.pop("ok"):
            raise HandsError(str(answer["error"]))
        return dict(answer)

    def close(self) -> None:
        """Let go of the link; harmless when called twice."""
        self._lines.close()
        self._socket.close()
