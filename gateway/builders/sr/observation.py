"""Who observed: persons and the gateway as a device (PS3.16 TID 1001 to 1004)."""

from __future__ import annotations

from gateway.builders.options import (
    GATEWAY_MANUFACTURER,
    GATEWAY_MODEL_NAME,
    BuildOptions,
)
from gateway.builders.sr.content import Child, ContentItem, code, observation_context, text
from gateway.builders.sr.values import Person, UidRef
from gateway.builders.uids import gateway_device_uid
from gateway.model.exam import Exam
from gateway.model.people import PersonName
from gateway.standard.codes import concept


def observation_context_of(exam: Exam, options: BuildOptions) -> tuple[Child, ...]:
    """Return the observers of the whole report: the examiner where named, and the gateway (TID 1001).

    Procedure and subject context are those of the document's header.
    """
    examiner = exam.session.examiner
    people = person_observer(examiner, origin="session.examiner") if examiner is not None else ()
    return people + device_observer(options)


def person_observer(name: PersonName, origin: str) -> tuple[Child, ...]:
    """Return a person as observer (TID 1003)."""
    return (
        observation_context(code(concept("sr", "observer-type"), concept("sr", "person"), origin=origin)),
        observation_context(ContentItem(concept("sr", "person-observer-name"), Person(name), origin=origin)),
    )


def device_observer(options: BuildOptions) -> tuple[Child, ...]:
    """Return the gateway as observer: it computes values and assembles the report (TID 1004)."""
    uid = UidRef(gateway_device_uid(options))
    return (
        observation_context(code(concept("sr", "observer-type"), concept("sr", "device"))),
        observation_context(ContentItem(concept("sr", "device-observer-uid"), uid)),
        observation_context(text(concept("sr", "device-observer-name"), GATEWAY_MODEL_NAME)),
        observation_context(text(concept("sr", "device-observer-manufacturer"), GATEWAY_MANUFACTURER)),
        observation_context(text(concept("sr", "device-observer-model-name"), GATEWAY_MODEL_NAME)),
    )
