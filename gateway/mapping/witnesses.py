"""Who or what says which eye a capture shows, and the rule that one source alone is not enough."""

from __future__ import annotations

from collections.abc import Iterator

from gateway.errors import Place
from gateway.errors.eyes import EyeWitnessesDisagreeError, SingleEyeWitnessError
from gateway.mapping.document.captures import CaptureFields
from gateway.mapping.parts import Part
from gateway.model.capture import Capture
from gateway.model.exam import Exam, HeldPart
from gateway.model.holding import hold_captures
from gateway.model.people import PersonName
from gateway.model.protocol import ProtocolStep
from gateway.model.witness import EyeWitness, WitnessSource, file_of, independent_witnesses, is_settled

CapturePart = Part[CaptureFields]


def witnesses_of(
    part: CapturePart, fields: CaptureFields, step: ProtocolStep | None, who_stated_all: PersonName | None
) -> tuple[EyeWitness, ...]:
    """Return everything that names the eye of a capture, the document's own line first.

    Parameters
    ----------
    step : ProtocolStep or None
        The step of the protocol that the capture names.
    who_stated_all : PersonName or None
        Who stated the eyes of all captures.
    """
    listed = tuple(_listed(part, fields))
    people = tuple(_people(part, fields, who_stated_all))
    own = EyeWitness(WitnessSource.RECORD, fields.eye, fields.eye.value, _place(part, "eye"))
    return (*(() if _is_told_by(own, listed, part) else (own,)), *listed, *people, *_protocol_place(step))


def _listed(part: CapturePart, fields: CaptureFields) -> Iterator[EyeWitness]:
    for index, item in enumerate(fields.eye_witnesses or []):
        path = (*part.path, "eye_witnesses", index)
        read_there = part.document.sources.get(path)
        place = read_there or item.at or part.document.place(path)
        yield EyeWitness(item.source, item.eye, item.words, place)


def _people(part: CapturePart, fields: CaptureFields, who_stated_all: PersonName | None) -> Iterator[EyeWitness]:
    def said(person: PersonName, place: Place) -> EyeWitness:
        return EyeWitness(WitnessSource.PERSON, fields.eye, fields.eye.value, place, person)

    if fields.eye_stated_by is not None:
        yield said(fields.eye_stated_by.to_model(), _place(part, "eye_stated_by"))
    if who_stated_all is not None:
        yield said(who_stated_all, part.document.place(("eyes_stated_by",)))


def _protocol_place(step: ProtocolStep | None) -> Iterator[EyeWitness]:
    if step is not None and step.eye is not None:
        yield EyeWitness(WitnessSource.PROTOCOL_PLACE, step.eye, step.id, step.place)


def _is_told_by(own: EyeWitness, listed: tuple[EyeWitness, ...], part: CapturePart) -> bool:
    """Whether the document's own eye only repeats a listed witness.

    A document that was put together took its eye from one of its sources; that source is not heard twice.
    """
    return bool(part.document.sources) and any(_is_same_file(file_of(own.place), file_of(w.place)) for w in listed)


def _is_same_file(one: str, other: str) -> bool:
    return one == other or one.endswith(f"/{other}") or other.endswith(f"/{one}")


def _place(part: CapturePart, field: str) -> Place:
    return part.document.place((*part.path, field))


def check_witnesses(part: CapturePart, fields: CaptureFields, witnesses: tuple[EyeWitness, ...]) -> None:
    """Refuse a capture of which two sources name different eyes; the message names both places."""
    for witness in witnesses:
        if witness.eye is not fields.eye:
            source = witness.source.words
            was = f"{fields.eye.value} here, but {witness.eye.value} by {source} ({witness.words}) at {witness.place}"
            what = "two sources name different eyes for one capture"
            fix = "find out which eye it is and mend the source that is wrong"
            part.refuse(EyeWitnessesDisagreeError, what, "eye", was=was, fix=fix)


def hold_unsettled_eyes(exam: Exam, *, is_one_enough: bool = False) -> tuple[Exam, tuple[HeldPart, ...]]:
    """Hold the captures whose eye rests on less than two independent sources and on no person.

    Parameters
    ----------
    is_one_enough : bool
        The site, its mapping or the command decided that one source will do; the report then says so.

    Returns
    -------
    exam : Exam
        With the captures that may go on, which may be none.
    held : tuple of HeldPart
        The others, and what rested on them.
    """
    unsettled = [
        _held(exam, capture)
        for capture in exam.captures
        if not is_settled(capture.eye_witnesses, is_one_enough=is_one_enough)
    ]
    return hold_captures(exam, unsettled) if unsettled else (exam, ())


def _held(exam: Exam, capture: Capture) -> HeldPart:
    path = f"captures[{(capture.number or exam.captures.index(capture) + 1) - 1}]"
    counted = independent_witnesses(capture.eye_witnesses)
    said = "; ".join(f"{witness.eye.value} by {witness.source.words} at {witness.place}" for witness in counted)
    fix = "write eye_stated_by: and who says so, add a second source, or let the site set single_eye_witness = true"
    what = "one source alone names the eye"
    reason = SingleEyeWitnessError(what, where=exam.origins.get(f"{path}.eye", path), was=said, fix=fix)
    return HeldPart(path, capture.id, reason)
