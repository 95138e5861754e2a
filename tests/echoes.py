"""Find echoes on a picture and measure between them, with scipy alone: a ruler that owes the gateway nothing.

Points are in pixels, corner convention: the top-left corner of the top-left pixel is 0,0 (as SCOORD and presentation
states count, PS3.3 C.10.5). Echo positions are refined to a fraction of a pixel.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import gaussian_filter1d, map_coordinates
from scipy.signal import find_peaks

Point = tuple[float, float]

STEP_MM = 0.01


@dataclass(frozen=True, slots=True)
class Profile:
    """Grey levels along a line.

    Parameters
    ----------
    distance_mm : ndarray, shape (n,)
        From the first point given; negative before it.
    grey : ndarray, shape (n,)
        Mean over the band across the line.
    """

    distance_mm: NDArray[np.float64]
    grey: NDArray[np.float64]


def profile(
    picture: NDArray[np.uint8],
    mm_per_pixel: Point,
    line: tuple[Point, Point],
    *,
    band_mm: float = 0.5,
    beyond_mm: float = 0.0,
) -> Profile:
    """Sample a picture along a line, averaged over a band across it.

    Parameters
    ----------
    picture : ndarray, shape (rows, columns)
        Grey.
    mm_per_pixel : tuple of float
        Across (x) and down (y).
    line : tuple of points
        Where to start and to end, in pixels, corner convention.
    band_mm : float
        Width of the band; speckle averages out over it.
    beyond_mm : float
        How much further to go at both ends.
    """
    scale = np.array(mm_per_pixel, dtype=np.float64)
    start, end = (np.array(point, dtype=np.float64) * scale for point in line)
    length = float(np.linalg.norm(end - start))
    along = (end - start) / length
    across = np.array([-along[1], along[0]])
    distance = np.arange(-beyond_mm, length + beyond_mm, STEP_MM)
    offsets = np.linspace(-band_mm / 2, band_mm / 2, 2 * int(band_mm / min(mm_per_pixel)) + 1)
    places = start + distance[:, None, None] * along + offsets[None, :, None] * across
    # Corner to centre convention: array indices name the middles of pixels.
    columns, rows = places[..., 0] / scale[0] - 0.5, places[..., 1] / scale[1] - 0.5
    values = map_coordinates(picture.astype(np.float64), [rows, columns], order=3, mode="nearest")
    return Profile(distance, values.mean(axis=1))


def echo_depths_mm(
    picture: NDArray[np.uint8],
    mm_per_pixel: Point,
    line: tuple[Point, Point],
    *,
    band_mm: float = 0.5,
    beyond_mm: float = 0.0,
    prominence: float = 25.0,
    brightness: float = 0.0,
) -> NDArray[np.float64]:
    """Return the distances from the line's start, in millimetres, at which echoes stand out.

    Parameters
    ----------
    prominence : float
        By how many grey levels an echo must stand above what surrounds it.
    brightness : float
        Grey level that its peak must reach.
    """
    taken = profile(picture, mm_per_pixel, line, band_mm=band_mm, beyond_mm=beyond_mm)
    # Smoothing well below the pulse's own width only takes the pixel grid out.
    smooth = gaussian_filter1d(taken.grey, 0.04 / STEP_MM)
    peaks, _ = find_peaks(smooth, height=brightness, prominence=prominence, distance=int(0.3 / STEP_MM))
    return np.array([_refined_mm(taken, smooth, int(peak)) for peak in peaks])


def echo_ends_mm(
    picture: NDArray[np.uint8],
    mm_per_pixel: Point,
    line: tuple[Point, Point],
    *,
    search_mm: float = 0.5,
    band_mm: float = 0.2,
    prominence: float = 12.0,
) -> NDArray[np.float64]:
    """Return the echoes nearest to the two ends of a line, on the line.

    Parameters
    ----------
    search_mm : float
        How far from each end its echo may lie.

    Returns
    -------
    ndarray, shape (2, 2)
        x, y in millimetres from the picture's top-left corner, as shown.

    Raises
    ------
    LookupError
        If there is no echo near an end.
    """
    start, end = (np.array(point, dtype=np.float64) * np.array(mm_per_pixel) for point in line)
    length = float(np.linalg.norm(end - start))
    found = echo_depths_mm(
        picture, mm_per_pixel, line, band_mm=band_mm, beyond_mm=search_mm + 0.5, prominence=prominence
    )
    depths = np.array([_nearest(found, at, search_mm) for at in (0.0, length)])
    return np.asarray(start + depths[:, None] * (end - start) / length)


def distance_mm(
    picture: NDArray[np.uint8], mm_per_pixel: Point, line: tuple[Point, Point], *, search_mm: float = 0.5
) -> float:
    """Measure between the echoes nearest to the two ends of a line, as shown; see `echo_ends_mm`."""
    first, last = echo_ends_mm(picture, mm_per_pixel, line, search_mm=search_mm)
    return float(np.linalg.norm(last - first))


@dataclass(frozen=True, slots=True)
class Fan:
    """Where the beams of a picture come from, as the capture's calibration states it.

    Parameters
    ----------
    pivot : tuple of float
        Pixels, corner convention.
    pivot_to_face_mm : float
    """

    pivot: Point
    pivot_to_face_mm: float


def surface_mm(
    picture: NDArray[np.uint8],
    mm_per_pixel: Point,
    fan: Fan,
    angles_deg: NDArray[np.float64],
    *,
    from_depth_mm: float = 4.0,
    to_depth_mm: float = 30.0,
) -> NDArray[np.float64]:
    """Follow each beam through dark vitreous to the first echo that stands out.

    The probe looks to the right (depth left to right); angles count from the axis, positive down.

    Returns
    -------
    ndarray, shape (n, 2)
        Angle in radians and depth from the probe face in millimetres.
    """
    scale = np.array(mm_per_pixel)
    found = []
    for angle in np.radians(angles_deg):
        beam = np.array([np.cos(angle), np.sin(angle)])
        ends = [
            tuple((np.array(fan.pivot) * scale + (fan.pivot_to_face_mm + depth) * beam) / scale)
            for depth in (from_depth_mm, to_depth_mm)
        ]
        depths = echo_depths_mm(
            picture, mm_per_pixel, (ends[0], ends[1]), band_mm=0.2, prominence=5.0, brightness=120.0
        )
        if depths.size:
            found.append((float(angle), from_depth_mm + float(depths[0])))
    return np.array(found)


def along_beams_mm(
    shown_mm: NDArray[np.float64], mm_per_pixel: Point, fan: Fan, speed_ratio: float
) -> NDArray[np.float64]:
    """Move shown points along their beams to their true depth: only the way from the face scales.

    Parameters
    ----------
    shown_mm : ndarray, shape (n, 2)
        From the picture's top-left corner.
    speed_ratio : float
        True over assumed speed.

    Returns
    -------
    ndarray, shape (n, 2)
        From the pivot.
    """
    from_pivot = shown_mm - np.array(fan.pivot) * np.array(mm_per_pixel)
    radius = np.linalg.norm(from_pivot, axis=1, keepdims=True)
    depth = (radius - fan.pivot_to_face_mm) * speed_ratio
    return np.asarray(from_pivot * (fan.pivot_to_face_mm + depth) / radius)


def points_mm(surface: NDArray[np.float64], fan: Fan, speed_ratio: float = 1.0) -> NDArray[np.float64]:
    """Return points ``across, deep`` from the pivot, for depths scaled by true over assumed speed (1: as shown)."""
    radius = fan.pivot_to_face_mm + surface[:, 1] * speed_ratio
    return np.stack([radius * np.sin(surface[:, 0]), radius * np.cos(surface[:, 0])], axis=1)


def circle_through(points: NDArray[np.float64]) -> tuple[float, float, float]:
    """Fit a circle by least squares (Kasa 1976): centre and radius. Single echoes far off the rest are left out."""
    kept = points
    for _ in range(6):
        design = np.column_stack([2 * kept, np.ones(len(kept))])
        (x, y, rest), *_ = np.linalg.lstsq(design, (kept**2).sum(axis=1), rcond=None)
        radius = float(np.sqrt(rest + x**2 + y**2))
        off = np.abs(np.hypot(points[:, 0] - x, points[:, 1] - y) - radius)
        kept = points[off <= max(3 * float(np.median(off)), 0.02)]
    return float(x), float(y), radius


def _nearest(found_mm: NDArray[np.float64], expected_mm: float, search_mm: float) -> float:
    near = found_mm[np.abs(found_mm - expected_mm) <= search_mm]
    if not near.size:
        raise LookupError(f"no echo within {search_mm} mm of {expected_mm:.2f} mm, only at {np.round(found_mm, 2)}")
    return float(near[np.argmin(np.abs(near - expected_mm))])


def _refined_mm(taken: Profile, smooth: NDArray[np.float64], peak: int) -> float:
    """Fit a parabola through the crest: a Gaussian pulse is one after log compression."""
    reach = int(0.07 / STEP_MM)
    around = slice(max(peak - reach, 0), min(peak + reach + 1, len(smooth)))
    x = taken.distance_mm[around] - taken.distance_mm[peak]
    square, slope, _ = np.polyfit(x, smooth[around], 2)
    if square >= 0:
        return float(taken.distance_mm[peak])
    return float(taken.distance_mm[peak] + np.clip(-slope / (2 * square), -0.07, 0.07))
