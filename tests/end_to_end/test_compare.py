"""``gateway compare`` as a user runs it: reports made by ``gateway build``, folders of them, and exam folders."""

from __future__ import annotations

import json
import xml.etree.ElementTree as ET
from pathlib import Path
from typing import Any

import pytest
from pydicom import dcmread

from tests.end_to_end.conftest import gateway
from tests.end_to_end.invented_visits import FOLLOWED, write_visit

STARTS = ("2024-11-02T09:30:00+01:00", "2025-07-02T09:30:00+02:00", "2026-03-02T09:30:00+01:00")
HEIGHTS = ("1.4", "1.9", "2.3")


@pytest.fixture(scope="module")
def visits(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Three visits as exam folders (``v1`` ...), and the first two built (``b1``, ``b2``)."""
    folder = tmp_path_factory.mktemp("visits")
    for number, (start, height) in enumerate(zip(STARTS, HEIGHTS, strict=True), start=1):
        write_visit(folder / f"v{number}", start, height, base_end=19 + 3 * number)
    for number in (1, 2):
        gateway("build", f"v{number}", "--out", f"b{number}", cwd=folder)
    return folder


def compared(folder: Path, *exams: str) -> dict[str, Any]:
    content: dict[str, Any] = json.loads(gateway("compare", *exams, "--json", cwd=folder))
    return content


def rows(content: dict[str, Any], finding: str = "mass") -> list[tuple[Any, ...]]:
    return [
        (row["quantity"], row["earlier"]["shown"], row["later"]["shown"], row["joined"], row["verdict"])
        for row in content["differences"]
        if row["finding"].startswith(finding)
    ]


def test_reports_and_exam_folders_are_compared_alike(visits: Path) -> None:
    expected = [
        ("height", "1.4 mm", "1.9 mm", "tracked", "beyond the repeatability band"),
        ("base, transverse", "2.0 mm", "2.3 mm", "tracked", "within the repeatability band"),
    ]
    (report,) = [path for path in visits.joinpath("b2").rglob("*.dcm") if dcmread(path).Modality == "SR"]
    for first, second in (("v1", "v2"), ("b1", "b2"), ("b1", "v2"), ("v1", str(report)), ("v1/exam.yaml", "b2/dicom")):
        assert rows(compared(visits, first, second)) == expected, (first, second)


def test_the_stated_uid_is_that_of_the_group_in_the_report(visits: Path) -> None:
    (report,) = [ds for path in visits.joinpath("b1").rglob("*.dcm") if (ds := dcmread(path)).Modality == "SR"]
    assert FOLLOWED in str(report)


def test_three_visits_have_a_trend_and_a_plot(visits: Path) -> None:
    content = compared(visits, "b1", "b2", "v3")
    (height,) = [series for series in content["series"] if series["quantity"] == "height"]
    assert height["trend"]["slope_per_month"] == pytest.approx(0.05625, rel=1e-6)
    assert height["trend"]["span_months"] == 16.0
    printed = gateway("compare", "b1", "b2", "v3", "--plot", "trend.svg", cwd=visits)
    assert "+0.0563 mm/month (+0.675 mm/year)" in printed
    assert "published, not yours" in printed
    assert ET.parse(visits / "trend.svg").getroot().tag.endswith("svg")  # noqa: S314 - our own file


def test_a_folder_with_the_files_of_several_exams_is_enough(visits: Path) -> None:
    content = compared(visits, ".")
    assert [visit["date"][:10] for visit in content["visits"]] == ["2024-11-02", "2025-07-02"]


def test_without_a_stated_uid_the_link_is_proposed(visits: Path, tmp_path: Path) -> None:
    for number in (1, 2):
        write_visit(tmp_path / f"v{number}", STARTS[number - 1], HEIGHTS[number - 1], tracking="")
    assert {row[3] for row in rows(compared(tmp_path, "v1", "v2"))} == {"proposed"}
    assert "a person decides" in gateway("compare", "v1", "v2", cwd=tmp_path)


@pytest.mark.parametrize(
    ("stated", "quantity", "reason"),
    [
        ({"speed": 1532}, "base, transverse", "speeds of sound differ: 1550 m/s and 1532 m/s"),
        ({"contact": "immersion"}, "height", "ways of contact differ: through-lid and immersion"),
    ],
)
def test_another_speed_or_contact_is_not_comparable(
    visits: Path, tmp_path: Path, stated: dict[str, object], quantity: str, reason: str
) -> None:
    write_visit(tmp_path / "other", STARTS[1], **stated)
    gateway("build", "other", "--out", "built", cwd=tmp_path)
    for later in ("other", "built"):
        content = compared(visits, "b1", str(tmp_path / later))
        (row,) = [row for row in content["differences"] if row["quantity"] == quantity]
        assert (row["verdict"], row["difference"], row["reasons"]) == ("not comparable", None, [reason])


@pytest.mark.parametrize("stated", [{"patient": "INV-8"}, {"issuer": "ELSEWHERE"}])
def test_another_patient_is_refused_by_name_of_the_rule(
    visits: Path, tmp_path: Path, stated: dict[str, object]
) -> None:
    write_visit(tmp_path / "other", STARTS[1], **stated)
    said = gateway("compare", "v1", str(tmp_path / "other"), cwd=visits, code=3)
    assert "error[different-patients]" in said
    assert "INV-8" not in said


@pytest.mark.parametrize(
    ("exams", "code"),
    [
        (["b1"], "nothing-to-compare"),
        (["b1", "v1"], "nothing-to-compare"),
        (["b1", "none.dcm"], "report-not-readable"),
        (["b1", "v1/od-a.png"], "report-not-readable"),
        (["b1", "empty"], "not-a-measurement-report"),
    ],
)
def test_what_cannot_be_compared_is_said_in_one_line(visits: Path, exams: list[str], code: str) -> None:
    visits.joinpath("empty").mkdir(exist_ok=True)
    assert f"error[{code}]" in gateway("compare", *exams, cwd=visits, code=3)


def test_an_image_is_no_report(visits: Path) -> None:
    image = next(path for path in visits.joinpath("b1").rglob("*.dcm") if dcmread(path).Modality == "US")
    assert "error[not-a-measurement-report]" in gateway("compare", str(image), "v2", cwd=visits, code=3)
