"""Storage commitment over the same and over a new association (PS3.4 Annex J)."""

from __future__ import annotations

import time

import pytest
from pydicom.dataset import Dataset
from pynetdicom import AE, build_role, evt
from pynetdicom.sop_class import StorageCommitmentPushModel, StorageCommitmentPushModelInstance

from gateway.errors.peer import NoPresentationContextError, PeerBusyError, ServiceRefusedError
from gateway.transports.dimse.archive import LoopbackArchive
from gateway.transports.dimse.commitment import CommitmentListener, request_commitment
from gateway.transports.dimse.peer import Peer
from gateway.transports.dimse.storage_scu import send_files
from tests.network import objects, peers


def stored(peer, sent, study, count=3):
    files = [objects.image(sent, study, seed=seed) for seed in range(count)]
    send_files(peer, files)
    return [(file.sop_class_uid, file.sop_instance_uid) for file in files]


def test_what_is_there_is_committed_on_the_same_association(peer, sent, study):
    instances = stored(peer, sent, study)
    start = time.monotonic()
    result = request_commitment(peer, instances, timeout_s=10)
    assert time.monotonic() - start < 5
    assert result.committed == {uid for _, uid in instances}
    assert (dict(result.failed), result.unanswered, result.unmentioned) == ({}, False, frozenset())


def test_what_is_not_there_or_of_another_class_fails_with_its_reason(peer, sent, study):
    instances = stored(peer, sent, study, count=1)
    result = request_commitment(
        peer,
        [*instances, (objects.US_IMAGE, "1.2.3"), (objects.US_MULTIFRAME, "1.2.4")],
        timeout_s=10,
    )
    assert result.committed == {instances[0][1]}
    assert dict(result.failed) == {"1.2.3": 0x0112, "1.2.4": 0x0112}
    wrong = request_commitment(peer, [(objects.US_MULTIFRAME, instances[0][1])], timeout_s=10)
    assert (wrong.committed, dict(wrong.failed)) == (frozenset(), {instances[0][1]: 0x0119})


def test_an_instance_whose_file_is_gone_is_not_committed(peer, archive, sent, study):
    instances = stored(peer, sent, study, count=2)
    gone = archive.records()[0]
    gone.path.unlink()
    result = request_commitment(peer, instances, timeout_s=10)
    assert dict(result.failed) == {gone["SOPInstanceUID"]: 0x0112}


def test_the_report_comes_on_a_new_association_where_the_archive_knows_a_port(tmp_path, sent, study):
    with CommitmentListener("EYE_GATEWAY") as listener:
        back = Peer("gateway", "EYE_GATEWAY", "127.0.0.1", listener.port, calling_ae_title="ARCHIVE")
        with LoopbackArchive(tmp_path / "archive", report_to={"EYE_GATEWAY": back}) as archive:
            peer = Peer("archive-1", "ARCHIVE", "127.0.0.1", archive.port)
            instances = stored(peer, sent, study)
            first = request_commitment(peer, instances, timeout_s=10, listener=listener)
            second = request_commitment(peer, [(objects.US_IMAGE, "1.2.3")], timeout_s=10, listener=listener)
    assert first.committed == {uid for _, uid in instances}
    assert dict(second.failed) == {"1.2.3": 0x0112}
    assert first.transaction_uid != second.transaction_uid


def test_without_a_report_nothing_is_known(tmp_path, sent, study):
    nobody = Peer("gateway", "EYE_GATEWAY", "127.0.0.1", peers.free_port(), calling_ae_title="ARCHIVE")
    with LoopbackArchive(tmp_path / "archive", report_to={"EYE_GATEWAY": nobody}) as archive:
        peer = Peer("archive-1", "ARCHIVE", "127.0.0.1", archive.port)
        instances = stored(peer, sent, study)
        start = time.monotonic()
        result = request_commitment(peer, instances, timeout_s=1)
    assert 1 <= time.monotonic() - start < 6
    assert result.unanswered
    assert (result.committed, dict(result.failed)) == (frozenset(), {})


def plain_scp(on_action, *, role=False):
    """Start a commitment SCP written with pynetdicom alone."""
    entity = AE("ARCHIVE")
    entity.add_supported_context(StorageCommitmentPushModel)
    return entity, entity.start_server(("127.0.0.1", 0), block=False, evt_handlers=[(evt.EVT_N_ACTION, on_action)])


def test_a_report_that_comes_after_the_release_reaches_the_listener():
    """An archive written with pynetdicom alone that reports from a new association, in the role of SCP."""
    with CommitmentListener("EYE_GATEWAY") as listener:
        requests = []

        def on_action(event):
            requests.append(event.action_information)
            return 0x0000, None

        def on_released(event):
            if not requests:
                return
            report = Dataset()
            report.TransactionUID = requests[0].TransactionUID
            report.ReferencedSOPSequence = list(requests[0].ReferencedSOPSequence)[:1]
            sender = AE("ARCHIVE")
            sender.add_requested_context(StorageCommitmentPushModel)
            assoc = sender.associate(
                "127.0.0.1",
                listener.port,
                ae_title="EYE_GATEWAY",
                ext_neg=[build_role(StorageCommitmentPushModel, scp_role=True)],
            )
            assert assoc.is_established
            status, _ = assoc.send_n_event_report(
                report, 1, StorageCommitmentPushModel, StorageCommitmentPushModelInstance
            )
            statuses.append(status.Status)
            assoc.release()

        statuses = []
        entity = AE("ARCHIVE")
        entity.add_supported_context(StorageCommitmentPushModel)
        server = entity.start_server(
            ("127.0.0.1", 0),
            block=False,
            evt_handlers=[(evt.EVT_N_ACTION, on_action), (evt.EVT_RELEASED, on_released)],
        )
        try:
            peer = Peer("late", "ARCHIVE", "127.0.0.1", server.server_address[1])
            result = request_commitment(
                peer, [(objects.US_IMAGE, "1.2.3"), (objects.US_IMAGE, "1.2.4")], timeout_s=20, listener=listener
            )
        finally:
            entity.shutdown()
    assert statuses == [0x0000]
    assert result.committed == {"1.2.3"}
    assert result.unmentioned == {"1.2.4"}


def test_the_listener_grants_the_role_that_the_archive_asks_for():
    # PS3.7 D.3.3.4: without the answer to its role selection an archive may not act as SCP on its own association.
    with CommitmentListener("EYE_GATEWAY") as listener:
        sender = AE("ARCHIVE")
        sender.add_requested_context(StorageCommitmentPushModel)
        role = build_role(StorageCommitmentPushModel, scp_role=True)
        assoc = sender.associate("127.0.0.1", listener.port, ae_title="EYE_GATEWAY", ext_neg=[role])
        granted = assoc.acceptor.role_selection[StorageCommitmentPushModel]
        assoc.release()
    assert (granted.scp_role, granted.scu_role) == (True, False)


@pytest.mark.parametrize(("status", "kind"), [(0x0110, ServiceRefusedError), (0x0213, PeerBusyError)])
def test_a_refused_request_is_an_error(status, kind):
    entity, server = plain_scp(lambda event: (status, None))
    try:
        peer = Peer("refusing", "ARCHIVE", "127.0.0.1", server.server_address[1])
        with pytest.raises(kind, match=f"{status:04X}"):
            request_commitment(peer, [(objects.US_IMAGE, "1.2.3")], timeout_s=5)
    finally:
        entity.shutdown()


def test_a_request_without_instances_is_refused_by_the_archive(peer):
    with pytest.raises(ServiceRefusedError):
        request_commitment(peer, [], timeout_s=5)


def test_a_peer_without_commitment_says_so(tmp_path):
    with peers.storescp(tmp_path) as peer, pytest.raises(NoPresentationContextError, match="Commitment"):
        request_commitment(peer, [(objects.US_IMAGE, "1.2.3")], timeout_s=5)
