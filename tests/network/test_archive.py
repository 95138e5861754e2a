"""The loopback archive, asked by DCMTK's programs and by ours."""

from __future__ import annotations

import contextlib
import os
import shutil
import socket
import subprocess
import threading
import time
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from pydicom import dcmread

from gateway.errors.peer import ListenerPortError
from gateway.standard.statuses import StoreVerdict
from gateway.transports.dimse.archive import LoopbackArchive
from gateway.transports.dimse.archive.incoming import file_head
from gateway.transports.dimse.archive.records import is_uid
from gateway.transports.dimse.archive.store import ArchiveStore
from gateway.transports.dimse.outgoing import read_file_meta
from gateway.transports.dimse.peer import Peer
from gateway.transports.dimse.query import find_instances
from gateway.transports.dimse.storage_scu import send_files
from tests.network import objects, peers


def data_set_bytes(path):
    _, offset = read_file_meta(path)
    return path.read_bytes()[offset:]


def files_under(folder):
    return sorted(str(path.relative_to(folder)) for path in folder.rglob("*") if path.is_file())


def test_dcmtk_stores_and_the_archive_keeps_every_byte(archive, tmp_path, sent, study):
    files = [objects.image(sent, study, seed=seed) for seed in range(3)] + [objects.report(sent, study)]
    result = peers.run("storescu", *peers.to(archive.port), *(str(file.path) for file in files))
    assert result.returncode == 0, result.stderr
    folder = tmp_path / "archive"
    expected = [f"{study.study_uid}/{study.series_uid}/{file.sop_instance_uid}.dcm" for file in files]
    assert files_under(folder) == sorted(expected)
    for file, name in zip(files, expected, strict=True):
        kept = folder / name
        assert dcmread(kept) == dcmread(file.path)
        assert dcmread(kept).file_meta.TransferSyntaxUID == file.transfer_syntax_uid


def test_dcmtk_stores_jpeg_ls_as_it_is(archive, tmp_path, sent, study):
    file = objects.encapsulated(sent, study, objects.JPEG_LS_LOSSLESS)
    result = peers.run("storescu", "-xt", *peers.to(archive.port), str(file.path))
    assert result.returncode == 0, result.stderr
    kept = tmp_path / "archive" / study.study_uid / study.series_uid / f"{file.sop_instance_uid}.dcm"
    assert dcmread(kept).PixelData == dcmread(file.path).PixelData
    assert dcmread(kept).file_meta.TransferSyntaxUID == objects.JPEG_LS_LOSSLESS


def test_dcmtk_verifies(archive):
    assert peers.run("echoscu", *peers.to(archive.port)).returncode == 0
    assert peers.run("echoscu", "-aec", "OTHER", "127.0.0.1", str(archive.port)).returncode != 0


def test_dcmtk_reads_the_files(archive, peer, tmp_path, sent, study):
    send_files(peer, [objects.image(sent, study)])
    (name,) = files_under(tmp_path / "archive")
    result = peers.run("dcmdump", "-q", str(tmp_path / "archive" / name))
    assert result.returncode == 0, result.stderr
    assert "US" in result.stdout


def test_the_same_bytes_again_are_a_success_and_add_nothing(archive, peer, tmp_path, sent, study):
    file = objects.image(sent, study)
    assert send_files(peer, [file])[0].verdict is StoreVerdict.STORED
    before = files_under(tmp_path)
    assert send_files(peer, [file, file])[1].verdict is StoreVerdict.STORED
    assert files_under(tmp_path) == before


def test_other_bytes_under_a_known_uid_are_refused_and_never_overwrite(archive, peer, tmp_path, sent, study):
    first = objects.image(sent, study)
    send_files(peer, [first])
    (name,) = files_under(tmp_path / "archive")
    stored = (tmp_path / "archive" / name).read_bytes()
    (tmp_path / "other").mkdir()
    other = objects.image(tmp_path / "other", study, seed=99, uid=first.sop_instance_uid)
    (outcome,) = send_files(peer, [other])
    assert (outcome.status, outcome.verdict) == (0x0111, StoreVerdict.REFUSED)
    assert (tmp_path / "archive" / name).read_bytes() == stored
    elsewhere = objects.image(tmp_path / "other", objects.new_study(), uid=first.sop_instance_uid)
    assert send_files(peer, [elsewhere])[0].status == 0x0111
    assert files_under(tmp_path / "archive") == [name]


def test_senders_at_the_same_time_with_one_uid_leave_one_object(archive, peer, tmp_path, sent, study):
    first = objects.image(sent, study, kilobytes=300)
    folders = [tmp_path / f"sender-{number}" for number in range(6)]
    files = []
    for number, folder in enumerate(folders):
        folder.mkdir()
        files.append(objects.image(folder, study, kilobytes=300, seed=number, uid=first.sop_instance_uid))
    statuses = []
    threads = [
        threading.Thread(target=lambda file=file: statuses.append(send_files(peer, [file])[0].status)) for file in files
    ]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert sorted(statuses) == [0x0000] + [0x0111] * 5
    assert len(files_under(tmp_path / "archive")) == 1


def test_a_data_set_that_names_itself_otherwise_than_the_command_is_refused(archive, peer, sent, study):
    file = objects.image(sent, study)
    raw = file.path.read_bytes()
    at = raw.rindex(file.sop_instance_uid.encode())
    changed = raw[: at + 5] + bytes([raw[at + 5] ^ 1]) + raw[at + 6 :]
    file.path.write_bytes(changed)
    assert send_files(peer, [file])[0].status == 0xA900


def test_bytes_that_are_no_data_set_are_refused(archive, peer, tmp_path, sent, study):
    path = sent / "noise.dcm"
    path.write_bytes(file_head(objects.US_IMAGE, "1.2.3", objects.EXPLICIT) + os.urandom(5000))
    file = objects.OutgoingFile(path, objects.US_IMAGE, "1.2.3", objects.EXPLICIT)
    (outcome,) = send_files(peer, [file])
    assert outcome.status in (0xC000, 0xA900)
    assert files_under(tmp_path / "archive") == []


def test_a_study_uid_that_is_a_path_never_leaves_the_folder(archive, peer, tmp_path, sent, study):
    file = objects.image(sent, study)
    raw = file.path.read_bytes()
    evil = ("../" * 30)[: len(study.study_uid)].encode()
    file.path.write_bytes(raw.replace(study.study_uid.encode(), evil))
    assert send_files(peer, [file])[0].status == 0xA900
    assert files_under(tmp_path / "archive") == []
    assert [path for path in tmp_path.rglob("*.dcm") if path.parent != sent] == []


@given(st.text(alphabet="0123456789./\\~ab\0 -", max_size=70))
def test_what_passes_for_a_uid_is_safe_as_a_name(text):
    if is_uid(text):
        assert set(text) <= set("0123456789.")
        assert ".." not in text
        assert not text.startswith(".")
        assert 0 < len(text) <= 64


@pytest.mark.parametrize("text", ["", ".", "..", "1..2", "1.", ".1", "01.2", "1.02", "1/2", "1.2\n", "1." * 40 + "1"])
def test_what_breaks_the_rules_for_uids_is_none(text):  # PS3.5 9.1
    assert not is_uid(text)


@pytest.mark.parametrize("text", ["1", "0.0", "1.2.840.10008.1.2", "2.25." + "9" * 39])
def test_real_uids_pass(text):
    assert is_uid(text)


def test_a_full_disk_is_told_as_out_of_resources_and_leaves_nothing(archive, peer, tmp_path, sent, study):
    shutil.rmtree(tmp_path / ".archive.incoming")  # writing fails as it does on a full disk: with an OSError
    (outcome,) = send_files(peer, [objects.image(sent, study)])
    assert (outcome.status, outcome.verdict, outcome.retries) == (0xA700, StoreVerdict.RETRY, None)
    assert files_under(tmp_path / "archive") == []


@pytest.mark.skipif(not Path("/dev/full").exists(), reason="this system has no /dev/full")
def test_a_disk_that_fills_in_the_middle_is_told_as_out_of_resources(tmp_path):
    store = ArchiveStore(tmp_path / "archive")
    store.open()
    reception = store.receive(objects.US_IMAGE, "1.2.3", objects.EXPLICIT)
    full = os.open("/dev/full", os.O_WRONLY)
    try:
        os.dup2(full, reception.incoming._handle)
    finally:
        os.close(full)
    reception.write(memoryview(b"pixels"))
    status, comment = reception.finish()
    reception.discard()
    store.close()
    assert status == 0xA700
    assert "space" in comment
    assert files_under(tmp_path) == []


def test_everything_is_on_the_disk_before_the_answer(archive, peer, sent, study, monkeypatch):
    """Order of the system calls: file synced, then named, then its folder synced."""
    calls = []
    names = {}
    monkeypatch.setattr(
        os, "fsync", lambda handle: calls.append(("fsync", str(Path(f"/proc/self/fd/{handle}").readlink())))
    )
    rename = type(sent).rename

    def noted(path, target):
        calls.append(("rename", str(path)))
        names["final"] = target
        return rename(path, target)

    monkeypatch.setattr(type(sent), "rename", noted)
    send_files(peer, [objects.image(sent, study)])
    at = next(number for number, call in enumerate(calls) if call[0] == "rename")
    assert ("fsync", calls[at][1]) in calls[:at]
    assert ("fsync", str(names["final"].parent)) in calls[at + 1 :]
    assert ("fsync", str(names["final"].parent.parent)) in calls[:at]


def test_the_index_is_made_again_from_the_folder(tmp_path, sent, study):
    file = objects.image(sent, study)
    folder = tmp_path / "archive"
    for expected in (StoreVerdict.STORED, StoreVerdict.STORED):
        with LoopbackArchive(folder) as archive:
            peer = Peer("archive-1", "ARCHIVE", "127.0.0.1", archive.port)
            assert send_files(peer, [file])[0].verdict is expected
            assert find_instances(peer, study.study_uid) == {file.sop_instance_uid}
    assert len(files_under(tmp_path / "archive")) == 1
    assert sorted(path.name for path in tmp_path.iterdir()) == ["archive", "sent"]


def test_a_port_that_is_taken_is_a_clear_error(archive, tmp_path):
    second = LoopbackArchive(tmp_path / "second", port=archive.port)
    with pytest.raises(ListenerPortError, match=str(archive.port)), second:
        pass
    assert not (tmp_path / ".second.incoming").exists()


def test_a_sender_that_breaks_off_leaves_nothing(archive, tmp_path, sent, study, monkeypatch):
    file = objects.loop(sent, study, megabytes=20)
    process = peers.require("storescu")
    running = subprocess.Popen([process, *peers.to(archive.port), str(file.path)], stderr=subprocess.DEVNULL)
    incoming = tmp_path / ".archive.incoming"
    end = time.monotonic() + 20
    while not any(incoming.iterdir()) and time.monotonic() < end and running.poll() is None:
        time.sleep(0.0005)
    running.kill()
    running.wait()
    end = time.monotonic() + 20
    while any(incoming.iterdir()):
        assert time.monotonic() < end, "the unfinished file stays"
        time.sleep(0.01)


def test_a_sender_that_falls_silent_in_a_pdu_is_dropped(tmp_path):
    with LoopbackArchive(tmp_path / "archive", timeout_s=0.5) as archive, socket.socket() as end:
        end.connect(("127.0.0.1", archive.port))
        end.settimeout(10)
        end.sendall(b"\1\0\0\0\1\0half")
        start = time.monotonic()
        while end.recv(4096):
            pass
        assert time.monotonic() - start < 5


@pytest.mark.parametrize("start", [b"\1\0\xff\xff\xff\xff", b"\1\0", b""], ids=["four gigabytes", "half", "nothing"])
def test_a_connection_that_ends_before_it_asks_for_an_association_frees_its_thread(archive, start):
    with socket.socket() as end:
        end.connect(("127.0.0.1", archive.port))
        end.settimeout(10)
        end.sendall(start)
        if len(start) == 6:  # an announced length beyond all sense is not waited for: the archive closes
            with contextlib.suppress(ConnectionResetError):
                while end.recv(4096):
                    pass
    deadline = time.monotonic() + 5
    while archive._listener._server.active_associations:
        assert time.monotonic() < deadline, "the thread still waits for an association request"
        time.sleep(0.01)


@pytest.mark.parametrize("seed", range(20))
def test_noise_instead_of_dicom_harms_nobody(archive, peer, sent, study, seed):
    noise = np.random.default_rng(seed).bytes(200)
    with socket.socket() as end:
        end.connect(("127.0.0.1", archive.port))
        end.sendall((b"\1\0\0\0\0\xc2" if seed % 2 else b"\4\0\0\0\0\xc2") + noise)
    assert send_files(peer, [objects.image(sent, study)])[0].verdict is StoreVerdict.STORED
