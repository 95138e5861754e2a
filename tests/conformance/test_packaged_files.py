"""Real and broken files that come with pydicom: no file may stop the checker, and no clean file may be blamed."""

from __future__ import annotations

import warnings
from pathlib import Path

import pydicom
import pytest

from gateway.standard.iods import iods
from gateway.validation import check_bytes, check_dataset, check_file
from tests.conformance.oracle import verdict

PACKAGED = sorted(
    path
    for path in (Path(pydicom.__file__).parent / "data").rglob("*")
    if path.is_file() and path.suffix not in {".py", ".pyc", ".json"}
)
KNOWN_FAULTS = {
    "examples_palette.dcm": {"region-outside-image"},
    "examples_ybr_color.dcm": {"region-outside-image"},
}
"""Cropped or scaled after the machine had written its regions: real faults, which dciodvfy does not look for."""
TABLED = [path for path in PACKAGED if check_file(path).sop_class_uid in iods()]


def test_there_are_packaged_files_of_our_classes():
    assert len(PACKAGED) > 100
    assert len(TABLED) >= 5


@pytest.mark.parametrize("path", PACKAGED, ids=lambda path: path.name)
def test_every_packaged_file_gets_a_report(path):
    assert check_file(path) == check_bytes(path.read_bytes()) or path.stat().st_size == 0


@pytest.mark.parametrize("path", TABLED, ids=lambda path: path.name)
def test_a_file_is_blamed_for_missing_attributes_only_where_dciodvfy_does(path):
    theirs = verdict(path.read_bytes()).errors
    for finding in check_file(path).findings:
        keyword = finding.message.split()[0].rsplit(".", maxsplit=1)[-1]
        if finding.code.endswith(("-missing", "-empty")):
            assert any(f"<{keyword}>" in error or keyword in error for error in theirs) or "evidence" in keyword.lower()
        elif not theirs:
            assert finding.code in KNOWN_FAULTS.get(path.name, set())


@pytest.mark.parametrize("path", TABLED, ids=lambda path: path.name)
def test_a_file_read_by_pydicom_gets_the_same_findings(path):
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        dataset = pydicom.dcmread(path)
        in_memory = check_dataset(dataset)
    on_disk = [finding for finding in check_file(path).findings if not finding.attribute.startswith("(0002,")]
    assert list(in_memory) == on_disk
