"""An instrument of one answer, in a process of its own: what is measured is the client."""

from __future__ import annotations

import socket
import sys
import time


def main() -> None:
    takes_s = float(sys.argv[1])
    listener = socket.create_server(("127.0.0.1", 0))
    print(listener.getsockname()[1], flush=True)
    while True:
        connection, _ = listener.accept()
        connection.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
        while data := connection.recv(4096):
            if takes_s:
                time.sleep(takes_s)
            connection.sendall(b"TINY\n" if b"IDN" in data else b"+1.5031E+00\n")


if __name__ == "__main__":
    main()
