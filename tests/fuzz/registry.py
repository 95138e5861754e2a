"""Which readers are fuzzed: one line each, loaded only when it runs."""

from __future__ import annotations

import importlib

from tests.fuzz.target import Target

TARGETS = {
    "yaml": "tests.fuzz.records:YAML",
    "json": "tests.fuzz.records:JSON",
    "csv": "tests.fuzz.records:CSV",
    "xml": "tests.fuzz.records:XML",
    "hl7": "tests.fuzz.records:HL7",
    "protocol": "tests.fuzz.protocols:PROTOCOL",
    "witnessed-exam": "tests.fuzz.protocols:WITNESSED_EXAM",
    "source-mapping": "tests.fuzz.source_mappings:SOURCE_MAPPING",
    "mapped-folder": "tests.fuzz.source_mappings:MAPPED_FOLDER",
    "stills": "tests.fuzz.media:STILLS",
    "loops": "tests.fuzz.media:LOOPS",
    "picture-loops": "tests.fuzz.picture_files:PICTURE_LOOPS",
    "deep-stills": "tests.fuzz.picture_files:DEEP_STILLS",
    "scan-lines": "tests.fuzz.scan_line_files:SCAN_LINES",
    "archive": "tests.fuzz.picture_files:ARCHIVE",
    "measurement-report": "tests.fuzz.dicom:MEASUREMENT_REPORT",
    "report-outline": "tests.fuzz.dicom:REPORT_OUTLINE",
    "dicom-record": "tests.fuzz.dicom:DICOM_RECORD",
    "dicom-object": "tests.fuzz.dicom:DICOM_OBJECT",
}


def load(name: str) -> Target:
    """Return a target by its name."""
    module, attribute = TARGETS[name].split(":")
    found = getattr(importlib.import_module(module), attribute)
    assert isinstance(found, Target)
    return found
