"""How this gateway's associations use the network: every change to pynetdicom's behaviour, with its reason.

pynetdicom 3.0.4 negotiates and encodes well, but its transport has habits that cost time, memory or a hung sender.
Nothing is patched globally: `teach` exchanges the parts of one association before its threads start, so another
user of pynetdicom in the same process sees no difference. What concerns messages is in `message_manners`, everything
else is here. Each change has a test in ``tests/network`` that shows why it is there.

=====================  =============================================================================================
habit of 3.0.4         what is done instead
=====================  =============================================================================================
Nagle stays on         TCP_NODELAY in both roles: Nagle and a delayed acknowledgement cost 44 ms per object
delayed ACK            TCP_QUICKACK (Linux) after every read, which frees a *peer* that keeps Nagle on
no time limit while    a socket timeout per move of bytes; pynetdicom clears it after connecting, and then a peer
bytes move             that stops reading holds the sender for ever, and one that stops sending holds the receiver
socket left open       the socket is closed even where `shutdown` fails because the peer was faster
any announced length   a PDU far beyond the agreed length ends the association before memory is given to it
unbounded send queue   a stored object goes from its file straight to the socket: `store_exchange`
process-wide flags     sending and receiving in pieces per association, not by `_config`
six copies of a PDU    fragments of a stored object go from the socket to their sink; the thread that took the last
                       one also answers, where pynetdicom needs two threads and two encodings
response race          the association's own thread can take an answer that a sender waits for: here requests and
                       answers are taken from the mailbox by kind
polling at 1 ms        a wake-up socket beside the network socket, and a condition on the mailbox
waits for a request    a connection that ends before it asks for an association frees its thread at once
identifiers in logs    switched off: they name patients. The loggers of every PDU and message are unbound: nobody reads
                       them, and they format each one
=====================  =============================================================================================
"""

from __future__ import annotations

import contextlib
import queue
import select
import socket
import ssl
import threading
from typing import cast

from pynetdicom import AE, _config, evt
from pynetdicom._handlers import (
    standard_dimse_recv_handler,
    standard_dimse_sent_handler,
    standard_pdu_recv_handler,
    standard_pdu_sent_handler,
)
from pynetdicom.association import Association
from pynetdicom.dul import DULServiceProvider
from pynetdicom.pdu_primitives import _PDUPrimitiveType
from pynetdicom.transport import (
    T_CONNECT,
    AddressInformation,
    AssociationSocket,
    RequestHandler,
    ThreadedAssociationServer,
)

from gateway.transports.dimse.message_manners import PDU_LENGTH, OpenSink, PoliteDimse, fragments_of
from gateway.transports.dimse.progress import StalledError, send_all

_IDLE_S = 0.02
_LENT_S = 1.0
_P_DATA = 0x04
_LONGEST_PDU = 4 * PDU_LENGTH  # association requests have no agreed limit; 128 contexts need some 30 KB


class PoliteSocket(AssociationSocket):
    """A socket that does not wait for ever, does not wait for Nagle and is always closed."""

    stall_timeout_s: float
    failure: OSError | None
    unread: bytearray
    writing: threading.RLock

    def connect(self, primitive: T_CONNECT) -> None:
        """Connect, keeping the reason of a failure; pynetdicom only logs it."""
        sock = cast("socket.socket", self.socket)
        try:
            sock.settimeout(self.assoc.connection_timeout)
            sock.connect(primitive.address_info.as_tuple)
            self.polish()
            self.assoc.requestor.address_info = AddressInformation.from_tuple(sock.getsockname())
            self._is_connected = True
            primitive.result = "Evt2"
        except OSError as error:
            self.failure = error
            self._shutdown_socket()
            self.socket = None
            primitive.result = "Evt17"
        self.provider_queue.put(primitive)
        self._ready.set()

    def polish(self) -> None:
        """Set the options of a connected socket."""
        sock = cast("socket.socket", self.socket)
        sock.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
        sock.settimeout(self.stall_timeout_s)
        self._quick_ack(sock)

    @staticmethod
    def _quick_ack(sock: socket.socket) -> None:
        # The option is not sticky: the kernel falls back to delayed acknowledgements by itself (tcp(7)).
        if hasattr(socket, "TCP_QUICKACK"):
            sock.setsockopt(socket.IPPROTO_TCP, socket.TCP_QUICKACK, 1)

    def recv(self, nr_bytes: int) -> bytearray:
        """Read exactly `nr_bytes`, or fewer where the connection ends."""
        if self.unread:
            unread, self.unread = self.unread, bytearray()
            return unread
        sock = cast("socket.socket", self.socket)
        if nr_bytes > _LONGEST_PDU:
            self.failure = OSError(f"the peer announces a PDU of {nr_bytes} bytes, {PDU_LENGTH} were agreed")
            self._shutdown_socket()
            raise self.failure
        received = bytearray(nr_bytes)
        view = memoryview(received)
        at = 0
        try:
            while at < nr_bytes:
                count = sock.recv_into(view[at:])
                if not count:
                    break
                at += count
            self._quick_ack(sock)
        except OSError as error:
            self.failure = error
            self._shutdown_socket()
            raise
        finally:
            view.release()
        del received[at:]
        return received

    def send(self, bytestream: bytes) -> None:
        """Send one PDU; a failure ends the association."""
        try:
            self.write(memoryview(bytestream))
        except OSError:
            self.event_queue.put("Evt17")

    def write(self, data: memoryview) -> None:
        """Send all of `data`.

        Raises
        ------
        StalledError
            If no byte moved for `stall_timeout_s`; the connection is closed.
        OSError
            If the connection is gone.
        """
        with self.writing:
            sock = self.socket
            if sock is None:
                raise OSError("the connection is closed")
            try:
                send_all(sock, data)
            except StalledError as error:
                self.failure = error
                self._shutdown_socket()
                raise
            except OSError as error:
                self.failure = self.failure or error
                raise

    def _shutdown_socket(self) -> None:
        sock = self.socket
        if sock is None:
            return
        with contextlib.suppress(OSError):  # the peer was faster; closing is still ours
            sock.shutdown(socket.SHUT_RDWR)  # wakes whoever waits on this socket
        # A writer in another thread must be out before the number of the socket can be given to another connection.
        free = self.writing.acquire(timeout=self.stall_timeout_s)
        try:
            sock.close()
        finally:
            if free:
                self.writing.release()


class PoliteDul(DULServiceProvider):
    """The upper layer's thread: sleeps until there is something to do, and not a millisecond longer."""

    bell: tuple[socket.socket, socket.socket] | None
    lent: bool
    idle: threading.Event

    def run(self) -> None:
        """Run the reactor; close what wakes it and drop what it left unfinished."""
        self.bell = socket.socketpair()
        for end in self.bell:
            end.setblocking(False)
        try:
            super().run()
        finally:
            ends, self.bell = self.bell, None
            for end in ends:
                end.close()
            dimse = cast("PoliteDimse", self.assoc.dimse)
            dimse.drop_unfinished()
            # However this thread ended, nobody waits for an answer of the peer any more.
            dimse.mailbox.put((None, None))
            cast("queue.Queue[None]", self.to_user_queue).put(None)

    def ring(self) -> None:
        """Wake the thread."""
        bell = self.bell
        if bell is not None:
            with contextlib.suppress(OSError):  # full: it is awake anyway; closed: nobody is there to wake
                bell[1].send(b"\0")

    def lend(self) -> None:
        """Leave reading from the socket to the caller, from the moment this returns until `take_back`."""
        self.idle.clear()
        self.lent = True
        self.ring()
        while self.is_alive() and not self.idle.wait(0.1):
            pass

    def take_back(self) -> None:
        """Read from the socket again."""
        self.lent = False
        self.ring()

    def send_pdu(self, primitive: _PDUPrimitiveType) -> None:
        """Queue a primitive and wake the thread."""
        super().send_pdu(primitive)
        self.ring()

    def kill_dul(self) -> None:
        """End the thread."""
        super().kill_dul()
        self.ring()

    def stop_dul(self) -> bool:
        """End the thread where no association is left."""
        if self.state_machine.current_state == "Sta1":
            self._kill_thread = True
            self.ring()
        return super().stop_dul()

    def _read_pdu_data(self) -> None:
        """Read one PDU; fragments of messages on an open association go straight to where they belong.

        Data transfer does not change the state of an association (PS3.8 Table 9-10, DT-2), so nothing else has to
        hear of it. Everything else is read by pynetdicom.
        """
        sock = cast("PoliteSocket", self.socket)
        if self.state_machine.current_state != "Sta6":
            super()._read_pdu_data()
            return
        try:
            head = sock.recv(6)
            if len(head) < 6 or head[0] != _P_DATA:
                sock.unread = head
                super()._read_pdu_data()
                return
            length = int.from_bytes(head[2:6], "big")
            body = sock.recv(length)
            if len(body) < length:
                raise ConnectionResetError("the connection ended within a PDU")
        except OSError:
            self.event_queue.put("Evt17")  # transport connection closed
            return
        try:
            for context_id, data in fragments_of(memoryview(body)):
                cast("PoliteDimse", self.assoc.dimse).receive_fragment(context_id, data)
        except ValueError:
            self.event_queue.put("Evt19")  # unrecognized or invalid PDU

    def _is_transport_event(self) -> bool:
        """Wait for something to do, reading data on the way; True where the socket had something."""
        while True:
            if self.lent:
                self.idle.set()
            readable = self._wait()
            if self.lent:
                return False
            if not self._is_quiet():
                return super()._is_transport_event()
            if readable:
                self._idle_timer.restart()
                self._read_pdu_data()
                if self.event_queue.queue:
                    return True

    def _is_quiet(self) -> bool:
        # Nothing but data on an open association: pynetdicom's loop need not turn, and its sleep(0) gives the
        # processor away for as long as anybody else wants it.
        busy = self._kill_thread or self.event_queue.queue or self.to_provider_queue.queue
        return self.state_machine.current_state == "Sta6" and not busy

    def _wait(self) -> bool:
        bell = self.bell
        state = self.state_machine.current_state
        if bell is None or self.event_queue.queue or state == "Sta13":
            return False
        waiting = cast("PoliteSocket", self.socket)
        sources: list[socket.socket] = [bell[0]]
        if waiting._is_connected and waiting.socket is not None and not self.lent and state != "Sta1":
            sources.append(waiting.socket)
        try:
            ready, _, _ = select.select(sources, [], [], _LENT_S if self.lent else _IDLE_S)
            if bell[0] in ready:
                bell[0].recv(4096)
        except (OSError, ValueError):
            self.event_queue.put("Evt17")  # the socket was closed meanwhile
            return False
        return any(source is not bell[0] for source in ready)


class PoliteEntity(AE):
    """An application entity whose associations have manners.

    Parameters
    ----------
    title : str
        Its AE title.
    stall_timeout_s : float
        Patience while no byte moves in the middle of a message.
    """

    def __init__(self, title: str, *, stall_timeout_s: float) -> None:
        super().__init__(title)
        self.stall_timeout_s = stall_timeout_s
        self.maximum_pdu_size = PDU_LENGTH
        # Process-wide, but only ever in the direction of privacy: identifiers of queries name patients.
        _config.LOG_REQUEST_IDENTIFIERS = False
        _config.LOG_RESPONSE_IDENTIFIERS = False

    def _create_socket(
        self, assoc: Association, address: AddressInformation, tls_args: tuple[ssl.SSLContext, str] | None
    ) -> AssociationSocket:
        sock = super()._create_socket(assoc, address, tls_args)
        teach(assoc, sock, self.stall_timeout_s)
        return sock


class PoliteRequestHandler(RequestHandler):
    """Gives an accepted connection its manners before its threads start."""

    def _create_association(self) -> Association:
        assoc = super()._create_association()
        sock = cast("PoliteSocket", assoc.dul.socket)
        teach(assoc, sock, cast("PoliteEntity", self.ae).stall_timeout_s)
        sock.polish()
        cast("PoliteDimse", assoc.dimse).open_sink = getattr(self.server, "open_sink", None)
        return assoc


class PoliteServer(ThreadedAssociationServer):
    """A listening server; `open_sink` is where its stored objects go."""

    open_sink: OpenSink | None = None
    request_queue_size = 64


def teach(assoc: Association, sock: AssociationSocket, stall_timeout_s: float) -> None:
    """Exchange the parts of one association for those of this module; its threads must not have started."""
    sock.__class__ = PoliteSocket
    polite = cast("PoliteSocket", sock)
    polite.stall_timeout_s = stall_timeout_s
    polite.failure, polite.unread = None, bytearray()
    polite.writing = threading.RLock()
    assoc.dul.__class__ = PoliteDul
    dul = cast("PoliteDul", assoc.dul)
    dul.bell, dul.lent, dul.idle = None, False, threading.Event()
    assoc.dul._run_loop_delay = 0
    assoc.dimse.__class__ = PoliteDimse
    dimse = cast("PoliteDimse", assoc.dimse)
    dimse.prepare()
    for event, handler in (
        (evt.EVT_DIMSE_RECV, standard_dimse_recv_handler),
        (evt.EVT_DIMSE_SENT, standard_dimse_sent_handler),
        (evt.EVT_PDU_RECV, standard_pdu_recv_handler),
        (evt.EVT_PDU_SENT, standard_pdu_sent_handler),
    ):
        assoc.unbind(event, handler)
