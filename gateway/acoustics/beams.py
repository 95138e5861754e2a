"""Beams on the picture: from pixels to millimetres, and moving echoes along their beams for another speed of sound.

In a sector the beams fan out from a pivot behind the probe face, so a point lies at ``x = (a + r) sin(angle)``,
``z = (a + r) cos(angle) - a`` with `a` the distance from pivot to face and `r` the depth along the beam. A wrong speed
scales `r` alone. In a linear picture all beams run along the depth axis and the lateral pitch is fixed. Refraction is
neglected.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from gateway.acoustics.beam_coordinates import Fan, Rows, fan_of, require_before_face, scale_mm
from gateway.acoustics.pulse_echo import checked_speed, checked_speeds
from gateway.errors.measurement import CorrectionRefusedError
from gateway.model.calibration import Calibration, DepthAxis, Geometry

ALONG_AXIS_DEG = 5.0
"""How far a line may lean from the depth axis and still count as along it where no pivot is stated. Leaning by `t`
changes the correction by sin(t)^2 of itself: under 1 % of a correction that is itself about 1 %."""


def to_mm(points_px: NDArray[np.float64], calibration: Calibration) -> NDArray[np.float64]:
    """Scale picture points to millimetres at the device's assumed speed.

    Parameters
    ----------
    points_px : ndarray, shape (..., 2)
        x, y in pixels, corner convention.

    Returns
    -------
    ndarray, shape (..., 2)
        x, y in millimetres from the picture's top-left corner.
    """
    return np.multiply(points_px, scale_mm(calibration), dtype=np.float64)


def for_other_speed_mm(
    points_px: NDArray[np.float64], calibration: Calibration, speed_m_per_s: ArrayLike
) -> NDArray[np.float64]:
    """Move points along their beams to where they lie at another speed of sound.

    Parameters
    ----------
    points_px : ndarray, shape (..., n, 2)
        The n points of one measurement, or of many at once; pixels, corner convention.
    calibration : Calibration
        With the assumed speed; the sector where there is one.
    speed_m_per_s : float or array_like, shape (...)
        One for all, or one for each measurement.

    Returns
    -------
    ndarray, shape (..., n, 2)
        Millimetres from the picture's top-left corner.

    Raises
    ------
    CorrectionRefusedError
        If the assumed speed, the depth axis or (off the axis) the pivot is not stated.
    PointBehindProbeError
        If a point lies between pivot and probe face.
    """
    if calibration.assumed_speed_m_per_s is None:
        raise CorrectionRefusedError("the speed of sound that the device assumed is not stated")
    ratio = checked_speeds(speed_m_per_s) / checked_speed(calibration.assumed_speed_m_per_s)
    # One ratio for each measurement, not for each of its points and coordinates.
    ratio = ratio[..., np.newaxis, np.newaxis] if ratio.ndim else ratio
    points_mm = to_mm(points_px, calibration)
    if calibration.sector is not None:
        return _along_fan(points_mm, fan_of(calibration.sector, 0, scale_mm(calibration)), ratio)
    if calibration.depth_axis is None:
        raise CorrectionRefusedError("neither the depth axis nor the pivot of the sector is stated")
    axis = 0 if calibration.depth_axis is DepthAxis.LEFT_TO_RIGHT else 1
    rows = Rows(calibration.face_px * float(scale_mm(calibration)[axis]), axis)
    if calibration.geometry is Geometry.LINEAR:
        require_before_face(rows.coordinates(points_mm))
    else:
        _refuse_off_axis(points_mm, axis)
    moved = points_mm.copy()
    moved[..., axis] += (points_mm[..., axis] - rows.face_mm) * (ratio[..., 0] - 1.0 if ratio.ndim else ratio - 1.0)
    return moved


def corrected_lengths_mm(
    points_px: NDArray[np.float64], calibration: Calibration, speeds_m_per_s: ArrayLike
) -> NDArray[np.float64]:
    """Return the lengths of many calipers of one picture, each for its own speed of sound, in one call.

    Parameters
    ----------
    points_px : ndarray, shape (m, 2, 2)
        Two end points each; pixels, corner convention.
    speeds_m_per_s : float or array_like, shape (m,)

    Returns
    -------
    ndarray, shape (m,)

    Raises
    ------
    CorrectionRefusedError, PointBehindProbeError, SpeedNotPhysicalError
        As `for_other_speed_mm`, where any of them is refused.
    """
    moved_mm = for_other_speed_mm(points_px, calibration, speeds_m_per_s)
    step_mm = moved_mm[..., 1, :] - moved_mm[..., 0, :]
    lengths_mm: NDArray[np.float64] = np.hypot(step_mm[..., 0], step_mm[..., 1])
    return lengths_mm


def _along_fan(points_mm: NDArray[np.float64], fan: Fan, ratio: NDArray[np.float64]) -> NDArray[np.float64]:
    shown = fan.coordinates(points_mm)
    require_before_face(shown)
    depth_mm, from_pivot_mm = shown.depth_mm[..., np.newaxis], points_mm - fan.pivot_mm
    # On the pivot itself no direction is left to move along, and no depth to move by.
    radius_mm = np.maximum(depth_mm + fan.face_mm, np.finfo(np.float64).tiny)
    moved: NDArray[np.float64] = fan.pivot_mm + from_pivot_mm * (fan.face_mm + depth_mm * ratio) / radius_mm
    return moved


def _refuse_off_axis(points_mm: NDArray[np.float64], axis: int) -> None:
    steps = np.diff(points_mm, axis=-2)
    lean_deg = np.degrees(np.arctan2(np.abs(steps[..., 1 - axis]), np.abs(steps[..., axis])))
    if np.any(lean_deg > ALONG_AXIS_DEG):
        raise CorrectionRefusedError(
            "the line leaves the depth axis and the pivot of the sector is not stated",
            was=f"{float(np.max(lean_deg)):.0f} degrees off the axis",
            fix="state sector.pivot and sector.pivot_to_face_mm for this capture",
        )


@dataclass(frozen=True, slots=True)
class BeamsAtPoints:
    """The beams through some points, as far as the uncertainty of a length needs them.

    Parameters
    ----------
    directions : ndarray, shape (n, 2)
        Unit vectors away from the probe.
    from_origin_mm : ndarray, shape (n, 2)
        Points from the pivot, or from the picture's corner in a linear picture: what grows with the scale.
    depth_mm : ndarray, shape (n,)
        Along the beam from the face; in a linear picture from its edge.
    pivot_to_face_mm : float or None
        None in a linear picture.
    """

    directions: NDArray[np.float64]
    from_origin_mm: NDArray[np.float64]
    depth_mm: NDArray[np.float64]
    pivot_to_face_mm: float | None

    def stretch(self, ratio: float) -> NDArray[np.float64]:
        """Return how moved points follow the points themselves.

        Parameters
        ----------
        ratio : float
            New speed of sound over the assumed one.

        Returns
        -------
        ndarray, shape (n, 2, 2)
            d(moved) / d(point): `ratio` along a beam; across it 1 in a linear picture, less or more in a fan.
        """
        along = self.directions[:, :, np.newaxis] * self.directions[:, np.newaxis, :]
        across = np.eye(2) - along
        radius_mm = self.depth_mm + (self.pivot_to_face_mm or 0.0)
        widening = np.ones_like(radius_mm)
        if self.pivot_to_face_mm is not None:
            widening = (self.pivot_to_face_mm + self.depth_mm * ratio) / radius_mm
        stretched: NDArray[np.float64] = ratio * along + widening[:, np.newaxis, np.newaxis] * across
        return stretched


def beams_at(points_px: NDArray[np.float64], calibration: Calibration) -> BeamsAtPoints | None:
    """Return the beams through the points, shape (n, 2); None where the picture's geometry is not stated."""
    points_mm = to_mm(points_px, calibration)
    if calibration.sector is not None:
        pivot_px = np.array([calibration.sector.pivot.x, calibration.sector.pivot.y], dtype=np.float64)
        from_pivot_mm = points_mm - to_mm(pivot_px, calibration)
        radius_mm: NDArray[np.float64] = np.linalg.norm(from_pivot_mm, axis=-1)
        face_mm = calibration.sector.pivot_to_face_mm
        if np.any(radius_mm <= 0) or np.any(radius_mm < face_mm):
            return None
        return BeamsAtPoints(from_pivot_mm / radius_mm[:, np.newaxis], from_pivot_mm, radius_mm - face_mm, face_mm)
    if calibration.depth_axis is None:
        return None
    axis = 0 if calibration.depth_axis is DepthAxis.LEFT_TO_RIGHT else 1
    directions = np.zeros_like(points_mm)
    directions[:, axis] = 1.0
    return BeamsAtPoints(directions, points_mm, points_mm[:, axis], None)
