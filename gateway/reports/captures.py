"""Captures in words, and the measurements' points that lie on the frame shown."""

from __future__ import annotations

import dataclasses
from collections.abc import Iterator, Mapping, Sequence
from datetime import datetime
from typing import Final

import numpy as np

from gateway.acoustics.outlines import ellipse_outline
from gateway.acoustics.quantities import OUTLINED, drawing_of, is_ellipse
from gateway.model.calibration import Point
from gateway.model.capture import Capture, CaptureKind
from gateway.model.exam import Exam, MeasuredExam
from gateway.model.laterality import Eye
from gateway.model.measurement import MeasuredValue, Measurement
from gateway.model.witness import is_settled, ledger_words
from gateway.reports.characters import seen
from gateway.reports.content import CaliperLine, CaptureCard, ProbeMark
from gateway.reports.pictures import Picture

_EYE_WORDS: Final = {Eye.RIGHT: "Right eye (OD)", Eye.LEFT: "Left eye (OS)"}


def eye_words(eye: Eye) -> str:
    """Return the eye in full, with the short form that the trade writes."""
    return _EYE_WORDS[eye]


def capture_numbers(exam: Exam) -> Mapping[str, int]:
    """Return each capture's number by its id: its place in the document, or in the exam where there is no document."""
    return {capture.id: capture.number or place for place, capture in enumerate(exam.captures, 1)}


def capture_card(measured: MeasuredExam, capture: Capture, picture: Picture | None) -> CaptureCard:
    """Say what is known of one capture."""
    exam = measured.exam
    position = seen(capture.position.words)
    clock_hour = capture.position.clock_hour
    kind = "still" if capture.kind is CaptureKind.STILL else "loop"
    return CaptureCard(
        id=seen(capture.id),
        number=capture_numbers(exam)[capture.id],
        eye=capture.eye,
        eye_words=eye_words(capture.eye),
        position=position,
        side=clock_hour.side(capture.eye) if clock_hour else "",
        shown=_shown(capture, picture),
        acquired=_acquired(capture, exam.session.start),
        details=tuple(seen(detail) for detail in _details(capture)),
        comment=seen(capture.comment),
        annotations=tuple(_annotations(exam, capture)),
        is_key_image=capture.is_key_image,
        alternative_text=f"Ultrasound {kind}, {eye_words(capture.eye)}, {position}",
        mark=ProbeMark(capture.position.scan, clock_hour, capture.position.zone),
        eye_basis=_eye_basis(capture),
        is_eye_of_one_witness=bool(capture.eye_witnesses) and not is_settled(capture.eye_witnesses),
        position_origin=seen(capture.position_origin),
        picture=picture,
        calipers=tuple(_calipers(capture, picture, measured.values)),
    )


def _eye_basis(capture: Capture) -> str:
    words = ledger_words(capture.eye_witnesses)
    return seen(f"{capture.eye.value}: {words}") if words else ""


def share_details(cards: Sequence[CaptureCard]) -> tuple[tuple[str, ...], tuple[CaptureCard, ...]]:
    """Return the details that all captures have in common, and the captures without them."""
    if len(cards) < 2:
        return (), tuple(cards)
    shared = tuple(detail for detail in cards[0].details if all(detail in card.details for card in cards))
    return shared, tuple(
        dataclasses.replace(card, details=tuple(d for d in card.details if d not in shared)) for card in cards
    )


def _shown(capture: Capture, picture: Picture | None) -> str:
    if picture is None:
        return "not printed here"
    if capture.kind is CaptureKind.STILL:
        return "still"
    return f"loop of {picture.frame_count} frames, frame {picture.frame} shown"


def _acquired(capture: Capture, session_start: datetime) -> str:
    if capture.acquired is None:
        return ""
    is_same_day = capture.acquired.date() == session_start.date()
    return f"{capture.acquired:%H:%M:%S}" if is_same_day else f"{capture.acquired:%Y-%m-%d %H:%M:%S}"


def _annotations(exam: Exam, capture: Capture) -> Iterator[str]:
    for annotation in exam.annotations:
        if annotation.capture_id == capture.id:
            text = f" “{seen(annotation.text)}”" if annotation.text else ""
            frame = f", frame {annotation.frame}" if annotation.frame is not None else ""
            yield f"{annotation.kind.value}{text}{frame}"


def _details(capture: Capture) -> Iterator[str]:
    position, settings = capture.position, capture.settings
    if position.marker:
        yield f"probe marker {position.marker.value.replace('-', ' ')}"
    if position.gaze:
        yield f"gaze {position.gaze.value.replace('-', ' and ')}"
    if settings.contact:
        yield settings.contact.value.replace("-", " ")
    if settings.couplant:
        yield f"couplant {settings.couplant}"
    if settings.anaesthetic:
        yield f"anaesthetic {settings.anaesthetic}"
    if capture.lens:
        yield f"lens {capture.lens.value.replace('-', ' ')}"
    if capture.vitreous:
        yield f"vitreous cavity: {capture.vitreous.value.replace('-', ' ')}"
    yield from _device_details(capture)


def _device_details(capture: Capture) -> Iterator[str]:
    settings = capture.settings
    if settings.gain_db is not None:
        yield f"gain {settings.gain_db:g} dB"
    if settings.display_gain_db is not None:
        yield f"display gain {settings.display_gain_db:+g} dB after freezing"
    if settings.dynamic_range_db is not None:
        yield f"dynamic range {settings.dynamic_range_db:g} dB"
    if settings.depth_mm is not None:
        yield f"depth {settings.depth_mm:g} mm"
    if capture.burned_in_text:
        yield capture.burned_in_text.words
    if capture.calibration is None:
        yield "no scale"


def _calipers(capture: Capture, picture: Picture | None, values: Sequence[MeasuredValue]) -> Iterator[CaliperLine]:
    """Yield the calipers drawn on the frame shown; those of other frames would point at the wrong place."""
    if picture is None:
        return
    for value in values:
        measurement = value.measurement
        if measurement.capture_id == capture.id and (measurement.frame or 1) == picture.frame and measurement.points:
            yield _drawn(measurement)


def _drawn(measurement: Measurement) -> CaliperLine:
    """Return the points as they are drawn: an ellipse as its outline."""
    if is_ellipse(measurement.kind, drawing_of(measurement), len(measurement.points)):
        outline = ellipse_outline(np.array([(point.x, point.y) for point in measurement.points], dtype=np.float64))
        return CaliperLine(measurement.id, tuple(Point(float(x), float(y)) for x, y in outline), is_closed=True)
    return CaliperLine(measurement.id, measurement.points, measurement.kind in OUTLINED)
