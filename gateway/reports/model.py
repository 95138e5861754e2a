"""Makes the report's content out of a measured exam."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from datetime import date, datetime, timedelta
from typing import Final

from gateway.model.biometry import LENS_POWER_CAUTION
from gateway.model.exam import Exam, HeldPart, MeasuredExam
from gateway.model.finding import Finding, Presence
from gateway.model.laterality import Eye
from gateway.model.people import PersonName, Sex
from gateway.model.session import clock_words
from gateway.reports.a_scans import PicturedCurve, a_scan_cards, echo_rows, peaks_note
from gateway.reports.captures import capture_card, capture_numbers, eye_words, share_details
from gateway.reports.characters import seen
from gateway.reports.content import EyeSection, FindingRow, HeldRow, Line, PatientName, Report
from gateway.reports.coverage import coverage_text
from gateway.reports.measurements import measurement_row, speed_sources
from gateway.reports.output_display import output_lines
from gateway.reports.pictures import Picture, picture_of
from gateway.reports.printable import with_note_on_code_points
from gateway.reports.uncertainty import uncertainty_notes

__all__ = ["Picture", "Report", "picture_of", "report_model"]

TITLE: Final = "Ultrasound report of the eye"
STATUS: Final = "Preliminary: not yet verified by a physician"
INVENTED: Final = (
    "Invented data: patient, clinic, pictures and numbers are made up for demonstration. Nothing here is about a real "
    "person."
)
NOTES: Final = (
    "Clock hours are as the examiner faces the patient, 12 o'clock superior in both eyes: 3 o'clock is nasal in the "
    "right eye and temporal in the left.",
    "“Not shown” is never “normal”: of what no picture shows, nothing is said.",
    "Acquired values stand as they were displayed; a corrected value is given beside them, never instead of them.",
    "Pictures are reduced for reading; the stored DICOM objects are the record. Local codes and licensed practice "
    "decide what is documented and concluded.",
)
NO_BIOMETRY: Final = (
    "Not for lens-power calculation: no length here came as biometry with its method, speed of sound and quality."
)
CHART_LEGEND: Final = (
    "The middle is the posterior pole, the inner circle the equator, the dotted circle the ora serrata. A bar along a "
    "circle is a transverse scan, a bar towards the middle a longitudinal one, a line through the middle an axial one. "
    "A mark outside the rim: its depth was not stated. Numbers are those of the pictures. Dark grey: centred, in the "
    "middle of a stored picture or in the plane of its scan. Light grey: in its field, seen at a slant. Hatched: "
    "declared swept, no stored picture. White: not shown, and nothing is said about it."
)
_SEX_WORDS: Final = {Sex.FEMALE: "female", Sex.MALE: "male", Sex.OTHER: "other"}
_PROBE_WORDS: Final = {
    "SECTOR_MECH": "mechanical sector",
    "SECTOR_PHASED": "phased sector",
    "SECTOR_ANNULAR": "annular sector",
}
"""Terms of Transducer Type (PS3.3 C.8.5.6) that do not read as words."""


def report_model(
    measured: MeasuredExam,
    pictures: Mapping[str, Picture],
    identifiers: Mapping[str, str],
    extra_held: Sequence[HeldPart] = (),
    curves: Sequence[PicturedCurve] = (),
) -> Report:
    """Say everything that a measured exam holds, as ready-to-show text.

    Parameters
    ----------
    measured : MeasuredExam
    pictures : mapping of str to Picture
        By capture id; a capture without one is listed all the same.
    identifiers : mapping of str to str
        What an object is to its UID.
    extra_held : sequence of HeldPart
        Parts held at other steps; one that `measured` names too is said once.
    curves : sequence of PicturedCurve
        A-scans to be plotted.
    """
    exam = measured.exam
    held = dict.fromkeys(_held_row(part) for part in (*extra_held, *measured.held))
    report = Report(
        title=TITLE,
        exam_key=seen(exam.key),
        language=exam.language,
        created=exam.session.start,
        status=STATUS,
        invented=INVENTED if exam.is_synthetic else "",
        name=_patient_name(exam.patient.name),
        identity=_identity(exam),
        patient=_lines(_patient(exam)),
        order=_lines(_order(exam)),
        session=_lines(_session(exam)),
        cautions=tuple(caution.words for caution in exam.cautions),
        right=_eye_section(measured, pictures, curves, Eye.RIGHT),
        left=_eye_section(measured, pictures, curves, Eye.LEFT),
        uncertainty_notes=uncertainty_notes(measured.values),
        speed_sources=speed_sources(measured.values),
        chart_legend=CHART_LEGEND,
        held=tuple(held),
        output=output_lines(exam),
        notes=_notes(measured),
        identifiers=_lines(identifiers.items()),
        echo_notes=_echo_notes(measured),
        a_scan_note=peaks_note() if curves else "",
    )
    return with_note_on_code_points(report)


def _notes(measured: MeasuredExam) -> tuple[str, ...]:
    has_lengths = any(value.biometry for value in measured.values)
    return (*NOTES, f"Lengths of the eye are {LENS_POWER_CAUTION}." if has_lengths else NO_BIOMETRY)


def _echo_notes(measured: MeasuredExam) -> tuple[str, ...]:
    schemes = [echo.reflectivity.scheme for echo in measured.echoes if echo.reflectivity]
    return tuple(dict.fromkeys(f"Classes of reflectivity: {scheme}." for scheme in schemes))


def _lines(pairs: Iterable[tuple[str, str]]) -> tuple[Line, ...]:
    """Return a line for each pair that says something."""
    return tuple(Line(seen(label), seen(text)) for label, text in pairs if text)


def _patient_name(name: PersonName) -> PatientName:
    def spoken(group: str) -> str:
        # In these scripts the family name comes first, as the component group has it.
        return seen(" ".join(part for part in group.split("^") if part))

    return PatientName(seen(name.words), spoken(name.ideographic), spoken(name.phonetic))


def _identity(exam: Exam) -> str:
    patient = exam.patient
    parts = [f"ID {patient.id} ({patient.issuer})"]
    if patient.birth_date:
        parts.append(f"born {patient.birth_date.isoformat()}")
    return seen(", ".join(parts))


def _patient(exam: Exam) -> Iterator[tuple[str, str]]:
    patient = exam.patient
    yield "Patient ID", patient.id
    yield "Issued by", patient.issuer
    if patient.birth_date:
        age = _age_years(patient.birth_date, exam.session.start)
        yield "Born", f"{patient.birth_date.isoformat()} ({age} years)"
    if patient.sex:
        yield "Sex", _SEX_WORDS[patient.sex]


def _age_years(born: date, at: datetime) -> int:
    """Completed years of life on the day of the session."""
    return at.year - born.year - ((at.month, at.day) < (born.month, born.day))


def _order(exam: Exam) -> Iterator[tuple[str, str]]:
    order = exam.order
    procedure = order.requested_procedure
    code_meaning = procedure.code.meaning if procedure.code else ""
    yield "Accession", order.accession_number
    yield "Procedure", procedure.description or code_meaning
    yield "Procedure ID", procedure.id
    yield "Requested by", _person(order.requesting_physician)
    yield "Referred by", _person(order.referring_physician)
    yield "Indication", order.indication.words if order.indication else ""
    yield "Working diagnosis", order.working_diagnosis.words if order.working_diagnosis else ""


def _session(exam: Exam) -> Iterator[tuple[str, str]]:
    session = exam.session
    device, probe = session.device, session.probe
    yield "Examined", f"{session.start:%Y-%m-%d %H:%M} (UTC{_offset(session.start)})"
    if device.clock_ahead_s:
        shown = session.start + timedelta(seconds=device.clock_ahead_s)
        words = f"ran {clock_words(device.clock_ahead_s)} and showed {shown:%Y-%m-%d %H:%M:%S} at the start"
        yield "Device clock", f"{words}; times here are corrected by that"
    yield "Institution", session.institution
    yield "Station", session.station
    yield "Examiner", _person(session.examiner)
    yield "Physician", _person(session.performing_physician)
    make = " ".join(part for part in (device.maker, device.model) if part)
    serial = f"serial {device.serial}" if device.serial else ""
    software = f"software {device.software}" if device.software else ""
    yield "Device", ", ".join(part for part in (make, serial, software) if part)
    frequency = f"{probe.nominal_frequency_mhz:g} MHz" if probe.nominal_frequency_mhz is not None else ""
    kind = _PROBE_WORDS.get(probe.type, probe.type.replace("_", " ").lower())
    yield "Probe", ", ".join(part for part in (kind, frequency) if part)
    yield "Visit", session.visit
    yield "Protocol", f"{session.protocol.name} ({session.protocol.source})" if session.protocol else ""


def _offset(moment: datetime) -> str:
    text = f"{moment:%z}"
    return f"{text[:3]}:{text[3:5]}"


def _person(name: PersonName | None) -> str:
    return name.words if name else ""


def _eye_section(
    measured: MeasuredExam, pictures: Mapping[str, Picture], curves: Sequence[PicturedCurve], eye: Eye
) -> EyeSection:
    exam = measured.exam
    numbers = capture_numbers(exam)
    of_eye = [capture for capture in exam.captures if capture.eye is eye]
    shared, captures = share_details([capture_card(measured, one, pictures.get(one.id)) for one in of_eye])
    findings = [(finding, _finding_row(finding, numbers)) for finding in exam.findings if finding.eye is eye]
    return EyeSection(
        eye=eye,
        words=eye_words(eye),
        captures=captures,
        shared_details=shared,
        findings=tuple(row for finding, row in findings if finding.presence is not Presence.NOT_SHOWN),
        not_shown=tuple(row for finding, row in findings if finding.presence is Presence.NOT_SHOWN),
        measurements=tuple(
            measurement_row(exam, value, numbers)
            for value in measured.values
            if exam.capture(value.measurement.capture_id).eye is eye
        ),
        nothing="" if captures else "This exam has no picture of this eye: nothing is said about it.",
        coverage=coverage_text(exam, eye),
        echoes=echo_rows(measured, eye, numbers),
        a_scans=a_scan_cards(measured, curves, eye, numbers),
    )


def _finding_row(finding: Finding, numbers: Mapping[str, int]) -> FindingRow:
    clock_hour = finding.clock_hour
    place = (
        finding.structure.replace("-", " "),
        f"{clock_hour.words} ({clock_hour.side(finding.eye)})" if clock_hour else "",
        finding.zone.words if finding.zone else "",
    )
    shown = sorted(numbers[capture_id] for capture_id in finding.capture_ids if capture_id in numbers)
    noun = "picture" if len(shown) == 1 else "pictures"
    return FindingRow(
        id=finding.id,
        eye=finding.eye,
        what=_finding_words(finding),
        presence=finding.presence.value.replace("-", " "),
        place=", ".join(part for part in place if part),
        pictures=f"{noun} {', '.join(map(str, shown))}" if shown else "",
        comment=seen(finding.comment),
    )


def _finding_words(finding: Finding) -> str:
    """Return the finding as it starts a line; a coded word may, the examiner's own words stay as written."""
    words = seen(finding.what.words)
    return words[:1].upper() + words[1:] if finding.what.code else words


def _held_row(part: HeldPart) -> HeldRow:
    reason = part.reason
    name = part.part if part.name in {"", part.part} else f"{part.part} ({part.name})"
    return HeldRow(
        part=seen(name),
        reason=seen(f"{reason.what}, was {reason.was}" if reason.was else reason.what),
        fix=seen(reason.fix),
        code=reason.code,
    )
