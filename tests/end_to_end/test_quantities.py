"""From the exam folder to console, printed report and structured report: every new quantity says how it came about."""

from __future__ import annotations

import re
import subprocess
from pathlib import Path

import pytest
from pydicom import dcmread

from tests.end_to_end.conftest import gateway
from tests.end_to_end.small_exam import DOCUMENT, write_small_exam
from tests.programs import require

QUANTITIES = """\
  - {id: tall, capture: od-t3, kind: height, points: [[20, 20], [50, 20]],
     media: [{tissue: vitreous}, {from: [[35, 10], [36, 30]], speed_m_per_s: 1640}]}
  - {id: wide, capture: od-t3, kind: base, points: [[50, 5], [50, 45]]}
  - {id: oval, capture: od-t3, kind: area, shape: ellipse, points: [[10, 24], [50, 24], [30, 14], [30, 34]]}
  - {id: along, capture: od-t3, kind: arc-base, points: [[50, 5], [50, 45]], sphere_diameter_mm: 24}
  - {id: lump, capture: od-t3, kind: half-ellipsoid-volume, of: [wide, tall], third_dimension: like-the-first}
  - {id: shape, capture: od-t3, kind: ratio, of: [tall, wide]}
  - {id: knot, capture: od-t3, kind: area, points: [[10, 10], [50, 40], [50, 10], [10, 40]]}
"""


@pytest.fixture(scope="module")
def run(tmp_path_factory: pytest.TempPathFactory) -> tuple[str, Path]:
    folder = tmp_path_factory.mktemp("quantities")
    document = DOCUMENT.replace("      depth_axis", "      geometry: linear\n      depth_axis") + QUANTITIES
    exam = write_small_exam(folder / "exam", document)
    printed = gateway("build", exam, "--out", folder / "out", cwd=folder, code=1)
    return re.sub(r"\s+", " ", printed), folder / "out"


def test_the_console_shows_values_and_how_the_third_dimension_was_taken(run: tuple[str, Path]) -> None:
    printed, _out = run
    for words in ("half ellipsoid volume", "arc base", "mm³", "or more"):
        assert words in printed


def test_nonsense_is_held_with_its_own_error_and_explained(run: tuple[str, Path], tmp_path: Path) -> None:
    printed, _out = run
    assert "the outline crosses or touches itself" in printed
    assert "gateway explain self-crossing-outline" in printed
    assert "order in which the outline runs" in re.sub(
        r"\s+", " ", gateway("explain", "self-crossing-outline", cwd=tmp_path, code=0)
    )


SAID = (
    "pi/6 a b h",
    "b taken like the first",
    "b: not measured",
    "a: base wide, 4.",
    "R = 12 mm as stated",
    "depth x 1532/1550 in vitreous, then depth x 1640/1550",
    "refraction neglected",
    "shape (taken as an ellipsoid)",
    "mm or more",
)


def test_the_printed_report_says_it(run: tuple[str, Path]) -> None:
    _printed, out = run
    (pdf,) = out.rglob("*.pdf")
    text = subprocess.run([require("pdftotext"), "-raw", pdf, "-"], check=True, capture_output=True, text=True).stdout
    flat = re.sub(r"\s+", "", text)
    assert [words for words in SAID if re.sub(r"\s+", "", words) not in flat] == []


def test_the_report_object_carries_the_volume(run: tuple[str, Path]) -> None:
    _printed, out = run
    (report,) = [ds for path in out.rglob("*.dcm") if (ds := dcmread(path)).Modality == "SR"]
    text = str(report)
    assert "mm3" in text
    assert "ELLIPSE" in text
