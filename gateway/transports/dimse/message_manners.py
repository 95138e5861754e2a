"""Messages of an association: requests and answers kept apart, stored objects streamed; see `socket_manners`."""

from __future__ import annotations

import queue
import struct
import time
from collections.abc import Callable, Iterator
from typing import Protocol, cast

from pynetdicom.dimse import DIMSEServiceProvider
from pynetdicom.dimse_primitives import DimsePrimitiveType, DimseServiceType
from pynetdicom.pdu_primitives import P_DATA

PDU_LENGTH = 262_144
"""Largest PDU offered and sent, bytes. Never 0 ("no limit"): that costs 400 MB of memory for an 80 MB object."""

C_STORE_RQ, C_STORE_RSP = 0x0001, 0x8001
PROCESSING_FAILURE = 0x0110
CANNOT_UNDERSTAND = 0xC000
_NO_DATA_SET = 0x0101

_PDV = struct.Struct(">BBLLBB")  # P-DATA-TF with one presentation data value: PS3.8 9.3.5
_ELEMENT = struct.Struct("<HHL")  # Implicit VR Little Endian, which every command set uses: PS3.7 6.3.1
PDV_HEADER_LENGTH = _PDV.size

Command = dict[int, bytes]
"""Encoded values of a command set by element number."""


class Sink(Protocol):
    """Where the data set of one received object goes, bytes as they came."""

    def write(self, data: memoryview) -> None:
        """Take the next bytes; never raises, a failure is told by `finish`."""

    def finish(self) -> tuple[int, str]:
        """Keep the object for good and return C-STORE status and Error Comment."""

    def discard(self) -> None:
        """Forget what is not kept; called in any case."""


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


class ByteWriter(Protocol):
    """What answers to stored objects are written to."""

    def write(self, data: memoryview) -> None:
        """Send all of `data`, or raise OSError."""


class PoliteDimse(DIMSEServiceProvider):
    """Messages by kind; stored objects straight from the socket to their sink, and answered by the same thread."""

    mailbox: Mailbox
    open_sink: OpenSink | None
    after_answer: list[Callable[[], None]]
    fragments: list[tuple[int, bytes]]
    storing: tuple[int, Command, Sink] | None

    def prepare(self) -> None:
        """Give a provider that was made by pynetdicom what this class needs."""
        self.mailbox = Mailbox()
        self.msg_queue = self.mailbox
        self.open_sink = self.storing = None
        self.after_answer = []
        self.fragments = []

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

    def receive_primitive(self, primitive: P_DATA) -> None:
        """Take the fragments of one PDU."""
        for context_id, data in primitive.presentation_data_value_list:
            self.receive_fragment(context_id, memoryview(data))

    def receive_fragment(self, context_id: int, data: memoryview) -> None:
        """Take one fragment: its control byte (PS3.8 Annex E) and its content."""
        control = data[0]
        if not control & 1 and self.storing is not None:
            self.storing[2].write(data[1:])
            if control & 2:
                self._answer_store()
            return
        if self.open_sink is None or not control & 1:
            self._give_to_pynetdicom([(context_id, bytes(data))])
            return
        self.fragments.append((context_id, bytes(data)))
        if not control & 2:
            return
        fragments, self.fragments = self.fragments, []
        command = parse_command(b"".join(fragment[1:] for _, fragment in fragments))
        if number(command, 0x0100) == C_STORE_RQ:
            self._begin_store(context_id, command)
        else:
            self._give_to_pynetdicom(fragments)

    def _give_to_pynetdicom(self, fragments: list[tuple[int, bytes]]) -> None:
        for fragment in fragments:
            primitive = P_DATA()
            primitive.presentation_data_value_list.append(fragment)
            super().receive_primitive(primitive)

    def _begin_store(self, context_id: int, command: Command) -> None:
        context = self.assoc._accepted_cx.get(context_id)
        if context is None or self.open_sink is None:
            self.assoc.abort(block=False)  # a message under a context that was not agreed on: PS3.7 6.3
            return
        if number(command, 0x0800) == _NO_DATA_SET:
            self._send_store_answer(context_id, command, CANNOT_UNDERSTAND, "the request has no data set")
            return
        sink = self.open_sink(text(command, 0x0002), text(command, 0x1000), str(context.transfer_syntax[0]))
        self.storing = (context_id, command, sink)

    def _answer_store(self) -> None:
        context_id, command, sink = cast("tuple[int, Command, Sink]", self.storing)
        self.storing = None
        try:
            status, comment = sink.finish()
        except Exception:  # a fault of the store must not cost the sender its answer
            status, comment = PROCESSING_FAILURE, "the object could not be kept"
        finally:
            sink.discard()
        self._send_store_answer(context_id, command, status, comment)

    def _send_store_answer(self, context_id: int, command: Command, status: int, comment: str) -> None:
        elements = {
            0x0002: command.get(0x0002, b""),
            0x0100: struct.pack("<H", C_STORE_RSP),
            0x0120: command.get(0x0110, b"\0\0"),
            0x0800: struct.pack("<H", _NO_DATA_SET),
            0x0900: struct.pack("<H", status),
            0x1000: command.get(0x1000, b""),
        }
        if comment:
            elements[0x0902] = padded(comment[:64], b" ")
        encoded = encode_command(elements)
        header = pdv_header(context_id, len(encoded), command=True, last=True)
        try:
            cast("ByteWriter", self.dul.socket).write(memoryview(header + encoded))
        except OSError:
            self.dul.event_queue.put("Evt17")  # transport connection closed: PS3.8 9.2

    def drop_unfinished(self) -> None:
        """Discard an object whose sender is gone."""
        storing, self.storing = self.storing, None
        if storing is not None:
            storing[2].discard()


def fragments_of(body: memoryview) -> Iterator[tuple[int, memoryview]]:
    """Yield context and data of each presentation data value of a P-DATA-TF PDU without its first six bytes.

    Raises
    ------
    ValueError
        If the lengths do not fit.
    """
    at = 0
    while at < len(body):
        size = int.from_bytes(body[at : at + 4], "big")
        if size < 2 or at + 4 + size > len(body):
            raise ValueError("the presentation data values do not fit the length of their PDU")
        yield body[at + 4], body[at + 5 : at + 4 + size]
        at += 4 + size


def pdv_header(context_id: int, length: int, *, command: bool, last: bool) -> bytes:
    """Return what stands before `length` bytes of a message in a PDU of their own."""
    control = (1 if command else 0) | (2 if last else 0)
    return _PDV.pack(0x04, 0, length + 6, length + 2, context_id, control)


def parse_command(encoded: bytes) -> Command:
    """Return the values of an encoded command set.

    Raises
    ------
    ValueError
        If it is cut short.
    """
    command: Command = {}
    at = 0
    while at < len(encoded):
        if at + _ELEMENT.size > len(encoded):
            raise ValueError("the command set is cut short")
        _, element, size = _ELEMENT.unpack_from(encoded, at)
        at += _ELEMENT.size
        if at + size > len(encoded):
            raise ValueError("the command set is cut short")
        command[element] = encoded[at : at + size]
        at += size
    return command


def encode_command(elements: Command) -> bytes:
    """Return an encoded command set, its group length first (PS3.7 6.3.1)."""
    body = b"".join(
        _ELEMENT.pack(0, element, len(elements[element])) + elements[element] for element in sorted(elements)
    )
    return _ELEMENT.pack(0, 0, 4) + struct.pack("<L", len(body)) + body


def number(command: Command, element: int) -> int | None:
    """Return a value of type US, or None where the command has none."""
    value = command.get(element, b"")
    return int.from_bytes(value, "little") if len(value) == 2 else None


def text(command: Command, element: int) -> str:
    """Return a value of text without its padding."""
    return command.get(element, b"").decode("ascii", "replace").strip("\0 ")


def padded(value: str, padding: bytes = b"\0") -> bytes:
    """Return text as a value of even length."""
    encoded = value.encode("ascii", "replace")
    return encoded + padding if len(encoded) % 2 else encoded
