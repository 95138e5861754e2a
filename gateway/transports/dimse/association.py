"""Opening and ending an association with a peer; failures become this project's errors here and nowhere else."""

from __future__ import annotations

import queue
import socket
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from typing import Any, cast

from pydicom.uid import UID
from pynetdicom import build_context
from pynetdicom.association import Association
from pynetdicom.pdu_primitives import A_ABORT, A_ASSOCIATE, A_P_ABORT
from pynetdicom.presentation import PresentationContext

from gateway.errors.peer import (
    AssociationAbortedError,
    AssociationBusyError,
    AssociationRejectedError,
    NoPresentationContextError,
    PeerBusyError,
    PeerError,
    PeerTimeoutError,
    PeerUnreachableError,
    ServiceRefusedError,
)
from gateway.standard.statuses import StoreVerdict, rejection_reason, store_status
from gateway.transports.dimse.message_manners import PDU_LENGTH, PoliteDimse
from gateway.transports.dimse.peer import Peer
from gateway.transports.dimse.progress import StalledError
from gateway.transports.dimse.socket_manners import PoliteEntity, PoliteSocket

DEFAULT_TRANSFER_SYNTAX = "1.2.840.10008.1.2"
EXPLICIT_TRANSFER_SYNTAX = "1.2.840.10008.1.2.1"


def service_context(sop_class_uid: str) -> PresentationContext:
    """Return the presentation context of a service that carries no stored objects."""
    return build_context(sop_class_uid, [EXPLICIT_TRANSFER_SYNTAX, DEFAULT_TRANSFER_SYNTAX])


@contextmanager
def association(
    peer: Peer,
    contexts: Sequence[PresentationContext],
    *,
    roles: Sequence[Any] = (),
    handlers: Sequence[Any] = (),
) -> Iterator[Association]:
    """Open an association, and release it, or abort it where the body raised; no thread or socket outlives it.

    Raises
    ------
    PeerUnreachableError, PeerTimeoutError, AssociationBusyError, AssociationAbortedError
        If there is no association now.
    AssociationRejectedError, NoPresentationContextError
        If there will be none until somebody changes something.
    """
    entity = PoliteEntity(peer.calling_ae_title, stall_timeout_s=peer.stall_timeout_s)
    entity.connection_timeout = peer.connect_timeout_s
    entity.acse_timeout = peer.association_timeout_s
    entity.dimse_timeout = peer.answer_timeout_s
    entity.network_timeout = None  # the idle time between two objects belongs to the caller
    try:
        assoc = entity.associate(
            peer.host,
            peer.port,
            contexts=list(contexts),
            ae_title=peer.ae_title,
            max_pdu=PDU_LENGTH,
            ext_neg=list(roles),
            evt_handlers=list(handlers),
        )
    except socket.gaierror as error:
        raise PeerUnreachableError(
            "there is no such host", where=str(peer), was=str(error), fix="check the host name of this destination"
        ) from error
    try:
        if not assoc.is_established:
            raise _why_not(peer, assoc, contexts)
        yield assoc
        if not _is_over(assoc):
            assoc.release()
    finally:
        end(assoc)


def end(assoc: Association) -> None:
    """Abort what is still open and wait until threads and socket are gone."""
    if assoc.is_established:
        assoc.abort()
    assoc._kill = True
    assoc._reactor_checkpoint.set()
    cast("PoliteSocket", assoc.dul.socket)._shutdown_socket()
    assoc.dul.kill_dul()
    for thread in (assoc.dul, assoc):
        if thread.is_alive():
            thread.join(timeout=10)


def _why_not(peer: Peer, assoc: Association, contexts: Sequence[PresentationContext]) -> PeerError:
    failure = cast("PoliteSocket", assoc.dul.socket).failure
    answer = cast("Any", assoc.acceptor.primitive or _unheard(assoc))
    if answer is None and isinstance(failure, TimeoutError):
        return PeerTimeoutError("no answer", where=str(peer), was=str(failure), fix="check host, port and firewall")
    if answer is None and failure is not None:
        return PeerUnreachableError(
            "no connection", where=str(peer), was=str(failure), fix="check that the peer runs, and its host and port"
        )
    if answer is None and assoc.is_aborted and not assoc._sent_abort:
        return AssociationAbortedError(
            "the peer ended the connection instead of answering the association request",
            where=str(peer),
            fix="check that the port belongs to a DICOM service; its log says why",
        )
    if answer is None:
        return PeerTimeoutError(
            "the association request was not answered",
            where=str(peer),
            was=f"silent for {peer.association_timeout_s:g} s",
            fix="check that the port belongs to a DICOM service",
        )
    if answer.result == 0:
        offered = sorted({f"{UID(str(cx.abstract_syntax)).name}" for cx in contexts})
        return NoPresentationContextError(
            "the peer accepted no presentation context",
            where=str(peer),
            was=", ".join(offered),
            fix="allow these SOP classes and their transfer syntaxes there, or choose another transfer syntax",
        )
    reason = rejection_reason(int(answer.result_source), int(answer.diagnostic))
    kind = AssociationRejectedError if answer.result == 1 else AssociationBusyError
    return kind("the peer rejected the association", where=str(peer), was=reason.name, fix=reason.fix)


def _unheard(assoc: Association) -> A_ASSOCIATE | None:
    """Return the answer to the association request that pynetdicom 3.0.4 did not look at.

    A peer that rejects and closes at once may be done before pynetdicom asks whether the connection was made; it then
    takes the closed connection for a failed one.
    """
    while True:
        try:
            primitive = cast("object", assoc.dul.to_user_queue.get_nowait())
        except queue.Empty:
            return None
        if isinstance(primitive, A_ASSOCIATE) and primitive.result != 0:
            return primitive
        if isinstance(primitive, (A_ABORT, A_P_ABORT)):
            assoc.is_aborted, assoc._sent_abort = True, False


def _is_over(assoc: Association) -> bool:
    # `is_established` alone is late: pynetdicom's thread sets it when it gets round to it.
    failure = cast("PoliteSocket", assoc.dul.socket).failure
    return failure is not None or cast("PoliteDimse", assoc.dimse).mailbox.ended


def lost(peer: Peer, assoc: Association) -> PeerError:
    """Return the error for a request that got no answer."""
    failure = cast("PoliteSocket", assoc.dul.socket).failure
    if isinstance(failure, StalledError):
        return PeerTimeoutError("the peer stopped reading", where=str(peer), was=str(failure), fix="look at its load")
    if isinstance(failure, TimeoutError) or not _is_over(assoc):
        return PeerTimeoutError(
            "the request was not answered",
            where=str(peer),
            was=f"silent for {peer.answer_timeout_s:g} s",
            fix="look at the peer's load, or allow it a longer answer time",
        )
    return AssociationAbortedError(
        "the association ended before the answer came", where=str(peer), was=str(failure or "A-ABORT")
    )


def refused(peer: Peer, request: str, status: int, comment: str) -> PeerError:
    """Return the error for a failure status of a service other than storage."""
    rule = store_status(status)
    kind = PeerBusyError if rule.verdict is StoreVerdict.RETRY and rule.retries is None else ServiceRefusedError
    was = f"{status:04X} {rule.name}" + (f" ({comment})" if comment else "")
    return kind(f"the peer refused {request}", where=str(peer), was=was, fix="read the peer's log")
