"""Delivery against real peers: an archive that behaves, and ones written here with pynetdicom alone that do not."""

from __future__ import annotations

import hashlib
import shutil
import threading
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path

import pytest
from pydicom import Dataset
from pydicom.uid import UID
from pynetdicom import AE, evt
from pynetdicom.association import Association
from pynetdicom.sop_class import StorageCommitmentPushModel  # type: ignore[attr-defined]

from gateway.pipeline.delivery import DeliveryTools, deliver_study
from gateway.pipeline.queue import Delivery, DeliveryState, Queue
from gateway.pipeline.spool import Spool
from gateway.pipeline.store import ExamState, ObjectRecord, Store
from gateway.settings import DestinationSettings
from gateway.transports.dimse.archive import LoopbackArchive
from gateway.transports.dimse.destination import DimseDestination
from gateway.transports.dimse.peer import Peer
from tests.network.objects import Study, image, new_study


@dataclass
class Site:
    """A store with three queued objects of one study."""

    store: Store
    spool: Spool
    queue: Queue
    study: Study
    paused_s: list[float] = field(default_factory=list)

    def deliver(self, port: int, **changes: object) -> tuple[Delivery, ...]:
        values = {"commitment_wait_s": 2.0, "attempts": 3, "first_retry_s": 0.01} | changes
        destination = DestinationSettings("archive", "ARCHIVE", "127.0.0.1", port, **values)  # type: ignore[arg-type]
        peer = Peer("archive", "ARCHIVE", "127.0.0.1", port, "GATEWAY", answer_timeout_s=5)
        tools = DeliveryTools(self.store, self.queue, self.spool, sleep=self._sleep)
        archive = DimseDestination(peer, destination.commitment_wait_s)
        return deliver_study(tools, archive, destination, self.study.study_uid)

    def _sleep(self, seconds: float) -> None:
        self.paused_s.append(seconds)


@pytest.fixture
def site(tmp_path: Path) -> Iterator[Site]:
    store, spool, study = Store(tmp_path / "data"), Spool(tmp_path / "data" / "spool"), new_study()

    class Later:
        """Time passes whenever it is asked for, so that pauses need not be slept."""

        now = 0.0

        def __call__(self) -> float:
            self.now += 1.0
            return self.now

    queue = Queue(store, "test", clock=Later())
    records = []
    for seed in range(3):
        file = image(tmp_path, study, kilobytes=8, seed=seed)
        digest = hashlib.sha256(file.path.read_bytes()).hexdigest()
        shutil.copy(file.path, spool.building / "x.dcm")
        spool.adopt(spool.building / "x.dcm", digest)
        records.append(
            ObjectRecord(
                file.sop_instance_uid,
                study.study_uid,
                study.series_uid,
                file.sop_class_uid,
                file.transfer_syntax_uid,
                "image",
                digest,
            )
        )
    with store.transaction() as connection:
        store.record_exam(connection, study.study_uid, "exam", 0)
        store.record_objects(connection, records)
        queue.enqueue(connection, [record.sop_instance_uid for record in records], "archive")
    yield Site(store, spool, queue, study)
    store.close()


@contextmanager
def misbehaving(
    on_store: Callable[[evt.Event], int], on_commit: Callable[[evt.Event], Sequence[str] | None] | None = None
) -> Iterator[int]:
    """An archive that answers C-STORE as told and commits to all that `on_commit` returns; None: never reports."""

    reporters: list[threading.Thread] = []

    def commit(event: evt.Event) -> tuple[int, None]:
        assert on_commit is not None
        committed = on_commit(event)
        if committed is not None:
            # From a thread of its own and a moment later: the response to N-ACTION has to go out first.
            reporters.append(threading.Timer(0.2, _report, (event.assoc, event.action_information, set(committed))))
            reporters[-1].start()
        return 0x0000, None

    ae = AE("ARCHIVE")
    ae.add_supported_context("1.2.840.10008.5.1.4.1.1.6.1")
    handlers: list[tuple[object, object]] = [(evt.EVT_C_STORE, on_store)]
    if on_commit is not None:
        ae.add_supported_context(StorageCommitmentPushModel, scu_role=True, scp_role=True)
        handlers.append((evt.EVT_N_ACTION, commit))
    server = ae.start_server(("127.0.0.1", 0), block=False, evt_handlers=handlers)  # type: ignore[arg-type]
    try:
        yield server.server_address[1]
    finally:
        for reporter in reporters:
            reporter.join()
        server.shutdown()


def _report(assoc: Association, request: Dataset, committed: set[str]) -> None:
    """Report on the association of the request, as PS3.4 J.3.3 allows."""
    pairs = [(item.ReferencedSOPClassUID, item.ReferencedSOPInstanceUID) for item in request.ReferencedSOPSequence]
    answer = Dataset()
    answer.TransactionUID = request.TransactionUID
    answer.ReferencedSOPSequence = [_reference(pair) for pair in pairs if pair[1] in committed]
    failed = [_reference(pair, 0x0112) for pair in pairs if pair[1] not in committed]
    if failed:
        answer.FailedSOPSequence = failed
    instance = UID("1.2.840.10008.1.20.1.1")
    assoc.send_n_event_report(answer, 2 if failed else 1, StorageCommitmentPushModel, instance)


def _reference(pair: tuple[str, str], reason: int | None = None) -> Dataset:
    item = Dataset()
    item.ReferencedSOPClassUID, item.ReferencedSOPInstanceUID = pair
    if reason is not None:
        item.FailureReason = reason
    return item


def states(deliveries: Sequence[Delivery]) -> list[DeliveryState]:
    return [delivery.state for delivery in deliveries]


def test_everything_is_sent_and_committed_by_an_archive_that_behaves(site: Site, tmp_path: Path) -> None:
    with LoopbackArchive(tmp_path / "archive", ae_title="ARCHIVE") as archive:
        delivered = site.deliver(archive.port)
        assert len(archive.records()) == 3
    assert states(delivered) == [DeliveryState.COMMITTED] * 3
    assert site.store.exam_state(site.study.study_uid) is ExamState.STORED


def test_a_busy_archive_is_tried_again_until_it_takes_them(site: Site) -> None:
    answers = iter([0xA700, 0xA700])
    with misbehaving(lambda event: next(answers, 0x0000)) as port:
        delivered = site.deliver(port, storage_commitment=False)
    assert states(delivered) == [DeliveryState.SENT] * 3
    assert sorted(delivery.attempts for delivery in delivered) == [1, 2, 2]


def test_a_refusal_for_good_is_not_tried_again_and_keeps_its_status(site: Site) -> None:
    tried: list[int] = []

    def refuse(event: evt.Event) -> int:
        tried.append(1)
        return 0xA900

    with misbehaving(refuse) as port:
        delivered = site.deliver(port, storage_commitment=False)
    assert states(delivered) == [DeliveryState.REFUSED] * 3
    assert len(tried) == 3
    assert {delivery.status for delivery in delivered} == {0xA900}
    assert site.store.exam_state(site.study.study_uid) is ExamState.ATTENTION


def test_giving_up_names_the_attempts(site: Site) -> None:
    with misbehaving(lambda event: 0xA700) as port:
        delivered = site.deliver(port)
    assert states(delivered) == [DeliveryState.REFUSED] * 3
    assert all("given up after 3 attempts" in delivery.comment for delivery in delivered)


def test_what_the_archive_will_not_commit_to_is_refused_and_the_rest_committed(site: Site) -> None:
    uids = [delivery.sop_instance_uid for delivery in site.queue.of_study(site.study.study_uid, "archive")]
    with misbehaving(lambda event: 0x0000, lambda event: uids[:2]) as port:
        delivered = site.deliver(port)
    assert states(delivered) == [DeliveryState.COMMITTED, DeliveryState.COMMITTED, DeliveryState.REFUSED]
    assert "not committed" in delivered[2].comment
    assert "0112" in delivered[2].comment


def test_an_archive_that_never_reports_leaves_them_sent_and_says_so(site: Site) -> None:
    asked: list[int] = []
    with misbehaving(lambda event: 0x0000, lambda event: asked.append(1)) as port:
        delivered = site.deliver(port, commitment_wait_s=0.3, attempts=2)
    assert states(delivered) == [DeliveryState.SENT] * 3
    assert len(asked) == 2
    assert all("unanswered" in delivery.comment for delivery in delivered)
    assert site.store.exam_state(site.study.study_uid) is ExamState.ATTENTION


def test_a_file_changed_in_the_spool_is_not_sent_and_the_others_are(site: Site, tmp_path: Path) -> None:
    (first, *_) = site.queue.of_study(site.study.study_uid, "archive")
    path = site.spool.path(first.sha256)
    path.write_bytes(path.read_bytes()[:-1] + b"!")
    with LoopbackArchive(tmp_path / "archive", ae_title="ARCHIVE") as archive:
        delivered = site.deliver(archive.port)
        assert len(archive.records()) == 2
    assert states(delivered) == [DeliveryState.REFUSED, DeliveryState.COMMITTED, DeliveryState.COMMITTED]
    assert "changed" in delivered[0].comment
