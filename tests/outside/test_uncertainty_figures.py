"""Uncertainties against the GUM, against another library's propagation, and against published figures."""

from __future__ import annotations

import math

import numpy as np
import pytest
from uncertainties import ufloat
from uncertainties.umath import acos, hypot

from gateway.acoustics.measure import Conditions, measured_value
from gateway.acoustics.repeats import deviation_of_one, repeatability_95
from gateway.acoustics.resolution import axial_resolution_mm, wavelength_mm
from gateway.acoustics.uncertainty import combined
from gateway.mapping.repeatability import load_repeatability
from gateway.model.calibration import Calibration, DepthAxis, Point, SectorGeometry
from gateway.model.measurement import Measurement, MeasurementKind, Quantity, TissueSpeed, Unit
from gateway.model.position import Scan
from gateway.model.session import Probe
from gateway.model.uncertainty import UncertaintyComponent

PIXEL_MM = 0.0625
ONE_PIXEL = 1 / math.sqrt(12)
"""Standard uncertainty of a place known to the pixel (JCGM 100:2008 4.3.7: half-width over root 3)."""


def components(uncertainty) -> dict[str, float]:
    return {component.name: component.standard for component in uncertainty.components}


# ---------------------------------------------------------------- JCGM 100:2008


def test_the_end_gauge_of_the_gum_is_combined_to_32_nm():
    """JCGM 100:2008 H.1, table H.1: 25, 9.7, 2.9 and 16.6 nm give 32 nm, and 9.7 nm itself comes from 5.8, 3.9 and 6.7.

    Values from memory; they agree among themselves.
    """
    comparison = combined([UncertaintyComponent("", value, "") for value in (5.8, 3.9, 6.7)])
    assert comparison.standard == pytest.approx(9.7, abs=0.05)
    whole = combined([UncertaintyComponent("", value, "") for value in (25.0, comparison.standard, 2.9, 16.6)])
    assert round(whole.standard) == 32


def test_the_last_digit_of_a_display_counts_0_29_of_its_step():
    """JCGM 100:2008 F.2.2.1: a resolution of d gives u = 0.29 d (value from memory)."""
    measurement = Measurement(
        "m", "c", MeasurementKind.DISTANCE, points=(Point(0, 0), Point(96, 0)), displayed=Quantity(6.0, Unit.MM, "6.0")
    )
    value = measured_value(measurement, Calibration(PIXEL_MM, PIXEL_MM))
    assert components(value.uncertainty)["last digit displayed"] == pytest.approx(0.29 * 0.1, rel=0.01)


# ---------------------------------------------------------------- the library `uncertainties` (PyPI, E. O. Lebigot)


def places(points, scale=1.0):
    """Points in mm whose pixels, and whose scale where it is uncertain, are known as the other library writes it."""
    return [[ufloat(v, ONE_PIXEL) * PIXEL_MM * scale for v in point] for point in points]


def along_fan(point, pivot_mm, face_mm, ratio):
    """A point moved along its beam from a pivot, written anew for the other library."""
    x, y = point[0] - pivot_mm[0], point[1] - pivot_mm[1]
    radius = hypot(x, y)
    factor = (face_mm + (radius - face_mm) * ratio) / radius
    return x * factor, y * factor


@pytest.mark.parametrize(
    ("far", "pivot"),
    [
        ((300.0, 240.0), (-112.0, 240.0)),
        ((260.0, 320.0), (-112.0, 240.0)),
        ((205.0, 90.0), (-60.0, 200.0)),
        ((201.0, 241.0), (-112.0, 240.0)),
    ],
)
def test_a_corrected_length_in_a_fan_is_as_uncertain_as_another_library_finds_it(far, pivot):
    near, face_mm, speed_tolerance, scale_tolerance = (200.0, 240.0), 8.0, 12.0, 0.02
    calibration = Calibration(
        PIXEL_MM,
        PIXEL_MM,
        DepthAxis.LEFT_TO_RIGHT,
        SectorGeometry(Point(*pivot), face_mm),
        1550.0,
        scale_tolerance_percent=100 * scale_tolerance,
    )
    measurement = Measurement(
        "m",
        "c",
        MeasurementKind.DISTANCE,
        points=(Point(*near), Point(*far)),
        tissue_speed=TissueSpeed(1532.0, "vitreous", "x", speed_tolerance),
    )
    # The scale is taken to stretch the picture about the pivot; a length does not depend on which point stays.
    scale = ufloat(1.0, scale_tolerance / math.sqrt(3))
    ratio = ufloat(1532.0, speed_tolerance / math.sqrt(3)) / 1550.0
    moved = [
        along_fan(
            [(ufloat(v, ONE_PIXEL) - p) * PIXEL_MM * scale for v, p in zip(point, pivot, strict=True)],
            (0.0, 0.0),
            face_mm,
            ratio,
        )
        for point in (near, far)
    ]
    length = hypot(moved[1][0] - moved[0][0], moved[1][1] - moved[0][1])
    corrected = measured_value(measurement, calibration).corrected
    assert corrected.quantity.value == pytest.approx(length.nominal_value, rel=1e-9)
    assert corrected.uncertainty.standard == pytest.approx(length.std_dev, rel=1e-6)


def test_a_corrected_length_in_a_linear_picture_is_as_uncertain_as_another_library_finds_it():
    calibration = Calibration(PIXEL_MM, PIXEL_MM, DepthAxis.TOP_DOWN, None, 1550.0)
    measurement = Measurement(
        "m",
        "c",
        MeasurementKind.DISTANCE,
        points=(Point(10, 100), Point(12, 250)),
        tissue_speed=TissueSpeed(1532.0, "vitreous", "x", 12.0),
    )
    ratio = ufloat(1532.0, 12.0 / math.sqrt(3)) / 1550.0
    (x0, y0), (x1, y1) = places([(10, 100), (12, 250)])
    length = hypot(x1 - x0, (y1 - y0) * ratio)
    assert measured_value(measurement, calibration).corrected.uncertainty.standard == pytest.approx(
        length.std_dev, rel=1e-6
    )


@pytest.mark.parametrize("corners", [[(10, 10), (110, 20), (60, 140)], [(10, 10), (10, 90), (200, 95), (190, 5)]])
def test_an_area_is_as_uncertain_as_another_library_finds_it(corners):
    points = places(corners, ufloat(1.0, 0.02 / math.sqrt(3)))

    area = sum(a[0] * b[1] - b[0] * a[1] for a, b in zip(points, points[1:] + points[:1], strict=True)) / 2
    measurement = Measurement("m", "c", MeasurementKind.AREA, points=tuple(Point(*p) for p in corners))
    value = measured_value(measurement, Calibration(PIXEL_MM, PIXEL_MM, scale_tolerance_percent=2.0))
    assert value.recomputed.value == pytest.approx(abs(area.nominal_value))
    assert value.uncertainty.standard == pytest.approx(area.std_dev, rel=1e-6)


@pytest.mark.parametrize("corners", [[(110, 20), (10, 10), (60, 140)], [(60, 140), (10, 10), (110, 20)]])
def test_an_angle_is_as_uncertain_as_another_library_finds_it_and_knows_no_scale(corners):
    first, vertex, last = places(corners, ufloat(1.0, 0.02 / math.sqrt(3)))
    a = [first[i] - vertex[i] for i in range(2)]
    b = [last[i] - vertex[i] for i in range(2)]
    angle = acos((a[0] * b[0] + a[1] * b[1]) / (hypot(*a) * hypot(*b))) * 180 / math.pi
    measurement = Measurement("m", "c", MeasurementKind.ANGLE, points=tuple(Point(*p) for p in corners))
    value = measured_value(measurement, Calibration(PIXEL_MM, PIXEL_MM, scale_tolerance_percent=2.0))
    assert value.uncertainty.standard == pytest.approx(angle.std_dev, rel=1e-6)
    assert components(value.uncertainty)["scale"] == pytest.approx(0.0, abs=1e-12)


def test_a_length_scatters_as_stated_when_its_calipers_are_thrown_at_random():
    """Simulation with numpy (JCGM 101:2008 in spirit): calipers anywhere within their pixels."""
    rng = np.random.default_rng(20260302)
    near, far = np.array([200.0, 240.0]), np.array([300.0, 280.0])
    jitter = rng.uniform(-0.5, 0.5, (200_000, 2, 2))
    lengths = np.linalg.norm((far + jitter[:, 1] - near - jitter[:, 0]) * PIXEL_MM, axis=1)
    measurement = Measurement("m", "c", MeasurementKind.DISTANCE, points=(Point(*near), Point(*far)))
    value = measured_value(measurement, Calibration(PIXEL_MM, PIXEL_MM))
    assert value.uncertainty.standard == pytest.approx(float(np.std(lengths)), rel=0.01)


# ---------------------------------------------------------------- published figures


@pytest.mark.parametrize(
    ("kind", "scan", "deviation", "repeatability"),
    [
        (MeasurementKind.HEIGHT, Scan.A_SCAN, 0.18, 0.499),
        (MeasurementKind.BASE, Scan.TRANSVERSE, 0.79, 2.19),
        (MeasurementKind.BASE, Scan.LONGITUDINAL, 0.69, 1.91),
    ],
)
def test_published_spreads_give_the_smallest_change_to_trust(kind, scan, deviation, repeatability):
    """Haritoglou C et al., Br J Ophthalmol 2002;86:1390-4; 1.96 sqrt(2) SD worked out by hand."""
    figure = next(f for f in load_repeatability() if f.kind is kind and scan in f.scans)
    assert figure.standard_deviation == deviation
    assert "Haritoglou" in figure.source
    assert round(repeatability_95(deviation), 3 if repeatability < 1 else 2) == repeatability
    assert deviation_of_one(repeatability_95(deviation)) == pytest.approx(deviation)


def test_between_session_limits_of_an_axial_length_give_the_spread_of_one_reading():
    """Cass K et al., Br J Ophthalmol 2002;86:344-9: contact, between sessions +-0.51 mm."""
    figure = next(f for f in load_repeatability() if "0.51" in f.statistic_words)
    assert figure.standard_deviation == pytest.approx(0.184, abs=5e-4)


def test_the_wavelength_at_10_mhz_in_vitreous_is_0_1532_mm():
    assert wavelength_mm(1532.0, 10.0) == pytest.approx(0.1532)


@pytest.mark.parametrize(("cycles", "resolution_mm"), [(2.0, 0.1532), (1.0, 0.0766), (3.0, 0.2298)])
def test_axial_resolution_is_half_the_pulse(cycles, resolution_mm):
    """c n / (2 f). Two cycles at 10 MHz: the 0.15 mm of high-frequency systems (Acoustics Today, spring 2017)."""
    assert axial_resolution_mm(Probe("", 10.0, cycles), 1532.0) == pytest.approx(resolution_mm)


def test_a_bandwidth_says_the_same_as_the_cycles_of_its_pulse():
    """A pulse of n cycles has a bandwidth of about f / n (rule of thumb, from memory)."""
    from_bandwidth = axial_resolution_mm(Probe("", 10.0, None, 5.0), 1532.0)
    assert from_bandwidth == pytest.approx(axial_resolution_mm(Probe("", 10.0, 2.0), 1532.0))


def test_a_frequency_alone_gives_no_resolution():
    assert axial_resolution_mm(Probe("SECTOR_MECH", 10.0), 1532.0) is None
    value = measured_value(
        Measurement("m", "c", MeasurementKind.DISTANCE, points=(Point(0, 0), Point(96, 0))),
        Calibration(PIXEL_MM, PIXEL_MM, DepthAxis.LEFT_TO_RIGHT, None, 1532.0),
        Conditions(Probe("SECTOR_MECH", 10.0)),
    )
    assert "resolution (cycles or bandwidth of the pulse not stated)" in value.uncertainty.not_included
