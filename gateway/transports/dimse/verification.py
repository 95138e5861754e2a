"""Verification SCU: whether the peer is there and knows this gateway (PS3.4 Annex A)."""

from __future__ import annotations

import time
from dataclasses import dataclass

from pynetdicom.sop_class import Verification  # type: ignore[attr-defined]

from gateway.transports.dimse.association import association, lost, refused, service_context
from gateway.transports.dimse.peer import Peer


@dataclass(frozen=True, slots=True)
class EchoResult:
    """The peer answered a C-ECHO.

    Parameters
    ----------
    round_trip_ms : float
        From the request to its answer, on an open association.
    implementation_class_uid, implementation_version : str
        What the peer says about itself (PS3.7 D.3.3.2).
    """

    round_trip_ms: float
    implementation_class_uid: str
    implementation_version: str


def verify(peer: Peer) -> EchoResult:
    """Send a C-ECHO.

    Raises
    ------
    TemporaryPeerError, PermanentPeerError
        If there is no association, no answer, or a failure.
    """
    with association(peer, [service_context(Verification)]) as assoc:
        start = time.perf_counter()
        answer = assoc.send_c_echo()
        round_trip_ms = (time.perf_counter() - start) * 1000
        status = answer.get("Status")
        if status is None:
            raise lost(peer, assoc)
        if status != 0:
            raise refused(peer, "verification", int(status), str(answer.get("ErrorComment", "")))
        return EchoResult(
            round_trip_ms=round_trip_ms,
            implementation_class_uid=str(assoc.acceptor.implementation_class_uid or ""),
            implementation_version=str(assoc.acceptor.implementation_version_name or ""),
        )
