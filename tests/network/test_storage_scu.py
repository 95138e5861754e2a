"""Sending: to DCMTK's storescp, to our archive, and to peers that misbehave."""

from __future__ import annotations

import time

import pytest
from pydicom import dcmread
from pynetdicom import AE, evt

from gateway.errors.peer import (
    AssociationAbortedError,
    AssociationBusyError,
    AssociationRejectedError,
    NoPresentationContextError,
    PeerTimeoutError,
    PeerUnreachableError,
)
from gateway.standard.statuses import StoreVerdict
from gateway.transports.dimse.association import association, service_context
from gateway.transports.dimse.outgoing import OutgoingFile, as_implicit_little_endian, read_file_meta
from gateway.transports.dimse.peer import Peer
from gateway.transports.dimse.storage_scu import MOST_CONTEXTS, StoreOutcome, _batches, _contexts, send_files
from gateway.transports.dimse.verification import verify
from tests.network import objects, peers


def data_set_bytes(path):
    _, offset = read_file_meta(path)
    return path.read_bytes()[offset:]


def received_by(folder):
    return {str(dcmread(path, stop_before_pixels=True).SOPInstanceUID): path for path in folder.iterdir()}


def pynetdicom_scp(*, contexts, on_store, title="ARCHIVE", maximum_pdu_size=16382):
    """Start a plain pynetdicom Storage SCP; the caller shuts it down."""
    entity = AE(title)
    entity.maximum_pdu_size = maximum_pdu_size
    for sop_class, syntaxes in contexts:
        entity.add_supported_context(sop_class, syntaxes)
    return entity, entity.start_server(("127.0.0.1", 0), block=False, evt_handlers=[(evt.EVT_C_STORE, on_store)])


def test_dcmtk_receives_every_kind_byte_for_byte(tmp_path, sent, study):
    files = [
        objects.image(sent, study),
        objects.report(sent, study),
        objects.encapsulated(sent, study, objects.JPEG_LS_LOSSLESS),
        objects.encapsulated(sent, study, objects.JPEG_BASELINE),
        objects.loop(sent, study, megabytes=3),
    ]
    got = tmp_path / "got"
    got.mkdir()
    seen = []
    with peers.storescp(got, "+xa") as peer:
        outcomes = send_files(peer, files, on_result=seen.append)
    assert [outcome.verdict for outcome in outcomes] == [StoreVerdict.STORED] * 5
    assert [outcome.sop_instance_uid for outcome in outcomes] == [file.sop_instance_uid for file in files]
    assert tuple(seen) == outcomes
    kept = received_by(got)
    for file in files:
        assert data_set_bytes(kept[file.sop_instance_uid]) == data_set_bytes(file.path)
        assert read_file_meta(kept[file.sop_instance_uid])[0][0x00020010] == file.transfer_syntax_uid


@pytest.mark.parametrize("longest", [4096, 16384, 131072])
def test_fragments_keep_to_the_longest_pdu_of_the_peer(tmp_path, sent, study, longest):
    got = tmp_path / "got"
    got.mkdir()
    files = [objects.image(sent, study, kilobytes=300, seed=seed) for seed in range(3)]
    with peers.storescp(got, "--max-pdu", str(longest)) as peer:
        outcomes = send_files(peer, files)
    assert {outcome.verdict for outcome in outcomes} == {StoreVerdict.STORED}
    kept = received_by(got)
    assert all(data_set_bytes(kept[file.sop_instance_uid]) == data_set_bytes(file.path) for file in files)


def test_a_peer_that_takes_only_the_default_transfer_syntax_gets_it(tmp_path, sent, study):
    got = tmp_path / "got"
    got.mkdir()
    files = [objects.image(sent, study), objects.report(sent, study)]
    with peers.storescp(got, "+xi") as peer:
        outcomes = send_files(peer, files)
    assert {outcome.verdict for outcome in outcomes} == {StoreVerdict.STORED}
    for file in files:
        kept, original = dcmread(received_by(got)[file.sop_instance_uid]), dcmread(file.path)
        assert kept.file_meta.TransferSyntaxUID == objects.IMPLICIT
        # DCMTK wrote it: every element is the same. Implicit VR knows Pixel Data as OW only (PS3.5 A.1).
        if "PixelData" in original:
            assert kept["PixelData"].VR == "OW"
            kept["PixelData"].VR = "OB"
        assert kept == original


def test_elements_behind_the_pixels_survive_the_default_transfer_syntax(sent, study):
    ds = objects.header(study, objects.US_IMAGE)
    objects.pixels(ds, columns=8, rows=8, seed=1)
    ds.DataSetTrailingPadding = b"\0" * 10
    file = objects.write(ds, sent / "padded.dcm")
    encoded = as_implicit_little_endian(file)
    with encoded.open() as reader:
        data = reader.read()
    assert len(data) == encoded.total
    assert data.endswith(b"\xfc\xff\xfc\xff\x0a\0\0\0" + b"\0" * 10)


def test_one_transfer_syntax_is_offered_in_a_context_and_the_default_beside_it(sent, study):
    files = [objects.image(sent, study), objects.encapsulated(sent, study, objects.JPEG_BASELINE)]
    offers = [(str(cx.abstract_syntax), [str(syntax) for syntax in cx.transfer_syntax]) for cx in _contexts(files)]
    assert sorted(offers) == sorted(
        [
            (objects.US_IMAGE, [objects.EXPLICIT]),
            (objects.US_IMAGE, [objects.IMPLICIT]),
            (objects.US_IMAGE, [objects.JPEG_BASELINE]),
        ]
    )


def test_more_kinds_than_an_association_can_negotiate_go_over_several(tmp_path):
    files = [OutgoingFile(tmp_path, f"1.2.3.{kind}", f"1.2.4.{kind}", objects.EXPLICIT) for kind in range(150)]
    batches = list(_batches(files))
    assert [file for batch in batches for file in batch] == files
    assert len(batches) > 1
    assert all(len(list(_contexts(batch))) <= MOST_CONTEXTS for batch in batches)


def test_a_file_that_the_peer_takes_in_no_way_is_refused_alone(sent, study):
    files = [
        objects.image(sent, study),
        objects.report(sent, study),
        objects.encapsulated(sent, study, objects.JPEG_LS_LOSSLESS),
        objects.image(sent, study, seed=2),
    ]
    entity, server = pynetdicom_scp(contexts=[(objects.US_IMAGE, [objects.EXPLICIT])], on_store=lambda event: 0x0000)
    try:
        outcomes = send_files(Peer("narrow", "ARCHIVE", "127.0.0.1", server.server_address[1]), files)
    finally:
        entity.shutdown()
    verdicts = [outcome.verdict for outcome in outcomes]
    assert verdicts == [StoreVerdict.STORED, StoreVerdict.REFUSED, StoreVerdict.REFUSED, StoreVerdict.STORED]
    assert [outcome.code for outcome in outcomes] == ["", "no-presentation-context", "no-presentation-context", ""]
    assert "Comprehensive SR Storage" in outcomes[1].comment
    assert "JPEG-LS Lossless" in outcomes[2].comment


def test_when_the_peer_takes_nothing_every_file_is_refused_and_a_service_raises(sent, study):
    files = [objects.image(sent, study), objects.image(sent, study, seed=2)]
    entity, server = pynetdicom_scp(contexts=[("1.2.840.10008.5.1.4.1.1.2", [objects.EXPLICIT])], on_store=None)
    peer = Peer("narrow", "ARCHIVE", "127.0.0.1", server.server_address[1])
    try:
        outcomes = send_files(peer, files)
        with pytest.raises(NoPresentationContextError, match="Verification") as caught:
            verify(peer)
    finally:
        entity.shutdown()
    assert [outcome.code for outcome in outcomes] == ["no-presentation-context"] * 2
    assert not caught.value.temporary


@pytest.mark.parametrize(
    ("status", "verdict"),
    [
        (0x0000, StoreVerdict.STORED),
        (0xB007, StoreVerdict.STORED_WITH_WARNING),
        (0xA700, StoreVerdict.RETRY),
        (0xA900, StoreVerdict.REFUSED),
        (0xC000, StoreVerdict.RETRY),
        (0x0124, StoreVerdict.REFUSED),
        (0x1234, StoreVerdict.UNKNOWN),
    ],
)
def test_each_status_of_the_peer_becomes_its_verdict(sent, study, status, verdict):
    entity, server = pynetdicom_scp(contexts=[(objects.US_IMAGE, [objects.EXPLICIT])], on_store=lambda event: status)
    try:
        peer = Peer("moody", "ARCHIVE", "127.0.0.1", server.server_address[1])
        (outcome,) = send_files(peer, [objects.image(sent, study)])
    finally:
        entity.shutdown()
    assert (outcome.status, outcome.verdict) == (status, verdict)


def test_a_file_that_is_not_what_was_announced_is_not_sent(peer, archive, sent, study):
    good = objects.image(sent, study)
    other = OutgoingFile(good.path, good.sop_class_uid, "1.2.3", good.transfer_syntax_uid)
    missing = OutgoingFile(sent / "none.dcm", good.sop_class_uid, "1.2.4", good.transfer_syntax_uid)
    (sent / "text.dcm").write_text("no DICOM at all")
    text = OutgoingFile(sent / "text.dcm", good.sop_class_uid, "1.2.5", good.transfer_syntax_uid)
    outcomes = send_files(peer, [other, missing, text, good])
    assert [outcome.verdict for outcome in outcomes] == [StoreVerdict.REFUSED] * 3 + [StoreVerdict.STORED]
    assert {outcome.code for outcome in outcomes[:3]} == {"file-not-as-described"}
    assert [record["SOPInstanceUID"] for record in archive.records()] == [good.sop_instance_uid]


def test_nobody_listens(sent, study):
    peer = Peer("gone", "ARCHIVE", "127.0.0.1", peers.free_port())
    with pytest.raises(PeerUnreachableError, match="gone") as caught:
        send_files(peer, [objects.image(sent, study)])
    assert caught.value.temporary


def test_a_host_that_does_not_exist(sent, study):
    peer = Peer("nowhere", "ARCHIVE", "no-such-host.invalid", 104)  # RFC 6761: .invalid never resolves
    with pytest.raises(PeerUnreachableError, match="no such host"):
        send_files(peer, [objects.image(sent, study)])


def test_a_wrong_called_title_is_rejected_for_good(peer, sent, study):
    wrong = Peer("archive-1", "OTHER", peer.host, peer.port)
    with pytest.raises(AssociationRejectedError, match="called AE title") as caught:
        send_files(wrong, [objects.image(sent, study)])
    assert not caught.value.temporary


def test_dcmtk_refuses_every_association(tmp_path):
    with peers.storescp(tmp_path, "--refuse") as peer, pytest.raises(AssociationRejectedError, match="no reason"):
        verify(peer)


def test_a_rejection_for_now_is_temporary():
    def busy(end):
        peers.read_pdu(end)
        end.sendall(b"\3\0\0\0\0\4\0\2\3\2")  # rejected-transient, presentation, local-limit-exceeded: PS3.8 9.3.4
        end.recv(1)

    with peers.raw_server(busy) as port, pytest.raises(AssociationBusyError, match="limit") as caught:
        verify(Peer("busy", "ARCHIVE", "127.0.0.1", port))
    assert caught.value.temporary


@pytest.mark.parametrize(
    ("answer", "kind"),
    [
        (b"\3\0\0\0\0\4\0\1\1\7", AssociationRejectedError),
        (b"\7\0\0\0\0\4\0\0\0\0", AssociationAbortedError),
        (b"", AssociationAbortedError),
    ],
    ids=["rejects", "aborts", "closes"],
)
def test_a_peer_that_ends_at_once_is_told_apart_from_one_that_is_not_there(answer, kind):
    """pynetdicom 3.0.4 may look at the connection only after it is gone again; here it is made to."""

    def quick(end):
        peers.read_pdu(end)
        end.sendall(answer)

    late = [(evt.EVT_REQUESTED, lambda event: time.sleep(0.3))]
    with peers.raw_server(quick) as port:
        peer = Peer("quick", "ARCHIVE", "127.0.0.1", port)
        opening = association(peer, [service_context("1.2.840.10008.1.1")], handlers=late)
        with pytest.raises(kind):
            opening.__enter__()


def test_a_port_that_never_answers_the_association_request():
    def silent(end):
        while end.recv(4096):
            pass

    start = time.monotonic()
    with peers.raw_server(silent) as port, pytest.raises(PeerTimeoutError, match="not answered"):
        verify(Peer("silent", "ARCHIVE", "127.0.0.1", port, association_timeout_s=1))
    assert time.monotonic() - start < 10


def test_a_peer_killed_in_the_middle_leaves_the_rest_to_be_sent_again(sent, study):
    """The first file is answered, the second breaks off before its end, the third was never begun."""

    def die(end):
        peers.accept_association(end)
        peers.read_message(end)
        end.sendall(store_answer(1))
        peers.read_exactly(end, 50_000)  # some of the second file, then gone

    files = [
        objects.image(sent, study, kilobytes=4),
        objects.loop(sent, study, megabytes=30),
        objects.image(sent, study, kilobytes=4, seed=3),
    ]
    with peers.raw_server(die) as port:
        outcomes = send_files(Peer("dying", "ARCHIVE", "127.0.0.1", port), files)
    assert [outcome.verdict for outcome in outcomes] == [StoreVerdict.STORED, StoreVerdict.RETRY, StoreVerdict.RETRY]
    assert all("not sent" in outcome.comment for outcome in outcomes[1:])
    assert {outcome.code for outcome in outcomes[1:]} == {"association-aborted"}


def test_no_answer_to_a_file_that_went_out_in_full_is_an_unknown_outcome(sent, study):
    def die(end):
        peers.accept_association(end)
        peers.read_message(end)

    with peers.raw_server(die) as port:
        (outcome,) = send_files(Peer("dying", "ARCHIVE", "127.0.0.1", port), [objects.image(sent, study)])
    assert outcome == StoreOutcome(
        outcome.sop_instance_uid, None, StoreVerdict.UNKNOWN, outcome.comment, "association-aborted", None
    )


def test_an_abort_instead_of_an_answer_is_an_unknown_outcome(sent, study):
    def abort(end):
        peers.accept_association(end)
        peers.read_message(end)
        end.sendall(b"\7\0\0\0\0\4\0\0\0\0")
        end.recv(1)

    with peers.raw_server(abort) as port:
        (outcome,) = send_files(Peer("aborting", "ARCHIVE", "127.0.0.1", port), [objects.image(sent, study)])
    assert (outcome.verdict, outcome.code) == (StoreVerdict.UNKNOWN, "association-aborted")
    assert "A-ABORT" in outcome.comment


def test_a_peer_that_never_answers_a_file_is_given_up_after_its_time(sent, study):
    def silent(end):
        peers.accept_association(end)
        peers.read_message(end)
        while end.recv(4096):
            pass

    start = time.monotonic()
    with peers.raw_server(silent) as port:
        peer = Peer("silent", "ARCHIVE", "127.0.0.1", port, answer_timeout_s=1)
        outcomes = send_files(peer, [objects.image(sent, study), objects.image(sent, study, seed=2)])
    assert time.monotonic() - start < 10
    assert [outcome.verdict for outcome in outcomes] == [StoreVerdict.UNKNOWN, StoreVerdict.RETRY]
    assert [outcome.code for outcome in outcomes] == ["peer-timeout", "peer-timeout"]


@pytest.mark.parametrize("message_id", [7, 2])
def test_an_answer_to_another_request_is_not_taken_for_this_one(sent, study, message_id):
    def confuse(end):
        peers.accept_association(end)
        peers.read_message(end)
        end.sendall(store_answer(message_id))
        end.recv(1)

    with peers.raw_server(confuse) as port:
        (outcome,) = send_files(Peer("confused", "ARCHIVE", "127.0.0.1", port), [objects.image(sent, study)])
    assert outcome.verdict is StoreVerdict.UNKNOWN


def store_answer(message_id, status=0):
    """Return a C-STORE-RSP PDU on context 1, written by hand after PS3.7 Table E.1-1."""
    elements = b"".join(
        element.to_bytes(2, "little").join([b"\0\0", b""]) + b"\2\0\0\0" + value.to_bytes(2, "little")
        for element, value in ((0x0100, 0x8001), (0x0120, message_id), (0x0800, 0x0101), (0x0900, status))
    )
    command = b"\0\0\0\0\4\0\0\0" + len(elements).to_bytes(4, "little") + elements
    value = (len(command) + 2).to_bytes(4, "big") + b"\1\3" + command
    return b"\4\0" + len(value).to_bytes(4, "big") + value


def test_verification_of_our_archive_and_of_dcmtk(peer, tmp_path):
    assert verify(peer).round_trip_ms > 0
    with peers.storescp(tmp_path) as other:
        # 1.2.276.0.7230010.3 is OFFIS' root, which DCMTK's implementation class UID begins with (its own dcuid.h).
        assert verify(other).implementation_class_uid.startswith("1.2.276.0.7230010.3.")
