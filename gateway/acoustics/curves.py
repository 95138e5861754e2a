"""The A-scans of a capture: grey levels along its stated lines, and the samples that came with it."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import islice

import numpy as np
from numpy.typing import NDArray

from gateway.acoustics.a_scan import AScan, SampledLine, Sampling, along_line, from_samples
from gateway.acoustics.pulse_echo import round_trip_time_us
from gateway.errors import GatewayError
from gateway.errors.measurement import LineNotMeasurableError, NoScaleError
from gateway.model.a_scan import AScanLine, AScanSamples
from gateway.model.capture import Capture
from gateway.model.exam import HeldPart
from gateway.model.measurement import TissueSpeed
from gateway.model.media import FrameSource, LineSource

SAMPLES_ID = "samples"


@dataclass(frozen=True, slots=True)
class Curve:
    """One A-scan of one capture.

    Parameters
    ----------
    speed : TissueSpeed or None
        The speed stated for the axis; None where the axis has the device's own.
    line : AScanLine or None
        Where on the picture it was read; None for samples.
    """

    capture_id: str
    id: str
    scan: AScan
    speed: TissueSpeed | None = None
    line: AScanLine | None = None


def curves_of(capture: Capture, source: FrameSource) -> tuple[tuple[Curve, ...], tuple[HeldPart, ...]]:
    """Read every A-scan of a capture; one that cannot be read is held, the others go on.

    Parameters
    ----------
    source : FrameSource
        The pixels as they are stored. They are opened only where there is a line.

    Returns
    -------
    tuple of Curve, tuple of HeldPart
    """
    path = f"captures[{capture.number - 1}]"
    found: list[Curve] = []
    held: list[HeldPart] = []
    for number, line in enumerate(capture.a_scan_lines):
        try:
            found.append(_along(line, capture, source))
        except GatewayError as error:
            held.append(_held(error, f"{path}.a_scan_lines[{number}]", f"{capture.id} {line.id}"))
    samples = capture.a_scan.samples if capture.a_scan else None
    if samples is not None:
        try:
            found.append(_from(samples, capture))
        except GatewayError as error:
            held.append(_held(error, f"{path}.a_scan.samples", f"{capture.id} {SAMPLES_ID}"))
    return tuple(found), tuple(held)


def _held(error: GatewayError, part: str, name: str) -> HeldPart:
    error.where = error.where or part
    return HeldPart(part, name, error)


def _along(line: AScanLine, capture: Capture, source: FrameSource) -> Curve:
    if line.scan_line is not None:
        return Curve(capture.id, line.id, _of_scan_line(line, line.scan_line, capture, source), line.speed, line)
    if capture.calibration is None:
        raise NoScaleError("a line on a picture without a scale", fix="state calibration for this capture")
    speed_m_per_s = line.speed.speed_m_per_s if line.speed else None
    stated = SampledLine(line.start, line.end, speed_m_per_s, line.band_mm)
    scan = along_line(_frame(source, line.frame or 1), stated, capture.calibration)
    return Curve(capture.id, line.id, scan, line.speed, line)


def _of_scan_line(line: AScanLine, number: int, capture: Capture, source: FrameSource) -> AScan:
    stated = capture.scan_lines
    if stated is None or not isinstance(source, LineSource):
        raise LineNotMeasurableError("the scan lines behind this picture cannot be read", fix="leave mask out")
    assumed = stated.assumed_speed_m_per_s
    used = line.speed.speed_m_per_s if line.speed else assumed
    interval_us = float(round_trip_time_us(stated.sample_interval_mm, assumed))
    sampling = Sampling(interval_us, stated.start_depth_mm * used / assumed)
    return from_samples(source.line(number, line.frame or 1), sampling, used)


def _frame(source: FrameSource, number: int) -> NDArray[np.uint8]:
    """Return one frame of the stored loop, counted from 1."""
    frame = next(islice(source.frames(), number - 1, None), None)
    if frame is None:
        raise LineNotMeasurableError(
            "the line lies on a frame that the stored loop does not have",
            was=f"frame {number} of {source.facts.frame_count}",
            fix="check frame and the kept range",
        )
    return frame


def _from(samples: AScanSamples, capture: Capture) -> Curve:
    sampling = Sampling(samples.interval_us, samples.start_mm)
    values = np.array(samples.values, dtype=np.float64)
    return Curve(capture.id, SAMPLES_ID, from_samples(values, sampling, samples.speed.speed_m_per_s), samples.speed)
