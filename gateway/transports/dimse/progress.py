"""Sending all of something to a peer for as long as it takes anything at all."""

from __future__ import annotations

import socket
import sys

if sys.platform != "win32":
    import fcntl
    import termios


class StalledError(OSError):
    """The peer did not take a single byte for the time allowed."""


def send_all(sock: socket.socket, data: memoryview) -> None:
    """Send all of `data`; the socket's timeout is the patience with a peer that takes nothing.

    The kernel reports room only after a third of its buffer was taken, so over a slow link that never stands still
    the socket can look stuck. After a timeout the number of unacknowledged bytes decides.

    Raises
    ------
    StalledError
        If no byte was taken during one whole timeout.
    OSError
        If the connection is gone.
    """
    waiting = _unacknowledged(sock)
    while data:
        try:
            data = data[sock.send(data) :]
        except TimeoutError as error:
            before, waiting = waiting, _unacknowledged(sock)
            if waiting >= before:
                raise StalledError(f"no byte was taken for {sock.gettimeout() or 0:g} s") from error
        else:
            waiting = _unacknowledged(sock) if data else 0


def _unacknowledged(sock: socket.socket) -> int:
    """Return how many bytes the peer has not acknowledged (tcp(7), SIOCOUTQ); 0 where the system does not tell."""
    if sys.platform == "win32":
        return 0
    if sock.fileno() < 0:
        raise OSError("the connection is closed")
    return int.from_bytes(fcntl.ioctl(sock, termios.TIOCOUTQ, bytes(4)), sys.byteorder)
