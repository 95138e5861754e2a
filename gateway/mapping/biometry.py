"""Gates, formula and implant of a measurement, with the rules between them and their capture."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from difflib import get_close_matches

from gateway.acoustics.biometry import EyeState, require_applicable, require_order
from gateway.errors.document import (
    ContradictingFieldsError,
    FieldMissingError,
    FieldNotApplicableError,
    TissueNotKnownError,
)
from gateway.errors.measurement import FormulaNotApplicableError, GateOrderError, ToleranceNotApplicableError
from gateway.mapping.document.captures import CaptureFields
from gateway.mapping.document.observations import GateFields, MeasurementFields
from gateway.mapping.parts import Part
from gateway.model.biometry import Gate
from gateway.model.measurement import MeasurementKind, TissueSpeed

GATED_KINDS = (MeasurementKind.AXIAL_LENGTH, MeasurementKind.DEPTH, MeasurementKind.THICKNESS)

MeasurementPart = Part[MeasurementFields]
Speeds = Mapping[str, TissueSpeed]


def check_biometry(part: MeasurementPart, fields: MeasurementFields, speeds: Speeds) -> None:
    """Refuse gates, formula and implant that contradict each other or the measurement's other fields."""
    if fields.gates is not None:
        _check_gates(part, fields, speeds)
    _check_gate_tolerances(part, fields)
    _check_formula_fields(part, fields)
    stated = "formula" if fields.formula is not None else "gates" if fields.gates is not None else ""
    for name in ("tissue", "speed_m_per_s"):
        if stated and getattr(fields, name) is not None:
            what = f"{name} beside {stated}: two ways to one length"
            fix = f"leave {name} out; a gate has a speed of its own, a formula brings its own"
            part.refuse(ContradictingFieldsError, what, name, fix=fix)


def _check_gates(part: MeasurementPart, fields: MeasurementFields, speeds: Speeds) -> None:
    if fields.kind not in GATED_KINDS:
        known = ", ".join(kind.value for kind in GATED_KINDS)
        what = f"{fields.kind.words} is not measured by gates"
        part.refuse(FieldNotApplicableError, what, "gates", fix=f"gates belong to {known}")
    for number, gate in enumerate(fields.gates or []):
        _check_gate_speed(part, gate, number, speeds)
    if part.is_good:
        try:
            require_order(gates_of(part, fields, speeds))
        except GateOrderError as error:
            part.refuse(GateOrderError, error.what, "gates", was=error.was, fix=error.fix)


def _check_gate_speed(part: MeasurementPart, gate: GateFields, number: int, speeds: Speeds) -> None:
    where = f"gate {number + 1} ({gate.segment})"
    if gate.tissue is not None and gate.speed_m_per_s is not None:
        what = f"tissue and speed_m_per_s both stand at {where}"
        part.refuse(ContradictingFieldsError, what, "gates", fix="leave one of them out")
    elif gate.tissue is None and gate.speed_m_per_s is None:
        part.refuse(FieldMissingError, f"{where} has no speed of sound", "gates", fix="write tissue or speed_m_per_s")
    elif gate.tissue is not None and gate.tissue not in speeds:
        near = get_close_matches(gate.tissue, list(speeds), n=1)
        fix = (f"did you mean {near[0]}? " if near else "") + "the table has " + ", ".join(speeds)
        what = f"the table of speeds has no tissue of {where}"
        part.refuse(TissueNotKnownError, what, "gates", was=gate.tissue, fix=fix)


def _check_gate_tolerances(part: MeasurementPart, fields: MeasurementFields) -> None:
    if fields.gate_tolerance_us is not None and fields.gates is None:
        what = "a tolerance of gates that are not stated"
        part.refuse(ToleranceNotApplicableError, what, "gate_tolerance_us", fix="write gates, or leave it out")


def _check_formula_fields(part: MeasurementPart, fields: MeasurementFields) -> None:
    if fields.formula is not None and fields.kind is not MeasurementKind.AXIAL_LENGTH:
        what = "a correction of axial length at another kind of measurement"
        part.refuse(FieldNotApplicableError, what, "formula", was=fields.kind.value, fix="leave it out, or mend kind")
    if fields.formula is not None and fields.displayed is None and fields.points is None:
        what = "a correction without the reading that it corrects"
        part.refuse(FieldMissingError, what, "formula", fix="write displayed: with the reading, or leave formula out")
    if fields.implant is not None and fields.formula is None:
        part.refuse(
            FieldNotApplicableError, "an implant without a formula", "implant", fix="leave it out, or write formula"
        )
    if fields.reading_speed_m_per_s is not None and fields.displayed is None:
        part.refuse(
            FieldNotApplicableError,
            "the speed of a reading that is not there",
            "reading_speed_m_per_s",
            fix="write displayed: with the reading, or leave it out",
        )


def check_against_capture(part: MeasurementPart, fields: MeasurementFields, capture: CaptureFields) -> None:
    """Refuse a reading's speed that its picture contradicts, and a formula that this eye contradicts."""
    assumed = capture.stated_speed_m_per_s
    reading = fields.reading_speed_m_per_s
    if reading is not None and fields.points is not None and assumed is not None and assumed != reading:
        part.refuse(
            ContradictingFieldsError,
            "the reading and its picture name different speeds of sound",
            "reading_speed_m_per_s",
            was=f"{reading:g} m/s, but {assumed:g} m/s at the picture",
            fix="mend one of them",
        )
    if fields.formula is None:
        return
    implant = fields.implant.to_model() if fields.implant else None
    state = EyeState(reading if reading is not None else assumed, capture.lens, capture.vitreous, implant)
    try:
        require_applicable(fields.formula, state)
    except FormulaNotApplicableError as error:
        part.refuse(FormulaNotApplicableError, error.what, "formula", was=error.was, fix=error.fix)


def gates_of(part: MeasurementPart, fields: MeasurementFields, speeds: Speeds) -> tuple[Gate, ...]:
    """Return the model's gates; their speeds have been checked."""
    return tuple(
        Gate(gate.segment, gate.start_us, gate.end_us, _speed(part, gate, number, speeds))
        for number, gate in enumerate(fields.gates or [])
    )


def _speed(part: MeasurementPart, gate: GateFields, number: int, speeds: Speeds) -> TissueSpeed:
    tolerance = gate.speed_tolerance_m_per_s
    if gate.tissue is not None:
        speed = speeds[gate.tissue]
        return speed if tolerance is None else replace(speed, tolerance_m_per_s=tolerance)
    source = str(part.document.place((*part.path, "gates", number, "speed_m_per_s")))
    return TissueSpeed(gate.speed_m_per_s or 0.0, "", source, tolerance)
