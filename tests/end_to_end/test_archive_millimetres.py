"""Not circular: only the archive's files, another library's decoder, scipy's peaks, and how the phantom was drawn.

Nothing of the gateway is imported here. Echoes are found in the stored pixels, made millimetres by the region
calibration (PS3.3 C.8.5.5: centimetres a pixel), and compared with the report's values and the phantom's truth.
"""

from __future__ import annotations

import json
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np
import pytest
from pydicom import Dataset

from tests.echoes import distance_mm
from tests.end_to_end.conftest import DemoRun

TOLERANCE = 0.01
CENTIMETRES = 3


@dataclass(frozen=True)
class Reported:
    """One NUM of the report that stands on a line of a picture."""

    value_mm: float
    corrected_mm: float | None
    line: tuple[tuple[float, float], tuple[float, float]]
    image: Dataset
    frame: int


def items(parent: Dataset) -> Iterator[tuple[Dataset, Dataset]]:
    """Every content item below `parent`, with its own parent."""
    for item in parent.get("ContentSequence", []):
        yield parent, item
        yield from items(item)


def number_mm(item: Dataset) -> float:
    (measured,) = item.MeasuredValueSequence
    assert measured.MeasurementUnitsCodeSequence[0].CodeValue == "mm"
    return float(measured.get("FloatingPointValue", measured.NumericValue))


def reported(demo: DemoRun) -> list[Reported]:
    images = {ds.SOPInstanceUID: ds for ds in demo.objects if ds.Modality == "US"}
    found = []
    for parent, item in items(demo.report):
        if item.ValueType != "NUM":
            continue
        for scoord in item.get("ContentSequence", []):
            if scoord.ValueType != "SCOORD" or len(scoord.GraphicData) != 4:
                continue
            (reference,) = scoord.ContentSequence[0].ReferencedSOPSequence
            x0, y0, x1, y1 = (float(v) for v in scoord.GraphicData)
            found.append(
                Reported(
                    number_mm(item),
                    number_mm(parent) if parent.get("ValueType") == "NUM" else None,
                    ((x0, y0), (x1, y1)),
                    images[reference.ReferencedSOPInstanceUID],
                    int(reference.get("ReferencedFrameNumber", 1)),
                )
            )
    return found


def ruler_mm(item: Reported) -> float:
    """Measure between the echoes at the line's ends, by the stored pixels and the region calibration alone."""
    region = item.image.SequenceOfUltrasoundRegions[0]
    assert region.PhysicalUnitsXDirection == region.PhysicalUnitsYDirection == CENTIMETRES
    pixels = item.image.pixel_array
    picture = pixels if pixels.ndim == 2 else pixels[item.frame - 1]
    scale = 10 * float(region.PhysicalDeltaX), 10 * float(region.PhysicalDeltaY)
    return distance_mm(np.ascontiguousarray(picture), scale, item.line)


@pytest.fixture(scope="module")
def truth(demo: DemoRun) -> Mapping[str, Any]:
    return json.loads((demo.folder / "exam" / "truth.json").read_text(encoding="utf-8"))


def named(found: list[Reported], truth: Mapping[str, Any]) -> dict[str, Reported]:
    """Give each reported line the phantom's name for it: the one whose echoes lie at its ends."""
    names: dict[str, Reported] = {}
    for capture in truth["echo_ends_px_corner_convention"].values():
        for name, ends in capture.items():
            for item in found:
                if np.allclose(item.line, ends, atol=0.5) and name.endswith("-loop") == (
                    "NumberOfFrames" in item.image
                ):
                    names[name] = item
    return names


def test_lines_along_beams_measure_the_same_in_pixels_report_and_phantom(
    demo: DemoRun, truth: Mapping[str, Any]
) -> None:
    found = named(reported(demo), truth)
    along_beams = {
        "od-mass-height",
        "od-mass-height-loop",
        "od-axial-length",
        "od-vitreous-depth",
        "os-membrane-to-wall",
        "os-membrane-to-wall-off-axis",
    }
    assert along_beams <= set(found)
    for name in along_beams:
        row = truth["measurements"][name]
        measured_mm = ruler_mm(found[name])
        assert measured_mm == pytest.approx(found[name].value_mm, rel=TOLERANCE), name
        assert measured_mm == pytest.approx(row["shown_mm"], rel=TOLERANCE), name


@pytest.mark.parametrize("name", ["od-mass-height", "od-mass-height-loop", "od-axial-length"])
def test_wall_and_mass_lie_where_the_phantom_has_them(demo: DemoRun, truth: Mapping[str, Any], name: str) -> None:
    measured_mm = ruler_mm(named(reported(demo), truth)[name])
    assert measured_mm == pytest.approx(truth["measurements"][name]["true_mm"], rel=TOLERANCE)


def test_corrected_values_are_truer_than_displayed_ones(demo: DemoRun, truth: Mapping[str, Any]) -> None:
    corrected = {n: item for n, item in named(reported(demo), truth).items() if item.corrected_mm is not None}
    assert {"od-axial-length", "od-vitreous-depth", "os-membrane-to-wall-off-axis"} <= set(corrected)
    for name, item in corrected.items():
        true_mm = truth["measurements"][name]["true_mm"]
        assert item.corrected_mm == pytest.approx(true_mm, rel=TOLERANCE / 2), name
        assert abs((item.corrected_mm or 0) - true_mm) < abs(item.value_mm - true_mm), name
