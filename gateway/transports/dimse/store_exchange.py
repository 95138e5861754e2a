"""C-STORE requests and their answers, spoken straight over the socket of an open association.

pynetdicom negotiates the association and ends it. In between, storing a thousand stills through its message queue
costs three threads and two encodings of a data set for each: 2 to 4 ms where the network needs a fraction of one.
Here the thread that has the files also writes and reads the PDUs (PS3.7 9.3.1, PS3.8 9.3.5), while the association's
own threads sleep; nothing can take its answers, and no more than one buffer of a file is in memory.
"""

from __future__ import annotations

import select
import time
from dataclasses import dataclass
from io import RawIOBase
from types import TracebackType
from typing import Self, cast

from pynetdicom.association import Association

from gateway.transports.dimse.message_manners import (
    C_STORE_RQ,
    C_STORE_RSP,
    PDU_LENGTH,
    PDV_HEADER_LENGTH,
    encode_command,
    fragments_of,
    number,
    padded,
    parse_command,
    pdv_header,
    text,
)
from gateway.transports.dimse.socket_manners import PoliteDul, PoliteSocket

_BUFFER_LENGTH = 1 << 20
_P_DATA, _A_ABORT = 0x04, 0x07
_MEDIUM_PRIORITY = b"\0\0"
_DATA_SET_PRESENT = b"\1\0"


class NoAnswerError(Exception):
    """The request went out in full, and no answer to it came: nobody knows whether the instance is stored."""


@dataclass(frozen=True, slots=True)
class StoreRequest:
    """One C-STORE request (PS3.7 9.3.1.1)."""

    context_id: int
    message_id: int
    sop_class_uid: str
    sop_instance_uid: str

    def command(self) -> bytes:
        """Return the encoded command set."""
        return encode_command(
            {
                0x0002: padded(self.sop_class_uid),
                0x0100: C_STORE_RQ.to_bytes(2, "little"),
                0x0110: self.message_id.to_bytes(2, "little"),
                0x0700: _MEDIUM_PRIORITY,
                0x0800: _DATA_SET_PRESENT,
                0x1000: padded(self.sop_instance_uid),
            }
        )


@dataclass(frozen=True, slots=True)
class StoreAnswer:
    """One C-STORE response (PS3.7 9.3.1.2)."""

    status: int
    comment: str


class StoreExchange:
    """Stores over one association between entering and leaving a ``with`` block.

    Parameters
    ----------
    assoc : Association
        Established, with manners.
    """

    def __init__(self, assoc: Association) -> None:
        self._assoc = assoc
        self._dul = cast("PoliteDul", assoc.dul)
        self._socket = cast("PoliteSocket", assoc.dul.socket)
        most = assoc.acceptor.maximum_length or PDU_LENGTH
        self._room = min(most, PDU_LENGTH) - 6
        self._buffer = bytearray(
            max(1, _BUFFER_LENGTH // (self._room + PDV_HEADER_LENGTH)) * (self._room + PDV_HEADER_LENGTH)
        )

    def __enter__(self) -> Self:
        self._assoc._reactor_checkpoint.clear()
        while not self._assoc._is_paused:
            time.sleep(0.0001)
        self._dul.lend()
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self._dul.take_back()
        self._assoc._reactor_checkpoint.set()

    def store(self, request: StoreRequest, data_set: RawIOBase, length: int) -> StoreAnswer:
        """Send one request and wait for its answer.

        Parameters
        ----------
        request : StoreRequest
            What is stored, under which context.
        data_set : RawIOBase
            Positioned at the first byte of the encoded data set.
        length : int
            Its length, bytes.

        Raises
        ------
        OSError
            If the file ends early, the peer stalls or the connection is gone; the request did not go out in full.
        NoAnswerError
            If it went out in full and was not answered.
        """
        try:
            self._send(request, data_set, length)
        except OSError as error:
            self._give_up(error)
            raise
        try:
            return self._answer(request)
        except (OSError, ValueError) as error:
            self._give_up(error)
            raise NoAnswerError(str(error)) from error

    def _give_up(self, error: BaseException) -> None:
        if self._socket.failure is None:
            self._socket.failure = error if isinstance(error, OSError) else OSError(str(error))
        self._socket._shutdown_socket()

    def _send(self, request: StoreRequest, data_set: RawIOBase, length: int) -> None:
        view = memoryview(self._buffer)
        filled = 0
        command = request.command()
        for at in range(0, len(command), self._room):
            part = command[at : at + self._room]
            header = pdv_header(request.context_id, len(part), command=True, last=at + len(part) == len(command))
            self._socket.write(memoryview(header + part))
        left = length
        step = self._room + PDV_HEADER_LENGTH
        while left:
            size = min(self._room, left)
            left -= size
            view[filled : filled + PDV_HEADER_LENGTH] = pdv_header(
                request.context_id, size, command=False, last=not left
            )
            filled += PDV_HEADER_LENGTH
            end = filled + size
            while filled < end:
                count = data_set.readinto(view[filled:end])
                if not count:
                    raise OSError("the file became shorter while it was sent")
                filled += count
            if not left or filled + step > len(view):
                self._socket.write(view[:filled])
                filled = 0

    def _answer(self, request: StoreRequest) -> StoreAnswer:
        command = bytearray()
        end = time.monotonic() + (self._assoc.dimse_timeout or 0)
        while True:
            for _, data in fragments_of(memoryview(self._next_pdu(end))):
                if not data[0] & 1:
                    continue  # a C-STORE response has no data set; one that comes is not ours to read
                command += data[1:]
                if data[0] & 2:
                    return _parse(bytes(command), request.message_id)

    def _next_pdu(self, end: float) -> bytearray:
        sock = self._socket.socket
        if sock is None:
            raise OSError("the connection is closed")
        ready, _, _ = select.select([sock], [], [], max(0.0, end - time.monotonic()))
        if not ready:
            raise TimeoutError(f"silent for {self._assoc.dimse_timeout:g} s")
        head = self._socket.recv(6)
        if len(head) < 6:
            raise ConnectionResetError("the peer closed the connection")
        body = self._socket.recv(int.from_bytes(head[2:6], "big"))
        if head[0] == _A_ABORT:
            raise ConnectionAbortedError("A-ABORT")
        if head[0] != _P_DATA:
            raise ValueError(f"the peer sent a PDU of type {head[0]:02X} instead of an answer")
        return body


def _parse(encoded: bytes, message_id: int) -> StoreAnswer:
    command = parse_command(encoded)
    status = number(command, 0x0900)
    if number(command, 0x0100) != C_STORE_RSP or number(command, 0x0120) != message_id or status is None:
        raise ValueError("the answer does not belong to the request")
    return StoreAnswer(status, text(command, 0x0902))
