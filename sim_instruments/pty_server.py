"""Serve anything that eats and gives bytes on a pseudo-terminal, as on a serial line."""

from __future__ import annotations

import contextlib
import os
import pty
import select
import threading
import tty
from dataclasses import dataclass, field
from pathlib import Path
from typing import Final

from sim_instruments.sessions import LinkDropped, Session, Speaks

PATIENCE_S: Final = 0.1
"""How long an unasked line waits for a listener before it is lost, as on a real serial line."""


@dataclass(slots=True)
class _Pair:
    """Both ends of one pseudo-terminal in raw mode."""

    master: int
    slave: int
    lock: threading.Lock = field(default_factory=threading.Lock)

    @classmethod
    def open(cls) -> _Pair:
        pair = cls(*pty.openpty())
        tty.setraw(pair.slave)
        return pair

    def name(self) -> str:
        return os.ttyname(self.slave)

    def close(self) -> None:
        os.close(self.master)
        os.close(self.slave)


class PtyServer:
    """A pseudo-terminal in raw mode under a name of its own.

    The server keeps the slave side open itself: a client may close the line and open it again, as
    with a real port, and the master never sees a hang-up. A session that drops its link takes the
    terminal away, as an adapter that is unplugged; another one comes back under the same name.

    Parameters
    ----------
    session
        Answers whoever is on the line; a serial line has one.
    path
        Symbolic link to make; a stale one is replaced, anything else is left alone.

    Raises
    ------
    FileExistsError
        There is something at `path` that is no symbolic link.
    """

    def __init__(self, session: Session, path: Path) -> None:
        self._session = session
        self.path = path
        self._gone = threading.Event()
        self._spoken_drop_s = 0.0
        self._wake_read, self._wake_write = os.pipe()
        self._pair = _Pair.open()
        try:
            self._show()
        except OSError:
            self._pair.close()
            self._close_pipe()
            raise
        self._threads = [threading.Thread(target=self._serve, name=f"pty {path.name}", daemon=True)]
        if isinstance(session, Speaks):
            speaker = threading.Thread(target=self._speak, args=(session,), daemon=True)
            self._threads.append(speaker)
        for thread in self._threads:
            thread.start()

    def close(self) -> None:
        """Stop, take the link away and wait for the threads; harmless when repeated."""
        if self._gone.is_set():
            return
        self._gone.set()
        os.write(self._wake_write, b"x")
        for thread in self._threads:
            thread.join()
        self._hide()
        self._pair.close()
        self._close_pipe()

    def _show(self) -> None:
        if self.path.is_symlink():
            self.path.unlink()
        self.path.symlink_to(self._pair.name())

    def _hide(self) -> None:
        with contextlib.suppress(OSError):
            # Another bench may have put its own link there in the meantime.
            if self.path.readlink() == Path(self._pair.name()):
                self.path.unlink()

    def _close_pipe(self) -> None:
        os.close(self._wake_read)
        os.close(self._wake_write)

    def _serve(self) -> None:
        while True:
            ready, _, _ = select.select([self._pair.master, self._wake_read], [], [])
            if self._wake_read in ready:
                os.read(self._wake_read, 1)
                if self._gone.is_set():
                    return
                self._replug(self._spoken_drop_s)
                continue
            data = os.read(self._pair.master, 4096)
            try:
                answer = self._session.feed(data)
            except LinkDropped as drop:
                self._send(drop.last_words)
                self._replug(drop.back_s)
            else:
                self._send(answer)

    def _speak(self, session: Speaks) -> None:
        while not self._gone.is_set():
            try:
                self._send(session.speak(self._gone), patience_s=PATIENCE_S)
            except LinkDropped as drop:
                self._send(drop.last_words, patience_s=PATIENCE_S)
                # The thread that reads from the terminal is the one to take it away.
                self._spoken_drop_s = drop.back_s
                os.write(self._wake_write, b"d")
                self._gone.wait(drop.back_s)

    def _replug(self, back_s: float) -> None:
        """Take the terminal away from whoever has it open, and bring another one."""
        pair = self._pair
        with pair.lock:
            self._hide()
            fresh = _Pair.open()
            self._pair = fresh
            pair.close()
        self._gone.wait(back_s)
        self._show()

    def _send(self, answer: bytes, *, patience_s: float = float("inf")) -> None:
        pair = self._pair
        with pair.lock:
            waited_s = 0.0
            while answer and not self._gone.is_set() and pair is self._pair:
                _, writable, _ = select.select([], [pair.master], [], PATIENCE_S)
                if writable:
                    answer = answer[os.write(pair.master, answer) :]
                elif (waited_s := waited_s + PATIENCE_S) >= patience_s:
                    return
