"""A capture's place in the session's protocol: what it leaves unstated, and what must not contradict it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from difflib import get_close_matches

from gateway.errors import Place
from gateway.errors.document import FieldMissingError
from gateway.errors.protocols import (
    ProtocolContradictionError,
    ProtocolStepError,
    SweepNotApplicableError,
    UnknownProtocolError,
)
from gateway.mapping.captures import clock_hour_of
from gateway.mapping.document.captures import CaptureFields
from gateway.mapping.located.tree import LocatedDocument
from gateway.mapping.parts import Part
from gateway.model.capture import CaptureKind
from gateway.model.position import Scan
from gateway.model.protocol import Protocol, ProtocolStep

CapturePart = Part[CaptureFields]


def find_protocol(document: LocatedDocument, name: str, protocols: Mapping[str, Protocol]) -> Protocol:
    """Return the protocol that the session names.

    Raises
    ------
    UnknownProtocolError
        Naming the nearest that there is.
    """
    if name in protocols:
        return protocols[name]
    near = get_close_matches(name.lower(), list(protocols), n=1, cutoff=0.4)
    fix = (f"did you mean {near[0]}? " if near else "") + "known are " + ", ".join(sorted(protocols))
    where = document.place(("session", "protocol"))
    raise UnknownProtocolError("no protocol has this name", where=where, was=name, fix=fix)


def take_steps(parts: Sequence[CapturePart], protocol: Protocol | None) -> dict[str, tuple[str, ...]]:
    """Fill in what captures leave to their step of the protocol, and refuse those that contradict it.

    Returns
    -------
    dict of str to tuple of str
        By capture id, the fields that were taken from the protocol.
    """
    taken: dict[str, tuple[str, ...]] = {}
    for part in parts:
        fields = part.fields
        if fields is None:
            continue
        step = _step_of(part, fields, protocol)
        if step is not None:
            _refuse_contradictions(part, fields, step)
            found = _from_step(fields, step)
            taken[part.id] = tuple(found)
            fields = part.fields = fields.model_copy(update=found)
        if fields.scan is None:
            if fields.protocol_step is None:
                fix = part.document.fix_of_missing((*part.path, "scan"))
                part.refuse(FieldMissingError, "a required field is missing", "scan", fix=fix)
            part.fields = None
        elif fields.swept and not (fields.kind is CaptureKind.LOOP and fields.scan is Scan.TRANSVERSE):
            was = f"{fields.scan.value} {fields.kind.value}"
            part.refuse(SweepNotApplicableError, "only a transverse loop is a sweep", "swept", was=was, fix=_NO_SWEEP)
    return taken


_NO_SWEEP = "leave swept out; a sweep without a picture goes under session.declared_swept"


def _step_of(part: CapturePart, fields: CaptureFields, protocol: Protocol | None) -> ProtocolStep | None:
    wanted = fields.protocol_step
    if wanted is None:
        return None
    if protocol is None:
        fix = "write session.protocol: and its name, or leave protocol_step out"
        part.refuse(ProtocolStepError, "the session names no protocol", "protocol_step", was=wanted, fix=fix)
        return None
    step = protocol.step(wanted)
    if step is None:
        known = [known.id for known in protocol.steps]
        near = get_close_matches(wanted.upper(), known, n=1)
        fix = (f"did you mean {near[0]}? " if near else "") + f"{protocol.name} has {', '.join(known)}"
        part.refuse(ProtocolStepError, "the protocol has no such step", "protocol_step", was=wanted, fix=fix)
    return step


def _refuse_contradictions(part: CapturePart, fields: CaptureFields, step: ProtocolStep) -> None:
    hour = clock_hour_of(fields.clock_hour)
    pairs = (
        ("scan", fields.scan, (step.scan,)),
        ("clock_hour", hour, (step.clock_hour,) if step.clock_hour else ()),
        ("zone", fields.zone, step.zones),
        ("kind", fields.kind, (step.kind,) if step.kind else ()),
    )
    for name, stated, allowed in pairs:
        if stated is not None and allowed and stated not in allowed:
            words = " or ".join(_words(one) for one in allowed)
            was = f"{_words(stated)} here, but {words} at {step.place} (step {step.id})"
            what = f"the capture and its protocol step differ in {name.replace('_', ' ')}"
            part.refuse(ProtocolContradictionError, what, name, was=was, fix="mend one of them")


def _words(value: object) -> str:
    return str(getattr(value, "words", None) or getattr(value, "value", value))


def _from_step(fields: CaptureFields, step: ProtocolStep) -> dict[str, object]:
    found: dict[str, object] = {}
    if fields.scan is None:
        found["scan"] = step.scan
    if fields.clock_hour is None and step.clock_hour is not None:
        found["clock_hour"] = step.clock_hour.half_hours
    if fields.zone is None and len(step.zones) == 1:
        found["zone"] = step.zones[0]
    return found


def origin_words(names: Sequence[str], step_id: str, protocol: Protocol | None) -> str:
    """Say which parts of a position came from the protocol; empty where none did."""
    if not names or protocol is None:
        return ""
    return f"{', '.join(name.replace('_', ' ') for name in names)} from {step_place(step_id, protocol)}"


def step_place(step_id: str, protocol: Protocol) -> Place:
    """Return a step of a protocol as the place where a value was read."""
    return Place(f"protocol step {step_id} of {protocol.name}")
