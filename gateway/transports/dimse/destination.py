"""A destination as delivery sees it: C-STORE, Storage Commitment and C-FIND of one peer."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

from gateway.pipeline.delivery import Commitment, FileToSend, Receipt
from gateway.standard.statuses import commitment_failure
from gateway.transports.dimse.commitment import CommitmentListener, request_commitment
from gateway.transports.dimse.peer import Peer
from gateway.transports.dimse.query import find_instances
from gateway.transports.dimse.storage_scu import OutgoingFile, StoreOutcome, send_files


@dataclass(frozen=True, slots=True)
class DimseDestination:
    """An archive over DIMSE in the shape of `gateway.pipeline.delivery.Archive`."""

    peer: Peer
    commitment_wait_s: float
    listener: CommitmentListener | None = None

    def send(self, files: Sequence[FileToSend], on_receipt: Callable[[Receipt], None]) -> None:
        """C-STORE the files and report each answer."""
        outgoing = [
            OutgoingFile(file.path, file.sop_class_uid, file.sop_instance_uid, file.transfer_syntax_uid)
            for file in files
        ]
        send_files(self.peer, outgoing, on_result=lambda outcome: on_receipt(_receipt(outcome)))

    def commit(self, instances: Sequence[tuple[str, str]]) -> Commitment:
        """Ask for storage commitment and wait for the report."""
        result = request_commitment(self.peer, instances, timeout_s=self.commitment_wait_s, listener=self.listener)
        failed = {uid: _failure_words(reason) for uid, reason in result.failed.items()}
        failed |= dict.fromkeys(result.unmentioned, "the archive's report does not mention it")
        return Commitment(result.committed, failed, result.unanswered)

    def listed(self, study_instance_uid: str) -> frozenset[str]:
        """Find a study's instances by C-FIND."""
        return find_instances(self.peer, study_instance_uid)


def _failure_words(reason: int) -> str:
    return f"{commitment_failure(reason).name} ({reason:04X}H)"


def _receipt(outcome: StoreOutcome) -> Receipt:
    comment = f"{outcome.code}: {outcome.comment}" if outcome.code else outcome.comment
    return Receipt(outcome.sop_instance_uid, outcome.verdict, outcome.status, comment, outcome.retries)
