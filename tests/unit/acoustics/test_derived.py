"""Volumes, ratios and bases computed from other measurements, each dimension named."""

from __future__ import annotations

import math
from dataclasses import replace
from datetime import UTC, datetime

import pytest
from uncertainties import ufloat
from uncertainties.umath import asin

from gateway.acoustics.derived import derived_value, require_derivation
from gateway.acoustics.measure import measure, measured_value
from gateway.errors.document import DependsOnHeldPartError
from gateway.errors.measurement import (
    DerivationError,
    DisplayedValueDisagreesError,
    MixedDimensionsError,
    SphereDiameterError,
)
from gateway.model.calibration import Calibration, DepthAxis, Geometry, Point
from gateway.model.capture import Capture, CaptureKind
from gateway.model.exam import Exam
from gateway.model.laterality import Eye
from gateway.model.measurement import (
    Measurement,
    MeasurementKind,
    Quantity,
    ThirdDimension,
    TissueSpeed,
    Unit,
    ValueOrigin,
)
from gateway.model.order import Order
from gateway.model.people import Patient, PersonName
from gateway.model.position import ProbePosition, Scan
from gateway.model.session import Session

LINEAR = Calibration(0.1, 0.1, DepthAxis.LEFT_TO_RIGHT, None, 1550.0, geometry=Geometry.LINEAR)
TUMOUR = TissueSpeed(1600.0, "tumour", "test")
KIND = MeasurementKind


def line(name: str, kind: MeasurementKind, mm: float, *, tissue=None, calibration=LINEAR, upwards: bool = False):
    end = Point(100, 100 + 10 * mm) if upwards else Point(100 + 10 * mm, 100)
    measurement = Measurement(name, "c", kind, points=(Point(100, 100), end), tissue_speed=tissue)
    return measured_value(measurement, calibration)


def stated(name: str, kind: MeasurementKind, text: str, unit: Unit = Unit.MM):
    return measured_value(Measurement(name, "c", kind, displayed=Quantity(float(text), unit, text)), None)


A, B, H = line("a", KIND.BASE, 12), line("b", KIND.BASE, 10), line("h", KIND.HEIGHT, 6)


def volume(*of: str, kind=KIND.HALF_ELLIPSOID_VOLUME, third=None, displayed=None) -> Measurement:
    return Measurement("v", "c", kind, of=of, third_dimension=third, displayed=displayed)


def test_a_volume_says_which_measurement_supplied_each_dimension():
    value = derived_value(volume("a", "b", "h"), [A, B, H])
    assert value.value.value == pytest.approx(math.pi / 6 * 12 * 10 * 6)
    assert value.origin is ValueOrigin.DERIVED
    assert value.equation.startswith("pi/6 a b h")
    (remark,) = value.remarks
    for words in ("a: base a, 12", "b: base b, 10", "h: height h, 6"):
        assert words in remark


def test_a_dimension_that_was_not_measured_is_named_as_assumed():
    value = derived_value(volume("a", "h", third=ThirdDimension.LIKE_THE_FIRST), [A, H])
    assert value.value.value == pytest.approx(math.pi / 6 * 12 * 12 * 6)
    assert "b: not measured" in value.remarks[0]
    assert value.equation.endswith("b taken like the first")
    assert any("the dimension that was not measured" in words for words in value.uncertainty.not_included)


@pytest.mark.parametrize(
    ("third", "c"),
    [
        (ThirdDimension.LIKE_THE_FIRST, 12),
        (ThirdDimension.LIKE_THE_SECOND, 10),
        (ThirdDimension.MEAN_OF_BOTH, 11),
    ],
)
def test_an_ellipsoid_from_two_diameters_takes_the_third_as_stated(third, c):
    value = derived_value(volume("a", "b", kind=KIND.ELLIPSOID_VOLUME, third=third), [A, B])
    assert value.value.value == pytest.approx(math.pi / 6 * 12 * 10 * c)
    assert "c: not measured" in value.remarks[0]
    assert f"c taken {third.value.replace('-', ' ')}".replace("mean of", "as the mean of") in value.equation


@pytest.mark.parametrize(
    ("kind", "sources", "third", "error"),
    [
        (KIND.ELLIPSOID_VOLUME, (KIND.BASE, KIND.BASE, KIND.HEIGHT), None, MixedDimensionsError),
        (KIND.HALF_ELLIPSOID_VOLUME, (KIND.BASE, KIND.BASE, KIND.WIDTH), None, MixedDimensionsError),
        (KIND.HALF_ELLIPSOID_VOLUME, (KIND.HEIGHT, KIND.BASE, KIND.HEIGHT), None, MixedDimensionsError),
        (KIND.HALF_ELLIPSOID_VOLUME, (KIND.BASE, KIND.HEIGHT), ThirdDimension.LIKE_THE_SECOND, MixedDimensionsError),
        (KIND.ELLIPSOID_VOLUME, (KIND.BASE, KIND.WIDTH), None, DerivationError),
        (KIND.ELLIPSOID_VOLUME, (KIND.BASE,) * 3, ThirdDimension.MEAN_OF_BOTH, DerivationError),
        (KIND.ELLIPSOID_VOLUME, (KIND.BASE,), ThirdDimension.LIKE_THE_FIRST, DerivationError),
        (KIND.ELLIPSOID_VOLUME, (KIND.BASE, KIND.BASE, KIND.AREA), None, DerivationError),
        (KIND.RATIO, (KIND.BASE, KIND.AREA), None, DerivationError),
        (KIND.RATIO, (KIND.BASE,), None, DerivationError),
        (KIND.ARC_BASE, (KIND.BASE,), None, DerivationError),
        (KIND.DISTANCE, (KIND.BASE,), None, DerivationError),
    ],
)
def test_what_does_not_fit_the_formula_is_refused(kind, sources, third, error):
    with pytest.raises(error):
        require_derivation(kind, sources, third)


def test_no_measurement_stands_for_two_dimensions_silently():
    with pytest.raises(DerivationError, match="twice"):
        derived_value(volume("a", "a", "h"), [A, A, H])


def test_what_is_computed_from_others_is_no_source():
    whole = derived_value(volume("a", "b", "h"), [A, B, H])
    ratio = Measurement("r", "c", KIND.RATIO, of=("v", "w"))
    with pytest.raises(DerivationError, match="itself computed"):
        derived_value(ratio, [whole, replace(whole, measurement=replace(whole.measurement, id="w"))])


def test_a_volume_of_corrected_lengths_stands_beside_the_one_of_displayed_lengths():
    """Along depth the height follows the speed; across, a linear picture's bases keep their length."""
    height = line("h", KIND.HEIGHT, 6, tissue=TUMOUR)
    bases = [line(n, KIND.BASE, mm, tissue=TUMOUR, upwards=True) for n, mm in (("a", 12), ("b", 10))]
    value = derived_value(volume("a", "b", "h"), [*bases, height])
    assert value.corrected.quantity.value == pytest.approx(math.pi / 6 * 12 * 10 * 6 * 1600 / 1550)
    assert "with a at 1600 m/s, b at 1600 m/s, h at 1600 m/s" in value.corrected.formula
    assert "refraction neglected" in value.corrected.formula
    assert value.value.value == pytest.approx(math.pi / 6 * 12 * 10 * 6)


def test_corrected_and_uncorrected_lengths_are_never_mixed():
    value = derived_value(volume("a", "b", "h"), [A, B, line("h", KIND.HEIGHT, 6, tissue=TUMOUR)])
    assert value.corrected is None
    assert value.not_corrected_because == "no corrected value of a, b"


def test_a_length_read_at_its_tissue_s_own_speed_goes_with_corrected_ones():
    at_device = TissueSpeed(1550.0, "wall", "test")
    sources = [line("a", KIND.BASE, 12, tissue=at_device), line("b", KIND.BASE, 10, tissue=TUMOUR)]
    value = derived_value(volume("a", "b", kind=KIND.RATIO), sources)
    assert value.corrected.quantity.value == pytest.approx(12 / (10 * 1600 / 1550))


def test_a_displayed_volume_must_agree_but_for_the_rounding_of_its_dimensions():
    """12.0, 10.0, 6.0 to the tenth: the true one may be 376.99 x (1 + 0.05/12 + 0.05/10 + 0.05/6) = 383.6."""
    sources = [stated("a", KIND.BASE, "12.0"), stated("b", KIND.BASE, "10.0"), stated("h", KIND.HEIGHT, "6.0")]
    value = derived_value(volume("a", "b", "h", displayed=Quantity(382.0, Unit.MM3, "382")), sources)
    assert value.origin is ValueOrigin.DERIVED_AGAIN
    assert value.value.words == "382 mm³"
    assert value.recomputed.value == pytest.approx(376.99, abs=0.01)
    with pytest.raises(DisplayedValueDisagreesError):
        derived_value(volume("a", "b", "h", displayed=Quantity(390.0, Unit.MM3, "390")), sources)


def test_units_are_brought_together():
    sources = [stated("a", KIND.BASE, "1.20", Unit.CM), stated("b", KIND.BASE, "10.0"), stated("h", KIND.HEIGHT, "6.0")]
    value = derived_value(volume("a", "b", "h", displayed=Quantity(0.377, Unit.CM3, "0.377")), sources)
    assert value.recomputed.value == pytest.approx(0.37699, abs=1e-5)


def test_a_ratio_has_no_unit():
    value = derived_value(volume("h", "a", kind=KIND.RATIO), [H, A])
    assert value.value.unit is Unit.ONE
    assert value.value.value == pytest.approx(0.5)
    assert value.value.words.strip() == value.value.text
    assert value.uncertainty.plus_minus(Unit.ONE.words) == f"± {value.uncertainty.text} or more"


def test_arc_and_two_chords_follow_from_a_measured_chord_and_sphere():
    """12 on a sphere of diameter 24: 4 pi and 48 sin 15 degrees."""
    chord, globe = stated("a", KIND.BASE, "12.0"), stated("d", KIND.AXIAL_LENGTH, "24.0")
    arc = derived_value(volume("a", "d", kind=KIND.ARC_BASE), [chord, globe])
    assert arc.value.value == pytest.approx(4 * math.pi)
    two = derived_value(replace(volume("a", kind=KIND.TWO_CHORD_BASE), sphere_diameter_mm=24.0), [chord])
    assert two.value.value == pytest.approx(48 * math.sin(math.radians(15)))
    assert "R = 12 mm as stated" in two.equation
    around = derived_value(volume("d", kind=KIND.CIRCUMFERENCE), [globe])
    assert around.value.value == pytest.approx(24 * math.pi)
    with pytest.raises(SphereDiameterError):
        derived_value(volume("d", "a", kind=KIND.ARC_BASE), [globe, chord])


# ---------------------------------------------------------------- uncertainty


def test_independent_parts_of_a_volume_add_as_squares_and_shared_ones_as_they_are():
    """Calipers: dV/V = sqrt(sum (u/x)^2) (JCGM 100:2008 5.1.2); the scale: three times its share (5.2.2)."""
    calibration = replace(LINEAR, scale_tolerance_percent=3.0)
    sources = [line(n, k, mm, calibration=calibration) for n, k, mm in (
        ("a", KIND.BASE, 12), ("b", KIND.BASE, 10), ("h", KIND.HEIGHT, 6))]  # fmt: skip
    value = derived_value(volume("a", "b", "h"), sources)
    parts = {component.name: component.standard / value.value.value for component in value.uncertainty.components}
    caliper = 0.1 * math.sqrt(2 / 12)
    # The sources enter with the digits that they are shown with, hence the tolerance.
    assert parts["calipers to the pixel"] == pytest.approx(math.hypot(*(caliper / x for x in (12, 10, 6))), rel=1e-3)
    assert parts["scale"] == pytest.approx(3 * 0.03 / math.sqrt(3), rel=1e-3)


def test_each_part_of_a_ratio_agrees_with_another_library_s_propagation():
    """The package `uncertainties` (PyPI), linear propagation of independent inputs."""
    value = derived_value(volume("h", "a", kind=KIND.RATIO), [H, A])
    caliper = 0.1 * math.sqrt(2 / 12)
    theirs = ufloat(6.0, caliper) / ufloat(12.0, caliper)
    (component,) = [c for c in value.uncertainty.components if c.name == "calipers to the pixel"]
    assert component.standard == pytest.approx(theirs.std_dev, rel=1e-6)


def test_the_uncertainty_of_an_arc_agrees_with_another_library_s_propagation():
    chord = replace(A, value=Quantity(12.0, Unit.MM, "12.0"))
    value = derived_value(replace(volume("a", kind=KIND.ARC_BASE), sphere_diameter_mm=24.0), [chord])
    theirs = 24 * asin(ufloat(12.0, 0.1 * math.sqrt(2 / 12)) / 24)
    (component,) = [c for c in value.uncertainty.components if c.name == "calipers to the pixel"]
    assert component.standard == pytest.approx(theirs.std_dev, rel=1e-6)


def test_a_source_without_uncertainty_is_named():
    value = derived_value(volume("a", "b", "h"), [A, stated("b", KIND.BASE, "10.0"), H])
    assert "uncertainty of b (not stated)" in value.uncertainty.not_included


def test_the_shape_is_named_as_assumed():
    value = derived_value(volume("a", "b", "h"), [A, B, H])
    assert "shape (taken as an ellipsoid)" in value.uncertainty.not_included


# ---------------------------------------------------------------- in an exam


def an_exam(*measurements: Measurement) -> Exam:
    capture = Capture("c", CaptureKind.STILL, ("c.png",), Eye.RIGHT, ProbePosition(Scan.MACULA), calibration=LINEAR)
    return Exam(
        "exam",
        Patient("INV-1", "INVENTED", PersonName("Invented^Person")),
        Order(),
        Session(datetime(2026, 3, 2, 9, 30, tzinfo=UTC)),
        (capture,),
        measurements,
    )


def test_a_derived_measurement_may_stand_before_its_sources_and_keeps_its_place():
    whole = volume("a", "b", "h")
    measured = measure(an_exam(whole, A.measurement, B.measurement, H.measurement))
    assert [value.measurement.id for value in measured.values] == ["v", "a", "b", "h"]
    assert measured.values[0].value.value == pytest.approx(math.pi / 6 * 12 * 10 * 6)


def test_what_rests_on_a_held_measurement_is_held_with_it():
    broken = replace(A.measurement, points=(Point(5, 5), Point(5, 5)))
    measured = measure(an_exam(broken, B.measurement, H.measurement, volume("a", "b", "h")))
    assert [value.measurement.id for value in measured.values] == ["b", "h"]
    assert [part.name for part in measured.held] == ["a", "v"]
    assert isinstance(measured.held[1].reason, DependsOnHeldPartError)


def test_a_volume_without_dimensions_says_that_they_are_not_stated():
    value = stated("v", KIND.ELLIPSOID_VOLUME, "377", Unit.MM3)
    assert value.origin is ValueOrigin.TRANSCRIBED
    assert value.remarks == ("how its dimensions were taken is not stated",)


@pytest.mark.parametrize(
    "measurement",
    [
        Measurement("r", "c", KIND.RATIO, of=("nothing", "b")),
        Measurement("r", "c", KIND.HALF_ELLIPSOID_VOLUME, of=("nothing", "b", "h")),
        Measurement("r", "c", KIND.ARC_BASE, of=("nothing",), sphere_diameter_mm=24.0),
    ],
)
def test_from_a_length_of_nothing_follows_nothing(measurement):
    lengths = {
        "nothing": stated("nothing", KIND.BASE, "0.0"),
        "b": stated("b", KIND.BASE, "3.0"),
        "h": stated("h", KIND.HEIGHT, "3.0"),
    }
    assert derived_value(measurement, [lengths[name] for name in measurement.of]).value.value == 0


def test_a_ratio_to_nothing_is_refused():
    measurement = Measurement("r", "c", KIND.RATIO, of=("b", "nothing"))
    with pytest.raises(DerivationError, match="ratio to nothing"):
        derived_value(measurement, [stated("b", KIND.BASE, "3.0"), stated("nothing", KIND.BASE, "0.0")])


def test_a_small_ratio_is_shown_with_digits_that_say_something():
    measurement = Measurement("r", "c", KIND.RATIO, of=("a", "b"))
    value = derived_value(measurement, [stated("a", KIND.WIDTH, "0.005"), stated("b", KIND.WIDTH, "30.0")]).value
    assert value.text == "0.00017"
