"""The encapsulated PDF as a dataset (PS3.3 A.45.1, C.24)."""

from __future__ import annotations

from pathlib import Path

import pydicom
import pytest

from gateway.builders.encapsulated_pdf import ENCAPSULATED_PDF, build_encapsulated_pdf
from gateway.builders.sr.report import build_measurement_report
from gateway.errors.objects import NotAPdfError
from tests.unit.builders.sr.invented_exam import a_context, a_measured_exam, built_images

ODD = b"%PDF-1.7\n1 0 obj\n%%EOF\n"
EVEN = ODD + b"\n"


def test_lengths_differ_by_oddness() -> None:
    assert (len(ODD) % 2, len(EVEN) % 2) == (1, 0)


@pytest.mark.parametrize("pdf", [ODD, EVEN], ids=["odd", "even"])
def test_the_document_comes_out_byte_for_byte(pdf: bytes, tmp_path: Path) -> None:
    built = build_encapsulated_pdf(a_measured_exam(), pdf, (), a_context(tmp_path))
    dataset = pydicom.dcmread(built.path)
    assert len(dataset.EncapsulatedDocument) % 2 == 0
    assert dataset.EncapsulatedDocumentLength == len(pdf)
    assert dataset.EncapsulatedDocument[: dataset.EncapsulatedDocumentLength] == pdf
    assert set(dataset.EncapsulatedDocument[len(pdf) :]) <= {0}


def test_it_says_what_it_is(tmp_path: Path) -> None:
    built = build_encapsulated_pdf(a_measured_exam(), ODD, (), a_context(tmp_path))
    dataset = pydicom.dcmread(built.path)
    assert dataset.SOPClassUID == ENCAPSULATED_PDF
    assert (dataset.Modality, dataset.ConversionType) == ("DOC", "WSD")
    assert dataset.MIMETypeOfEncapsulatedDocument == "application/pdf"
    assert dataset.BurnedInAnnotation == "YES"
    title = dataset.ConceptNameCodeSequence[0]
    assert (title.CodeValue, title.CodingSchemeDesignator) == ("25061-3", "LN")
    assert dataset.DocumentTitle == "Ultrasound report of the eye"
    assert (dataset.ContentDate, dataset.ContentTime) == ("20260302", "111530.250000")
    assert dataset.AcquisitionDateTime == "20260302093000+0100"
    assert dataset.SyntheticData == "YES"
    assert "SourceInstanceSequence" not in dataset
    assert (built.sop_instance_uid, built.series_instance_uid) == (dataset.SOPInstanceUID, dataset.SeriesInstanceUID)


def test_it_names_the_images_and_the_report_it_was_made_from(tmp_path: Path) -> None:
    """Purposes of PS3.16 CID 7060."""
    measured, context = a_measured_exam(), a_context(tmp_path)
    images = built_images(measured.exam)
    report = build_measurement_report(measured, images, context)
    dataset = pydicom.dcmread(build_encapsulated_pdf(measured, ODD, (*images, report), context).path)
    sources = [
        (item.ReferencedSOPInstanceUID, item.PurposeOfReferenceCodeSequence[0].CodeValue)
        for item in dataset.SourceInstanceSequence
    ]
    assert sources == [(image.sop_instance_uid, "121324") for image in images] + [(report.sop_instance_uid, "128225")]


def test_the_same_document_is_the_same_object_and_another_byte_another(tmp_path: Path) -> None:
    first = build_encapsulated_pdf(a_measured_exam(), ODD, (), a_context(tmp_path / "a"))
    again = build_encapsulated_pdf(a_measured_exam(), ODD, (), a_context(tmp_path / "b"))
    other = build_encapsulated_pdf(a_measured_exam(), ODD.replace(b"1 0", b"2 0"), (), a_context(tmp_path / "c"))
    assert first.path.read_bytes() == again.path.read_bytes()
    assert first.sop_instance_uid == again.sop_instance_uid != other.sop_instance_uid


def test_report_and_document_share_the_study_but_no_series(tmp_path: Path) -> None:
    measured, context = a_measured_exam(), a_context(tmp_path)
    report = build_measurement_report(measured, built_images(measured.exam), context)
    document = build_encapsulated_pdf(measured, ODD, (), context)
    assert report.study_instance_uid == document.study_instance_uid
    assert report.series_instance_uid != document.series_instance_uid


@pytest.mark.parametrize("data", [b"", b"%PDF-1.7 cut short", b"<html></html>%%EOF", ODD + b" " * 2000])
def test_what_is_no_pdf_is_refused(data: bytes, tmp_path: Path) -> None:
    with pytest.raises(NotAPdfError):
        build_encapsulated_pdf(a_measured_exam(), data, (), a_context(tmp_path))
    assert not list(tmp_path.iterdir())
