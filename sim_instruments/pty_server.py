"""Serve anything that eats and gives bytes on a pseudo-terminal, as on a serial line."""

from __future__ import annotations

import contextlib
import os
import pty
import select
import threading
import tty
from pathlib import Path

from sim_instruments.tcp_server import Session


class PtyServer:
    """A pseudo-terminal in raw mode under a name of its own.

    The server keeps the slave side open itself: a client may close the line and open it again, as
    with a real port, and the master never sees a hang-up.

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
        self._master, self._slave = pty.openpty()
        tty.setraw(self._slave)
        self._wake_read, self._wake_write = os.pipe()
        try:
            if path.is_symlink():
                path.unlink()
            path.symlink_to(os.ttyname(self._slave))
        except OSError:
            self._close_descriptors()
            raise
        self._closing = False
        self._thread = threading.Thread(target=self._serve, name=f"pty {path.name}", daemon=True)
        self._thread.start()

    def close(self) -> None:
        """Stop, take the link away and wait for the thread; harmless when repeated."""
        if self._closing:
            return
        self._closing = True
        os.write(self._wake_write, b"x")
        self._thread.join()
        with contextlib.suppress(OSError):
            # Another bench may have put its own link there in the meantime.
            if self.path.readlink() == Path(os.ttyname(self._slave)):
                self.path.unlink()
        self._close_descriptors()

    def _close_descriptors(self) -> None:
        for descriptor in (self._master, self._slave, self._wake_read, self._wake_write):
            os.close(descriptor)

    def _serve(self) -> None:
        while True:
            ready, _, _ = select.select([self._master, self._wake_read], [], [])
            if self._wake_read in ready:
                return
            answer = self._session.feed(os.read(self._master, 4096))
            while answer and not self._closing:
                _, writable, _ = select.select([], [self._master], [], 0.1)
                if writable:
                    answer = answer[os.write(self._master, answer) :]
