"""An exam measured here in the form in which exams are compared, as its own measurement report would give it."""

from __future__ import annotations

from dataclasses import replace

from gateway.acoustics.reflectivity import echoes_of
from gateway.acoustics.repeats import shown_mean_and_deviation
from gateway.errors.measurement import MeasurementError
from gateway.model.a_scan import StructureEcho
from gateway.model.biometry import BiometryValue
from gateway.model.capture import Capture
from gateway.model.exam import Exam, MeasuredExam
from gateway.model.finding import Finding, Presence
from gateway.model.laterality import Eye
from gateway.model.measurement import MeasuredValue, MeasurementKind, Quantity, ValueOrigin
from gateway.model.position import Scan
from gateway.model.prior import PriorGroup, PriorMeasurement, PriorReport, UnreadItem
from gateway.standard.codes import concept

_BEARS_NUMBERS = frozenset({Presence.PRESENT, Presence.UNDETERMINED})
_METHODS = {
    ValueOrigin.TRANSCRIBED: ("sr", "transcribed"),
    ValueOrigin.COMPUTED: ("sr", "computed-from-calipers"),
    ValueOrigin.FROM_GATES: ("length_method", "layers"),
    ValueOrigin.DERIVED: ("sr", "derived-here"),
}


def prior_of_exam(measured: MeasuredExam, study_uid: str, source: str) -> PriorReport:
    """Return a measured exam as a report to be compared.

    Parameters
    ----------
    study_uid : str
        Study Instance UID that its objects have or would have.
    source : str
        What it was read from, for people.
    """
    exam = measured.exam
    by_finding: dict[str, list[PriorMeasurement]] = {}
    by_structure: dict[tuple[Eye, str], list[PriorMeasurement]] = {}
    bearing = {finding.id for finding in exam.findings if finding.presence in _BEARS_NUMBERS}
    for value in measured.values:
        measurement = value.measurement
        capture = exam.capture(measurement.capture_id)
        if measurement.finding_id in bearing:
            numbers = by_finding.setdefault(measurement.finding_id, [])
        else:
            numbers = by_structure.setdefault((capture.eye, measurement.structure), [])
        numbers += [_of_all_pictures(number, value, exam) for number in _numbers(value, capture)]
    echoes, _held = echoes_of(exam)
    for echo in echoes:
        capture = exam.capture(echo.capture_id)
        by_structure.setdefault((capture.eye, echo.structure), []).append(_echo(echo, capture))
    groups = [_finding_group(finding, tuple(by_finding.get(finding.id, ()))) for finding in exam.findings]
    for (eye, _structure), numbers in by_structure.items():
        groups.append(PriorGroup(eye=eye, structure=_common_structure(numbers), measurements=tuple(numbers)))
    device = exam.session.device
    return PriorReport(
        study_uid=study_uid,
        when=exam.session.start.replace(tzinfo=None),
        patient_id=exam.patient.id,
        patient_issuer=exam.patient.issuer,
        device=" ".join(part for part in (device.maker, device.model) if part),
        groups=tuple(groups),
        unread=tuple(UnreadItem(part.name or part.part, f"held: {part.reason}") for part in measured.held),
        source=source,
        written=None,
    )


def _finding_group(finding: Finding, numbers: tuple[PriorMeasurement, ...]) -> PriorGroup:
    return PriorGroup(
        tracking_identifier=finding.id,
        tracking_uid=finding.tracking_uid,
        finding=finding.what.words,
        finding_code=finding.what.code,
        presence=finding.presence.value.replace("-", " "),
        eye=finding.eye,
        structure="" if finding.structure in {"eye", "eyeball"} else finding.structure,
        clock_hour=finding.clock_hour,
        zone=finding.zone,
        measurements=numbers,
    )


def _common_structure(numbers: list[PriorMeasurement]) -> str:
    found = {number.structure for number in numbers}
    return found.pop() if len(found) == 1 else ""


def _numbers(value: MeasuredValue, capture: Capture) -> list[PriorMeasurement]:
    """Return the displayed number, the corrected one and the mean of repeats, whichever there are."""
    numbers = [_displayed(value, capture)]
    if value.corrected is not None:
        corrected = value.corrected
        numbers.append(
            _number(
                value,
                capture,
                corrected.quantity,
                method=concept("sr", "gateway-correction"),
                derivation=concept("sr", "calculated"),
                is_corrected=True,
                speed_m_per_s=corrected.speed.speed_m_per_s if corrected.speed else None,
                assumed_speed_m_per_s=corrected.assumed_speed_m_per_s,
                formula=corrected.formula,
            )
        )
    if value.origin is not ValueOrigin.FROM_GATES:
        numbers += [_second_length(value, capture, length) for length in value.biometry]
    repeats = value.measurement.repeats
    try:
        mean, _deviation = shown_mean_and_deviation(repeats)
    except MeasurementError:
        return numbers
    return [*numbers, _number(value, capture, mean, derivation=concept("sr", "mean"))]


def _of_all_pictures(number: PriorMeasurement, value: MeasuredValue, exam: Exam) -> PriorMeasurement:
    """Return a number computed from others with what all of their pictures have in common."""
    if not value.sources:
        return number
    captures = [exam.capture(source.measurement.capture_id) for source in value.sources]
    directions = {_direction_of(capture.position.scan) for capture in captures}
    contacts = {capture.settings.contact for capture in captures}
    return replace(
        number,
        direction=directions.pop() if len(directions) == 1 else "",
        contact=contacts.pop() if len(contacts) == 1 else None,
    )


def _second_length(value: MeasuredValue, capture: Capture, length: BiometryValue) -> PriorMeasurement:
    return _number(
        value,
        capture,
        length.quantity,
        method=concept("length_method", length.method),
        derivation=concept("sr", "calculated"),
        is_corrected=True,
        speed_m_per_s=length.whole_eye_m_per_s,
        assumed_speed_m_per_s=length.reading_m_per_s,
        formula=length.equation,
    )


def _echo(echo: StructureEcho, capture: Capture) -> PriorMeasurement:
    """Return the height of a spike, or how much weaker an echo is than another."""
    name = concept("sr", "reflectivity" if echo.reflectivity else "echo-difference")
    percent = echo.reflectivity
    return PriorMeasurement(
        name=name,
        value=percent.percent if percent else echo.weaker_by_db or 0.0,
        unit=concept("unit", "%" if percent else "dB").value,
        text=percent.text if percent else "",
        words=name.meaning.lower(),
        structure=echo.structure,
        direction=_direction_of(capture.position.scan),
        method=concept("sr", "standardized-a-scan"),
        contact=capture.settings.contact,
        tissue_sensitivity_db=echo.tissue_sensitivity_db,
        reference=echo.reference,
    )


def _direction_of(scan: Scan) -> str:
    """Return the direction of a scan as reports tell it; empty where it has none."""
    return "axial" if scan.is_axial else "" if scan is Scan.OTHER else scan.value


def _displayed(value: MeasuredValue, capture: Capture) -> PriorMeasurement:
    is_transcribed = value.origin is ValueOrigin.TRANSCRIBED
    method = _METHODS.get(value.origin)
    calibration = capture.calibration
    return _number(
        value,
        capture,
        value.value,
        method=concept(*method) if method else None,
        derivation=None if is_transcribed else concept("sr", "calculated" if value.sources else "measured"),
        speed_m_per_s=value.measurement.reading_m_per_s
        or (calibration.assumed_speed_m_per_s if calibration and value.measurement.points else None),
        formula=value.biometry[0].equation if value.origin is ValueOrigin.FROM_GATES else value.equation,
    )


def _number(value: MeasuredValue, capture: Capture, quantity: Quantity, **stated: object) -> PriorMeasurement:
    measurement = value.measurement
    kind = measurement.kind
    is_length = kind is MeasurementKind.AXIAL_LENGTH
    return PriorMeasurement(
        name=concept("quantity", kind.value),
        value=quantity.value,
        unit=quantity.unit.value,
        text=quantity.text,
        words=kind.words,
        kind=kind,
        structure=measurement.structure or ("eye" if is_length else ""),
        direction=_direction_of(capture.position.scan),
        contact=capture.settings.contact,
        tracking_identifier=measurement.id,
        **stated,  # type: ignore[arg-type]
    )
