"""``gateway check`` on files of the demo's archive, whole and damaged."""

from __future__ import annotations

import json
from pathlib import Path

from pydicom import dcmread

from tests.end_to_end.conftest import DemoRun, gateway


def test_the_archive_is_clean(demo: DemoRun) -> None:
    assert "13 files, 0 with findings" in gateway("check", demo.folder / "archive")


def test_a_defect_is_found_at_its_attribute_with_its_section(demo: DemoRun, tmp_path: Path) -> None:
    for path in sorted((demo.folder / "archive").rglob("*.dcm")):
        ds = dcmread(path)
        if ds.Modality == "US":
            break
    del ds.SequenceOfUltrasoundRegions[0].PhysicalDeltaX
    del ds.PatientOrientation
    ds.save_as(tmp_path / "defect.dcm")
    printed = json.loads(gateway("check", tmp_path / "defect.dcm", "--json", code=1))
    findings = {(f["code"], f["attribute"], f["section"]) for f in printed["files"][0]["findings"]}
    assert ("type-1-missing", "(0018,6011)[1].(0018,602C)", "PS3.3 C.8.5.5") in findings
    assert any(code == "type-2c-missing" and attribute == "(0020,0020)" for code, attribute, _ in findings)


def test_bytes_that_are_no_dicom_are_a_finding_and_never_a_traceback(tmp_path: Path) -> None:
    (tmp_path / "notes.txt").write_text("not DICOM")
    (tmp_path / "empty.dcm").write_bytes(b"")
    (tmp_path / "cut.dcm").write_bytes(b"\0" * 128 + b"DICM" + b"\x02\x00\x00\x00UL\x04\x00")
    printed = gateway("check", tmp_path, code=1)
    assert "Traceback" not in printed
    assert "3 files, 3 with findings" in printed
