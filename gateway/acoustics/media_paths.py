"""Beams through several media: each piece of a beam converted with its own speed of sound, never one multiplier.

Where a beam meets a border is read off the picture, which was drawn at the device's one assumed speed; the piece of the
beam in each medium then grows or shrinks by that medium's speed over the assumed one. Refraction is neglected: beams
stay straight.
"""

from __future__ import annotations

from collections.abc import Sequence
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from gateway.acoustics.beam_coordinates import (
    BeamCoordinates,
    BeamGeometry,
    geometry_of,
    require_before_face,
    scale_mm,
)
from gateway.acoustics.pulse_echo import checked_speed
from gateway.errors.measurement import BorderNotDrawnError, CorrectionRefusedError, MediaOrderError
from gateway.model.calibration import Calibration
from gateway.model.measurement import Medium

Floats = NDArray[np.float64]


def through_media_mm(points_px: Floats, calibration: Calibration, media: Sequence[Medium]) -> Floats:
    """Move points along their beams to where they lie behind the media that the beams pass.

    Parameters
    ----------
    points_px : ndarray, shape (..., 2)
        Pixels, corner convention.
    media : sequence of Medium
        From the probe face on; the last one reaches to the end.

    Returns
    -------
    ndarray, shape (..., 2)
        Millimetres from the picture's top-left corner.

    Raises
    ------
    CorrectionRefusedError
        If the assumed speed is not stated.
    GeometryNotStatedError, PointBehindProbeError, SpeedNotPhysicalError
    MediaOrderError
        If the borders cannot be crossed one after the other.
    BorderNotDrawnError
        If a beam passes beside a border.
    """
    if calibration.assumed_speed_m_per_s is None:
        raise CorrectionRefusedError("the speed of sound that the device assumed is not stated")
    require_media(media)
    assumed = checked_speed(calibration.assumed_speed_m_per_s)
    ratios = [checked_speed(medium.speed.speed_m_per_s) / assumed for medium in media]
    geometry, scale = geometry_of(calibration), scale_mm(calibration)
    shown = geometry.coordinates(np.multiply(points_px, scale, dtype=np.float64))
    require_before_face(shown)
    begins = [np.zeros_like(shown.depth_mm)]
    for number, medium in enumerate(media[1:], 2):
        line_mm = np.array([(point.x, point.y) for point in medium.begins], dtype=np.float64) * scale
        begins.append(_border_depth_mm(geometry, shown, line_mm, float(scale.max()), number))
    _require_deeper(begins, shown)
    moved_mm = np.zeros_like(shown.depth_mm)
    for number, ratio in enumerate(ratios):
        thickness = begins[number + 1] - begins[number] if number + 1 < len(begins) else np.inf
        moved_mm += np.clip(shown.depth_mm - begins[number], 0.0, np.maximum(thickness, 0.0)) * ratio
    return geometry.points(BeamCoordinates(moved_mm, shown.across))


_STEP_MM = 1e-4


def stretch_through(points_px: Floats, calibration: Calibration, media: Sequence[Medium]) -> Floats:
    """Return how points behind media follow the points as shown, by central differences.

    Each moved point follows its own shown point alone, so that all of them take their steps at once.

    Parameters
    ----------
    points_px : ndarray, shape (n, 2)

    Returns
    -------
    ndarray, shape (n, 2, 2)
        d(moved) / d(shown), both in millimetres; on the probe face, behind which nothing lies, that in front of it.

    Raises
    ------
    As `through_media_mm`.
    """
    geometry, scale = geometry_of(calibration), scale_mm(calibration)
    shown = geometry.coordinates(np.multiply(points_px, scale, dtype=np.float64))
    in_front_px = geometry.points(BeamCoordinates(np.maximum(shown.depth_mm, 2 * _STEP_MM), shown.across)) / scale
    slopes = []
    for step_px in np.diag(_STEP_MM / scale):
        ahead_mm = through_media_mm(in_front_px + step_px, calibration, media)
        slopes.append((ahead_mm - through_media_mm(in_front_px - step_px, calibration, media)) / (2 * _STEP_MM))
    stretched: Floats = np.stack(slopes, axis=-1)
    return stretched


def require_media(media: Sequence[Medium]) -> None:
    """Refuse a list of media that does not begin at the face, or whose further ones begin nowhere.

    Raises
    ------
    MediaOrderError
    """
    if not media:
        raise MediaOrderError("no medium is named", fix="name the media from the probe face on")
    if media[0].begins:
        raise MediaOrderError("the first medium begins at the probe face", fix="leave its from out")
    for number, medium in enumerate(media[1:], 2):
        if not medium.begins:
            raise MediaOrderError(f"where medium {number} begins is not stated", fix="write from: and a line of points")


def _border_depth_mm(
    geometry: BeamGeometry, shown: BeamCoordinates, line_mm: Floats, pixel_mm: float, number: int
) -> Floats:
    """Return the depth of a border on each point's beam; up to one pixel beside its ends it goes on as deep."""
    line = geometry.coordinates(line_mm)
    require_before_face(line)
    if len(line_mm) == 1:
        return np.full_like(shown.depth_mm, line.depth_mm[0])
    steps = np.diff(line.across)
    if not (np.all(steps > 0) or np.all(steps < 0)):
        raise MediaOrderError(
            f"the line at which medium {number} begins runs back on itself or along a beam",
            fix="draw it across the beams, from one side to the other",
        )
    if steps[0] < 0:
        line_mm = line_mm[::-1]
        line = BeamCoordinates(line.depth_mm[::-1], line.across[::-1])
    beside = np.maximum(line.across[0] - shown.across, shown.across - line.across[-1])
    beside_mm = beside / geometry.across_per_mm(shown.depth_mm)
    if np.any(beside_mm > pixel_mm):
        raise BorderNotDrawnError(
            f"a beam passes beside the line at which medium {number} begins",
            was=f"{float(np.max(beside_mm)):.2f} mm beside it",
            fix="draw the line across the beams of all points of this measurement",
        )
    across = np.clip(shown.across, line.across[0], line.across[-1])
    piece = np.clip(np.searchsorted(line.across, across, side="right") - 1, 0, len(line_mm) - 2)
    return geometry.crossing_depth_mm(across, line_mm[piece], line_mm[piece + 1])


def _require_deeper(begins: Sequence[Floats], shown: BeamCoordinates) -> None:
    for number, (nearer, farther) in enumerate(pairwise(begins), 2):
        # A medium of no thickness is allowed, and what lies behind the point does not concern it.
        is_behind = np.minimum(nearer, farther) > shown.depth_mm
        if np.any((farther < nearer - 1e-9) & ~is_behind):
            raise MediaOrderError(
                f"medium {number} begins nearer to the probe than the one before it",
                fix="list the media from the probe face on, and look at the lines",
            )


def media_words(media: Sequence[Medium], assumed_m_per_s: float) -> str:
    """Say how each piece of a beam was converted, e.g. ``depth x 1532/1550 in vitreous, then ...``."""
    pieces = []
    for number, medium in enumerate(media, 1):
        tissue = medium.speed.tissue.replace("-", " ") or f"medium {number}"
        pieces.append(f"depth x {medium.speed.speed_m_per_s:g}/{assumed_m_per_s:g} in {tissue}")
    return ", then ".join(pieces)
