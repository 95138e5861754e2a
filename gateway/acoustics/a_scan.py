"""Amplitude over depth along a line on a picture, or straight from the samples of a scan line.

What a picture holds are grey levels after compression and display curves: they show where echoes lie, and nothing of
reflectivity.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from enum import StrEnum
from typing import Final

import numpy as np
from numpy.typing import NDArray

from gateway.acoustics.beams import ALONG_AXIS_DEG, beams_at, for_other_speed_mm, to_mm
from gateway.acoustics.peaks import Peak, offered_peaks
from gateway.acoustics.pulse_echo import checked_speed, distance_mm, round_trip_time_us
from gateway.errors.measurement import LineNotMeasurableError
from gateway.model.calibration import Calibration, PixelRegion, Point

Floats = NDArray[np.float64]

GREY_LEVEL: Final = "grey level, not reflectivity"
SAMPLE_VALUE: Final = "sample value, not reflectivity"
OFFERED_SHARE: Final = 0.25
"""Peaks are offered that stand out by this share of the curve's range: the project's own choice, stated with them."""

_SAMPLES_PER_PIXEL: Final = 2
_LUMA: Final = np.array([0.299, 0.587, 0.114])
"""Weights of red, green and blue in grey (ITU-R BT.601)."""


class Interpolation(StrEnum):
    """How grey levels between pixels are found."""

    BILINEAR = "bilinear"
    CUBIC = "cubic"
    """Convolution kernel with a = -1/2 (Keys, IEEE Trans Acoust Speech Signal Process 1981;29:1153-60)."""


@dataclass(frozen=True, slots=True)
class AScan:
    """Amplitude over depth.

    Parameters
    ----------
    amplitude : ndarray, shape (n,)
    depth_mm : ndarray, shape (n,)
        From the first point, at `speed_m_per_s`; at the device's unstated speed where that is None.
    time_us : ndarray, shape (n,), or None
        Round-trip time from the first point; None for a line across the beams or without a speed.
    amplitude_words : str
        What the amplitude is, and what it is not.
    start_mm : float or None
        Depth of the first point below the probe face, at the same speed, where the beams are known.
    """

    amplitude: Floats
    depth_mm: Floats
    time_us: Floats | None
    speed_m_per_s: float | None
    amplitude_words: str
    start_mm: float | None = None

    def peaks(self, share: float = OFFERED_SHARE) -> tuple[Peak, ...]:
        """Return the peaks that stand out by this share of the curve's range."""
        span = float(np.ptp(self.amplitude))
        return offered_peaks(self.amplitude, share * span) if span > 0 else ()

    def depth_at_mm(self, position: float) -> float:
        """Return the depth at a place between samples."""
        return float(np.interp(position, np.arange(len(self.depth_mm)), self.depth_mm))

    def time_at_us(self, position: float) -> float | None:
        """Return the round-trip time at a place between samples."""
        if self.time_us is None:
            return None
        return float(np.interp(position, np.arange(len(self.time_us)), self.time_us))


@dataclass(frozen=True, slots=True)
class SampledLine:
    """Where and how a line is read.

    Parameters
    ----------
    start, end : Point
        CORNER convention.
    speed_m_per_s : float or None
        For the axis; the device's own where None.
    band_mm : float
        Width across the line over which grey levels are averaged.
    """

    start: Point
    end: Point
    speed_m_per_s: float | None = None
    band_mm: float = 0.0
    interpolation: Interpolation = Interpolation.CUBIC


def along_line(picture: NDArray[np.uint8], line: SampledLine, calibration: Calibration) -> AScan:
    """Read grey levels along a line on a picture.

    Parameters
    ----------
    picture : ndarray, shape (rows, columns) or (rows, columns, 3)

    Raises
    ------
    LineNotMeasurableError
        If the points coincide, or lie outside the picture or the region in which its scale holds.
    CorrectionRefusedError, PointBehindProbeError, SpeedNotPhysicalError
        If another speed is wanted and the beams are not known.
    """
    ends_px = np.array([(line.start.x, line.start.y), (line.end.x, line.end.y)])
    _require_inside(ends_px, picture.shape, calibration.region)
    count = math.ceil(_SAMPLES_PER_PIXEL * float(np.linalg.norm(ends_px[1] - ends_px[0]))) + 1
    places_px = np.linspace(ends_px[0], ends_px[1], max(count, 3))
    grey = picture.astype(np.float64)
    if grey.ndim == 3:
        grey = grey @ _LUMA
    amplitude = np.mean(
        [_sampled(grey, places_px + shift, line) for shift in _band(ends_px, line, calibration)], axis=0
    )
    speed = line.speed_m_per_s
    assumed = calibration.assumed_speed_m_per_s
    is_other = speed is not None and speed != assumed
    places_mm = (
        for_other_speed_mm(places_px, calibration, speed) if is_other and speed else to_mm(places_px, calibration)
    )
    depth_mm = np.concatenate([[0.0], np.cumsum(np.linalg.norm(np.diff(places_mm, axis=0), axis=1))])
    used = speed if speed is not None else assumed
    start_mm = _depth_along_beam(ends_px, calibration)
    time_us = None
    if used is not None and start_mm is not None:
        time_us = round_trip_time_us(depth_mm, checked_speed(used))
        start_mm = start_mm if assumed is None else start_mm * used / assumed
    return AScan(amplitude, depth_mm, time_us, used, GREY_LEVEL, start_mm)


def _require_inside(ends_px: Floats, shape: tuple[int, ...], region: PixelRegion | None) -> None:
    if np.array_equal(ends_px[0], ends_px[1]):
        raise LineNotMeasurableError("both ends of the line lie on the same spot", fix="give two different points")
    rows, columns = shape[:2]
    outside = (ends_px < 0) | (ends_px > (columns, rows))
    if np.any(outside):
        x, y = ends_px[int(np.flatnonzero(np.any(outside, axis=1))[0])]
        raise LineNotMeasurableError(
            "the line leaves the picture",
            was=f"[{x:g}, {y:g}] from the corner in {columns} x {rows} pixels",
            fix="check the points",
        )
    if region is not None and np.any((ends_px < (region.x0, region.y0)) | (ends_px > (region.x1 + 1, region.y1 + 1))):
        raise LineNotMeasurableError(
            "the line leaves the region in which the scale of the picture holds",
            was=f"region {region.x0},{region.y0} to {region.x1},{region.y1}",
            fix="check the points and calibration.region",
        )


def _band(ends_px: Floats, line: SampledLine, calibration: Calibration) -> Floats:
    """Return shifts across the line in pixels, shape (m, 2); one of nothing where there is no band."""
    if line.band_mm <= 0:
        return np.zeros((1, 2))
    scale = np.array([calibration.mm_per_pixel_x, calibration.mm_per_pixel_y])
    along = (ends_px[1] - ends_px[0]) * scale
    across = np.array([-along[1], along[0]]) / np.linalg.norm(along)
    count = 2 * math.ceil(line.band_mm / float(scale.min())) + 1
    shifts: Floats = np.linspace(-line.band_mm / 2, line.band_mm / 2, count)[:, np.newaxis] * across / scale
    return shifts


def _sampled(grey: Floats, places_px: Floats, line: SampledLine) -> Floats:
    """Return grey levels between pixels; beyond the edge the edge goes on."""
    is_cubic = line.interpolation is Interpolation.CUBIC
    # Corner to centre convention: array indices name the middles of pixels.
    columns, rows = places_px[:, 0] - 0.5, places_px[:, 1] - 0.5
    offsets = np.arange(-1, 3) if is_cubic else np.arange(2)
    x0, y0 = np.floor(columns).astype(int), np.floor(rows).astype(int)
    weigh = _cubic_weights if is_cubic else _linear_weights
    across, down = weigh(columns - x0), weigh(rows - y0)
    xs = np.clip(x0[:, np.newaxis] + offsets, 0, grey.shape[1] - 1)
    ys = np.clip(y0[:, np.newaxis] + offsets, 0, grey.shape[0] - 1)
    neighbours = grey[ys[:, :, np.newaxis], xs[:, np.newaxis, :]]
    values: Floats = np.einsum("nij,ni,nj->n", neighbours, down, across)
    return values


def _linear_weights(fraction: Floats) -> Floats:
    return np.stack([1 - fraction, fraction], axis=1)


def _cubic_weights(fraction: Floats) -> Floats:
    t, t2, t3 = fraction, fraction**2, fraction**3
    return np.stack([-t + 2 * t2 - t3, 2 - 5 * t2 + 3 * t3, t + 4 * t2 - 3 * t3, t3 - t2], axis=1) / 2


def _depth_along_beam(ends_px: Floats, calibration: Calibration) -> float | None:
    """Return how deep a line away from the probe begins, at the device's speed; None where it is no such line."""
    beams = beams_at(ends_px, calibration)
    if beams is None:
        return None
    line_mm = np.diff(to_mm(ends_px, calibration), axis=0)[0]
    towards = line_mm / np.linalg.norm(line_mm)
    leans_deg = np.degrees(np.arccos(np.clip(beams.directions @ towards, -1.0, 1.0)))
    return float(beams.depth_mm[0]) if np.all(leans_deg <= ALONG_AXIS_DEG) else None


@dataclass(frozen=True, slots=True)
class Sampling:
    """When the samples of a scan line were taken.

    Parameters
    ----------
    interval_us : float
        Between two samples.
    start_mm : float or None
        Depth of the first sample at the speed used, where it is known.
    """

    interval_us: float
    start_mm: float | None = None


def from_samples(samples: NDArray[np.generic], sampling: Sampling, speed_m_per_s: float) -> AScan:
    """Return the A-scan that a scan line's samples are.

    Parameters
    ----------
    samples : ndarray, shape (n,)
        Envelope or detected amplitude, in order of time.
    speed_m_per_s : float

    Raises
    ------
    LineNotMeasurableError, SpeedNotPhysicalError
    """
    amplitude = np.asarray(samples, dtype=np.float64)
    if amplitude.ndim != 1 or len(amplitude) < 3 or not np.all(np.isfinite(amplitude)):
        raise LineNotMeasurableError("a scan line is a row of three samples or more", was=str(amplitude.shape))
    if not (sampling.interval_us > 0 and math.isfinite(sampling.interval_us)):
        raise LineNotMeasurableError(
            "the samples of a scan line need an interval",
            was=f"{sampling.interval_us:g} us",
            fix="give the interval in microseconds, or the rate in million samples a second",
        )
    time_us: Floats = np.arange(len(amplitude), dtype=np.float64) * sampling.interval_us
    depth_mm = distance_mm(time_us, speed_m_per_s)
    return AScan(amplitude, depth_mm, time_us, speed_m_per_s, SAMPLE_VALUE, sampling.start_mm)
