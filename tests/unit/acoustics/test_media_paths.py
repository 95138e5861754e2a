"""Calipers across several media: each piece of a beam at its own speed of sound."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from gateway.acoustics.measure import measured_value
from gateway.acoustics.media_paths import stretch_through, through_media_mm
from gateway.errors.measurement import BorderNotDrawnError, GeometryNotStatedError, MediaOrderError
from gateway.model.calibration import Calibration, DepthAxis, Geometry, Point, SectorGeometry
from gateway.model.measurement import Measurement, MeasurementKind, Medium, TissueSpeed

SCALE = 0.1
LINEAR = Calibration(SCALE, SCALE, DepthAxis.TOP_DOWN, None, 1550.0, geometry=Geometry.LINEAR)
SECTOR = Calibration(SCALE, SCALE, DepthAxis.LEFT_TO_RIGHT, SectorGeometry(Point(-80, 200), 8.0), 1550.0)


def medium(speed: float, *line: tuple[float, float], tissue: str = "", tolerance: float | None = None) -> Medium:
    return Medium(TissueSpeed(speed, tissue, "test", tolerance), tuple(Point(*point) for point in line))


VITREOUS = medium(1532.0, tissue="vitreous", tolerance=5.0)
MASS = medium(1600.0, (50, 220), (150, 200), (250, 220), tissue="tumour", tolerance=16.0)


def measured(*points: tuple[float, float], media=(VITREOUS, MASS), calibration=LINEAR):
    drawn = tuple(Point(*point) for point in points)
    return measured_value(Measurement("m", "c", MeasurementKind.HEIGHT, points=drawn, media=media), calibration)


def test_each_piece_is_converted_with_its_own_speed():
    """From 10 mm in front of the border to 5 mm behind it: 10 x 1532/1550 + 5 x 1600/1550, by hand."""
    value = measured((150, 100), (150, 250))
    assert value.value.value == pytest.approx(15.0)
    assert value.corrected.quantity.value == pytest.approx(10 * 1532 / 1550 + 5 * 1600 / 1550, rel=1e-12)
    assert value.corrected.speed is None
    assert [speed.tissue for speed in value.corrected.speeds] == ["vitreous", "tumour"]


def test_the_formula_names_every_piece_and_that_refraction_is_neglected():
    formula = measured((150, 100), (150, 250)).corrected.formula
    assert "depth x 1532/1550 in vitreous, then depth x 1600/1550 in tumour" in formula
    assert "refraction neglected" in formula


def test_a_border_is_met_where_each_beam_crosses_it_not_at_one_depth():
    """At x = 100 the border drawn from (50, 220) to (150, 200) lies at y = 210."""
    ends = through_media_mm(np.array([[100.0, 210.0], [100.0, 260.0]]), LINEAR, (VITREOUS, MASS))
    assert ends[1, 1] - ends[0, 1] == pytest.approx(5.0 * 1600 / 1550)
    assert ends[0, 1] == pytest.approx(21.0 * 1532 / 1550)


def test_one_point_means_the_same_depth_on_every_beam_of_a_fan():
    begins = Point(-80 + 80 + 200, 200)  # 20 mm from the face on the axis
    behind = medium(1000.0, (begins.x, begins.y))
    angle = np.radians(25)
    far = np.array([-8 + 38 * np.cos(angle), 20 + 38 * np.sin(angle)])  # 30 mm from the face
    moved = through_media_mm((far / SCALE)[None, :], SECTOR, (medium(1550.0), behind))[0]
    depth = np.hypot(moved[0] + 8, moved[1] - 20) - 8
    assert depth == pytest.approx(20 + 10 * 1000 / 1550)


def test_one_medium_gives_what_one_tissue_gives():
    points = ((100.0, 120.0), (300.0, 260.0))
    tissue = Measurement(
        "m",
        "c",
        MeasurementKind.HEIGHT,
        points=tuple(Point(*p) for p in points),
        tissue_speed=TissueSpeed(1532.0, "vitreous", "test", 5.0),
    )
    by_media, by_tissue = measured(*points, media=(VITREOUS,), calibration=SECTOR), measured_value(tissue, SECTOR)
    assert by_media.corrected.quantity.value == pytest.approx(by_tissue.corrected.quantity.value, rel=1e-12)
    ours = {c.name.removesuffix(" in vitreous"): c.standard for c in by_media.corrected.uncertainty.components}
    theirs = {c.name: c.standard for c in by_tissue.corrected.uncertainty.components}
    assert ours == pytest.approx(theirs, rel=1e-5)


def test_media_at_the_device_s_speed_change_nothing_and_say_so():
    value = measured((150, 100), (150, 250), media=(medium(1550.0), medium(1550.0, (0, 200), (300, 200))))
    assert value.corrected is None
    assert value.not_corrected_because == "the device already used 1550 m/s"


def test_a_beam_beside_the_drawn_border_is_not_corrected_and_the_reason_says_why():
    value = measured((20, 100), (20, 250))
    assert value.corrected is None
    assert "passes beside the line at which medium 2 begins" in value.not_corrected_because
    with pytest.raises(BorderNotDrawnError):
        through_media_mm(np.array([[20.0, 100.0]]), LINEAR, (VITREOUS, MASS))


def test_up_to_one_pixel_beside_the_border_belongs_to_its_end():
    ends = through_media_mm(np.array([[49.0, 230.0], [50.0, 230.0]]), LINEAR, (VITREOUS, MASS))
    assert ends[0, 1] == pytest.approx(ends[1, 1])


def test_without_geometry_media_are_refused_with_the_reason():
    value = measured((150, 100), (150, 250), calibration=replace(LINEAR, geometry=None))
    assert value.corrected is None
    assert "how the beams lie is not stated" in value.not_corrected_because
    with pytest.raises(GeometryNotStatedError):
        through_media_mm(np.array([[1.0, 1.0]]), replace(LINEAR, geometry=None), (VITREOUS,))


@pytest.mark.parametrize(
    "media",
    [
        (),
        (MASS,),
        (VITREOUS, medium(1600.0)),
        (VITREOUS, medium(1600.0, (50, 200), (150, 200), (100, 210))),
        (VITREOUS, medium(1600.0, (50, 200), (50, 220))),
        (VITREOUS, medium(1600.0, (0, 200), (300, 200)), medium(1500.0, (0, 150), (300, 150))),
        (VITREOUS, medium(1600.0, (0, 150), (300, 250)), medium(1500.0, (0, 250), (300, 150))),
    ],
    ids=["none", "first with a border", "no border", "folds back", "along a beam", "wrong order", "crossing lines"],
)
def test_media_that_cannot_be_passed_one_after_the_other_are_refused(media):
    with pytest.raises(MediaOrderError):
        through_media_mm(np.array([[50.0, 300.0], [250.0, 300.0]]), LINEAR, media)


def test_what_lies_behind_the_points_does_not_disturb_them():
    crossing = (
        VITREOUS,
        medium(1600.0, (0, 150), (300, 250)),
        medium(1500.0, (0, 250), (300, 150)),
    )
    ends = through_media_mm(np.array([[250.0, 100.0]]), LINEAR, crossing)
    assert ends[0, 1] == pytest.approx(10.0 * 1532 / 1550)


def test_each_speed_s_tolerance_counts_by_the_way_through_it():
    """10 mm x 5/1550/sqrt(3) and 5 mm x 16/1550/sqrt(3), by hand; where the lines lie is named as left out."""
    uncertainty = measured((150, 100), (150, 250)).corrected.uncertainty
    standards = {component.name: component.standard for component in uncertainty.components}
    assert standards["speed of sound in vitreous"] == pytest.approx(10 * 5 / 1550 / np.sqrt(3), rel=1e-6)
    assert standards["speed of sound in tumour"] == pytest.approx(5 * 16 / 1550 / np.sqrt(3), rel=1e-6)
    left_out = " | ".join(uncertainty.not_included)
    assert "where the media begin (as drawn)" in left_out
    assert "refraction (neglected, not quantified)" in left_out


def test_a_scale_that_is_off_moves_points_and_borders_together():
    """A straight line through both media grows with the scale as a whole: 2 % / sqrt(3) of the corrected length."""
    value = measured((150, 100), (150, 250), calibration=replace(LINEAR, scale_tolerance_percent=2.0))
    scale = next(c for c in value.corrected.uncertainty.components if c.name == "scale")
    assert scale.standard == pytest.approx(value.corrected.quantity.value * 0.02 / np.sqrt(3), rel=1e-5)


def test_moved_points_follow_shown_ones_at_the_speed_of_their_medium():
    """Two media over a straight border: along the beam each point moves by its own medium's ratio, across it by one."""
    mass = medium(1600.0, (0, 200), (400, 200), tissue="tumour")
    slopes = stretch_through(np.array([[50.0, 0.0], [50.0, 100.0], [50.0, 300.0]]), LINEAR, [VITREOUS, mass])
    assert slopes[:, 1, 1] == pytest.approx([1532 / 1550, 1532 / 1550, 1600 / 1550], rel=1e-6)
    assert slopes[:, 0, 0] == pytest.approx([1.0, 1.0, 1.0])
    assert slopes[:, 0, 1] == pytest.approx([0.0, 0.0, 0.0])
