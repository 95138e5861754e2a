"""DICOM objects as captures, all the way: read, completed, reported, delivered; and reports for reading."""

from __future__ import annotations

import hashlib
import json
from pathlib import Path

import pytest
from pydicom import dcmread
from pydicom.uid import JPEGLSLossless, RLELossless

from gateway.app import open_gateway
from gateway.settings import DestinationSettings, Settings, SiteSettings, StoreSettings
from gateway.transports.dimse.archive import LoopbackArchive
from tests.end_to_end.conftest import gateway
from tests.end_to_end.small_exam import DOCUMENT, write_small_exam
from tests.unit.intake.invented_objects import device_object, write_object

_STILL = "    file: od-t3.png\n"
_LOOP = "    file: od-loop.avi\n"


def exam_with_objects(folder: Path, *, still=None, loop=None, extra: str = "") -> Path:
    """The small exam, its right-eye still and loop replaced by objects of a device."""
    document = DOCUMENT.replace(_STILL, f"    file: old/IM0001.dcm\n{extra}").replace(_LOOP, "    file: old/IM0002\n")
    write_small_exam(folder, document)
    write_object(still or device_object(), folder / "old" / "IM0001.dcm")
    if loop is None:
        loop = device_object(12)
        loop.compress(RLELossless)
    write_object(loop, folder / "old" / "IM0002")
    for name in ("od-t3.png", "od-loop.avi"):
        (folder / name).unlink()
    return folder


def test_an_exam_of_dicom_objects_is_built_measured_and_reported(tmp_path):
    exam = exam_with_objects(tmp_path / "exam")
    printed = json.loads(gateway("build", exam, "--out", tmp_path / "out", "--json", cwd=tmp_path))
    assert printed["held"] == []
    objects = [dcmread(path) for path in sorted((tmp_path / "out" / "dicom").iterdir())]
    images = [ds for ds in objects if ds.Modality == "US"]
    assert len(images) == 3
    completed = [ds for ds in images if "SourceImageSequence" in ds]
    assert {ds.file_meta.TransferSyntaxUID.name for ds in completed} == {"Explicit VR Little Endian", "RLE Lossless"}
    assert len({ds.StudyInstanceUID for ds in objects}) == 1
    (report,) = [ds for ds in objects if ds.Modality == "SR"]
    referenced = {
        item.ReferencedSOPInstanceUID
        for study in report.CurrentRequestedProcedureEvidenceSequence
        for series in study.ReferencedSeriesSequence
        for item in series.ReferencedSOPSequence
    }
    assert {ds.SOPInstanceUID for ds in completed} <= referenced
    page = (tmp_path / "out" / "report.html").read_text(encoding="utf-8")
    assert page.count("data:image/png;base64,") >= 3
    origins = (tmp_path / "out" / "origins.json").read_text(encoding="utf-8")
    assert "object: old/IM0001.dcm" in origins


def test_an_object_of_the_other_eye_is_held_with_both_places_and_a_correction_lets_it_through(tmp_path):
    exam = exam_with_objects(tmp_path / "exam", still=device_object(ImageLaterality="L"))
    printed = json.loads(gateway("build", exam, "--out", tmp_path / "out", "--json", cwd=tmp_path, code=1))
    (held,) = [line for line in printed["held"] if "od-t3:" in line]
    assert "exam.yaml:" in held
    assert "old/IM0001.dcm (ImageLaterality)" in held
    corrected = exam_with_objects(
        tmp_path / "mended", still=device_object(ImageLaterality="L"), extra="    corrects: [ImageLaterality]\n"
    )
    gateway("build", corrected, "--out", tmp_path / "out2", "--json", cwd=tmp_path)


def test_frames_of_an_object_are_not_left_out(tmp_path):
    exam = exam_with_objects(tmp_path / "exam")
    document = (
        (exam / "exam.yaml")
        .read_text()
        .replace("    file: old/IM0002\n", "    file: old/IM0002\n    keep: {first: 2, last: 4}\n")
    )
    (exam / "exam.yaml").write_text(document)
    printed = json.loads(gateway("build", exam, "--out", tmp_path / "out", "--json", cwd=tmp_path, code=1))
    assert any("pixels go out as they are" in line for line in printed["held"])


@pytest.mark.parametrize("syntax", [RLELossless, JPEGLSLossless])
def test_an_archive_receives_the_objects_in_their_own_transfer_syntax(syntax, tmp_path):
    loop = device_object(12)
    loop.compress(syntax)
    exam = exam_with_objects(tmp_path / "exam", loop=loop)
    site = SiteSettings(single_eye_witness=True)
    settings = Settings(store=StoreSettings(tmp_path / "data"), site=site)
    with (
        LoopbackArchive(tmp_path / "archive", ae_title="ARCHIVE") as archive,
        open_gateway(settings) as line,
    ):
        destination = DestinationSettings("archive", "ARCHIVE", "127.0.0.1", archive.port)
        deliveries = line.deliver(line.prepare(exam), destination)
    assert {delivery.state.value for delivery in deliveries} == {"committed"}
    received = [dcmread(path) for path in (tmp_path / "archive").rglob("*") if path.is_file()]
    (arrived,) = [ds for ds in received if ds.get("NumberOfFrames") == 12]
    assert arrived.file_meta.TransferSyntaxUID == syntax
    source = dcmread(exam / "old" / "IM0002")
    assert hashlib.sha256(arrived.PixelData).digest() == hashlib.sha256(source.PixelData).digest()


def test_a_report_is_shown_as_text_page_pdf_and_data(tmp_path, demo):
    (report,) = [
        path for path in (demo.folder / "archive").rglob("*") if path.is_file() and dcmread(path).Modality == "SR"
    ]
    text = gateway("report", report, cwd=tmp_path)
    assert "Findings and measurements" in text
    assert "height of choroid" in text
    assert "Everything in the report" in text
    gateway("report", report, "--out", tmp_path / "out", cwd=tmp_path)
    assert (tmp_path / "out" / "report.pdf").read_bytes().startswith(b"%PDF-")
    assert "height of choroid" in (tmp_path / "out" / "report.html").read_text(encoding="utf-8")
    data = json.loads(gateway("report", report, "--json", cwd=tmp_path))
    heights = [
        m["value"] for group in data["groups"] for m in group["measurements"] if m["what"] == "height of choroid"
    ]
    assert heights
    assert data["not_understood"] == []


def test_an_exam_is_shown_without_building_anything(tmp_path, demo):
    exam = demo.folder / "exam"
    text = gateway("report", exam, cwd=tmp_path)
    assert "Right eye (OD): measurements" in text
    gateway("report", exam, "--out", tmp_path / "out", cwd=tmp_path)
    assert {path.name for path in (tmp_path / "out").iterdir()} == {"report.pdf", "report.html", "contact-sheet.png"}
    assert not (tmp_path / ".gateway-data").exists()


def test_what_is_no_report_is_said_to_be_none(tmp_path):
    path = write_object(device_object(), tmp_path / "image.dcm")
    assert "not-a-measurement-report" in gateway("report", path, cwd=tmp_path, code=3)
