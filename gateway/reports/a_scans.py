"""A-scans in words: what was read where, at which speed of sound, and the peaks that are offered."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Final

import numpy as np
from numpy.typing import NDArray

from gateway.acoustics.a_scan import GREY_LEVEL, OFFERED_SHARE
from gateway.acoustics.curves import Curve
from gateway.model.a_scan import StructureEcho
from gateway.model.capture import Capture
from gateway.model.exam import MeasuredExam
from gateway.model.laterality import Eye
from gateway.reports.captures import eye_words
from gateway.reports.characters import seen
from gateway.reports.content import AScanCard, AScanPlot, EchoRow, PlottedPeak
from gateway.reports.pictures import Picture

LARGEST_GREY: Final = 255.0
_MOST_POINTS: Final = 1400
"""More than the drawing can show; beyond it each stretch is drawn by its lowest and highest value."""


@dataclass(frozen=True, slots=True)
class PicturedCurve:
    """An A-scan with the frame that it was read from; no picture for samples."""

    curve: Curve
    picture: Picture | None = None


def a_scan_cards(
    measured: MeasuredExam, curves: Sequence[PicturedCurve], eye: Eye, numbers: Mapping[str, int]
) -> tuple[AScanCard, ...]:
    """Say every A-scan of one eye, in the exam's order."""
    captures = {capture.id: capture for capture in measured.exam.captures if capture.eye is eye}
    return tuple(
        _card(one, captures[one.curve.capture_id], numbers[one.curve.capture_id])
        for one in curves
        if one.curve.capture_id in captures
    )


def _card(pictured: PicturedCurve, capture: Capture, number: int) -> AScanCard:
    curve = pictured.curve
    line, scan = curve.line, curve.scan
    is_line = line is not None
    where = f"line {curve.id} on picture {number}" if is_line else f"samples with picture {number}"
    frame = f", frame {line.frame}" if line is not None and line.frame is not None else ""
    peaks = tuple(_peaks(curve))
    plot = _plot(curve, peaks)
    end = f"{scan.depth_mm[-1]:.2f} mm"
    offered = f"{len(peaks)} peaks offered" + "".join(f"{';' if n else ':'} {p.words}" for n, p in enumerate(peaks))
    return AScanCard(
        title=seen(f"A-scan, {where}{frame}"),
        caption=seen(". ".join(_caption(curve, capture)) + "."),
        alternative_text=seen(
            f"Plot of {plot.amplitude_label} over depth, {where}{frame}, {eye_words(capture.eye)}, 0 to {end}; "
            f"{offered}"
        ),
        picture_text=seen(f"{eye_words(capture.eye)}, picture {number}{frame}, with the line {curve.id}"),
        plot=plot,
        peaks=peaks,
        picture=pictured.picture,
        line=(line.start, line.end) if line is not None else (),
    )


def _caption(curve: Curve, capture: Capture) -> Iterator[str]:
    scan, line = curve.scan, curve.line
    yield f"{capture.id}, {eye_words(capture.eye)}, {capture.position.words}"
    if scan.start_mm is not None:
        first = "point" if line and line.scan_line is None else "sample"
        yield f"Depth counts from the first {first}, {scan.start_mm:.2f} mm below the probe face"
    elif line is None:
        yield "Depth counts from the first sample"
    else:
        yield "Depth counts from the first point; no time is given, as the line does not run along known beams"
    yield _speed(curve)
    if line is not None and line.scan_line is not None:
        yield f"Samples of scan line {line.scan_line} as they were recorded: {scan.amplitude_words}"
    elif line is not None:
        band = f", averaged over {line.band_mm:g} mm across" if line.band_mm else ""
        yield f"Read from the stored picture between pixels by cubic convolution{band}: {scan.amplitude_words}"
    else:
        yield f"Samples as the exam document gives them: {scan.amplitude_words}"


def _speed(curve: Curve) -> str:
    speed = curve.speed
    if speed is not None:
        tissue = f", {speed.tissue.replace('-', ' ')}" if speed.tissue else ""
        return f"Depth at {speed.speed_m_per_s:g} m/s{tissue} ({speed.source})"
    if curve.scan.speed_m_per_s is not None:
        return f"Depth at {curve.scan.speed_m_per_s:g} m/s, as the device assumed"
    return "Depth at the device's own speed of sound, which is not stated"


def _peaks(curve: Curve) -> Iterator[PlottedPeak]:
    scan = curve.scan
    decimals = 0 if scan.amplitude_words == GREY_LEVEL else None
    for number, peak in enumerate(scan.peaks(), 1):
        depth_mm, time_us = scan.depth_at_mm(peak.position), scan.time_at_us(peak.position)
        prominence = f"{peak.prominence:.{decimals}f}" if decimals is not None else f"{peak.prominence:.3g}"
        time = f"{time_us:.2f} µs" if time_us is not None else ""
        yield PlottedPeak(number, depth_mm, peak.height, f"{depth_mm:.2f} mm", time, prominence)


def _plot(curve: Curve, peaks: tuple[PlottedPeak, ...]) -> AScanPlot:
    scan = curve.scan
    is_grey = scan.amplitude_words == GREY_LEVEL
    keep = _drawn(scan.amplitude)
    at = f"{scan.speed_m_per_s:g} m/s" if scan.speed_m_per_s is not None else "the device's speed"
    return AScanPlot(
        depth_mm=tuple(float(value) for value in scan.depth_mm[keep]),
        amplitude=tuple(float(value) for value in scan.amplitude[keep]),
        lowest=min(0.0, float(scan.amplitude.min())),
        highest=max(LARGEST_GREY if is_grey else 0.0, float(scan.amplitude.max())),
        end_us=float(scan.time_us[-1]) if scan.time_us is not None else None,
        depth_label=f"depth in mm at {at}",
        time_label="round-trip time in µs" if scan.time_us is not None else "",
        amplitude_label="grey level" if is_grey else "sample value",
        peaks=peaks,
    )


def _drawn(amplitude: NDArray[np.float64]) -> NDArray[np.intp]:
    """Return the indices of the samples that are drawn; each peak and each trough stays."""
    count = len(amplitude)
    if count <= _MOST_POINTS:
        return np.arange(count)
    ends = np.linspace(0, count, _MOST_POINTS // 2 + 1).astype(int)
    stretches = [(begin, amplitude[begin:end]) for begin, end in pairwise(ends)]
    kept = {begin + int(pick(values)) for begin, values in stretches for pick in (np.argmin, np.argmax)}
    return np.array(sorted(kept | {0, count - 1}))


def peaks_note() -> str:
    """Say what the offered peaks are and what they are not."""
    return (
        f"Peaks are offered that stand out by {100 * OFFERED_SHARE:g} % of the curve's range or more; none is chosen, "
        "and none is a measurement. “Stands out by” is how far a peak rises above the higher of the two lowest points "
        "between it and higher ground."
    )


# ---------------------------------------------------------------- reflectivity


def echo_rows(measured: MeasuredExam, eye: Eye, numbers: Mapping[str, int]) -> tuple[EchoRow, ...]:
    """Say what standardized A-scans of one eye tell of its structures."""
    return tuple(
        _echo_row(echo, numbers[echo.capture_id])
        for echo in measured.echoes
        if measured.exam.capture(echo.capture_id).eye is eye
    )


def _echo_row(echo: StructureEcho, number: int) -> EchoRow:
    found = echo.reflectivity
    return EchoRow(
        structure=echo.structure.replace("-", " "),
        value=seen(f"{found.percent_words} of the initial spike" if found else echo.difference_words),
        in_class=found.reflectivity_class.words if found else "",
        sensitivity=f"{echo.tissue_sensitivity_db:g} dB",
        picture=f"picture {number}",
        scheme=found.scheme if found else "",
    )
