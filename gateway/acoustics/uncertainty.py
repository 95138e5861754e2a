"""The uncertainty of a measured value: its components, combined after the GUM (JCGM 100:2008, clauses named beside).

Only what is stated counts; what is not stated is named as left out. Limits without a distribution are taken as
rectangular (4.3.7), components as independent of each other (5.1.2), the coverage factor is 2 (6.2, 6.3.3).
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from decimal import ROUND_CEILING, Decimal

import numpy as np
from numpy.typing import NDArray

from gateway.acoustics.beam_coordinates import scale_mm
from gateway.acoustics.beams import BeamsAtPoints, beams_at, for_other_speed_mm, to_mm
from gateway.acoustics.media_paths import stretch_through, through_media_mm
from gateway.acoustics.quantities import assumptions_of, computed_value, drawing_of, in_unit, quantity_rule
from gateway.acoustics.repeatability import repeatability_components
from gateway.acoustics.resolution import axial_resolution_mm
from gateway.acoustics.sensitivity import gradient
from gateway.model.calibration import Calibration
from gateway.model.measurement import Measurement, Medium, Quantity, Unit
from gateway.model.repeatability import RepeatabilityFigure
from gateway.model.session import Probe
from gateway.model.uncertainty import Uncertainty, UncertaintyComponent

Floats = NDArray[np.float64]
Parts = tuple[list[UncertaintyComponent], list[str]]
"""What is included, and what is left out and why."""

WHOLE_WIDTH = 1 / math.sqrt(12.0)
"""Standard uncertainty of a rectangular distribution of width 1, e.g. of a last digit (4.3.7, F.2.2.1)."""
HALF_WIDTH = 1 / math.sqrt(3.0)
"""Standard uncertainty of a rectangular distribution of half-width 1 (4.3.7)."""
_AT_DEVICE_SPEED = "a displayed value stands at the device's own"
_SCALE_STEP = 1e-4
_ACROSS = 0.1
"""Share of a length across the beams above which it is said that lateral resolution is not known."""


@dataclass(frozen=True, slots=True)
class Reading:
    """A value read from calipers: the displayed one, or one for another speed of sound.

    Parameters
    ----------
    points_px : ndarray, shape (n, 2)
    unit : Unit
        Of the value and of its uncertainty.
    corrected_to_m_per_s : float or None
        None for the displayed value.
    displayed : Quantity or None
        Whose last digit counts; None for a computed or corrected value.
    media : tuple of Medium
        What the beams pass, for a value corrected piece by piece.
    """

    measurement: Measurement
    calibration: Calibration
    points_px: Floats
    unit: Unit
    corrected_to_m_per_s: float | None = None
    displayed: Quantity | None = None
    media: tuple[Medium, ...] = ()

    @property
    def speed_m_per_s(self) -> float | None:
        """The speed of sound behind the value; of several the fastest, in which a pulse is longest."""
        if self.media:
            return max(medium.speed.speed_m_per_s for medium in self.media)
        return self.corrected_to_m_per_s or self.calibration.assumed_speed_m_per_s


def caliper_uncertainty(reading: Reading, probe: Probe, figures: Sequence[RepeatabilityFigure]) -> Uncertainty:
    """Return the budget of a value read from calipers.

    Parameters
    ----------
    reading : Reading
        One that could be measured, and corrected where it is a corrected one.
    probe : Probe
    figures : sequence of RepeatabilityFigure
        Those that hold for this measurement, the one to be used first.
    """
    slopes = _Slopes(reading)
    included = [slopes.calipers(), *_last_digit(reading)]
    left_out: list[str] = []
    for parts in (
        _scale(reading, slopes),
        _speed(reading, slopes),
        _resolution(reading, slopes, probe),
        repeatability_components(reading.measurement, reading.unit, figures),
        _refraction(reading),
    ):
        included += parts[0]
        left_out += parts[1]
    left_out += assumptions_of(reading.measurement)
    return combined(included, left_out, remark_on(reading.measurement))


def transcribed_uncertainty(
    measurement: Measurement, unit: Unit, figures: Sequence[RepeatabilityFigure]
) -> Uncertainty:
    """Return the budget of a number that came without its calipers: repeats and the site's own statistics alone."""
    included, left_out = repeatability_components(measurement, unit, figures, own_alone=True)
    left_out.append("calipers, scale, speed of sound and resolution (the number came without its calipers)")
    return combined(included, left_out, remark_on(measurement))


def combined(components: Sequence[UncertaintyComponent], left_out: Sequence[str] = (), remark: str = "") -> Uncertainty:
    """Combine independent components as root of the sum of squares (JCGM 100:2008 5.1.2)."""
    standard = math.hypot(*(component.standard for component in components))
    return Uncertainty(tuple(components), tuple(left_out), standard, remark=remark)


def shown(expanded: float, most_decimals: int) -> str:
    """Return an expanded uncertainty in two significant digits, rounded up (JCGM 100:2008 7.2.6).

    Parameters
    ----------
    most_decimals : int
        Never more than the value itself is shown with.
    """
    if expanded <= 0:
        return f"{0:.{most_decimals}f}"
    decimals = min(most_decimals, max(0, 1 - math.floor(math.log10(expanded))))
    # Nine significant digits first: binary noise is no reason to round 0.05 up to 0.06.
    digits = Decimal(f"{expanded:.9g}").quantize(Decimal(1).scaleb(-decimals), ROUND_CEILING)
    return f"{digits:f}"


def remark_on(measurement: Measurement) -> str:
    """Say where few repeats make the statement weak (JCGM 100:2008 G.3)."""
    count = len(measurement.repeats)
    return f"rests on {count} repeats, so that k = 2 covers less than 95 %" if 2 <= count < 10 else ""


class _Slopes:
    """How a reading follows its points, computed once for all components."""

    def __init__(self, reading: Reading) -> None:
        calibration, speed = reading.calibration, reading.corrected_to_m_per_s
        self._reading = reading
        self.beams = beams_at(reading.points_px, calibration)
        self.ratio = 1.0
        points_mm = to_mm(reading.points_px, calibration)
        if reading.media:
            points_mm = through_media_mm(reading.points_px, calibration, reading.media)
        elif speed is not None and calibration.assumed_speed_m_per_s is not None:
            self.ratio = speed / calibration.assumed_speed_m_per_s
            points_mm = for_other_speed_mm(reading.points_px, calibration, speed)
        kind = reading.measurement.kind
        unit_factor = in_unit(1.0, reading.unit)
        self.of_moved = gradient(kind, points_mm, drawing_of(reading.measurement)) * unit_factor
        self.of_points = self.of_moved
        if reading.media:
            moved_by_shown = stretch_through(reading.points_px, calibration, reading.media)
            self.of_points = np.einsum("ni,nij->nj", self.of_moved, moved_by_shown)
        elif self.beams is not None:
            self.of_points = np.einsum("ni,nij->nj", self.of_moved, self.beams.stretch(self.ratio))

    def _behind_media(
        self, points_mm: Floats, calibration: Calibration | None = None, media: Sequence[Medium] = ()
    ) -> float:
        """Return the value for shown points; for another scale or other speeds where they are given."""
        reading = self._reading
        points_px = points_mm / scale_mm(reading.calibration)
        moved_mm = through_media_mm(points_px, calibration or reading.calibration, media or reading.media)
        value = computed_value(reading.measurement.kind, moved_mm, drawing_of(reading.measurement))
        return in_unit(value, reading.unit)

    def by_speed_in(self, number: int) -> float:
        """How the value changes for each m/s of the speed in one of the media."""
        reading = self._reading
        points_mm = to_mm(reading.points_px, reading.calibration)
        ends = []
        for step in (0.5, -0.5):
            media = list(reading.media)
            speed = media[number].speed
            media[number] = replace(media[number], speed=replace(speed, speed_m_per_s=speed.speed_m_per_s + step))
            ends.append(self._behind_media(points_mm, media=media))
        return abs(ends[0] - ends[1])

    def calipers(self) -> UncertaintyComponent:
        pitch = np.array([self._reading.calibration.mm_per_pixel_x, self._reading.calibration.mm_per_pixel_y])
        standard = float(np.linalg.norm(self.of_points * pitch * WHOLE_WIDTH))
        return UncertaintyComponent(
            "calipers to the pixel", standard, "half a pixel either way in x and y at each point, rectangular"
        )

    def by_scale(self) -> float:
        """How the value changes where the scale grows to twice itself, to first order."""
        points_mm = to_mm(self._reading.points_px, self._reading.calibration)
        if self._reading.media:
            # The borders between the media grow with the points.
            stated = self._reading.calibration
            ends = [
                self._behind_media(
                    points_mm,
                    replace(
                        stated,
                        mm_per_pixel_x=stated.mm_per_pixel_x * (1 + step),
                        mm_per_pixel_y=stated.mm_per_pixel_y * (1 + step),
                    ),
                )
                for step in (_SCALE_STEP, -_SCALE_STEP)
            ]
            return abs(ends[0] - ends[1]) / (2 * _SCALE_STEP)
        from_origin_mm = self.beams.from_origin_mm if self.beams is not None else points_mm
        return abs(float(np.sum(self.of_points * from_origin_mm)))

    def by_speed(self, beams: BeamsAtPoints, assumed_m_per_s: float) -> float:
        """How the value changes for each m/s of the speed corrected to."""
        moved_per_speed = beams.directions * (beams.depth_mm / assumed_m_per_s)[:, np.newaxis]
        return abs(float(np.sum(self.of_moved * moved_per_speed)))

    def along_beams(self, beams: BeamsAtPoints) -> float:
        """How the value changes where each point moves along its beam, independently."""
        return float(np.linalg.norm(np.sum(self.of_moved * beams.directions, axis=1)))


def _last_digit(reading: Reading) -> list[UncertaintyComponent]:
    if reading.displayed is None or not reading.displayed.text:
        return []
    step = 10.0 ** -len(reading.displayed.text.partition(".")[2])
    return [UncertaintyComponent("last digit displayed", step * WHOLE_WIDTH, "half a step either way, rectangular")]


def _scale(reading: Reading, slopes: _Slopes) -> Parts:
    tolerance = reading.calibration.scale_tolerance_percent
    if tolerance is None:
        return [], ["scale (its tolerance is not stated)"]
    standard = slopes.by_scale() * tolerance / 100 * HALF_WIDTH
    return [UncertaintyComponent("scale", standard, f"stated tolerance {tolerance:g} % either way, rectangular")], []


def _speed(reading: Reading, slopes: _Slopes) -> Parts:
    if reading.media:
        return _speeds_in_media(reading, slopes)
    speed, assumed = reading.measurement.tissue_speed, reading.calibration.assumed_speed_m_per_s
    if speed is None:
        is_own = reading.measurement.media
        return [], [f"speed of sound ({_AT_DEVICE_SPEED if is_own else 'no tissue stated'})"]
    is_behind_value = reading.speed_m_per_s == speed.speed_m_per_s
    if not is_behind_value:
        return [], [f"speed of sound ({_AT_DEVICE_SPEED})"]
    if speed.tolerance_m_per_s is None:
        return [], ["speed of sound (its tolerance is not stated)"]
    if slopes.beams is None or assumed is None:
        return [], ["speed of sound (the beams are not stated)"]
    standard = slopes.by_speed(slopes.beams, assumed) * speed.tolerance_m_per_s * HALF_WIDTH
    how = f"stated tolerance {speed.tolerance_m_per_s:g} m/s either way, rectangular"
    return [UncertaintyComponent("speed of sound", standard, how)], []


def _speeds_in_media(reading: Reading, slopes: _Slopes) -> Parts:
    included, left_out = [], ["where the media begin (as drawn)"]
    for number, medium in enumerate(reading.media):
        name = f"speed of sound in {medium.speed.tissue.replace('-', ' ') or f'medium {number + 1}'}"
        tolerance = medium.speed.tolerance_m_per_s
        if tolerance is None:
            left_out.append(f"{name} (its tolerance is not stated)")
            continue
        how = f"stated tolerance {tolerance:g} m/s either way, rectangular"
        included.append(UncertaintyComponent(name, slopes.by_speed_in(number) * tolerance * HALF_WIDTH, how))
    return included, left_out


def _resolution(reading: Reading, slopes: _Slopes, probe: Probe) -> Parts:
    speed = reading.speed_m_per_s
    resolution_mm = axial_resolution_mm(probe, speed) if speed is not None else None
    if resolution_mm is None:
        missing = "speed of sound" if speed is None else "cycles or bandwidth of the pulse"
        return [], [f"resolution ({missing} not stated)"]
    if slopes.beams is None:
        return [], ["resolution (the beams are not stated)"]
    along = slopes.along_beams(slopes.beams)
    pulse = f"{probe.cycles:g} cycles" if probe.cycles is not None else f"{probe.bandwidth_mhz:g} MHz bandwidth"
    how = f"axial resolution {resolution_mm:.3f} mm from {pulse}, as width of a rectangle at each point along its beam"
    whole = float(np.linalg.norm(slopes.of_moved))
    across = math.sqrt(max(0.0, whole**2 - along**2))
    left_out = ["resolution across the beams (not stated)"] if across > _ACROSS * whole else []
    return [UncertaintyComponent("axial resolution", along * resolution_mm * WHOLE_WIDTH, how)], left_out


def _refraction(reading: Reading) -> Parts:
    tolerance_mm = reading.measurement.refraction_tolerance_mm
    if tolerance_mm is None or quantity_rule(reading.measurement.kind).unit is not Unit.MM:
        return [], ["refraction (neglected, not quantified)"]
    standard = in_unit(tolerance_mm, reading.unit) * HALF_WIDTH
    return [UncertaintyComponent("refraction", standard, f"stated tolerance {tolerance_mm:g} mm, rectangular")], []
