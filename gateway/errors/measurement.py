"""Errors of measuring mathematics and of measurements that do not agree with themselves."""

from __future__ import annotations

from typing import ClassVar

from gateway.errors import GatewayError


class MeasurementError(GatewayError):
    """A length, angle or area cannot be computed or trusted."""

    code: ClassVar[str] = "measurement"
    exit_code: ClassVar[int] = 3


class SpeedNotPhysicalError(MeasurementError):
    """A speed of sound that no tissue, implant or coupling medium has."""

    code = "speed-not-physical"
    explanation = (
        "Speeds of sound in eyes, implants and coupling media lie between about 500 m/s (gas-filled eye, whole-path"
        " average) and 3000 m/s (implant plastics). A value outside 300 to 8000 m/s is a slip of the keyboard or a "
        "wrong unit. Write the speed in metres per second."
    )


class PointsCoincideError(MeasurementError):
    """Two calipers on the same spot measure nothing."""

    code = "points-coincide"
    explanation = (
        "A length between two equal points is zero and cannot be what was measured. Set the second caliper where it"
        " belongs, or leave the points out so that the number travels as transcribed."
    )


class PointCountError(MeasurementError):
    """Too few or too many points for the kind of measurement."""

    code = "point-count"
    explanation = (
        "A distance, height, thickness, base, width, depth or axial length has two end points, a path two or more, an "
        "angle three (the vertex in the middle), an area or perimeter at least three. A perpendicular height has the "
        "two ends of its chord and then the top. An ellipse has the ends of one axis and those of the other, or its "
        "centre and one end of each; the circumference of a sphere the two ends of its diameter. A base along the wall "
        "has its two ends, a two-chord base its two ends with the point on the wall between them in the middle."
    )


class PointBehindProbeError(MeasurementError):
    """A point that lies nearer to the pivot than the probe face does."""

    code = "point-behind-probe"
    explanation = (
        "No echo comes from behind the probe face. Either the caliper is outside the sector or the stated pivot or "
        "pivot-to-face distance is wrong; no correction is computed from it."
    )


class NoScaleError(MeasurementError):
    """Calipers on a picture whose pixels have no stated size."""

    code = "no-scale"
    explanation = (
        "A caliper in pixels becomes millimetres only by the scale of its own picture. A scale is never borrowed "
        "from another capture: state mm_per_pixel for this one, or leave the points out and give the displayed "
        "number."
    )


class DisplayedValueDisagreesError(MeasurementError):
    """The displayed number and the calipers tell different lengths."""

    code = "displayed-value-disagrees"
    explanation = (
        "The number that the device displayed and the number recomputed from its calipers and scale differ by more "
        "than 1 %. One of them is wrong: a scale copied from another depth setting, points in another picture size,"
        " calipers that were moved after the number was read. The measurement is held until a person decides; "
        "nothing is averaged."
    )


class GeometryNotStatedError(MeasurementError):
    """Beams asked for on a picture of which nobody says how they lie."""

    code = "geometry-not-stated"
    explanation = (
        "Depth and place across the beams have a meaning only where the calibration says how the beams lie: geometry: "
        "linear with depth_axis, or sector with its pivot. State one of them for this capture."
    )


class SectorAngleError(MeasurementError):
    """A sector that opens wider than any probe does."""

    code = "sector-angle"
    explanation = (
        "A hand-held probe looks to one side: a fan of more than 180 degrees, of none or of less is a slip. Write the "
        "whole angle of the fan in degrees, from the first beam to the last."
    )


class MediaOrderError(MeasurementError):
    """Media along the beams whose borders cannot be crossed one after the other."""

    code = "media-order"
    explanation = (
        "Media are listed from the probe face on. The first begins at the face and has no border; each further one "
        "begins at a line on the picture that every beam crosses once, and deeper than the medium before it. A line "
        "that runs back on itself, or two lines that cross, leave open in which medium a point lies. Draw each line "
        "across the beams, from one side to the other."
    )


class BorderNotDrawnError(MeasurementError):
    """A beam that passes beside the line at which a medium begins."""

    code = "border-not-drawn"
    explanation = (
        "An end point lies on a beam for which nobody drew where the next medium begins. The line is not prolonged by "
        "guesswork: draw it so far that the beams through all points of the measurement cross it."
    )


class SelfCrossingOutlineError(MeasurementError):
    """An outline that crosses or touches itself."""

    code = "self-crossing-outline"
    explanation = (
        "Where an outline crosses itself, one part of the area is taken away from the other. Give the corners in the "
        "order in which the outline runs, each once."
    )


class PointsOnOneLineError(MeasurementError):
    """An outline or an ellipse without any area."""

    code = "points-on-one-line"
    explanation = (
        "The points of an area must not lie on one line: there is nothing inside. Set the points along the outline, or "
        "write kind: path-length."
    )


class EllipseAxesError(MeasurementError):
    """Axes of an ellipse that do not halve each other at right angles."""

    code = "ellipse-axes"
    explanation = (
        "The axes of an ellipse cross at right angles in their middles (5 degrees and 5 % of the longer axis are "
        "allowed for the hand). Give the ends of one axis, then those of the other; or the centre and one end of each."
    )


class SphereDiameterError(MeasurementError):
    """A chord longer than the sphere it is said to lie in, or a sphere of no or absurd size."""

    code = "sphere-diameter"
    explanation = (
        "A base along the wall is computed on a sphere: its diameter must be stated, and no chord is longer than it. "
        "Write sphere_diameter_mm, usually the eye's own, or name a measurement of it."
    )


class DerivationError(MeasurementError):
    """A quantity computed from measurements that do not fit its formula."""

    code = "derivation"
    explanation = (
        "A volume needs two dimensions and a third, or two and third_dimension, which says how the third is taken. A "
        "ratio needs two measurements of one dimension. What is measured goes in, not what is itself computed from "
        "other measurements."
    )


class MixedDimensionsError(DerivationError):
    """A height where a diameter belongs, or a diameter where a height belongs."""

    code = "mixed-dimensions"
    explanation = (
        "Pi/6 a b c with three diameters is an ellipsoid, pi/6 a b h with a height above the base is half of one: the "
        "same formula with another third dimension. A height among the diameters of an ellipsoid, or a diameter in "
        "place of the height, gives twice or half the volume. Choose the kind that fits, and name the height last."
    )


class CorrectionRefusedError(MeasurementError):
    """A correction for another speed of sound that the stated geometry does not allow."""

    code = "correction-refused"
    explanation = (
        "Changing the speed of sound moves every echo along its beam. Without the depth axis, or off the beam axis "
        "without the pivot of the sector, the beams are not known, so no corrected value is given; the displayed "
        "value stays as it is. State depth_axis and sector in the capture's calibration to get a correction."
    )


class DifferentPatientsError(MeasurementError):
    """Exams that are not known to be of one patient."""

    code = "different-patients"
    explanation = (
        "Exams are compared only where patient identifier and its issuer are the same in all of them: the same number "
        "from two issuers may be two people, and a missing issuer says nothing. Mend the identifier at its source, or "
        "leave the other patient's exam out."
    )


class NothingToCompareError(MeasurementError):
    """Fewer than two visits with a date."""

    code = "nothing-to-compare"
    explanation = (
        "A comparison needs two visits or more, each with a date. Reports of one study count as one visit, and of "
        "those the one written last is used."
    )


class RepeatabilityTableError(MeasurementError):
    """The table of repeatability cannot be used."""

    code = "repeatability-table"
    explanation = (
        "Each row of the table names a kind of measurement, a figure and what that figure is, whether one operator or "
        "several read, who found it and where that is written. A table with a doubtful row is refused as a whole."
    )


class ToleranceNotApplicableError(MeasurementError):
    """A tolerance of something that this measurement does not have."""

    code = "tolerance-not-applicable"
    explanation = (
        "A tolerance of the speed of sound belongs to a stated tissue or speed, one of refraction to a length in "
        "millimetres. A tolerance of nothing would silently be left out of the uncertainty."
    )


class GateOrderError(MeasurementError):
    """Gates of an A-scan that run backwards or overlap."""

    code = "gate-order"
    explanation = (
        "A gate runs from the nearer echo to the farther one, in microseconds after the pulse, and the next gate "
        "begins where it ends or later. A gate that runs backwards or overlaps another would count a piece of the eye "
        "twice or take it away. Write the gates from front to back."
    )


class FormulaNotApplicableError(MeasurementError):
    """A published correction of axial length applied to something for which it was not published."""

    code = "formula-not-applicable"
    explanation = (
        "Each published correction holds for readings taken at a stated speed of sound, for certain lenses and for a "
        "certain filling of the vitreous cavity; some need material and thickness of the implant. Applied to anything "
        "else it gives a wrong length, so the measurement is held. Choose the formula published for this reading, or "
        "leave formula out."
    )


class GatesDisagreeError(MeasurementError):
    """A displayed length and gates that tell different lengths."""

    code = "gates-disagree"
    explanation = (
        "The displayed number differs by more than 1 % both from the sum of the gated segments and from the same time "
        "at the speed of the reading. One of them belongs to another measurement; the measurement is held until a "
        "person decides."
    )


class ReflectivityNotStandardizedError(MeasurementError):
    """Reflectivity asked for where the A-scan is not said to be standardized."""

    code = "reflectivity-not-standardized"
    explanation = (
        "Percent and classes of reflectivity are defined for a standardized A-scan at a stated tissue sensitivity "
        "alone. The same spike is higher or lower at another gain, and grey levels of a B-scan are no reflectivity. "
        "State a_scan with standardized: yes and tissue_sensitivity_db, or leave the percent out."
    )


class LineNotMeasurableError(MeasurementError):
    """A line on a picture along which no A-scan can be read."""

    code = "line-not-measurable"
    explanation = (
        "An A-scan along a line needs two different points inside the picture and the scale of that picture; at "
        "another speed of sound it also needs the speed that the device assumed and the direction of the beams."
    )


class PointInStripError(MeasurementError):
    """Calipers on a strip with an A-scan."""

    code = "point-in-strip"
    explanation = (
        "A strip with an A-scan has a scale of its own along depth, and amplitude across it; the scale of the picture "
        "beside it would give a wrong length. Give the number that the device displayed, or gates in microseconds, "
        "without points."
    )


class TraceNotMeasurableError(MeasurementError):
    """Calipers on an A-scan for something that an A-scan does not show."""

    code = "trace-not-measurable"
    explanation = (
        "On an A-scan one axis is depth and the other is amplitude. Two calipers give a length along depth, whatever "
        "the height of the spikes on which they stand; an area, an angle or a line with corners has no meaning there. "
        "State depth_axis in the capture's calibration, so that the two axes can be told apart."
    )


class StripOverlapsPictureError(MeasurementError):
    """A strip with an A-scan that is not kept apart from the picture beside it."""

    code = "strip-overlaps-picture"
    explanation = (
        "Each pixel has one scale. Where a strip with an A-scan is stated, the picture beside it needs a region of its "
        "own that does not overlap the strip: state calibration.region, and mend the one that reaches into the other."
    )
