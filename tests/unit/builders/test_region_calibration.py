"""Scales are told in centimetres for the region where they hold, and nowhere else."""

from __future__ import annotations

import dataclasses

import pytest
from hypothesis import given
from hypothesis import strategies as st

from gateway.builders.attributes import AttributeWriter
from gateway.builders.region_calibration import PictureSize, aspect_ratio, millimetres_as_centimetres, write_calibration
from gateway.errors.media import RegionOutsidePictureError
from gateway.model.a_scan import AScanStrip
from gateway.model.calibration import Calibration, DepthAxis, PixelRegion, Point, ScaleSource, SectorGeometry
from gateway.model.position import ProbePosition, Scan
from tests.unit.builders.invented_captures import BARE_STILL

SIZE = PictureSize(rows=480, columns=640)
SQUARE = Calibration(0.0625, 0.0625)


def written(calibration: Calibration | None, scan: Scan = Scan.TRANSVERSE) -> AttributeWriter:
    w = AttributeWriter()
    capture = dataclasses.replace(BARE_STILL, calibration=calibration, position=ProbePosition(scan))
    write_calibration(w, capture, SIZE, 10, "captures[0]")
    return w


def test_no_scale_writes_nothing() -> None:
    assert not len(written(None).dataset)


def test_a_scale_of_the_whole_picture_is_told_twice_and_alike() -> None:
    """PS3.3 C.8.5.5: units 3 are centimetres, Max X1 and Y1 inclusive; 10.7.1.3: spacing is row, column in mm."""
    dataset = written(Calibration(0.05, 0.0625)).dataset
    region = dataset.SequenceOfUltrasoundRegions[0]
    assert (region.RegionLocationMinX0, region.RegionLocationMinY0) == (0, 0)
    assert (region.RegionLocationMaxX1, region.RegionLocationMaxY1) == (639, 479)
    assert (region.PhysicalUnitsXDirection, region.PhysicalUnitsYDirection) == (3, 3)
    assert (region.RegionSpatialFormat, region.RegionDataType) == (1, 1)
    assert [float(mm) for mm in dataset.PixelSpacing] == [region.PhysicalDeltaY * 10, region.PhysicalDeltaX * 10]
    assert "PixelAspectRatio" not in dataset
    assert region.TransducerFrequency == 10000


def test_a_region_keeps_its_scale_to_itself() -> None:
    dataset = written(Calibration(0.05, 0.0625, region=PixelRegion(10, 20, 400, 300))).dataset
    region = dataset.SequenceOfUltrasoundRegions[0]
    assert (region.RegionLocationMinX0, region.RegionLocationMinY0) == (10, 20)
    assert (region.RegionLocationMaxX1, region.RegionLocationMaxY1) == (400, 300)
    assert "PixelSpacing" not in dataset
    assert list(dataset.PixelAspectRatio) == [5, 4]  # height to width of a pixel, PS3.3 C.7.6.3.1.7


def test_square_pixels_of_a_region_need_no_aspect_ratio() -> None:
    assert "PixelAspectRatio" not in written(dataclasses.replace(SQUARE, region=PixelRegion(0, 0, 9, 9))).dataset


@pytest.mark.parametrize(("source", "flags"), [(ScaleSource.DEVICE, 2), (ScaleSource.DERIVED, 0)])
def test_flags_say_who_made_the_scale(source: ScaleSource, flags: int) -> None:
    """Bit 1 of Region Flags, PS3.3 C.8.5.5.1.3."""
    dataset = written(dataclasses.replace(SQUARE, scale_source=source)).dataset
    assert dataset.SequenceOfUltrasoundRegions[0].RegionFlags == flags


@pytest.mark.parametrize(
    "region",
    [PixelRegion(0, 0, 640, 479), PixelRegion(0, 0, 639, 480), PixelRegion(-1, 0, 9, 9), PixelRegion(5, 0, 4, 9)],
)
def test_a_region_that_leaves_the_picture_is_refused(region: PixelRegion) -> None:
    with pytest.raises(RegionOutsidePictureError):
        written(dataclasses.replace(SQUARE, region=region))


@pytest.mark.parametrize(
    ("axis", "pivot", "expected"),
    [
        # 8 mm at 0.0625 mm a pixel are 128 pixels from the pivot along the depth axis.
        (DepthAxis.LEFT_TO_RIGHT, Point(-120.5, 239.5), (7, 239)),
        (DepthAxis.TOP_DOWN, Point(320.0, -100.0), (320, 28)),
    ],
)
def test_the_reference_pixel_is_the_middle_of_the_face(
    axis: DepthAxis, pivot: Point, expected: tuple[int, int]
) -> None:
    """PS3.3 C.8.5.5.1.16: for 2D the middle of the transducer face, counted from the region's corner."""
    region = PixelRegion(10, 20, 600, 400)
    calibration = Calibration(0.0625, 0.0625, axis, SectorGeometry(pivot, 8), region=region)
    item = written(calibration).dataset.SequenceOfUltrasoundRegions[0]
    pixel = (item.ReferencePixelX0 + region.x0, item.ReferencePixelY0 + region.y0)
    assert pixel == expected
    # The middle of that pixel in centimetres from the face: the face itself is where the physical value is 0.
    face = (pivot.x + 128, pivot.y) if axis is DepthAxis.LEFT_TO_RIGHT else (pivot.x, pivot.y + 128)
    assert item.ReferencePixelPhysicalValueX == pytest.approx((pixel[0] + 0.5 - face[0]) * 0.00625)
    assert item.ReferencePixelPhysicalValueY == pytest.approx((pixel[1] + 0.5 - face[1]) * 0.00625)


def test_no_reference_pixel_without_the_geometry() -> None:
    sector = SectorGeometry(Point(0, 0), 8)
    for calibration in (SQUARE, Calibration(0.1, 0.1, None, sector), Calibration(0.1, 0.1, DepthAxis.TOP_DOWN)):
        assert "ReferencePixelX0" not in written(calibration).dataset.SequenceOfUltrasoundRegions[0]


@pytest.mark.parametrize(
    ("axis", "units", "deltas"),
    [(DepthAxis.LEFT_TO_RIGHT, (3, 0), (0.005, 1)), (DepthAxis.TOP_DOWN, (0, 3), (1, 0.00625))],
)
def test_an_a_scan_has_a_length_along_its_depth_only(
    axis: DepthAxis, units: tuple[int, int], deltas: tuple[float, float]
) -> None:
    """PS3.3 C.8.5.5.1.1 to .15: format 4 is a waveform, data type 12H another amplitude, unit 0 none."""
    dataset = written(Calibration(0.05, 0.0625, axis), Scan.A_SCAN).dataset
    region = dataset.SequenceOfUltrasoundRegions[0]
    assert (region.RegionSpatialFormat, region.RegionDataType) == (4, 0x12)
    assert (region.PhysicalUnitsXDirection, region.PhysicalUnitsYDirection) == units
    assert (region.PhysicalDeltaX, region.PhysicalDeltaY) == deltas
    assert "PixelSpacing" not in dataset
    assert "PixelAspectRatio" not in dataset


def test_an_a_scan_of_unknown_direction_has_no_scale() -> None:
    assert not len(written(Calibration(0.05, 0.05), Scan.A_SCAN).dataset)


@given(st.integers(1, 100_000))
def test_centimetres_have_the_digits_of_the_millimetres(micrometres: int) -> None:
    length_mm = micrometres / 1000
    assert millimetres_as_centimetres(length_mm) == micrometres / 10_000


@pytest.mark.parametrize(
    ("vertical", "horizontal", "ratio"), [(0.1, 0.1, (1, 1)), (0.06, 0.07, (6, 7)), (0.1, 0.3, (1, 3))]
)
def test_aspect_ratios_are_the_smallest_whole_numbers(
    vertical: float, horizontal: float, ratio: tuple[int, int]
) -> None:
    assert aspect_ratio(vertical, horizontal) == ratio


STRIP = AScanStrip(PixelRegion(0, 400, 639, 479), 0.05, DepthAxis.LEFT_TO_RIGHT, -1.25, Point(12.5, 470.25))
BESIDE = dataclasses.replace(SQUARE, region=PixelRegion(0, 0, 639, 399), a_scan_strip=STRIP)


def test_a_strip_is_a_second_region_and_the_picture_stays_the_first() -> None:
    """PS3.3 C.8.5.5: unit 1 is percent, unit 3 centimetres; a delta may be negative (C.8.5.5.1.17)."""
    dataset = written(BESIDE).dataset
    picture, strip = dataset.SequenceOfUltrasoundRegions
    assert (picture.RegionSpatialFormat, picture.RegionDataType) == (1, 1)
    assert (picture.RegionLocationMaxY1, picture.PhysicalDeltaX) == (399, 0.00625)
    assert (strip.RegionSpatialFormat, strip.RegionDataType, strip.RegionFlags) == (4, 0x12, 2)
    assert (strip.RegionLocationMinX0, strip.RegionLocationMinY0) == (0, 400)
    assert (strip.RegionLocationMaxX1, strip.RegionLocationMaxY1) == (639, 479)
    assert (strip.PhysicalUnitsXDirection, strip.PhysicalUnitsYDirection) == (3, 1)
    assert (strip.PhysicalDeltaX, strip.PhysicalDeltaY) == (0.005, -1.25)
    assert strip.TransducerFrequency == picture.TransducerFrequency == 10000
    assert "PixelSpacing" not in dataset


def test_zero_depth_of_a_strip_is_its_reference_pixel() -> None:
    """PS3.3 C.8.5.5.1.16: counted from the corner of its own region; depth of a pixel is then value + n delta."""
    _, strip = written(BESIDE).dataset.SequenceOfUltrasoundRegions
    assert (strip.ReferencePixelX0, strip.ReferencePixelY0) == (12, 70)
    assert strip.ReferencePixelPhysicalValueX == pytest.approx(0.0)
    # The middle of row 470 lies a quarter of a pixel below the baseline, and 1.25 % a pixel grow upwards.
    assert strip.ReferencePixelPhysicalValueY == pytest.approx(0.25 * -1.25)


def test_a_strip_without_a_stated_zero_or_scale_gets_none() -> None:
    bare = dataclasses.replace(STRIP, depth_axis=DepthAxis.TOP_DOWN, percent_per_pixel=None, zero=None)
    _, strip = written(dataclasses.replace(BESIDE, a_scan_strip=bare)).dataset.SequenceOfUltrasoundRegions
    assert (strip.PhysicalUnitsXDirection, strip.PhysicalUnitsYDirection) == (0, 3)
    assert (strip.PhysicalDeltaX, strip.PhysicalDeltaY) == (1.0, 0.005)
    assert "ReferencePixelX0" not in strip
    unscaled = dataclasses.replace(STRIP, percent_per_pixel=None)
    _, strip = written(dataclasses.replace(BESIDE, a_scan_strip=unscaled)).dataset.SequenceOfUltrasoundRegions
    assert "ReferencePixelPhysicalValueY" not in strip


def test_a_strip_of_an_a_scan_alone_is_the_only_region() -> None:
    alone = dataclasses.replace(SQUARE, a_scan_strip=STRIP)
    (strip,) = written(alone, Scan.A_SCAN).dataset.SequenceOfUltrasoundRegions
    assert (strip.RegionSpatialFormat, strip.PhysicalDeltaX) == (4, 0.005)
    assert len(written(BESIDE, Scan.A_SCAN).dataset.SequenceOfUltrasoundRegions) == 2


def test_a_strip_that_leaves_the_picture_is_refused() -> None:
    beyond = dataclasses.replace(STRIP, region=PixelRegion(0, 400, 639, 480))
    with pytest.raises(RegionOutsidePictureError) as caught:
        written(dataclasses.replace(BESIDE, a_scan_strip=beyond))
    assert caught.value.where == "captures[0].calibration.a_scan_strip.region"
