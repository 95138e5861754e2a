"""Messages of an association: requests and answers kept apart, stored objects streamed; see `socket_manners`."""

from __future__ import annotations

import queue
import struct
import time
from collections.abc import Callable
from io import RawIOBase
from typing import Any, Protocol, cast

from pynetdicom.dimse import DIMSEServiceProvider
from pynetdicom.dimse_messages import C_STORE_RQ
from pynetdicom.dimse_primitives import C_STORE, DimsePrimitiveType, DimseServiceType
from pynetdicom.dsutils import encode
from pynetdicom.pdu_primitives import P_DATA

PDU_LENGTH = 262_144
"""Largest PDU offered and sent, bytes. Never 0 ("no limit"): that costs 400 MB of memory for an 80 MB object."""

_BUFFER_LENGTH = 1 << 20
_HEADER = struct.Struct(">BBLLBB")  # P-DATA-TF with one PDV: PS3.8 9.3.5


class Sink(Protocol):
    """Where the data set of one received object goes, bytes as they came."""

    def write(self, data: memoryview) -> None:
        """Take the next bytes; never raises, a failure is kept for whoever answers the request."""

    def discard(self) -> None:
        """Forget everything; called when the association ends in the middle."""


class ByteWriter(Protocol):
    """What a stored object is written to."""

    def write(self, data: memoryview) -> None:
        """Send all of `data`, or raise OSError."""


OpenSink = Callable[[str, str, str], Sink]
"""Called with SOP Class UID, SOP Instance UID and transfer syntax UID as the command and negotiation state them."""


Message = tuple[int, DimseServiceType] | tuple[None, None]
"""Presentation context and message; ``(None, None)``: the association ended."""


class Mailbox(queue.Queue[Message]):
    """Received messages; requests and answers are taken by those who wait for each."""

    ended = False
    """True once the association ended."""

    def put(self, item: Message, block: bool = True, timeout: float | None = None) -> None:
        """Add a message and wake everyone: the first to wake may wait for the other kind."""
        with self.mutex:
            self._put(item)
            self.ended = self.ended or item[1] is None
            self.not_empty.notify_all()

    def take(self, *, answer: bool, timeout: float | None) -> Message:
        """Return the oldest request or answer, or (None, None) after `timeout` seconds or the end of the association.

        ``(None, None)`` in the box means that the association ended; it counts as an answer.
        """
        end = None if timeout is None else time.monotonic() + timeout
        with self.mutex:
            while True:
                for at, item in enumerate(self.queue):
                    is_answer = item[1] is None or item[1].MessageIDBeingRespondedTo is not None
                    if is_answer is answer:
                        del self.queue[at]
                        return cast("Message", item)
                left = None if end is None else end - time.monotonic()
                if left is not None and left <= 0:
                    return None, None
                self.not_empty.wait(left)


class PoliteDimse(DIMSEServiceProvider):
    """Messages by kind, objects by stream."""

    mailbox: Mailbox
    open_sink: OpenSink | None
    receiving: Sink | None
    after_answer: list[Callable[[], None]]

    def get_msg(self, block: bool = False) -> Message:
        """Return an answer where the caller waits for one, else a request for the association's own thread."""
        if block:
            return self.mailbox.take(answer=True, timeout=self.dimse_timeout)
        return self.mailbox.take(answer=False, timeout=0.005 if self.assoc.is_acceptor else 0)

    def send_msg(self, primitive: DimsePrimitiveType, context_id: int) -> None:
        """Send a message; after an answer run what waits for it to be on its way."""
        super().send_msg(primitive, context_id)
        if primitive.MessageIDBeingRespondedTo is not None:
            while self.after_answer:
                self.after_answer.pop(0)()

    def send_store(self, request: C_STORE, context_id: int, data_set: RawIOBase, length: int) -> None:
        """Send a C-STORE request, its data set straight from `data_set` to the socket.

        Parameters
        ----------
        request : C_STORE
            The request without its data set.
        context_id : int
            The presentation context.
        data_set : RawIOBase
            Positioned at the first byte of the encoded data set.
        length : int
            Length of the encoded data set, bytes.

        Raises
        ------
        OSError
            If the file ends early, the peer stalls or the connection is gone. The message was not sent in full.
        """
        message = C_STORE_RQ()
        message.primitive_to_message(request)
        message.command_set.CommandDataSetType = 0x0001
        command = cast("bytes", encode(message.command_set, True, True))
        limit = self.maximum_pdu_size or PDU_LENGTH
        room = min(limit, PDU_LENGTH) - 6
        sock = cast("ByteWriter", self.dul.socket)
        for at in range(0, len(command), room):
            part = command[at : at + room]
            last = at + len(part) == len(command)
            sock.write(memoryview(_pdv_header(len(part), context_id, 1, last=last) + part))
        self._stream(sock, context_id, data_set, length, room)

    @staticmethod
    def _stream(sock: ByteWriter, context_id: int, data_set: RawIOBase, length: int, room: int) -> None:
        step = room + _HEADER.size
        buffer = bytearray(max(1, min(_BUFFER_LENGTH // step, -(-length // room))) * step)
        view = memoryview(buffer)
        left, filled = length, 0
        while left:
            size = min(room, left)
            left -= size
            view[filled : filled + _HEADER.size] = _pdv_header(size, context_id, 0, last=not left)
            filled += _HEADER.size
            end = filled + size
            while filled < end:
                count = data_set.readinto(view[filled:end])
                if not count:
                    raise OSError("the file became shorter while it was sent")
                filled += count
            if not left or filled + step > len(buffer):
                sock.write(view[:filled])
                filled = 0

    def receive_primitive(self, primitive: P_DATA) -> None:
        """Take received fragments; the data set of a C-STORE goes to its sink."""
        for context_id, data in primitive.presentation_data_value_list:
            if self.receiving is not None and not data[0] & 1:
                self.receiving.write(memoryview(data)[1:])
                if data[0] & 2:
                    self._deliver()
                continue
            fragment = P_DATA()
            fragment.presentation_data_value_list = [[context_id, data]]
            super().receive_primitive(fragment)
            if self.open_sink and isinstance(self.message, C_STORE_RQ) and data[0] & 3 == 3:
                command = self.message.command_set
                context = self.assoc._accepted_cx.get(context_id)
                syntax = str(context.transfer_syntax[0]) if context else ""
                self.receiving = self.open_sink(
                    str(command.get("AffectedSOPClassUID", "")), str(command.get("AffectedSOPInstanceUID", "")), syntax
                )

    def _deliver(self) -> None:
        message, sink = cast("Any", self.message), cast("Sink", self.receiving)
        self.message, self.receiving = None, None
        try:
            request = message.message_to_primitive()
        except Exception:  # whatever the peer put into its command: pynetdicom ends the association likewise
            sink.discard()
            self.dul.event_queue.put("Evt19")
            return
        request.sink = sink
        self.mailbox.put((message.context_id, request))

    def drop_unfinished(self) -> None:
        """Discard an object whose sender is gone."""
        sink, self.receiving = self.receiving, None
        if sink is not None:
            sink.discard()


def _pdv_header(length: int, context_id: int, command: int, *, last: bool) -> bytes:
    return _HEADER.pack(0x04, 0, length + 6, length + 2, context_id, command | (2 if last else 0))
