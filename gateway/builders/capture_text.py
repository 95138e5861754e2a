"""The capture in words, for readers that show no codes: the text of Image Comments."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import timedelta

from gateway.model.capture import Capture
from gateway.model.exam import Exam
from gateway.model.laterality import Eye
from gateway.model.session import clock_words

_EYE_WORDS = {Eye.RIGHT: "OD (right eye)", Eye.LEFT: "OS (left eye)"}


def capture_text(exam: Exam, capture: Capture) -> str:
    """Return everything stated about a capture as lines of text.

    Eye and position first, then contact and eye, the device, one line for each caution, and the comment.
    """
    lines = [
        "; ".join(_position_words(capture)),
        "; ".join(_contact_words(capture)),
        "; ".join(_device_words(capture)),
        "; ".join(_clock_words(exam, capture)),
        *(f"Caution: {caution.words}" for caution in exam.cautions),
        *capture.comment.strip().splitlines(),
    ]
    return "\r\n".join(line for line in lines if line)


def _position_words(capture: Capture) -> Iterator[str]:
    position = capture.position
    yield f"{_EYE_WORDS[capture.eye]}: {position.words}"
    if position.clock_hour:
        yield f"{position.clock_hour.side(capture.eye)} (clock hours as the examiner faces the patient)"
    if position.marker:
        yield f"probe marker {position.marker.value.replace('-', ' ')}"
    if position.gaze:
        yield f"gaze {position.gaze.value.replace('-', ' and ')}"


def _contact_words(capture: Capture) -> Iterator[str]:
    settings = capture.settings
    if settings.contact:
        yield f"contact {settings.contact.value.replace('-', ' ')}"
    if settings.couplant:
        yield f"couplant {settings.couplant}"
    if settings.anaesthetic:
        yield f"anaesthetic {settings.anaesthetic}"
    if capture.lens:
        yield f"lens: {capture.lens.value.replace('-', ' ')}"
    if capture.vitreous:
        yield f"vitreous cavity: {capture.vitreous.value.replace('-', ' ')}"


def _clock_words(exam: Exam, capture: Capture) -> Iterator[str]:
    ahead_s = exam.session.device.clock_ahead_s
    if ahead_s and capture.acquired:
        shown = capture.acquired + timedelta(seconds=ahead_s)
        true = f"{capture.acquired:%Y-%m-%d %H:%M:%S}"
        yield f"device clock showed {shown:%Y-%m-%d %H:%M:%S}, {clock_words(ahead_s)}: acquired at {true}"


def _device_words(capture: Capture) -> Iterator[str]:
    settings = capture.settings
    if settings.gain_db is not None:
        yield f"gain {settings.gain_db:g} dB"
    if settings.display_gain_db is not None:
        yield f"display gain changed by {settings.display_gain_db:+g} dB after freezing (pixels as acquired)"
    if settings.dynamic_range_db is not None:
        yield f"dynamic range {settings.dynamic_range_db:g} dB"
    if settings.depth_mm is not None:
        yield f"depth {settings.depth_mm:g} mm"
    if capture.burned_in_text:
        yield capture.burned_in_text.words
    if capture.calibration and capture.calibration.assumed_speed_m_per_s is not None:
        yield f"assumed speed of sound {capture.calibration.assumed_speed_m_per_s:g} m/s"
