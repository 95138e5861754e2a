"""Beam coordinates: depth from the probe face, and the beam itself, for points of the picture and back.

A beam of a sector is named by its angle, one of a linear picture by its lateral place. Both come from what the
calibration states; nothing is looked for in the pixels. Pixels need not be square.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Protocol

import numpy as np
from numpy.typing import NDArray

from gateway.errors.measurement import GeometryNotStatedError, PointBehindProbeError, SectorAngleError
from gateway.model.calibration import Calibration, DepthAxis, Geometry, SectorGeometry

Floats = NDArray[np.float64]

WIDEST_SECTOR_DEG = 180.0


@dataclass(frozen=True, slots=True)
class BeamCoordinates:
    """Points by depth and beam.

    Parameters
    ----------
    depth_mm : ndarray, shape (...)
        Along the beam from the probe face, at the device's assumed speed of sound.
    across : ndarray, shape (...)
        The beam: in a sector its angle from the depth axis in degrees (from the picture's x axis where no depth axis is
        stated), growing as in the picture (down, or to the right); in a linear picture the place across in millimetres
        from the picture's edge.
    """

    depth_mm: Floats
    across: Floats


class BeamGeometry(Protocol):
    """How the beams of one picture lie, in millimetres from its top-left corner."""

    def coordinates(self, points_mm: Floats) -> BeamCoordinates:
        """Return depth and beam of points, shape (..., 2); a negative depth lies behind the face."""
        ...

    def points(self, coordinates: BeamCoordinates) -> Floats:
        """Return the points, shape (..., 2), that lie at these depths on these beams."""
        ...

    def crossing_depth_mm(self, across: Floats, start_mm: Floats, end_mm: Floats) -> Floats:
        """Return the depth at which beams cross straight pieces between two points, all of shape (...) or (..., 2)."""
        ...

    def across_per_mm(self, depth_mm: Floats) -> Floats:
        """Return by how much the beam changes for one millimetre across it at a depth."""
        ...


@dataclass(frozen=True, slots=True)
class Fan:
    """Beams from one pivot.

    Parameters
    ----------
    pivot_mm : ndarray, shape (2,)
    face_mm : float
        From the pivot to the probe face.
    axis : int
        Which coordinate the angles count from: 0 for x, 1 for y.
    """

    pivot_mm: Floats
    face_mm: float
    axis: int

    def coordinates(self, points_mm: Floats) -> BeamCoordinates:
        """Return depth and angle."""
        arms = points_mm - self.pivot_mm
        deep, aside = arms[..., self.axis], arms[..., 1 - self.axis]
        return BeamCoordinates(np.hypot(deep, aside) - self.face_mm, np.degrees(np.arctan2(aside, deep)))

    def points(self, coordinates: BeamCoordinates) -> Floats:
        """Return the points."""
        return self.pivot_mm + self._directions(coordinates.across) * (coordinates.depth_mm + self.face_mm)[..., None]

    def crossing_depth_mm(self, across: Floats, start_mm: Floats, end_mm: Floats) -> Floats:
        """Return where the ray from the pivot meets the line through both points."""
        towards, step, to_start = self._directions(across), end_mm - start_mm, start_mm - self.pivot_mm
        met = to_start[..., 0] * step[..., 1] - to_start[..., 1] * step[..., 0]
        radius_mm: Floats = met / (towards[..., 0] * step[..., 1] - towards[..., 1] * step[..., 0])
        return radius_mm - self.face_mm

    def across_per_mm(self, depth_mm: Floats) -> Floats:
        """Return degrees for a millimetre."""
        per_mm: Floats = np.degrees(1.0 / np.maximum(depth_mm + self.face_mm, 1e-3))
        return per_mm

    def _directions(self, angle_deg: Floats) -> Floats:
        angle = np.radians(angle_deg)
        parts = (np.cos(angle), np.sin(angle))
        return np.stack(parts if self.axis == 0 else parts[::-1], axis=-1)


@dataclass(frozen=True, slots=True)
class Rows:
    """Beams side by side along one axis, from a straight face at `face_mm` on it."""

    face_mm: float
    axis: int

    def coordinates(self, points_mm: Floats) -> BeamCoordinates:
        """Return depth and place across."""
        return BeamCoordinates(points_mm[..., self.axis] - self.face_mm, points_mm[..., 1 - self.axis].copy())

    def points(self, coordinates: BeamCoordinates) -> Floats:
        """Return the points."""
        parts = (coordinates.depth_mm + self.face_mm, coordinates.across)
        return np.stack(parts if self.axis == 0 else parts[::-1], axis=-1)

    def crossing_depth_mm(self, across: Floats, start_mm: Floats, end_mm: Floats) -> Floats:
        """Return where the beam meets the line through both points."""
        width = end_mm[..., 1 - self.axis] - start_mm[..., 1 - self.axis]
        share = (across - start_mm[..., 1 - self.axis]) / width
        depth: Floats = start_mm[..., self.axis] + share * (end_mm[..., self.axis] - start_mm[..., self.axis])
        return depth - self.face_mm

    def across_per_mm(self, depth_mm: Floats) -> Floats:
        """Return one for one."""
        return np.ones_like(depth_mm)


def scale_mm(calibration: Calibration) -> Floats:
    """Return the size of a pixel, x and y, shape (2,)."""
    return np.array([calibration.mm_per_pixel_x, calibration.mm_per_pixel_y], dtype=np.float64)


def geometry_of(calibration: Calibration) -> BeamGeometry:
    """Return how the beams of a picture lie.

    Raises
    ------
    GeometryNotStatedError
        If neither a linear geometry with its depth axis nor a sector with its pivot is stated.
    SectorAngleError
    """
    axis = 1 if calibration.depth_axis is DepthAxis.TOP_DOWN else 0
    if calibration.sector is not None:
        return fan_of(calibration.sector, axis, scale_mm(calibration))
    if calibration.geometry is Geometry.LINEAR and calibration.depth_axis is not None:
        return Rows(calibration.face_px * float(scale_mm(calibration)[axis]), axis)
    raise GeometryNotStatedError(
        "how the beams lie is not stated", fix="state sector, or geometry: linear with depth_axis, for this capture"
    )


def fan_of(sector: SectorGeometry, axis: int, scale: Floats) -> Fan:
    """Return the fan of a stated sector, angles counted from an axis of the picture.

    Raises
    ------
    SectorAngleError, PointBehindProbeError
    """
    opening = sector.opening_angle_deg
    if opening is not None and not 0 < opening <= WIDEST_SECTOR_DEG:
        raise SectorAngleError("no probe has this opening angle", was=f"{opening:g} degrees", fix="at most 180 degrees")
    if sector.pivot_to_face_mm < 0:
        raise PointBehindProbeError(
            "the pivot lies in front of the probe face",
            was=f"{sector.pivot_to_face_mm:g} mm",
            fix="mend pivot_to_face_mm",
        )
    return Fan(np.array([sector.pivot.x, sector.pivot.y], dtype=np.float64) * scale, sector.pivot_to_face_mm, axis)


def beam_coordinates(points_px: Floats, calibration: Calibration) -> BeamCoordinates:
    """Return depth and beam of points on the picture.

    Parameters
    ----------
    points_px : ndarray, shape (..., 2)
        x, y in pixels, corner convention.

    Raises
    ------
    GeometryNotStatedError, SectorAngleError
    PointBehindProbeError
        If a point lies behind the probe face.
    """
    found = geometry_of(calibration).coordinates(np.multiply(points_px, scale_mm(calibration), dtype=np.float64))
    require_before_face(found)
    return found


def picture_points(coordinates: BeamCoordinates, calibration: Calibration) -> Floats:
    """Return the points on the picture, pixels, corner convention, shape (..., 2): the inverse of `beam_coordinates`.

    Raises
    ------
    GeometryNotStatedError, SectorAngleError, PointBehindProbeError
    """
    require_before_face(coordinates)
    placed: Floats = geometry_of(calibration).points(coordinates) / scale_mm(calibration)
    return placed


_ON_FACE_MM = 1e-9
"""How far behind the face a point may lie by rounding alone."""


def require_before_face(coordinates: BeamCoordinates) -> None:
    """Refuse points behind the probe face.

    Raises
    ------
    PointBehindProbeError
    """
    nearest = float(np.min(coordinates.depth_mm, initial=np.inf))
    if nearest < -_ON_FACE_MM:
        raise PointBehindProbeError(
            "a point lies behind the probe face",
            was=f"{nearest:.2f} mm from the face",
            fix="look at the pivot and pivot_to_face_mm, or the region, of this capture",
        )
