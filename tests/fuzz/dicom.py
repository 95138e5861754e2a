"""Readers of DICOM objects."""

from __future__ import annotations

import io
from dataclasses import replace
from functools import cache
from pathlib import Path
from tempfile import TemporaryDirectory, mkdtemp

from pydicom.uid import (
    DeflatedExplicitVRLittleEndian,
    ImplicitVRLittleEndian,
    JPEGLSLossless,
    RLELossless,
    SecondaryCaptureImageStorage,
)

from gateway.builders.image import build_image
from gateway.builders.options import BuildContext, BuildOptions
from gateway.builders.series import plan_series
from gateway.builders.sr.report import build_measurement_report
from gateway.intake.dicom_agreement import check_object
from gateway.intake.dicom_objects import open_dicom_object
from gateway.intake.dicom_record import record_from
from gateway.intake.measurement_report import measurement_report_from
from gateway.intake.report_outline import report_outline_from
from gateway.reports.plain import render_plain_text
from gateway.reports.readable import document_of_outline
from tests.fuzz.target import Target
from tests.unit.builders.invented_captures import FULL_EXAM, FULL_STILL, Ledger
from tests.unit.builders.sr.invented_exam import a_context, a_measured_exam, built_images
from tests.unit.intake.invented_objects import device_object, region


def _reports() -> list[bytes]:
    measured = a_measured_exam()
    with TemporaryDirectory() as folder:
        return [
            build_measurement_report(measured, built_images(measured.exam), a_context(Path(folder))).path.read_bytes()
        ]


MEASUREMENT_REPORT = Target(
    _reports,
    lambda content: measurement_report_from(content, "fuzzed"),
    (b"DICM", b"SQ\0\0\xff\xff\xff\xff", b"\xfe\xff\x00\xe0", b"\xfe\xff\xdd\xe0", b"\xfe\xff\x0d\xe0", b"UN\0\0"),
)
_PIECES = MEASUREMENT_REPORT.dictionary


def _objects(*, with_deflated: bool) -> list[bytes]:
    plain = device_object(SequenceOfUltrasoundRegions=[region()], ImageLaterality="R")
    latin = device_object(
        SpecificCharacterSet="ISO_IR 100", InstitutionName="\u00d6rebro", ImageComments="\u00c5terbes\u00f6k"
    )
    found = [plain, latin, device_object(syntax=ImplicitVRLittleEndian), device_object(bits=16, colour=False)]
    found.append(device_object(sop_class=SecondaryCaptureImageStorage, colour=True))
    for syntax in (RLELossless, JPEGLSLossless):
        packed = device_object()
        packed.compress(syntax)
        found.append(packed)
    if with_deflated:
        found.append(device_object(syntax=DeflatedExplicitVRLittleEndian))
    written = []
    for one in found:
        buffer = io.BytesIO()
        one.save_as(buffer, enforce_file_format=True)
        written.append(buffer.getvalue())
    return written


@cache
def _folder() -> Path:
    return Path(mkdtemp(prefix="fuzz-objects-"))


def _complete(content: bytes) -> None:
    """Open an object, hold it against an exam, and write what would go out."""
    path = _folder() / "object.dcm"
    path.write_bytes(content)
    capture = replace(FULL_STILL, calibration=None, files=("object.dcm",))
    exam = replace(FULL_EXAM, captures=(capture,))
    source = open_dicom_object(path, capture.kind, name=path.name)
    check_object(exam, capture, "captures[0]", source)
    options = BuildOptions()
    place = plan_series(exam, options)[capture.id]
    built = build_image(exam, capture, source, place, BuildContext(options, Ledger(), _folder()))
    built.path.unlink()


DICOM_RECORD = Target(
    lambda: _objects(with_deflated=True), lambda content: record_from(content, "fuzzed"), _PIECES, largest=1 << 17
)
DICOM_OBJECT = Target(lambda: _objects(with_deflated=False), _complete, _PIECES, largest=1 << 17)
REPORT_OUTLINE = Target(
    _reports,
    lambda content: render_plain_text(document_of_outline(report_outline_from(content, "fuzzed"))),
    _PIECES,
)
