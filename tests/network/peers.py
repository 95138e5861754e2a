"""Other people's programs and misbehaving peers for network tests, on free ports of 127.0.0.1."""

from __future__ import annotations

import os
import socket
import subprocess
import threading
import time
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager, suppress
from pathlib import Path

from gateway.transports.dimse.peer import Peer
from tests.programs import require


def free_port() -> int:
    """Return a port that was free a moment ago; DCMTK's programs cannot choose one by themselves."""
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return int(probe.getsockname()[1])


def wait_for_port(port: int, timeout_s: float = 20.0) -> None:
    end = time.monotonic() + timeout_s
    while True:
        with socket.socket() as probe:
            if probe.connect_ex(("127.0.0.1", port)) == 0:
                return
        assert time.monotonic() < end, f"nothing listens on port {port}"
        time.sleep(0.02)


@contextmanager
def storescp(folder: Path, *options: str) -> Iterator[Peer]:
    """Run DCMTK's storescp, keeping what it receives bit for bit under `folder`."""
    port = free_port()
    command = [require("storescp"), "-aet", "STORESCP", "-od", str(folder), "-B", *options, str(port)]
    process = subprocess.Popen(command, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
    try:
        wait_for_port(port)
        yield Peer("storescp", "STORESCP", "127.0.0.1", port, answer_timeout_s=20)
    finally:
        process.terminate()
        process.wait(timeout=10)


def run(program: str, *arguments: str, timeout_s: float = 60) -> subprocess.CompletedProcess[str]:
    """Run one of DCMTK's programs to its end."""
    environment = os.environ | {"TCP_NODELAY": "1"}
    return subprocess.run(
        [require(program), *arguments], env=environment, capture_output=True, text=True, timeout=timeout_s, check=False
    )


def to(archive_port: int) -> Sequence[str]:
    """Return the arguments that address the loopback archive."""
    return ("-aec", "ARCHIVE", "127.0.0.1", str(archive_port))


@contextmanager
def raw_server(talk: Callable[[socket.socket], None]) -> Iterator[int]:
    """Accept one connection after another and let `talk` misbehave on each; yield the port."""
    listening = socket.create_server(("127.0.0.1", 0))
    listening.settimeout(0.1)
    stop = threading.Event()
    threads: list[threading.Thread] = []
    open_ends: list[socket.socket] = []

    def one(end: socket.socket) -> None:
        with end, suppress(OSError):
            talk(end)

    def accept() -> None:
        while not stop.is_set():
            try:
                end, _ = listening.accept()
            except TimeoutError:
                continue
            end.settimeout(20)
            open_ends.append(end)
            thread = threading.Thread(target=one, args=(end,))
            thread.start()
            threads.append(thread)

    acceptor = threading.Thread(target=accept)
    acceptor.start()
    try:
        yield listening.getsockname()[1]
    finally:
        stop.set()
        acceptor.join()
        for end in open_ends:
            with suppress(OSError):
                end.shutdown(socket.SHUT_RDWR)
        for thread in threads:
            thread.join()
        listening.close()


def read_pdu(end: socket.socket) -> tuple[int, bytes]:
    """Read one PDU; type and body."""
    head = read_exactly(end, 6)
    return head[0], read_exactly(end, int.from_bytes(head[2:6], "big"))


def read_exactly(end: socket.socket, length: int) -> bytes:
    data = b""
    while len(data) < length:
        more = end.recv(length - len(data))
        if not more:
            raise ConnectionResetError("closed")
        data += more
    return data


def accept_association(end: socket.socket, *, maximum_length: int = 16384) -> None:
    """Answer an A-ASSOCIATE-RQ by accepting every context with its first transfer syntax (PS3.8 9.3.3)."""
    _, body = read_pdu(end)
    accepted = b""
    at = 68
    while at < len(body):
        kind, length = body[at], int.from_bytes(body[at + 2 : at + 4], "big")
        item = body[at + 4 : at + 4 + length]
        if kind == 0x20:
            first = _transfer_syntax(item[4:])
            content = bytes([item[0], 0, 0, 0]) + _item(0x40, first)
            accepted += _item(0x21, content)
        at += 4 + length
    application = _item(0x10, b"1.2.840.10008.3.1.1.1")
    user = _item(0x50, _item(0x51, maximum_length.to_bytes(4, "big")) + _item(0x52, b"1.2.3"))
    answer = b"\0\1\0\0" + body[4:36] + bytes(32) + application + accepted + user
    end.sendall(b"\2\0" + len(answer).to_bytes(4, "big") + answer)


def _transfer_syntax(items: bytes) -> bytes:
    at = 0
    while at < len(items):
        length = int.from_bytes(items[at + 2 : at + 4], "big")
        if items[at] == 0x40:
            return items[at + 4 : at + 4 + length]
        at += 4 + length
    raise AssertionError("a context without a transfer syntax")


def _item(kind: int, content: bytes) -> bytes:
    return bytes([kind, 0]) + len(content).to_bytes(2, "big") + content


def read_message(end: socket.socket) -> None:
    """Read fragments until the last one of a data set (PS3.8 Annex E.2)."""
    while True:
        kind, body = read_pdu(end)
        assert kind == 4
        at = 0
        while at < len(body):
            size = int.from_bytes(body[at : at + 4], "big")
            if body[at + 5] & 3 == 2:
                return
            at += 4 + size
