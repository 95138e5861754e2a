"""Exams, measurements, objects and deliveries as rows of text."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING

from gateway.coverage.chart import coverage_of
from gateway.coverage.claims import HALF_HOURS_OF_DIAL, Shade
from gateway.coverage.completeness import judgements_of
from gateway.model.biometry import LENS_POWER_CAUTION
from gateway.model.laterality import Eye
from gateway.model.position import Zone
from gateway.model.witness import ledger_words
from gateway.standard.codes import concept
from gateway.standard.sop_classes import sop_class_name
from gateway.standard.transfer_syntaxes import transfer_syntax_name

if TYPE_CHECKING:
    from gateway.builders.built import BuiltObject
    from gateway.model.biometry import BiometryValue
    from gateway.model.measurement import MeasuredValue, Quantity
    from gateway.model.uncertainty import Uncertainty
    from gateway.pipeline.line import CheckedObject, PreparedExam
    from gateway.pipeline.queue import Delivery
    from gateway.pipeline.study_record import Superseded

EXPLICIT_VR_LITTLE_ENDIAN = "1.2.840.10008.1.2.1"
"""What goes on the wire to every destination: archives accept what desktops cannot show."""

CAPTURE_HEADINGS = ("capture", "eye", "scan", "clock hour", "zone", "frames", "eye rests on")
MEASUREMENT_HEADINGS = ("measurement", "what", "on", "displayed", "corrected", "how")
TRUTH_HEADINGS = ("measurement", "what", "displayed", "corrected", "phantom's true value", "difference")
OBJECT_HEADINGS = ("object", "SOP Class", "transfer syntax", "findings", "stored", "committed")

BUILT_HEADINGS = ("object", "SOP Class", "transfer syntax", "findings", "bytes")


def capture_rows(prepared: PreparedExam) -> list[list[str]]:
    """Each capture with eye, scan, clock hour, zone and frames."""
    frames = {item.built.capture_id: item.built.frame_count for item in prepared.objects}
    rows = []
    for capture in prepared.measured.exam.captures:
        position = capture.position
        rows.append(
            [
                capture.id,
                f"{capture.eye.value} ({capture.eye.abbreviation})",
                position.scan_words or position.scan.value,
                position.clock_hour.words if position.clock_hour else "-",
                position.zone.words if position.zone else "-",
                str(frames[capture.id]),
                ledger_words(capture.eye_witnesses) or "-",
            ]
        )
    return rows


def measurement_rows(values: Sequence[MeasuredValue]) -> list[list[str]]:
    """Each measurement with displayed and corrected value."""
    rows = []
    for value in values:
        measurement = value.measurement
        rows.append(
            [measurement.id, _what(value), measurement.capture_id, _displayed(value), _corrected(value), _how(value)]
        )
        if value.origin.value != "from-gates":
            rows += [_length_row(value, length) for length in value.biometry]
    return rows


def _length_row(value: MeasuredValue, length: BiometryValue) -> list[str]:
    """Return a length by a named method; it never leaves without the method."""
    return [
        value.measurement.id,
        _what(value),
        value.measurement.capture_id,
        "-",
        _with_uncertainty(length.quantity, length.uncertainty),
        _method_words(value, length),
    ]


def _method_words(value: MeasuredValue, length: BiometryValue) -> str:
    method = concept("length_method", length.method).meaning
    remarks = [*length.remarks]
    if value.measurement.kind.value == "axial-length":
        remarks.append(LENS_POWER_CAUTION)
    return "; ".join([f"{method}: {length.worked}", *remarks])


def truth_rows(values: Sequence[MeasuredValue], truth_mm: Mapping[str, float]) -> list[list[str]]:
    """Each measurement beside what the phantom was drawn with."""
    rows = []
    for value in values:
        best = value.corrected.quantity if value.corrected else value.value
        true_mm = truth_mm.get(value.measurement.id)
        difference = "-"
        if true_mm is not None and best.unit.value == "mm":
            # Adding zero turns a rounded -0.0 into 0.0.
            off_mm, off_percent = round(best.value - true_mm, 2) + 0.0, round(100 * (best.value / true_mm - 1), 1) + 0.0
            difference = f"{off_mm:+.2f} mm ({off_percent:+.1f} %)"
        rows.append(
            [
                value.measurement.id,
                _what(value),
                _displayed(value),
                _corrected(value),
                f"{true_mm:.2f} mm" if true_mm is not None else "-",
                difference,
            ]
        )
    return rows


def object_rows(objects: Sequence[CheckedObject], deliveries: Mapping[str, Delivery]) -> list[list[str]]:
    """Each object with SOP Class, transfer syntax, findings, store status and commitment."""
    rows = []
    for item in objects:
        built = item.built
        delivery = deliveries.get(built.sop_instance_uid)
        rows.append(
            [
                built.capture_id or built.kind.value,
                sop_class_name(built.sop_class_uid),
                _transfer_syntax(built),
                findings_words(item),
                _stored(delivery),
                delivery.comment or delivery.state.value if delivery else "-",
            ]
        )
    return rows


def built_rows(objects: Sequence[CheckedObject]) -> list[list[str]]:
    """Each object that was built and not sent."""
    return [[*row[:4], str(item.built.size_bytes)] for row, item in zip(object_rows(objects, {}), objects, strict=True)]


def findings_words(item: CheckedObject) -> str:
    """``none``, or how many errors and warnings."""
    errors, others = len(item.errors), len(item.findings) - len(item.errors)
    parts = [f"{errors} errors"] if errors else []
    parts += [f"{others} notes"] if others else []
    return ", ".join(parts) or "none"


def held_lines(prepared: PreparedExam) -> list[str]:
    """Each part that was set aside with its reason, and each media file that nothing names."""
    held = [
        f"held: {part.name or part.part}: {part.reason} (gateway explain {part.reason.code})" for part in prepared.held
    ]
    return held + [f"not used: {name}: a media file that no accepted capture names" for name in prepared.unused]


def superseded_lines(superseded: Sequence[Superseded]) -> list[str]:
    """Each instance at the destination that corrected facts have replaced."""
    return [
        f"superseded: {item.capture_id}: {item.sop_instance_uid} by {item.replaced_by}; the archive keeps the old one "
        "until it is rejected there"
        for item in superseded
    ]


def coverage_lines(prepared: PreparedExam) -> list[str]:
    """Say for each eye how much is shown, and what each rule set of the protocol says."""
    exam = prepared.measured.exam
    places = HALF_HOURS_OF_DIAL * len(Zone)
    lines = []
    for eye in Eye:
        coverage = coverage_of(exam, eye)
        if not coverage.has_captures:
            continue
        in_field, centred = (
            sum(s >= least for s in coverage.cells.values()) for least in (Shade.IN_FIELD, Shade.CENTRED)
        )
        of = f"of {places} places of the chart (half clock hours x zones)"
        lines.append(f"{eye.value} eye: {in_field} {of} in the field of a picture, {centred} of them centred")
        lines += [f"{eye.value} eye: {judged.words}" for judged in judgements_of(exam) if judged.eye is eye]
    return lines


def _transfer_syntax(built: BuiltObject) -> str:
    """Name the transfer syntax on the wire, and the spool's where that is another."""
    in_spool = built.transfer_syntax_uid
    if in_spool == EXPLICIT_VR_LITTLE_ENDIAN or built.keeps_encoding:
        return transfer_syntax_name(in_spool)
    return f"{transfer_syntax_name(EXPLICIT_VR_LITTLE_ENDIAN)} (in the spool {transfer_syntax_name(in_spool)})"


def _stored(delivery: Delivery | None) -> str:
    if delivery is None:
        return "not queued"
    return f"{delivery.status:04X}H" if delivery.status is not None else delivery.state.value


def _what(value: MeasuredValue) -> str:
    measurement = value.measurement
    structure = measurement.structure.replace("-", " ")
    return f"{measurement.kind.words} of {structure}" if structure else measurement.kind.words


def _how(value: MeasuredValue) -> str:
    if value.corrected:
        return "; ".join((value.corrected.formula, *value.remarks))
    if value.origin.value == "from-gates":
        return _method_words(value, value.biometry[0])
    said = (value.origin.value, value.equation, *value.remarks, value.not_corrected_because)
    return "; ".join(part for part in said if part)


def _displayed(value: MeasuredValue) -> str:
    return _with_uncertainty(value.value, value.uncertainty)


def _corrected(value: MeasuredValue) -> str:
    return _with_uncertainty(value.corrected.quantity, value.corrected.uncertainty) if value.corrected else "-"


def _with_uncertainty(quantity: Quantity, uncertainty: Uncertainty | None) -> str:
    return f"{quantity.words} {uncertainty.plus_minus(quantity.unit.words)}" if uncertainty else quantity.words
