"""A site's own folder on disk: files found, heads looked at, records read, media opened."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from PIL import Image

from fixtures.make.media import write_avi
from gateway.errors.document import ExamDocumentError
from gateway.errors.media import ExamFolderError
from gateway.intake import source_folder
from gateway.intake.source_folder import SiteTables, read_exams, read_source_folder
from gateway.mapping.sources.rules import SourceMapping
from gateway.model.capture import CaptureKind
from tests.unit.mapping.sources.conftest import LIST, SITE, source_mapping

FOLDER_SITE = SITE.replace('"*.bmp"', '["*.bmp", "*.avi"]\n  ignore: "thumb_*"').replace("_{*}.bmp", "_{*}")


def written(folder: Path, names: list[str], table: str | None = LIST) -> Path:
    visit = folder / "visit"
    noise = np.random.default_rng(3).integers(0, 256, (12, 48, 64), dtype=np.uint8)
    for number, name in enumerate(names):
        path = visit / name
        path.parent.mkdir(parents=True, exist_ok=True)
        if path.suffix == ".avi":
            write_avi(path, list(noise), codec="mjpeg")
        else:
            Image.fromarray(noise[number % 12]).save(path)
    if table is not None:
        (visit / "list.csv").write_text(table, encoding="utf-8")
    return visit


@pytest.fixture
def mapping() -> SourceMapping:
    return source_mapping(FOLDER_SITE)


def test_pictures_and_movies_become_stills_and_loops_by_what_they_are(tmp_path: Path, mapping: SourceMapping) -> None:
    folder = written(tmp_path, ["OD_T3_1.bmp", "OS_L9_2.avi"], LIST.replace("OS_L9_2.bmp", "OS_L9_2.avi"))
    (exam,) = read_source_folder(folder, mapping)
    assert [(c.kind, exam.media[c.id].facts.frame_count) for c in exam.exam.captures] == [
        (CaptureKind.STILL, 1),
        (CaptureKind.LOOP, 12),
    ]
    assert exam.held == ()
    assert exam.exam.key == "visit"
    assert exam.traces["captures[0].eye"].sources[0][0] == "record list eye"


def test_hidden_and_ignored_files_are_left_alone_and_others_reported_as_unused(
    tmp_path: Path, mapping: SourceMapping
) -> None:
    names = ["OD_T3_1.bmp", "OS_L9_2.bmp", "thumb_1.bmp", ".cache/OD_T3_9.bmp", "more/extra.png"]
    (exam,) = read_source_folder(written(tmp_path, names), mapping)
    assert len(exam.exam.captures) == 2
    assert exam.unused == ("more/extra.png",)


def test_a_damaged_picture_is_held_with_its_reason_and_the_others_go_on(tmp_path: Path, mapping: SourceMapping) -> None:
    folder = written(tmp_path, ["OD_T3_1.bmp", "OS_L9_2.bmp"])
    (folder / "OS_L9_2.bmp").write_bytes(b"")
    (exam,) = read_source_folder(folder, mapping)
    assert [part.name for part in exam.held] == ["OS_L9_2"]
    assert "empty" in str(exam.held[0].reason)


def test_a_file_whose_name_is_no_text_is_held_under_a_name_that_can_be_printed(
    tmp_path: Path, mapping: SourceMapping
) -> None:
    folder = written(tmp_path, ["OD_T3_1.bmp", "OS_L9_2.bmp"])
    (folder / "OD_T9_\udcff.bmp").write_bytes((folder / "OD_T3_1.bmp").read_bytes())
    (exam,) = read_source_folder(folder, mapping)
    assert [part.name for part in exam.held] == ["OD_T9_-xff"]
    assert str(exam.held[0].reason).encode().startswith(b"OD_T9_\\xff.bmp")


def test_a_link_that_leaves_the_folder_is_not_followed(tmp_path: Path, mapping: SourceMapping) -> None:
    folder = written(tmp_path, ["OD_T3_1.bmp"], None)
    (tmp_path / "elsewhere.csv").write_text(LIST, encoding="utf-8")
    (folder / "list.csv").symlink_to(tmp_path / "elsewhere.csv")
    with pytest.raises(ExamDocumentError, match="outside the exam folder"):
        read_source_folder(folder, mapping)


def test_every_record_that_cannot_be_read_is_told(tmp_path: Path, mapping: SourceMapping) -> None:
    folder = written(tmp_path, ["OD_T3_1.bmp"], 'file,number\n"OD')
    (folder / "other.csv").write_bytes(b"file\n\xff")
    with pytest.raises(ExamDocumentError) as caught:
        read_source_folder(folder, mapping)
    assert len(caught.value.problems) == 2


def test_a_folder_without_captures_names_the_line_of_the_mapping(tmp_path: Path, mapping: SourceMapping) -> None:
    folder = written(tmp_path, ["x.png"])
    with pytest.raises(ExamFolderError, match=r"was \*.bmp, \*.avi; check media.files at site.yaml:\d+"):
        read_source_folder(folder, mapping)


def test_what_is_no_folder_or_holds_too_much_is_refused(
    tmp_path: Path, mapping: SourceMapping, monkeypatch: pytest.MonkeyPatch
) -> None:
    with pytest.raises(ExamFolderError, match="no such folder"):
        read_source_folder(tmp_path / "none", mapping)
    monkeypatch.setattr(source_folder, "MOST_FILES", 1)
    with pytest.raises(ExamFolderError, match="too many files"):
        read_source_folder(written(tmp_path, ["OD_T3_1.bmp", "OS_L9_2.bmp"]), mapping)


SEVERAL = FOLDER_SITE.replace("media:", "exams: {by: {record: list, field: visit}}\nmedia:")
TABLE = "file,number,name,eye,visit\nOD_T3_1.bmp,N-1,Holm^Maija,re,V1\nOS_L9_2.bmp,%s,Berg^Nora,li,V2\n"


def test_one_exam_that_is_refused_stops_no_other_and_is_held_with_its_reasons(tmp_path: Path) -> None:
    folder = written(tmp_path, ["OD_T3_1.bmp", "OS_L9_2.bmp"], TABLE % "")
    (exam,) = read_source_folder(folder, source_mapping(SEVERAL))
    assert exam.exam.patient.id == "N-1"
    (held,) = exam.held
    assert held.part == f"exam {held.name}"
    assert "no source states this field" in str(held.reason)
    with pytest.raises(ExamDocumentError, match="problems"):
        read_source_folder(written(tmp_path, [], (TABLE % "").replace("N-1", "")), source_mapping(SEVERAL))


def test_several_exams_are_read_one_by_one(tmp_path: Path) -> None:
    folder = written(tmp_path, ["OD_T3_1.bmp", "OS_L9_2.bmp"], TABLE % "N-2")
    exams = read_source_folder(folder, source_mapping(SEVERAL))
    assert [exam.exam.patient.id for exam in exams] == ["N-1", "N-2"]


def test_a_folder_with_an_exam_document_needs_no_mapping(tmp_path: Path) -> None:
    folder = written(tmp_path, ["OD_T3_1.bmp", "OS_L9_2.bmp"])
    site = tmp_path / "site.yaml"
    site.write_text(FOLDER_SITE, encoding="utf-8")
    (exam,) = read_exams(folder, site, SiteTables())
    assert len(exam.exam.captures) == 2
    (folder / "exam.yaml").write_text("format: eye-ultrasound-exam/1\n", encoding="utf-8")
    with pytest.raises(ExamDocumentError, match="a required field is missing"):
        read_exams(folder, site, SiteTables())
    with pytest.raises(ExamFolderError, match="no exam document"):
        read_exams(tmp_path, None, SiteTables())


def test_progress_is_told(tmp_path: Path, mapping: SourceMapping) -> None:
    said: list[tuple[str, int, int]] = []
    read_source_folder(
        written(tmp_path, ["OD_T3_1.bmp", "OS_L9_2.bmp"]),
        mapping,
        on_progress=lambda step, done, total: said.append((step, done, total)),
    )
    assert said[-1] == ("read", 2, 2)
