"""A-scans and what standardized ones tell of structures, as rows of text."""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Sequence

    from gateway.acoustics.curves import Curve
    from gateway.pipeline.line import PreparedExam

A_SCAN_HEADINGS = ("A-scan", "on", "eye", "length", "speed of sound", "amplitude", "peaks offered, none chosen")
ECHO_HEADINGS = ("structure", "on", "eye", "echo", "class", "tissue sensitivity")

Table = tuple[str, "Sequence[str]", list[list[str]]]


def a_scan_tables(prepared: PreparedExam) -> list[Table]:
    """Return the tables of an exam that has A-scans or reflectivities; none where it has neither."""
    tables: list[Table] = []
    if prepared.curves:
        tables.append(("A-scans", A_SCAN_HEADINGS, a_scan_rows(prepared)))
    if prepared.measured.echoes:
        tables.append(("Reflectivity", ECHO_HEADINGS, echo_rows(prepared)))
    return tables


def a_scan_rows(prepared: PreparedExam) -> list[list[str]]:
    """Each A-scan with length, speed of sound, what its amplitude is, and the peaks that are offered."""
    rows = []
    for curve in prepared.curves:
        scan = curve.scan
        capture = prepared.measured.exam.capture(curve.capture_id)
        frame = f", frame {curve.line.frame}" if curve.line is not None and curve.line.frame is not None else ""
        time = f" ({scan.time_us[-1]:.2f} us)" if scan.time_us is not None else ""
        speed = f"{scan.speed_m_per_s:g} m/s" if scan.speed_m_per_s is not None else "the device's, not stated"
        rows.append(
            [
                curve.id,
                curve.capture_id + frame,
                f"{capture.eye.value} ({capture.eye.abbreviation})",
                f"{scan.depth_mm[-1]:.2f} mm{time}",
                speed,
                scan.amplitude_words,
                _peaks(curve),
            ]
        )
    return rows


def _peaks(curve: Curve) -> str:
    scan = curve.scan
    words = []
    for peak in scan.peaks():
        time_us = scan.time_at_us(peak.position)
        time = f" ({time_us:.2f} us)" if time_us is not None else ""
        words.append(f"{scan.depth_at_mm(peak.position):.2f} mm{time} +{peak.prominence:.3g}")
    return ", ".join(words) or "none"


def echo_rows(prepared: PreparedExam) -> list[list[str]]:
    """Each reflectivity with its class and scheme, each difference with its gains, and the sensitivity of either."""
    rows = []
    for echo in prepared.measured.echoes:
        eye, found = prepared.measured.exam.capture(echo.capture_id).eye, echo.reflectivity
        rows.append(
            [
                echo.structure.replace("-", " "),
                echo.capture_id,
                f"{eye.value} ({eye.abbreviation})",
                f"{found.percent_words} of the initial spike" if found else echo.difference_words,
                f"{found.reflectivity_class.words} ({found.scheme})" if found else "-",
                f"{echo.tissue_sensitivity_db:g} dB",
            ]
        )
    return rows
