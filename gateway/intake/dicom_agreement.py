"""What a DICOM object states of itself, held against what the exam states of the capture.

The object's words and the exam's are two witnesses. Where they contradict, the capture is held with both places, unless
the exam says that it corrects the object; nothing of a patient stands in the message.
"""

from __future__ import annotations

import math
import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta, timezone
from typing import Final

from pydicom.dataset import Dataset
from pydicom.sr.coding import Code

from gateway.errors import Place
from gateway.errors.dicom_objects import DicomContradictionError
from gateway.intake.dicom_objects import DicomSource
from gateway.intake.on_picture import place_of
from gateway.model.calibration import Calibration
from gateway.model.capture import Capture, CorrectableAttribute
from gateway.model.exam import Exam
from gateway.model.laterality import Eye
from gateway.model.people import PersonName
from gateway.standard.codes import concept

_SCALE_AGREES: Final = 1e-3
"""A tenth of a percent, less than one pixel in a thousand: both numbers are one scale, written with other digits."""
_TIME_AGREES: Final = timedelta(seconds=1)
"""Devices write whole seconds in one place and fractions in another."""
_CENTIMETRES: Final = 3
_TWO_DIMENSIONAL: Final = 1


@dataclass(frozen=True, slots=True)
class _Contradiction:
    """Parameters: the exam's field, the object's attribute, what is contradicted, and what could correct it."""

    field: str
    keyword: str
    what: str
    correctable: CorrectableAttribute | None = None
    was: str = ""


def check_object(exam: Exam, capture: Capture, path: str, source: DicomSource) -> None:
    """Refuse an object that contradicts its exam where the capture does not say that it corrects it.

    Parameters
    ----------
    path : str
        Field path of the capture, e.g. ``captures[2]``.

    Raises
    ------
    DicomContradictionError
        Naming the place in the exam and the one in the object of each contradiction.
    """
    found = [
        one
        for one in _contradictions(exam, capture, path, source.header)
        if one.correctable is None or one.correctable not in capture.corrects
    ]
    if not found:
        return
    first = found[0]
    name = source.stored.name
    others = [str(Place(name, field=one.keyword)) for one in found]
    words = ", ".join(dict.fromkeys(one.what for one in found))
    correct = sorted({one.correctable.value for one in found if one.correctable})
    fix = f"mend the exam, or write corrects: [{', '.join(correct)}] where the exam is right" if correct else "mend it"
    raise DicomContradictionError(
        f"exam and object contradict each other: {words}",
        where=place_of(exam, first.field, path),
        was=f"{first.was or 'another value'} at {' and '.join(others)}",
        fix=fix,
    )


def _contradictions(exam: Exam, capture: Capture, path: str, header: Dataset) -> Iterator[_Contradiction]:
    yield from _patient(exam, header)
    yield from _eye(capture, path, header)
    yield from _acquired(exam, capture, path, header)
    if capture.calibration:
        yield from _scale(capture.calibration, f"{path}.calibration", header)
    yield from _frame_times(capture, path, header)
    yield from _settings(capture, path, header)
    yield from _burned_in_text(capture, path, header)


def _burned_in_text(capture: Capture, path: str, header: Dataset) -> Iterator[_Contradiction]:
    """Hold both statements on text in the picture against each other: neither may silence the other."""
    stated = {"YES": True, "NO": False}.get(_text(header, "BurnedInAnnotation").upper())
    text = capture.burned_in_text
    if text is not None and stated is not None and stated is not text.identifies_patient:
        yield _Contradiction(f"{path}.burned_in_text", "BurnedInAnnotation", "text in the picture")


# ---------------------------------------------------------------- patient


def _patient(exam: Exam, header: Dataset) -> Iterator[_Contradiction]:
    patient = exam.patient
    what = "the patient"
    stated = _text(header, "PatientID")
    if stated and stated != patient.id:
        yield _Contradiction("patient.id", "PatientID", what, CorrectableAttribute.PATIENT_ID)
    stated = _text(header, "IssuerOfPatientID")
    if stated and patient.issuer and stated != patient.issuer:
        yield _Contradiction("patient.issuer", "IssuerOfPatientID", what, CorrectableAttribute.PATIENT_ISSUER)
    if not _same_name(_text(header, "PatientName"), patient.name):
        yield _Contradiction("patient.name", "PatientName", what, CorrectableAttribute.PATIENT_NAME)
    stated = re.sub(r"[.\s-]", "", _text(header, "PatientBirthDate"))
    if stated and patient.birth_date and stated != f"{patient.birth_date:%Y%m%d}":
        yield _Contradiction("patient.birth_date", "PatientBirthDate", what, CorrectableAttribute.BIRTH_DATE)
    stated = _text(header, "PatientSex")
    if stated and patient.sex and stated != patient.sex.value:
        yield _Contradiction("patient.sex", "PatientSex", what, CorrectableAttribute.SEX)


def _same_name(stated: str, name: PersonName) -> bool:
    """Whether no group of both differs; case is no difference, as devices write capitals (PS3.4 C.2.2.2.1)."""
    groups = [*stated.split("="), "", "", ""]
    pairs = zip(groups, (name.alphabetic, name.ideographic, name.phonetic), strict=False)
    return all(_plain(one) == _plain(other) for one, other in pairs if _plain(one) and _plain(other))


def _plain(group: str) -> tuple[str, ...]:
    parts = [" ".join(part.split()).casefold() for part in group.split("^")]
    while parts and not parts[-1]:
        parts.pop()
    return tuple(parts)


# ---------------------------------------------------------------- eye


def _eye(capture: Capture, path: str, header: Dataset) -> Iterator[_Contradiction]:
    for keyword, said in stated_eyes(header):
        if said != capture.eye.value:
            was = f"{capture.eye.value} here and {said}"
            yield _Contradiction(f"{path}.eye", keyword, "the eye", CorrectableAttribute.EYE, was)


def stated_eyes(header: Dataset) -> Iterator[tuple[str, str]]:
    """Yield what an object says of the side it shows, with the attribute that says so: ``right``, ``left`` or words.

    Image Laterality and Laterality say it in one letter (PS3.3 C.7.6.1, C.7.3.1), the modifiers of region and structure
    in a code (10.5), also in codes of the retired scheme SRT.
    """
    letters = {"R": "right", "L": "left", "B": "both", "U": "unpaired"}
    for keyword in ("ImageLaterality", "Laterality"):
        letter = _text(header, keyword)
        if letter:
            yield keyword, letters.get(letter, "something else")
    sides = {eye.value: concept("laterality", eye.value) for eye in Eye}
    for sequence, modifiers in (
        ("AnatomicRegionSequence", "AnatomicRegionModifierSequence"),
        ("PrimaryAnatomicStructureSequence", "PrimaryAnatomicStructureModifierSequence"),
    ):
        for item in _items(header, sequence):
            for modifier in _items(item, modifiers):
                code = Code(_text(modifier, "CodeValue"), _text(modifier, "CodingSchemeDesignator"), "")
                for side, known in sides.items():
                    if code == Code(known.value, known.scheme, known.meaning):
                        yield f"{sequence}[0].{modifiers}", side


# ---------------------------------------------------------------- time


def _acquired(exam: Exam, capture: Capture, path: str, header: Dataset) -> Iterator[_Contradiction]:
    if capture.acquired is None:
        return
    # The object was stamped by the device's own clock, however wrong that was.
    shown = capture.acquired + timedelta(seconds=exam.session.device.clock_ahead_s)
    for keyword, moment in stated_moments(header, exam.session.start):
        if abs(moment - shown) >= _TIME_AGREES:
            yield _Contradiction(f"{path}.acquired", keyword, "the time", CorrectableAttribute.ACQUIRED, "another time")


def stated_moments(header: Dataset, session: datetime) -> Iterator[tuple[str, datetime]]:
    """Yield when the object says that it was acquired.

    A time without offset counts in the object's Timezone Offset From UTC (PS3.3 C.12.1.1.8), and where it has none as
    the wall clock of the session. Times that cannot be read say nothing.
    """
    zone = _zone(_text(header, "TimezoneOffsetFromUTC")) or session.tzinfo
    text = _text(header, "AcquisitionDateTime")
    found = re.fullmatch(r"(\d{14})(\.\d{1,6})?([+-]\d{4})?", text)
    moment = _moment(found[1]) if found else None
    if found and moment:
        yield "AcquisitionDateTime", moment.replace(tzinfo=_zone(found[3] or "") or zone)
    day, time = _text(header, "AcquisitionDate").replace(".", ""), _text(header, "AcquisitionTime").replace(":", "")
    moment = _moment(day + time.partition(".")[0])
    if moment:
        yield "AcquisitionTime", moment.replace(tzinfo=zone)


def _moment(digits: str) -> datetime | None:
    try:
        return datetime.strptime(digits, "%Y%m%d%H%M%S")
    except ValueError:
        return None


def _zone(text: str) -> timezone | None:
    found = re.fullmatch(r"([+-])(\d\d)(\d\d)", text)
    if not found or int(found[2]) > 14 or int(found[3]) > 59:
        return None
    offset = timedelta(hours=int(found[2]), minutes=int(found[3]))
    return timezone(-offset if found[1] == "-" else offset)


# ---------------------------------------------------------------- scale, frames, settings


def _scale(calibration: Calibration, path: str, header: Dataset) -> Iterator[_Contradiction]:
    """Hold the exam's scale against the object's own: one of its two-dimensional regions must have the same."""
    regions = [
        region
        for region in _items(header, "SequenceOfUltrasoundRegions")
        if _number(region, "RegionSpatialFormat") == _TWO_DIMENSIONAL
        and _number(region, "PhysicalUnitsXDirection") == _number(region, "PhysicalUnitsYDirection") == _CENTIMETRES
    ]
    if regions and not any(_is_scale_of(region, calibration) for region in regions):
        yield _Contradiction(path, "SequenceOfUltrasoundRegions", "the scale", was="another scale or region")
    spacing = _numbers(header, "PixelSpacing")
    wanted = (calibration.mm_per_pixel_y, calibration.mm_per_pixel_x)
    if len(spacing) == 2 and not all(map(_is_close, spacing, wanted)):
        yield _Contradiction(f"{path}.mm_per_pixel", "PixelSpacing", "the scale", was="another scale")


def _is_scale_of(region: Dataset, calibration: Calibration) -> bool:
    stated = calibration.region
    corners = ("RegionLocationMinX0", "RegionLocationMinY0", "RegionLocationMaxX1", "RegionLocationMaxY1")
    if stated and [_number(region, keyword) for keyword in corners] != [stated.x0, stated.y0, stated.x1, stated.y1]:
        return False
    deltas = [abs(_number(region, f"PhysicalDelta{axis}") or 0) * 10 for axis in "XY"]
    return all(map(_is_close, deltas, (calibration.mm_per_pixel_x, calibration.mm_per_pixel_y)))


def _is_close(one: float, other: float) -> bool:
    return math.isclose(one, other, rel_tol=_SCALE_AGREES)


def _frame_times(capture: Capture, path: str, header: Dataset) -> Iterator[_Contradiction]:
    frame_time_ms, vector = _number(header, "FrameTime"), _numbers(header, "FrameTimeVector")
    rate, times = capture.timing.frame_rate_hz, capture.timing.frame_times_ms
    what = "the frame times"
    if rate is not None and frame_time_ms and not _is_close(frame_time_ms, 1000 / rate):
        yield _Contradiction(f"{path}.frame_rate_hz", "FrameTime", what, was=f"{frame_time_ms:g} ms")
    if (
        times
        and frame_time_ms
        and not all(abs(time - number * frame_time_ms) <= 0.5 for number, time in enumerate(times))
    ):
        yield _Contradiction(f"{path}.frame_times_ms", "FrameTime", what, was=f"{frame_time_ms:g} ms")
    if len(vector) > 1 and rate is not None and not all(abs(step - 1000 / rate) <= 0.5 for step in vector[1:]):
        yield _Contradiction(f"{path}.frame_rate_hz", "FrameTimeVector", what, was="other times")
    if len(vector) > 1 and times and not _same_times(vector, times):
        yield _Contradiction(f"{path}.frame_times_ms", "FrameTimeVector", what, was="other times")


def _same_times(vector: Sequence[float], times: Sequence[float]) -> bool:
    total, found = 0.0, []
    for step in vector:
        total += step
        found.append(total)
    return len(found) == len(times) and all(abs(one - other) <= 0.5 for one, other in zip(found, times, strict=True))


def _settings(capture: Capture, path: str, header: Dataset) -> Iterator[_Contradiction]:
    """Hold what the device was set to against what it wrote itself; acquired values are never overwritten."""
    settings = capture.settings
    indices = {"TIB": "BoneThermalIndex", "TIC": "CranialThermalIndex", "TIS": "SoftTissueThermalIndex"}
    thermal = settings.thermal_index
    for field, keyword, stated in (
        ("depth_mm", "DepthOfScanField", settings.depth_mm),
        ("mechanical_index", "MechanicalIndex", settings.mechanical_index),
        ("thermal_index", indices[thermal.kind.value] if thermal else "", thermal.value if thermal else None),
    ):
        found = _number(header, keyword) if keyword else None
        # Depth of Scan Field holds whole millimetres alone.
        close = 0.5 if field == "depth_mm" else 0.005
        if stated is not None and found is not None and abs(found - stated) > close:
            yield _Contradiction(f"{path}.{field}", keyword, keyword, was=f"{found:g}")


# ---------------------------------------------------------------- values that may be odd


def _text(dataset: Dataset, keyword: str) -> str:
    """Return a single value as text; empty where there is none, several, or one that breaks its representation."""
    try:
        value = dataset.get(keyword)
        return "" if value is None or hasattr(value, "append") else str(value).strip(" \0")
    except Exception:  # pydicom raises whatever its decoders raise
        return ""


def _number(dataset: Dataset, keyword: str) -> float | None:
    text = _text(dataset, keyword)
    try:
        found = float(text)
    except ValueError:
        return None
    return found if math.isfinite(found) else None


def _numbers(dataset: Dataset, keyword: str) -> list[float]:
    try:
        value = dataset.get(keyword)
        numbers = [float(each) for each in value] if hasattr(value, "append") else []
    except Exception:  # as above
        return []
    return numbers if all(map(math.isfinite, numbers)) else []


def _items(dataset: Dataset, keyword: str) -> list[Dataset]:
    try:
        return [item for item in dataset.get(keyword) or [] if isinstance(item, Dataset)]
    except Exception:  # as above
        return []
