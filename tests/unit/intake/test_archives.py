"""ZIP archives of an exam: what Python's own zipfile writes is unpacked, what could do harm is refused by name."""

from __future__ import annotations

import io
import os
import stat
import struct
import zipfile
from pathlib import Path

import pytest

from gateway.errors import Place
from gateway.errors.archives import (
    ArchiveDamagedError,
    ArchiveEncryptedError,
    ArchiveEntryKindError,
    ArchiveError,
    ArchiveNameError,
    ArchiveOverlapError,
    ArchivePathError,
    ArchiveTooLargeError,
    ArchiveVariantError,
)
from gateway.errors.document import ExamDocumentError
from gateway.errors.media import ExamFolderError, MediaMissingError
from gateway.intake.archive_entries import ArchiveLimits
from gateway.intake.archives import is_archive, unpacked
from gateway.intake.exam_folder import read_exam_folder

Entries = dict[str, bytes]


def zipped(path: Path, entries: Entries, method: int = zipfile.ZIP_DEFLATED) -> Path:
    with zipfile.ZipFile(path, "w", method) as archive:
        for name, content in entries.items():
            archive.writestr(name, content)
    return path


def files_in(folder: Path) -> Entries:
    return {str(p.relative_to(folder)): p.read_bytes() for p in folder.rglob("*") if p.is_file()}


def refusal(path: Path, error: type[ArchiveError], limits: ArchiveLimits | None = None) -> ArchiveError:
    before = set(path.parent.rglob("*"))
    with pytest.raises(error) as caught, unpacked(path, limits):
        pass
    assert type(caught.value) is error
    assert caught.value.fix
    assert str(path.parent) not in str(caught.value)
    assert set(path.parent.rglob("*")) == before, "nothing was written beside the archive"
    return caught.value


EXAM = {"exam.yaml": b"format: eye-ultrasound-exam/1\n", "media/od t3.png": b"\x89PNG", "media/\u00f6.png": b"x" * 3000}


@pytest.mark.parametrize("top", ["", "visit/"])
@pytest.mark.parametrize("method", [zipfile.ZIP_STORED, zipfile.ZIP_DEFLATED])
def test_what_is_in_it_comes_out_and_a_single_folder_at_its_top_is_the_exam(tmp_path, top, method):
    path = zipped(tmp_path / "holm 2026-03-02.zip", {top + name: content for name, content in EXAM.items()}, method)
    with unpacked(path) as found:
        assert files_in(found.folder) == EXAM
        assert found.folder.name == (top.strip("/") or "holm 2026-03-02")
        assert found.left_out == ()


def test_folder_is_private_and_gone_afterwards(tmp_path):
    with unpacked(zipped(tmp_path / "a.zip", EXAM)) as found:
        folder = found.folder
        assert stat.S_IMODE(folder.parent.stat().st_mode) == 0o700
        assert stat.S_IMODE((folder / "exam.yaml").stat().st_mode) == 0o600
    assert not folder.parent.exists()


def test_folder_is_gone_after_an_error_as_well(tmp_path):
    with pytest.raises(KeyError), unpacked(zipped(tmp_path / "a.zip", EXAM)) as found:
        raise KeyError
    assert not found.folder.parent.exists()


def test_errors_name_the_archive_and_never_the_folder_it_was_unpacked_into(tmp_path):
    archive = tmp_path / "visit.zip"
    with zipfile.ZipFile(archive, "w") as file:
        file.writestr("readme.txt", "no exam")
    with pytest.raises(ExamFolderError) as caught, unpacked(archive) as inside:
        read_exam_folder(inside.folder)
    assert str(caught.value).startswith(f"{archive}: the folder holds no exam document")
    with pytest.raises(ExamDocumentError) as caught, unpacked(archive) as inside:
        raise ExamDocumentError(
            [
                ExamFolderError("a", where=Place(f"{inside.folder}/exam.yaml", 3)),
                ExamFolderError("b", was=f"also at {inside.folder}"),
            ]
        )
    assert f"{archive}/exam.yaml:3" in str(caught.value)
    assert f"also at {archive}" in str(caught.value)


def test_two_folders_at_the_top_are_kept(tmp_path):
    with unpacked(zipped(tmp_path / "a.zip", {"od/a": b"1", "os/a": b"2"})) as found:
        assert files_in(found.folder) == {"od/a": b"1", "os/a": b"2"}


def test_notes_of_one_system_are_left_out_and_told(tmp_path):
    entries = {"visit/exam.yaml": b"1", "__MACOSX/visit/._exam.yaml": b"2", "visit/.DS_Store": b"3"}
    with unpacked(zipped(tmp_path / "a.zip", entries)) as found:
        assert files_in(found.folder) == {"exam.yaml": b"1"}
        assert found.left_out == ("__MACOSX/visit/._exam.yaml", "visit/.DS_Store")


def test_nested_archive_stays_a_file(tmp_path):
    inner = zipped(tmp_path / "inner.zip", EXAM).read_bytes()
    with unpacked(zipped(tmp_path / "a.zip", {"exam.yaml": b"1", "old.zip": inner})) as found:
        assert files_in(found.folder)["old.zip"] == inner


def test_folders_written_as_entries_are_made(tmp_path):
    with zipfile.ZipFile(tmp_path / "a.zip", "w") as archive:
        archive.mkdir("visit")
        archive.mkdir("visit/empty")
        archive.writestr("visit/exam.yaml", b"1")
    with unpacked(tmp_path / "a.zip") as found:
        assert (found.folder / "empty").is_dir()


@pytest.mark.parametrize("name", ["...zip", "..zip", " .zip"])
def test_odd_names_of_the_archive_itself_do_not_lead_out(tmp_path, name):
    with unpacked(zipped(tmp_path / name, {"a/b": b"1", "c": b"2"})) as found:
        assert found.folder.parent.name.startswith("exam-")
        assert found.folder.name not in {"", ".", ".."}


def test_content_or_name_makes_an_archive(tmp_path):
    assert is_archive(zipped(tmp_path / "a.bin", EXAM))
    (tmp_path / "b.zip").write_bytes(b"")
    assert is_archive(tmp_path / "b.zip")
    (tmp_path / "exam.yaml").write_text("format: x")
    assert not is_archive(tmp_path / "exam.yaml")
    assert not is_archive(tmp_path)
    assert not is_archive(tmp_path / "none.zip")


# ---------------------------------------------------------------- names


@pytest.mark.parametrize(
    "name",
    [
        "../evil",
        "a/../../evil",
        "/etc/evil",
        "C:/evil",
        "c:evil",
        "..\\evil",
        "a\\b",
        "a//b",
        "./a",
        "a/.",
        "a/..",
        "a/ /b",
        "a /b",
        "line\nbreak",
        "bell\x07",
        "\x7f",
    ],
)
def test_names_that_are_no_plain_path_are_refused(tmp_path, name):
    refusal(zipped(tmp_path / "a.zip", {"exam.yaml": b"1", name: b"2"}), ArchivePathError)


def renamed(path: Path, old: bytes, new: bytes) -> Path:
    assert len(old) == len(new)
    content = path.read_bytes()
    assert content.count(old) == 2, "local header and directory"
    path.write_bytes(content.replace(old, new))
    return path


def test_name_with_nul_is_refused(tmp_path):
    path = renamed(zipped(tmp_path / "a.zip", {"good.pngXbad": b"1", "b": b"2"}), b"good.pngXbad", b"good.png\0bad")
    refusal(path, ArchivePathError)


def test_name_that_is_no_utf8_is_refused(tmp_path):
    path = renamed(zipped(tmp_path / "a.zip", {"\u00f6.png": b"1"}), "\u00f6".encode(), b"\xff\xfe")
    refusal(path, ArchiveNameError)


def test_name_in_an_unstated_character_set_is_refused(tmp_path):
    path = renamed(zipped(tmp_path / "a.zip", {"oe.png": b"1"}), b"oe.png", b"\x94e.png")
    assert "character set" in refusal(path, ArchiveNameError).what


@pytest.mark.parametrize(
    "names",
    [
        ("a.png", "A.PNG"),
        ("stra\u00dfe", "STRASSE"),
        ("\u00e9.png", "e\u0301.png"),
        ("media/a", "Media/b"),
        ("a", "a/b"),
        ("A", "a/b"),
    ],
)
def test_names_that_are_one_file_on_some_machine_are_refused(tmp_path, names):
    refusal(zipped(tmp_path / "a.zip", {**dict.fromkeys(names, b"1"), "exam.yaml": b"2"}), ArchiveNameError)


@pytest.mark.filterwarnings("ignore:Duplicate name")
def test_one_name_twice_is_refused(tmp_path):
    with zipfile.ZipFile(tmp_path / "a.zip", "w") as archive:
        archive.writestr("exam.yaml", b"1")
        archive.writestr("exam.yaml", b"2")
    refusal(tmp_path / "a.zip", ArchiveNameError)


def test_name_too_long_for_a_disk_is_refused(tmp_path):
    refusal(zipped(tmp_path / "a.zip", {"a" * 256: b"1"}), ArchivePathError)
    refusal(zipped(tmp_path / "b.zip", {"\u20ac" * 90: b"1"}), ArchivePathError)


# ---------------------------------------------------------------- kinds


@pytest.mark.parametrize("kind", [stat.S_IFLNK, stat.S_IFIFO, stat.S_IFCHR, stat.S_IFBLK, stat.S_IFSOCK])
def test_links_and_devices_are_refused(tmp_path, kind):
    info = zipfile.ZipInfo("link")
    info.create_system = 3
    info.external_attr = (kind | 0o777) << 16
    with zipfile.ZipFile(tmp_path / "a.zip", "w") as archive:
        archive.writestr(info, "/etc/passwd")
    refusal(tmp_path / "a.zip", ArchiveEntryKindError)


def test_real_link_written_by_a_zip_program_would_be_seen(tmp_path):
    (tmp_path / "target").write_text("x")
    (tmp_path / "link").symlink_to("target")
    info = zipfile.ZipInfo("link")
    info.create_system = 3
    info.external_attr = os.lstat(tmp_path / "link").st_mode << 16
    with zipfile.ZipFile(tmp_path / "a.zip", "w") as archive:
        archive.writestr(info, str((tmp_path / "link").readlink()))
    assert refusal(tmp_path / "a.zip", ArchiveEntryKindError).was == "a link"


@pytest.mark.parametrize("bit", [0x0001, 0x0040, 0x2000])
def test_encrypted_entries_are_refused(tmp_path, bit):
    path = zipped(tmp_path / "a.zip", {"exam.yaml": b"1"})
    content = bytearray(path.read_bytes())
    at = content.index(b"PK\x01\x02")
    content[at + 8 : at + 10] = struct.pack("<H", bit)
    path.write_bytes(content)
    refusal(path, ArchiveEncryptedError)


@pytest.mark.parametrize("method", [zipfile.ZIP_BZIP2, zipfile.ZIP_LZMA])
def test_other_compressions_are_refused(tmp_path, method):
    refusal(zipped(tmp_path / "a.zip", EXAM, method), ArchiveVariantError)


# ---------------------------------------------------------------- bombs


def test_each_limit_is_named(tmp_path):
    path = zipped(tmp_path / "a.zip", {f"f{n}": bytes(1000) for n in range(20)})
    assert "entries" in refusal(path, ArchiveTooLargeError, ArchiveLimits(entries=19)).was
    assert "an entry" in refusal(path, ArchiveTooLargeError, ArchiveLimits(entry_bytes=999)).was
    assert refusal(path, ArchiveTooLargeError, ArchiveLimits(total_bytes=19_999)).was.startswith("20000 bytes, at most")
    assert "times" in refusal(path, ArchiveTooLargeError, ArchiveLimits(ratio=5, ratio_from_bytes=10_000)).was
    with unpacked(path, ArchiveLimits(entries=20, entry_bytes=1000, total_bytes=20_000, ratio=10)) as found:
        assert len(files_in(found.folder)) == 20


def test_directory_of_millions_is_refused_before_it_is_read(tmp_path):
    path = zipped(tmp_path / "a.zip", {"exam.yaml": b"1"})
    content = bytearray(path.read_bytes())
    at = content.rindex(b"PK\x05\x06")
    content[at + 12 : at + 16] = struct.pack("<I", 500 * 2**20)
    path.write_bytes(content)
    assert "directory" in refusal(path, ArchiveTooLargeError).was


def test_quoted_overlap_is_refused(tmp_path):
    """Entries inside one another, as published by D. Fifield in "A better zip bomb" (WOOT 2019), on a small scale."""
    path = zipped(tmp_path / "a.zip", {"a": b"x" * 500, "b": b"y" * 500}, zipfile.ZIP_STORED)
    content = bytearray(path.read_bytes())
    first = content.index(b"PK\x01\x02")
    # The first entry now claims the second one's header and data as its own content.
    size = content.index(b"PK\x03\x04", 4) + 31 + 500 - 31
    for field in (20, 24):
        content[first + field : first + field + 4] = struct.pack("<I", size)
    path.write_bytes(content)
    refusal(path, ArchiveOverlapError)


def test_two_entries_at_one_place_are_refused(tmp_path):
    path = zipped(tmp_path / "a.zip", {"a": b"x", "b": b"y"})
    content = bytearray(path.read_bytes())
    second = content.rindex(b"PK\x01\x02")
    content[second + 42 : second + 46] = bytes(4)
    path.write_bytes(content)
    refusal(path, ArchiveOverlapError)


def test_entry_that_reaches_into_the_directory_is_refused(tmp_path):
    path = zipped(tmp_path / "a.zip", {"a": b"x" * 10}, zipfile.ZIP_STORED)
    content = bytearray(path.read_bytes())
    at = content.index(b"PK\x01\x02")
    for field in (20, 24):
        content[at + field : at + field + 4] = struct.pack("<I", 20)
    path.write_bytes(content)
    refusal(path, ArchiveOverlapError)


def test_entry_that_is_larger_than_it_says_is_refused(tmp_path):
    path = zipped(tmp_path / "a.zip", {"a": bytes(5000)})
    content = bytearray(path.read_bytes())
    at = content.index(b"PK\x01\x02")
    content[at + 24 : at + 28] = struct.pack("<I", 10)
    path.write_bytes(content)
    refusal(path, ArchiveDamagedError)


# ---------------------------------------------------------------- damage


def test_wrong_checksum_is_refused(tmp_path):
    path = zipped(tmp_path / "a.zip", {"a": b"content of it"}, zipfile.ZIP_STORED)
    path.write_bytes(path.read_bytes().replace(b"content of it", b"contend of it"))
    assert str(refusal(path, ArchiveDamagedError)).startswith("a.zip/a: ")


def test_local_name_unlike_the_directory_is_refused(tmp_path):
    path = zipped(tmp_path / "a.zip", {"good": b"1"})
    content = bytearray(path.read_bytes())
    content[30:34] = b"evil"
    path.write_bytes(content)
    refusal(path, ArchiveDamagedError)


def test_cut_archive_is_refused_wherever_it_is_cut(tmp_path):
    whole = zipped(tmp_path / "whole.zip", EXAM).read_bytes()
    path = tmp_path / "cut.zip"
    for end in range(len(whole)):
        path.write_bytes(whole[:end])
        with pytest.raises(ArchiveError), unpacked(path):
            pass


def test_bytes_lost_in_the_middle_are_refused(tmp_path):
    whole = zipped(tmp_path / "whole.zip", EXAM, zipfile.ZIP_STORED).read_bytes()
    path = tmp_path / "cut.zip"
    path.write_bytes(whole[:400] + whole[500:])
    with pytest.raises(ArchiveError), unpacked(path):
        pass


def test_missing_archive_is_named(tmp_path):
    with pytest.raises(MediaMissingError), unpacked(tmp_path / "none.zip"):
        pass


def test_archive_of_64_bit_lengths_is_read(tmp_path):
    """Written with the ZIP64 records that large archives have."""
    buffer = io.BytesIO()
    with zipfile.ZipFile(buffer, "w") as archive, archive.open("exam.yaml", "w", force_zip64=True) as file:
        file.write(b"1")
    (tmp_path / "a.zip").write_bytes(buffer.getvalue())
    with unpacked(tmp_path / "a.zip") as found:
        assert files_in(found.folder) == {"exam.yaml": b"1"}
