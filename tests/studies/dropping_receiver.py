"""A receiver in a process of its own that breaks the link every so many answers."""

from __future__ import annotations

import socket
import sys


def main() -> None:
    drop_every = int(sys.argv[1])
    listener = socket.create_server(("127.0.0.1", 0))
    print(listener.getsockname()[1], flush=True)
    count = 0
    while True:
        connection, _ = listener.accept()
        with connection:
            connection.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
            while data := connection.recv(4096):
                if b"IDN" in data:
                    connection.sendall(b"TINY\n")
                    continue
                count += 1
                if count % drop_every == 0:
                    break
                connection.sendall(b"%.4f\n" % (count % 2000 / 10_000))


if __name__ == "__main__":
    main()
