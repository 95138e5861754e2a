from __future__ import annotations

from dataclasses import replace

import pytest

from gateway.acoustics.measure import Conditions, measured_value
from gateway.acoustics.repeatability import figures_for
from gateway.acoustics.uncertainty import shown
from gateway.model.calibration import Calibration, DepthAxis, Point, SectorGeometry
from gateway.model.capture import AcquisitionSettings, Capture, CaptureKind, Contact
from gateway.model.laterality import Eye
from gateway.model.measurement import Measurement, MeasurementKind, Quantity, TissueSpeed, Unit
from gateway.model.position import ProbePosition, Scan
from gateway.model.repeatability import Operators, RepeatabilityFigure, Whose
from gateway.model.session import Probe
from gateway.model.uncertainty import NOT_STATED

SCALE = 0.1
LINEAR = Calibration(SCALE, SCALE, DepthAxis.LEFT_TO_RIGHT, None, 1550.0)
PUBLISHED = RepeatabilityFigure(
    MeasurementKind.DISTANCE, 0.5, Unit.MM, "standard deviation 0.5 mm", Operators.SEVERAL, Whose.PUBLISHED, "c", "src"
)
OWN = replace(PUBLISHED, standard_deviation=0.2, operators=Operators.SAME, whose=Whose.OWN)


def length(*points, displayed="", tissue=None, **more) -> Measurement:
    return Measurement(
        "m1",
        "c1",
        MeasurementKind.DISTANCE,
        points=tuple(Point(*p) for p in points),
        displayed=Quantity(float(displayed), Unit.MM, displayed) if displayed else None,
        tissue_speed=tissue,
        **more,
    )


def readings(*texts: str) -> tuple[Quantity, ...]:
    return tuple(Quantity(float(text), Unit.MM, text) for text in texts)


def standard(uncertainty, name) -> float:
    return next(c.standard for c in uncertainty.components if name in c.name)


ALONG = length((0, 0), (100, 0))


def test_calipers_known_to_the_pixel_along_one_axis():
    """Two end points, each u = pitch / sqrt(12): by hand 0.1 sqrt(2/12) = 0.0408 mm."""
    value = measured_value(ALONG, LINEAR)
    assert standard(value.uncertainty, "calipers") == pytest.approx(0.0408248, rel=1e-5)
    assert value.uncertainty.expanded == pytest.approx(0.0816497, rel=1e-5)
    assert value.uncertainty.plus_minus("mm") == "± 0.09 mm or more"


def test_only_a_budget_that_leaves_nothing_out_stands_without_at_least():
    whole = replace(measured_value(ALONG, LINEAR).uncertainty, not_included=())
    assert whole.plus_minus("mm") == "± 0.09 mm"


def test_pixels_that_are_not_square_count_along_their_own_axis():
    oblong = replace(LINEAR, mm_per_pixel_y=0.4)
    across = measured_value(length((0, 0), (0, 100)), oblong)
    assert standard(across.uncertainty, "calipers") == pytest.approx(4 * 0.0408248, rel=1e-5)


def test_a_path_is_less_certain_by_its_ends_than_by_nothing_in_between_on_a_straight_line():
    path = replace(length((0, 0), (50, 0), (100, 0)), kind=MeasurementKind.PATH_LENGTH)
    assert standard(measured_value(path, LINEAR).uncertainty, "calipers") == pytest.approx(0.0408248, rel=1e-5)


def test_what_is_not_stated_is_left_out_by_name():
    left_out = " | ".join(measured_value(ALONG, LINEAR).uncertainty.not_included)
    for words in ("scale", "speed of sound", "resolution", "repeatability", "refraction"):
        assert words in left_out


def test_a_stated_tolerance_of_the_scale_counts_as_a_rectangle():
    """10 mm x 2 % / sqrt(3) = 0.1155 mm."""
    value = measured_value(ALONG, replace(LINEAR, scale_tolerance_percent=2.0))
    assert standard(value.uncertainty, "scale") == pytest.approx(0.11547, rel=1e-4)
    assert not any("scale" in words for words in value.uncertainty.not_included)


def test_a_tolerance_of_the_speed_belongs_to_the_value_at_that_speed():
    """10 mm x 15.5 / 1550 / sqrt(3) = 0.0577 mm."""
    vitreous = TissueSpeed(1532.0, "vitreous", "x", 15.5)
    value = measured_value(length((0, 0), (100, 0), tissue=vitreous), LINEAR)
    assert standard(value.corrected.uncertainty, "speed of sound") == pytest.approx(0.057735, rel=1e-4)
    assert not any("speed" in c.name for c in value.uncertainty.components)
    as_device = measured_value(length((0, 0), (100, 0), tissue=replace(vitreous, speed_m_per_s=1550.0)), LINEAR)
    assert standard(as_device.uncertainty, "speed of sound") == pytest.approx(0.057735, rel=1e-4)


def test_resolution_counts_along_the_beam_alone():
    """1550 x 2 / (2 x 10 MHz) = 0.155 mm; x sqrt(2/12) = 0.0633 mm; nothing across."""
    probe = Conditions(Probe("SECTOR_MECH", 10.0, 2.0))
    along = measured_value(ALONG, LINEAR, probe).uncertainty
    assert standard(along, "axial resolution") == pytest.approx(0.0632785, rel=1e-4)
    assert not any("across" in words for words in along.not_included)
    across = measured_value(length((0, 0), (0, 100)), LINEAR, probe).uncertainty
    assert standard(across, "axial resolution") == pytest.approx(0.0, abs=1e-12)
    assert "resolution across the beams (not stated)" in across.not_included


def test_resolution_needs_the_direction_of_the_beams():
    value = measured_value(ALONG, replace(LINEAR, depth_axis=None), Conditions(Probe("", 10.0, 2.0)))
    assert "resolution (the beams are not stated)" in value.uncertainty.not_included


def test_refraction_counts_where_somebody_states_it():
    """0.3 mm / sqrt(3) = 0.1732 mm."""
    value = measured_value(length((0, 0), (100, 0), refraction_tolerance_mm=0.3), LINEAR)
    assert standard(value.uncertainty, "refraction") == pytest.approx(0.173205, rel=1e-5)
    assert not any("refraction" in words for words in value.uncertainty.not_included)


# ---------------------------------------------------------------- repeatability


def test_a_published_figure_says_that_it_is_not_yours():
    uncertainty = measured_value(ALONG, LINEAR, Conditions(figures=(PUBLISHED,))).uncertainty
    (component,) = [c for c in uncertainty.components if "published, not yours" in c.name]
    assert (component.standard, component.is_published) == (0.5, True)
    assert component.name.startswith("reproducibility")
    assert "src" in component.how


def test_repeatability_of_one_operator_is_not_reproducibility_of_several():
    uncertainty = measured_value(ALONG, LINEAR, Conditions(figures=(OWN,))).uncertainty
    assert standard(uncertainty, "repeatability (the site's own)") == 0.2
    assert "differences between operators (not stated)" in uncertainty.not_included


def test_repeats_go_before_any_figure_which_is_then_named_as_left_out():
    measurement = length((0, 0), (100, 0), repeats=readings("9.9", "10.0", "10.1"))
    uncertainty = measured_value(measurement, LINEAR, Conditions(figures=(PUBLISHED,))).uncertainty
    assert standard(uncertainty, "3 repeats") == pytest.approx(0.1)
    assert not any(c.is_published for c in uncertainty.components)
    assert any("published, not yours" in words for words in uncertainty.not_included)
    assert "3 repeats" in uncertainty.remark


def test_repeats_that_are_all_the_same_are_not_certain():
    measurement = length(displayed="10.0", repeats=readings("10.0", "10.0"))
    assert standard(measured_value(measurement, None).uncertainty, "2 repeats") == pytest.approx(0.0288675, rel=1e-5)


def test_repeats_in_centimetres_count_for_a_value_in_millimetres():
    in_cm = tuple(Quantity(q.value / 10, Unit.CM, f"{q.value / 10:.2f}") for q in readings("9.9", "10.0", "10.1"))
    value = measured_value(length((0, 0), (100, 0), repeats=in_cm), LINEAR)
    assert standard(value.uncertainty, "3 repeats") == pytest.approx(0.1)


def test_a_figure_that_is_no_standard_deviation_is_shown_and_never_counted():
    figure = replace(PUBLISHED, standard_deviation=None, statistic_words="mean absolute difference 0.64 mm")
    uncertainty = measured_value(ALONG, LINEAR, Conditions(figures=(figure,))).uncertainty
    assert [c.name for c in uncertainty.components] == ["calipers to the pixel"]
    assert any("0.64" in words for words in uncertainty.not_included)


def test_a_transcribed_number_has_no_uncertainty_unless_the_site_knows_one():
    bare = measured_value(length(displayed="10.0"), LINEAR, Conditions(Probe("", 10.0, 2.0), (PUBLISHED,)))
    assert not bare.uncertainty.is_stated
    assert bare.uncertainty.plus_minus("mm") == NOT_STATED
    known = measured_value(length(displayed="10.0"), LINEAR, Conditions(figures=(OWN,))).uncertainty
    assert [c.standard for c in known.components] == [0.2]
    assert known.plus_minus("mm") == "± 0.4 mm or more"


def capture(scan=Scan.TRANSVERSE, contact=None) -> Capture:
    return Capture(
        "c1", CaptureKind.STILL, ("x",), Eye.RIGHT, ProbePosition(scan), settings=AcquisitionSettings(contact=contact)
    )


@pytest.mark.parametrize(
    "other",
    [
        {"kind": MeasurementKind.HEIGHT},
        {"structure": "choroid"},
        {"scans": (Scan.LONGITUDINAL,)},
        {"contact": Contact.IMMERSION},
    ],
)
def test_a_figure_for_something_else_does_not_hold(other):
    assert figures_for(ALONG, capture(), [replace(PUBLISHED, **other)]) == ()


def test_the_sites_own_figure_comes_before_a_published_one():
    table = [PUBLISHED, OWN]
    assert figures_for(ALONG, capture(), table) == (OWN, PUBLISHED)


# ---------------------------------------------------------------- digits


@pytest.mark.parametrize(
    ("expanded", "most", "text"),
    [
        (0.0816, 2, "0.09"),
        (0.05, 2, "0.05"),
        (1.3801, 2, "1.4"),
        (1.4, 2, "1.4"),
        (12.34, 2, "13"),
        (0.0123, 4, "0.013"),
        (0.0996, 3, "0.100"),
        (0.3, 0, "1"),
        (0.1 + 0.2, 1, "0.3"),
    ],
)
def test_an_uncertainty_has_two_digits_rounded_up_and_no_more_decimals_than_the_value(expanded, most, text):
    assert shown(expanded, most) == text


def test_a_corrected_value_is_shown_to_the_last_digit_of_its_uncertainty_and_kept_whole():
    sector = replace(LINEAR, sector=SectorGeometry(Point(-50, 0), 1.0))
    vitreous = TissueSpeed(1532.0, "vitreous", "x")
    value = measured_value(
        length((10, 0), (133, 0), displayed="12.30", tissue=vitreous), sector, Conditions(figures=(PUBLISHED,))
    )
    assert value.value.words == "12.30 mm"
    assert value.corrected.quantity.words == "12.2 mm"
    assert value.corrected.quantity.value == pytest.approx(12.3 * 1532 / 1550, rel=1e-12)
    assert value.corrected.uncertainty.plus_minus("mm") == "± 1.1 mm or more"


def test_a_computed_value_is_shown_to_the_last_digit_of_its_uncertainty():
    value = measured_value(length((0, 0), (123.4, 0)), LINEAR, Conditions(figures=(PUBLISHED,)))
    assert value.value.words == "12.3 mm"
    assert value.value.value == pytest.approx(12.34)


def test_a_perpendicular_height_of_nothing_is_as_uncertain_as_one_beside_it():
    """At zero the absolute value has a kink; its slope on either side is the same."""
    uncertain = []
    for y in (40.0, 41.0):
        points = tuple(Point(*p) for p in ((10.0, 40.0), (90.0, 40.0), (50.0, y)))
        value = measured_value(Measurement("m", "c", MeasurementKind.PERPENDICULAR_HEIGHT, points=points), LINEAR)
        uncertain.append(value.uncertainty.standard)
    assert uncertain[0] == pytest.approx(uncertain[1], rel=1e-3)
    assert uncertain[0] > 0.01
