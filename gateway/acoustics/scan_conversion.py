"""From scan lines to a picture with a scale (scan conversion).

A sample at depth `r` on a line at angle `t` lies at ``along = (a + r) cos(t) - a`` and ``across = (a + r) sin(t)``
from the middle of the probe face, with `a` the distance from the pivot to the face. Each pixel's middle is taken back
to line and sample, and its value interpolated between the two nearest lines and the two nearest samples: bilinear in
angle and depth, first order. Beyond the first and last line or sample the picture is black.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, Final, TypeAlias

import numpy as np
from numpy.typing import NDArray

from gateway.errors.scan_lines import ScanLineGeometryError
from gateway.model.calibration import DepthAxis, Point
from gateway.model.scan_lines import LinearLines, ScanLines, SectorLines

Floats = NDArray[np.float64]
Samples: TypeAlias = NDArray[np.unsignedinteger[Any]]

WIDEST_FAN_DEG: Final = 180.0
INTERPOLATION: Final = "bilinear in angle and depth"
INTERPOLATION_LINEAR: Final = "bilinear across lines and depth"

_HALF_STEP: Final = 1e-9
"""Room for rounding when a pixel lies on the very edge of the lines."""


@dataclass(frozen=True, slots=True)
class ScanConversion:
    """Where each pixel of the picture lies among lines and samples; made once, used for every frame.

    Parameters
    ----------
    line, sample : ndarray, shape (rows, columns)
        Fractional numbers counted from 0; meaningless where `is_inside` is false.
    is_inside : ndarray of bool, shape (rows, columns)
    pivot : Point or None
        Pivot of the fan in pixels of the picture, CORNER convention.
    face_px : float
        Probe face along the depth axis, CORNER convention; negative where the picture begins behind it.
    """

    line: Floats
    sample: Floats
    is_inside: NDArray[np.bool_]
    pivot: Point | None
    face_px: float

    def line_ends(self, stated: ScanLines, number: int, shape: tuple[int, int]) -> tuple[Point, Point]:
        """Return where the first and the last sample of a line lie on the picture.

        Parameters
        ----------
        number : int
            Of the line, from 1.
        shape : tuple of int
            Lines and samples of the file.

        Raises
        ------
        ScanLineGeometryError
            If there is no such line.
        """
        if not 1 <= number <= shape[0]:
            raise ScanLineGeometryError(
                "the file has no such scan line", was=f"{number} of {shape[0]}", fix=f"write 1 to {shape[0]}"
            )
        place = line_places(stated, shape[0])[number - 1]
        depths_mm = stated.start_depth_mm + np.array([0.0, (shape[1] - 1) * stated.sample_interval_mm])
        pixel = stated.mm_per_pixel
        if isinstance(stated.lines, SectorLines) and self.pivot is not None:
            radii = (stated.lines.pivot_to_face_mm + depths_mm) / pixel
            along, across = radii * np.cos(np.radians(place)), radii * np.sin(np.radians(place))
            return _shifted(stated, along[0], across[0], self.pivot), _shifted(stated, along[1], across[1], self.pivot)
        rows, columns = self.is_inside.shape
        width = rows if stated.depth_axis is DepthAxis.LEFT_TO_RIGHT else columns
        ends = [_turned(stated, self.face_px + depth / pixel, width / 2 + place / pixel) for depth in depths_mm]
        return ends[0], ends[1]

    def picture(self, samples: Samples, window: tuple[float, float]) -> NDArray[np.uint8]:
        """Return the picture of one frame.

        Parameters
        ----------
        samples : ndarray, shape (lines, samples)
        window : tuple of float
            Sample values that become 0 and 255; what lies beyond is cut off there.

        Returns
        -------
        ndarray of uint8, shape (rows, columns)
        """
        line, sample = self.line[self.is_inside], self.sample[self.is_inside]
        i0 = np.clip(np.floor(line).astype(np.intp), 0, samples.shape[0] - 2)
        j0 = np.clip(np.floor(sample).astype(np.intp), 0, samples.shape[1] - 2)
        u, v = line - i0, sample - j0
        values = (
            (1 - u) * (1 - v) * samples[i0, j0]
            + (1 - u) * v * samples[i0, j0 + 1]
            + u * (1 - v) * samples[i0 + 1, j0]
            + u * v * samples[i0 + 1, j0 + 1]
        )
        low, high = window
        grey = np.clip((values - low) * (255.0 / (high - low)), 0.0, 255.0)
        found = np.zeros(self.is_inside.shape, dtype=np.uint8)
        found[self.is_inside] = np.floor(grey + 0.5).astype(np.uint8)
        return found


def line_places(stated: ScanLines, line_count: int) -> Floats:
    """Return the angle of each line in degrees, or its distance from the middle in mm, shape (line_count,).

    Raises
    ------
    ScanLineGeometryError
        If they are not as many as the lines, do not run one way, or span 180 degrees or more.
    """
    lines = stated.lines
    if line_count < 2:
        raise ScanLineGeometryError("a picture needs two lines or more", was=str(line_count), fix="check the layout")
    if isinstance(lines, LinearLines):
        places: Floats = (np.arange(line_count, dtype=np.float64) - (line_count - 1) / 2) * lines.pitch_mm
        return places
    if not lines.is_even and len(lines.angles_deg) != line_count:
        raise ScanLineGeometryError(
            "not one angle for each line",
            was=f"{len(lines.angles_deg)} angles, {line_count} lines",
            fix="list an angle for each line, check the layout, or give the first and last angle",
        )
    angles = (
        np.linspace(lines.angles_deg[0], lines.angles_deg[-1], line_count)
        if lines.is_even
        else np.array(lines.angles_deg, dtype=np.float64)
    )
    steps = np.diff(angles)
    if not (np.all(steps > 0) or np.all(steps < 0)):
        raise ScanLineGeometryError("the angles of the lines do not run one way", fix="list them in the file's order")
    if abs(angles[-1] - angles[0]) >= WIDEST_FAN_DEG or np.max(np.abs(angles)) >= WIDEST_FAN_DEG / 2:
        raise ScanLineGeometryError(
            "the fan spans 180 degrees or more, or a line points backwards",
            was=f"{angles[0]:g} to {angles[-1]:g} degrees",
            fix="count angles from the middle of the fan",
        )
    return angles


def plan_scan_conversion(stated: ScanLines, line_count: int, sample_count: int, most_pixels: int) -> ScanConversion:
    """Work out where each pixel of the picture lies among lines and samples.

    Parameters
    ----------
    most_pixels : int
        A larger picture is refused.

    Raises
    ------
    ScanLineGeometryError
    """
    places = line_places(stated, line_count)
    if sample_count < 2:
        raise ScanLineGeometryError("a line needs two samples or more", was=str(sample_count), fix="check the layout")
    depths = stated.start_depth_mm + np.array([0.0, (sample_count - 1) * stated.sample_interval_mm])
    lines = stated.lines
    if isinstance(lines, SectorLines):
        along, across = _fan_extent_mm(lines, places, depths)
    else:
        along, across = depths, np.array([places[0], places[-1]])
    counts = [
        max(1, int(np.ceil((extent[1] - extent[0]) / stated.mm_per_pixel - _HALF_STEP))) for extent in (along, across)
    ]
    if counts[0] * counts[1] > most_pixels:
        raise ScanLineGeometryError(
            "the picture of these lines would be too large",
            was=f"{counts[0]} x {counts[1]} pixels",
            fix=f"state a larger mm_per_pixel; at most {most_pixels} pixels are made",
        )
    pixel = stated.mm_per_pixel
    along_mm = along[0] + (np.arange(counts[0]) + 0.5) * pixel
    # The middle of the picture is the middle of the lines, however the last pixel is shared.
    across_mm = np.mean(across) + (np.arange(counts[1]) + 0.5 - counts[1] / 2) * pixel
    first_across = float(np.mean(across)) - counts[1] / 2 * pixel
    place, depth = _polar(lines, *np.meshgrid(along_mm, across_mm, indexing="ij"))
    line = _fraction(places, place)
    sample = (depth - stated.start_depth_mm) / stated.sample_interval_mm
    is_inside = (
        (line >= -_HALF_STEP)
        & (line <= line_count - 1 + _HALF_STEP)
        & (sample >= -_HALF_STEP)
        & (sample <= sample_count - 1 + _HALF_STEP)
    )
    face_px = -along[0] / pixel
    pivot = None
    if isinstance(lines, SectorLines):
        pivot = _turned(stated, (-lines.pivot_to_face_mm - along[0]) / pixel, -first_across / pixel)
    if stated.depth_axis is DepthAxis.LEFT_TO_RIGHT:
        line, sample, is_inside = line.T, sample.T, is_inside.T
    return ScanConversion(line, sample, np.ascontiguousarray(is_inside), pivot, float(face_px))


def _fan_extent_mm(lines: SectorLines, angles_deg: Floats, depths_mm: Floats) -> tuple[Floats, Floats]:
    """Return the first and last depth along the axis, and the first and last place across it, that the fan reaches."""
    radii = lines.pivot_to_face_mm + depths_mm
    if radii[0] < 0 or radii[1] <= 0:
        raise ScanLineGeometryError("samples lie behind the pivot", fix="check start_depth_mm and pivot_to_face_mm")
    ends = np.radians([angles_deg[0], angles_deg[-1]])
    # The fan reaches farthest in its middle, or where it comes nearest to it.
    nearest = 0.0 if ends.min() <= 0 <= ends.max() else ends[np.argmin(np.abs(ends))]
    along = np.array([radii[0] * np.cos(ends).min(), radii[1] * np.cos(nearest)]) - lines.pivot_to_face_mm
    reach = np.outer(radii, np.sin(ends))
    return along, np.array([reach.min(), reach.max()])


def _polar(lines: SectorLines | LinearLines, along_mm: Floats, across_mm: Floats) -> tuple[Floats, Floats]:
    """Return angle in degrees (or place across in mm) and depth along the line in mm of points of the picture."""
    if isinstance(lines, LinearLines):
        return across_mm, along_mm
    from_pivot = along_mm + lines.pivot_to_face_mm
    depth: Floats = np.hypot(from_pivot, across_mm) - lines.pivot_to_face_mm
    return np.degrees(np.arctan2(across_mm, from_pivot)), depth


def _fraction(places: Floats, wanted: Floats) -> Floats:
    """Return the fractional number of the line at each place; beyond the ends the nearest spacing goes on."""
    numbers = np.arange(len(places), dtype=np.float64)
    if places[0] > places[-1]:
        places, numbers = places[::-1], numbers[::-1]
    found = np.interp(wanted, places, numbers)
    outside = (wanted < places[0] - _HALF_STEP) | (wanted > places[-1] + _HALF_STEP)
    found[outside] = -1.0
    return found


def _shifted(stated: ScanLines, along_px: float, across_px: float, origin: Point) -> Point:
    moved = _turned(stated, along_px, across_px)
    return Point(moved.x + origin.x, moved.y + origin.y)


def _turned(stated: ScanLines, along_px: float, across_px: float) -> Point:
    if stated.depth_axis is DepthAxis.LEFT_TO_RIGHT:
        return Point(float(along_px), float(across_px))
    return Point(float(across_px), float(along_px))
