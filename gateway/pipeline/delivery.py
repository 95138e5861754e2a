"""Delivering what waits: send, retry what is temporary, confirm what was sent, leave the rest for a person."""

from __future__ import annotations

import time
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Protocol

from gateway.builders.pixel_data import EXPLICIT_VR_LITTLE_ENDIAN, JPEG_LS_LOSSLESS, transcode_to_explicit_le
from gateway.builders.stored_object import is_completed_object
from gateway.errors import GatewayError
from gateway.pipeline.queue import Delivery, DeliveryState, Outcome, Queue, retry_pause_s
from gateway.pipeline.spool import Spool
from gateway.pipeline.store import ExamState, Store
from gateway.settings import DestinationSettings
from gateway.standard.statuses import StoreVerdict


@dataclass(frozen=True, slots=True)
class FileToSend:
    """One Part 10 file as it goes on the wire."""

    path: Path
    sop_class_uid: str
    sop_instance_uid: str
    transfer_syntax_uid: str


@dataclass(frozen=True, slots=True)
class Receipt:
    """The archive's answer to one file.

    Parameters
    ----------
    retries : int or None
        How many more tries make sense; None: as many as the destination's settings allow.
    """

    sop_instance_uid: str
    verdict: StoreVerdict
    status: int | None = None
    comment: str = ""
    retries: int | None = None


@dataclass(frozen=True, slots=True)
class Commitment:
    """The archive's answer to a request to commit.

    Parameters
    ----------
    committed : frozenset of str
    failed : mapping of str to str
        SOP Instance UID to the reason given.
    unanswered : bool
        No report came in time.
    """

    committed: frozenset[str]
    failed: Mapping[str, str]
    unanswered: bool = False


class Archive(Protocol):
    """One destination as delivery sees it."""

    def send(self, files: Sequence[FileToSend], on_receipt: Callable[[Receipt], None]) -> None:
        """Send files; report each answer as it comes. Raises PeerError where no association could be had."""
        ...

    def commit(self, instances: Sequence[tuple[str, str]]) -> Commitment:
        """Ask for storage commitment of (SOP Class UID, SOP Instance UID) pairs."""
        ...

    def listed(self, study_instance_uid: str) -> frozenset[str]:
        """Return the SOP Instance UIDs that a query finds in a study."""
        ...


@dataclass(frozen=True, slots=True)
class DeliveryTools:
    """What delivering needs, made once by the composition root."""

    store: Store
    queue: Queue
    spool: Spool
    sleep: Callable[[float], None] = time.sleep
    on_progress: Callable[[str, int, int], None] = lambda step, done, total: None


def deliver_study(
    tools: DeliveryTools, archive: Archive, destination: DestinationSettings, study_instance_uid: str
) -> tuple[Delivery, ...]:
    """Bring one study's waiting objects to a destination and prove that they arrived.

    Temporary failures are tried again after growing pauses; what the archive refuses for good, or has not taken after
    the last attempt, is left for a person with its reason.

    Returns
    -------
    tuple of Delivery
        Every delivery of the study to this destination, as it stands at the end, without those withdrawn.
    """
    while True:
        claimed = tools.queue.claim(destination.name, study_instance_uid)
        if claimed:
            _send(tools, archive, destination, claimed)
            continue
        due_s = tools.queue.next_due_s(destination.name, study_instance_uid)
        if due_s is None:
            break
        tools.on_progress("waiting to try again", 0, 0)
        tools.sleep(max(due_s, 0.05))
    _confirm(tools, archive, destination, study_instance_uid)
    all_of_study = tools.queue.of_study(study_instance_uid, destination.name)
    deliveries = tuple(delivery for delivery in all_of_study if delivery.state is not DeliveryState.WITHDRAWN)
    arrived = all(delivery.state in {DeliveryState.COMMITTED, DeliveryState.LISTED} for delivery in deliveries)
    tools.store.set_exam_state(study_instance_uid, ExamState.STORED if arrived else ExamState.ATTENTION)
    return deliveries


def _send(
    tools: DeliveryTools, archive: Archive, destination: DestinationSettings, claimed: Sequence[Delivery]
) -> None:
    """Send claimed deliveries on one association and write down what became of each."""
    by_uid = {delivery.sop_instance_uid: delivery for delivery in claimed}
    outcomes: dict[str, Outcome] = {}
    files: list[FileToSend] = []
    temporary: list[Path] = []
    for delivery in claimed:
        try:
            file = _as_on_the_wire(tools.spool, delivery)
        except GatewayError as error:
            outcomes[delivery.sop_instance_uid] = Outcome(delivery, DeliveryState.REFUSED, comment=str(error))
            continue
        files.append(file)
        if file.path.parent == tools.spool.outgoing:
            temporary.append(file.path)

    def note(receipt: Receipt) -> None:
        delivery = by_uid[receipt.sop_instance_uid]
        outcomes[receipt.sop_instance_uid] = _outcome(delivery, receipt, destination)
        tools.queue.renew(claimed)
        tools.on_progress("C-STORE", len(outcomes), len(claimed))

    failure = ""
    is_temporary = True
    try:
        if files:
            archive.send(files, note)
    except GatewayError as error:
        failure, is_temporary = str(error), error.temporary
    finally:
        for path in temporary:
            path.unlink(missing_ok=True)
    verdict = StoreVerdict.RETRY if is_temporary else StoreVerdict.REFUSED
    for uid, delivery in by_uid.items():
        if uid not in outcomes:
            receipt = Receipt(uid, verdict, comment=failure or "the association ended before an answer")
            outcomes[uid] = _outcome(delivery, receipt, destination)
    tools.queue.finish(tuple(outcomes.values()))


def _as_on_the_wire(spool: Spool, delivery: Delivery) -> FileToSend:
    """Give the file in the transfer syntax of the compatible preset; loops lie compressed in the spool.

    A completed DICOM object keeps its own.
    """
    path = spool.verified(delivery.sha256)
    syntax = delivery.transfer_syntax_uid
    if syntax != JPEG_LS_LOSSLESS or is_completed_object(path):
        return FileToSend(path, delivery.sop_class_uid, delivery.sop_instance_uid, syntax)
    plain = spool.outgoing / f"{delivery.sha256}.dcm"
    transcode_to_explicit_le(path, plain)
    return FileToSend(plain, delivery.sop_class_uid, delivery.sop_instance_uid, EXPLICIT_VR_LITTLE_ENDIAN)


def _outcome(delivery: Delivery, receipt: Receipt, destination: DestinationSettings) -> Outcome:
    if receipt.verdict in {StoreVerdict.STORED, StoreVerdict.STORED_WITH_WARNING}:
        return Outcome(delivery, DeliveryState.SENT, receipt.status, receipt.comment)
    if receipt.verdict is StoreVerdict.REFUSED:
        return Outcome(delivery, DeliveryState.REFUSED, receipt.status, receipt.comment)
    tried = delivery.attempts
    allowed = destination.attempts if receipt.retries is None else min(destination.attempts, receipt.retries + 1)
    if tried >= allowed:
        comment = f"given up after {tried} attempts: {receipt.comment}"
        return Outcome(delivery, DeliveryState.REFUSED, receipt.status, comment)
    pause_s = retry_pause_s(tried, destination.first_retry_s)
    return Outcome(delivery, DeliveryState.WAITING, receipt.status, receipt.comment, pause_s)


def _confirm(tools: DeliveryTools, archive: Archive, destination: DestinationSettings, study_instance_uid: str) -> None:
    """Turn 'sent' into 'committed' or 'listed'; what the archive denies having is refused with its reason."""
    sent = [
        delivery
        for delivery in tools.queue.of_study(study_instance_uid, destination.name)
        if delivery.state is DeliveryState.SENT
    ]
    if not sent:
        return
    if not destination.storage_commitment:
        _confirm_by_query(tools, archive, destination, sent)
        return
    for attempt in range(1, destination.attempts + 1):
        tools.on_progress("storage commitment", 0, len(sent))
        try:
            answer = archive.commit([(d.sop_class_uid, d.sop_instance_uid) for d in sent])
        except GatewayError as error:
            if not error.temporary:
                _note_unconfirmed(tools, destination, sent, str(error))
                return
            answer = Commitment(frozenset(), {}, unanswered=True)
        if not answer.unanswered:
            tools.queue.mark_sent(answer.committed, destination.name, DeliveryState.COMMITTED, "committed")
            for uid, reason in answer.failed.items():
                tools.queue.mark_sent([uid], destination.name, DeliveryState.REFUSED, f"not committed: {reason}")
            tools.on_progress("storage commitment", len(answer.committed), len(sent))
            return
        if attempt < destination.attempts:
            tools.sleep(retry_pause_s(attempt, destination.first_retry_s))
    # Unanswered to the end: say what a query can tell, and leave it to a person.
    found = _listed(archive, study_instance_uid)
    seen = sum(delivery.sop_instance_uid in found for delivery in sent)
    _note_unconfirmed(tools, destination, sent, f"commitment unanswered; a query lists {seen} of {len(sent)}")


def _confirm_by_query(
    tools: DeliveryTools, archive: Archive, destination: DestinationSettings, sent: Sequence[Delivery]
) -> None:
    found = _listed(archive, sent[0].study_instance_uid)
    listed = [d.sop_instance_uid for d in sent if d.sop_instance_uid in found]
    tools.queue.mark_sent(listed, destination.name, DeliveryState.LISTED, "listed by a query, not committed")
    missing = [d for d in sent if d.sop_instance_uid not in found]
    _note_unconfirmed(tools, destination, missing, "sent, but a query does not list it")
    tools.on_progress("query", len(listed), len(sent))


def _listed(archive: Archive, study_instance_uid: str) -> frozenset[str]:
    try:
        return archive.listed(study_instance_uid)
    except GatewayError:
        return frozenset()


def _note_unconfirmed(
    tools: DeliveryTools, destination: DestinationSettings, sent: Iterable[Delivery], reason: str
) -> None:
    uids = [delivery.sop_instance_uid for delivery in sent]
    tools.queue.mark_sent(uids, destination.name, DeliveryState.SENT, reason)
