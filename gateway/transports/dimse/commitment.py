"""Storage Commitment Push Model SCU: asks an archive to take responsibility, waits for its report (PS3.4 Annex J)."""

from __future__ import annotations

import threading
import time
from collections import OrderedDict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from types import MappingProxyType, TracebackType
from typing import Self

from pydicom.dataset import Dataset
from pydicom.uid import UID, generate_uid
from pynetdicom import build_context, evt
from pynetdicom.association import Association
from pynetdicom.events import Event
from pynetdicom.pdu import P_DATA_TF
from pynetdicom.sop_class import (  # type: ignore[attr-defined]
    StorageCommitmentPushModel,
    StorageCommitmentPushModelInstance,
)

from gateway.transports.dimse.association import (
    DEFAULT_TRANSFER_SYNTAX,
    EXPLICIT_TRANSFER_SYNTAX,
    association,
    lost,
    refused,
    service_context,
)
from gateway.transports.dimse.listener import Listener
from gateway.transports.dimse.peer import Peer

_REQUEST_COMMITMENT = 1  # Action Type ID, PS3.4 Table J.3-1
_REPORTS_KEPT = 1000
_LINGER_S = 2.0
_ANSWER_S = 5.0


@dataclass(frozen=True, slots=True)
class CommitmentResult:
    """What an archive answered to one request for storage commitment.

    Parameters
    ----------
    transaction_uid : str
        Transaction UID (0008,1195) of the request.
    committed : frozenset of str
        SOP Instance UIDs that the archive took responsibility for.
    failed : mapping of str to int
        Failure Reason (0008,1197) by SOP Instance UID; see `gateway.standard.statuses.commitment_failure`.
    unanswered : bool
        True where no report came in time. Then nothing is known: ask again under a new transaction.
    unmentioned : frozenset of str
        Requested instances that the report says nothing about: not committed.
    """

    transaction_uid: str
    committed: frozenset[str]
    failed: Mapping[str, int]
    unanswered: bool
    unmentioned: frozenset[str] = frozenset()


@dataclass(frozen=True, slots=True)
class _Report:
    committed: frozenset[tuple[str, str]]
    failed: Mapping[str, int]


class _Reports:
    """Reports that came, by transaction; the last thousand."""

    def __init__(self) -> None:
        self._arrived = threading.Condition()
        self._by_transaction: OrderedDict[str, _Report] = OrderedDict()

    def on_event(self, event: Event) -> tuple[int, Dataset | None]:
        """Take one N-EVENT-REPORT."""
        if event.request.AffectedSOPClassUID != StorageCommitmentPushModel:
            return 0x0118, None  # no such SOP class
        if event.event_type not in (1, 2):
            return 0x0113, None  # no such event type
        information = event.event_information
        transaction = str(information.get("TransactionUID", ""))
        if not transaction:
            return 0x0115, None  # argument value not valid
        report = _Report(
            committed=frozenset(
                (str(item.ReferencedSOPClassUID), str(item.ReferencedSOPInstanceUID))
                for item in information.get("ReferencedSOPSequence") or ()
            ),
            failed=MappingProxyType(
                {
                    str(item.ReferencedSOPInstanceUID): int(item.FailureReason)
                    for item in information.get("FailedSOPSequence") or ()
                }
            ),
        )
        with self._arrived:
            self._by_transaction[transaction] = report
            while len(self._by_transaction) > _REPORTS_KEPT:
                self._by_transaction.popitem(last=False)
            self._arrived.notify_all()
        return 0x0000, None

    def wait(self, transaction_uid: str, timeout_s: float) -> _Report | None:
        """Return the report of one transaction, or None after `timeout_s` seconds."""
        with self._arrived:
            self._arrived.wait_for(lambda: transaction_uid in self._by_transaction, timeout_s)
            return self._by_transaction.get(transaction_uid)


class _Here:
    """The report as it comes on the association of the request, and whether it was answered there."""

    def __init__(self, reports: _Reports) -> None:
        self._reports = reports
        self._came = False
        self._answered = threading.Event()

    def on_event(self, event: Event) -> tuple[int, Dataset | None]:
        """Take one N-EVENT-REPORT."""
        self._came = True
        return self._reports.on_event(event)

    def on_sent(self, event: Event) -> None:
        """Note that data went out after the report came: the answer to it, for nothing else is sent then."""
        if self._came and isinstance(event.pdu, P_DATA_TF):
            self._answered.set()

    def wait_answered(self) -> None:
        """Wait until the report was answered: a release before that would overtake the answer (PS3.8 9.2.1, Sta7)."""
        if self._came:
            self._answered.wait(_ANSWER_S)


class CommitmentListener:
    """Receives the reports of archives that open an association of their own for them.

    Between entering and leaving a ``with`` block it listens and accepts the archive in the role of SCP
    (PS3.7 D.3.3.4). One listener serves any number of requests and destinations.

    Parameters
    ----------
    ae_title : str
        The AE title under which this gateway asked; archives call it by that.
    host : str
        Address to listen on.
    port : int
        Port that the archives' administrators registered for the title; 0 lets the operating system choose.
    """

    def __init__(self, ae_title: str, *, host: str = "127.0.0.1", port: int = 0) -> None:
        self.reports = _Reports()
        context = build_context(StorageCommitmentPushModel, [EXPLICIT_TRANSFER_SYNTAX, DEFAULT_TRANSFER_SYNTAX])
        context.scu_role, context.scp_role = False, True
        self._listener = Listener(ae_title, (host, port), [context], [(evt.EVT_N_EVENT_REPORT, self.reports.on_event)])

    @property
    def port(self) -> int:
        """The port it listens on."""
        return self._listener.port

    def __enter__(self) -> Self:
        self._listener.__enter__()
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self._listener.__exit__(kind, error, trace)


def request_commitment(
    peer: Peer,
    instances: Sequence[tuple[str, str]],
    *,
    timeout_s: float,
    listener: CommitmentListener | None = None,
) -> CommitmentResult:
    """Ask `peer` to commit to the safekeeping of instances, and wait for its report.

    The report may come on the same association or on a new one that the archive opens (PS3.4 J.3.3); both are
    waited for. With a listener the association of the request is released after a short wait, because some archives
    report only after that.

    Parameters
    ----------
    peer : Peer
        The archive.
    instances : sequence of (str, str)
        SOP Class UID and SOP Instance UID of each instance.
    timeout_s : float
        How long to wait for the report after the request was accepted, seconds.
    listener : CommitmentListener, optional
        Where a report on a new association arrives.

    Raises
    ------
    TemporaryPeerError, PermanentPeerError
        If the request itself could not be made or was refused.
    """
    transaction_uid = str(generate_uid(prefix=None))
    reports = listener.reports if listener else _Reports()
    end = time.monotonic() + timeout_s
    here = _Here(reports)
    handlers = [(evt.EVT_N_EVENT_REPORT, here.on_event), (evt.EVT_PDU_SENT, here.on_sent)]
    with association(peer, [service_context(StorageCommitmentPushModel)], handlers=handlers) as assoc:
        _ask(peer, assoc, transaction_uid, instances)
        here_s = min(timeout_s, _LINGER_S) if listener else timeout_s
        report = _wait_here(assoc, reports, transaction_uid, here_s)
        here.wait_answered()
    if report is None and listener:
        report = reports.wait(transaction_uid, max(0.0, end - time.monotonic()))
    return _result(transaction_uid, instances, report)


def _ask(peer: Peer, assoc: Association, transaction_uid: str, instances: Sequence[tuple[str, str]]) -> None:
    action = Dataset()
    action.TransactionUID = transaction_uid
    action.ReferencedSOPSequence = []
    for sop_class_uid, sop_instance_uid in instances:
        item = Dataset()
        item.ReferencedSOPClassUID = UID(sop_class_uid)
        item.ReferencedSOPInstanceUID = UID(sop_instance_uid)
        action.ReferencedSOPSequence.append(item)
    answer, _ = assoc.send_n_action(
        action, _REQUEST_COMMITMENT, StorageCommitmentPushModel, StorageCommitmentPushModelInstance
    )
    status = answer.get("Status")
    if status is None:
        raise lost(peer, assoc)
    if status != 0:
        raise refused(peer, "storage commitment", int(status), str(answer.get("ErrorComment", "")))


def _wait_here(assoc: Association, reports: _Reports, transaction_uid: str, timeout_s: float) -> _Report | None:
    end = time.monotonic() + timeout_s
    report = None
    while report is None and assoc.is_established and time.monotonic() < end:
        report = reports.wait(transaction_uid, min(0.2, max(0.0, end - time.monotonic())))
    return report or reports.wait(transaction_uid, 0)


def _result(transaction_uid: str, instances: Sequence[tuple[str, str]], report: _Report | None) -> CommitmentResult:
    requested = frozenset(sop_instance_uid for _, sop_instance_uid in instances)
    if report is None:
        return CommitmentResult(transaction_uid, frozenset(), MappingProxyType({}), unanswered=True)
    # An instance counts only as the kind of object it was asked for, and never while a failure is reported for it.
    failed = {uid: reason for uid, reason in report.failed.items() if uid in requested}
    committed = frozenset(uid for kind, uid in report.committed if (kind, uid) in set(instances)) - failed.keys()
    return CommitmentResult(
        transaction_uid,
        committed,
        MappingProxyType(failed),
        unanswered=False,
        unmentioned=requested - committed - failed.keys(),
    )
