"""Storage Commitment SCP of the archive: looks what is really there and reports it (PS3.4 Annex J)."""

from __future__ import annotations

import queue
import threading
from collections.abc import Mapping
from dataclasses import dataclass
from typing import cast

from pydicom.dataset import Dataset
from pydicom.uid import UID
from pynetdicom import build_context, build_role
from pynetdicom.association import Association
from pynetdicom.dimse_primitives import N_ACTION
from pynetdicom.events import Event
from pynetdicom.sop_class import (  # type: ignore[attr-defined]
    StorageCommitmentPushModel,
    StorageCommitmentPushModelInstance,
)

from gateway.errors.peer import PeerError
from gateway.transports.dimse.archive.store import ArchiveStore
from gateway.transports.dimse.association import DEFAULT_TRANSFER_SYNTAX, EXPLICIT_TRANSFER_SYNTAX, association
from gateway.transports.dimse.message_manners import PoliteDimse
from gateway.transports.dimse.peer import Peer

_NO_SUCH_INSTANCE = 0x0112
_CLASS_CONFLICT = 0x0119
_ALL_COMMITTED, _SOME_FAILED = 1, 2  # Event Type ID, PS3.4 Table J.3-2


@dataclass(frozen=True, slots=True)
class _Job:
    assoc: Association
    requester: str
    information: Dataset
    event_type: int


class CommitmentReporter:
    """Answers N-ACTION, and reports from a thread of its own.

    Parameters
    ----------
    store : ArchiveStore
        What is there.
    report_to : mapping of str to Peer
        Where the report of each requesting AE title goes on a new association; a title that is not named gets it
        on the association of the request.
    """

    def __init__(self, store: ArchiveStore, report_to: Mapping[str, Peer]) -> None:
        self._store = store
        self._report_to = dict(report_to)
        self._jobs: queue.Queue[_Job | None] = queue.Queue()
        self._thread: threading.Thread | None = None

    def start(self) -> None:
        """Start reporting."""
        self._thread = threading.Thread(target=self._run, name="commitment-reports")
        self._thread.start()

    def stop(self) -> None:
        """Stop after the report under way; reports that were not begun are lost, and are asked for again."""
        self._jobs.put(None)
        if self._thread is not None:
            self._thread.join()
            self._thread = None

    def on_action(self, event: Event) -> tuple[int, Dataset | None]:
        """Answer one N-ACTION; its report follows once the answer is on its way."""
        if cast("N_ACTION", event.request).RequestedSOPInstanceUID != StorageCommitmentPushModelInstance:
            return 0x0112, None  # no such SOP instance
        if event.action_type != 1:
            return 0x0123, None  # no such action
        request = event.action_information
        items = request.get("ReferencedSOPSequence")
        if not request.get("TransactionUID") or not items:
            return 0x0115, None  # argument value not valid
        information, event_type = self._judge(request)
        job = _Job(event.assoc, str(event.assoc.requestor.ae_title).strip(), information, event_type)
        cast("PoliteDimse", event.assoc.dimse).after_answer.append(lambda: self._jobs.put(job))
        return 0x0000, None

    def _judge(self, request: Dataset) -> tuple[Dataset, int]:
        committed, failed = [], []
        for asked in request.ReferencedSOPSequence:
            item = Dataset()
            item.ReferencedSOPClassUID = asked.ReferencedSOPClassUID
            item.ReferencedSOPInstanceUID = asked.ReferencedSOPInstanceUID
            sop_class = self._store.sop_class_of(str(asked.ReferencedSOPInstanceUID))
            if sop_class == asked.ReferencedSOPClassUID:
                committed.append(item)
                continue
            item.FailureReason = _NO_SUCH_INSTANCE if sop_class is None else _CLASS_CONFLICT
            failed.append(item)
        information = Dataset()
        information.TransactionUID = request.TransactionUID
        if committed:
            information.ReferencedSOPSequence = committed
        if failed:
            information.FailedSOPSequence = failed
        return information, _SOME_FAILED if failed else _ALL_COMMITTED

    def _run(self) -> None:
        while (job := self._jobs.get()) is not None:
            peer = self._report_to.get(job.requester)
            if peer is None:
                _report(job.assoc, job)
                continue
            role = build_role(StorageCommitmentPushModel, scp_role=True)
            context = build_context(StorageCommitmentPushModel, [EXPLICIT_TRANSFER_SYNTAX, DEFAULT_TRANSFER_SYNTAX])
            try:
                with association(peer, [context], roles=[role]) as assoc:
                    _report(assoc, job)
            except PeerError:
                continue  # the requester asks again under a new transaction (PS3.4 J.3.3 leaves retries to both)


def _report(assoc: Association, job: _Job) -> None:
    if not assoc.is_established:
        return
    try:
        assoc.send_n_event_report(
            job.information, job.event_type, UID(StorageCommitmentPushModel), UID(StorageCommitmentPushModelInstance)
        )
    except (RuntimeError, ValueError):
        return  # released in between, or accepted without the role: the requester asks again
