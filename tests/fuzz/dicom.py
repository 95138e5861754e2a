"""Readers of DICOM objects."""

from __future__ import annotations

from pathlib import Path
from tempfile import TemporaryDirectory

from gateway.builders.sr.report import build_measurement_report
from gateway.intake.measurement_report import measurement_report_from
from tests.fuzz.target import Target
from tests.unit.builders.sr.invented_exam import a_context, a_measured_exam, built_images


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
