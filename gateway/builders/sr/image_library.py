"""The image library: every image of the study with what a reader needs to choose it (PS3.16 TID 1600 to 1602)."""

from __future__ import annotations

from gateway.builders.laterality import laterality_code
from gateway.builders.modules import session_time
from gateway.builders.sr.content import Child, ContentItem, acquisition_context, code, container, contains, num, text
from gateway.builders.sr.content import modifier as concept_modifier
from gateway.builders.sr.scope import ReportedImage, ReportScope
from gateway.builders.sr.values import Date, Num, Person, Time
from gateway.model.capture import Capture
from gateway.model.laterality import Eye
from gateway.model.position import ProbePosition
from gateway.model.witness import ledger_words
from gateway.standard.codes import CodedConcept, clock_position, concept, find_concept


def image_library(scope: ReportScope) -> ContentItem:
    """Return the library, one group for each eye; every entry stands on its own."""
    groups = []
    for eye in Eye:
        entries = [contains(_entry(image, scope)) for image in scope.images.values() if image.capture.eye is eye]
        if entries:
            groups.append(contains(container(concept("sr", "image-library-group"), *entries)))
    return container(concept("sr", "image-library"), *groups, template="1600")


def _entry(image: ReportedImage, scope: ReportScope) -> ContentItem:
    capture, built = image.capture, image.built
    facts = [
        code(concept("sr", "modality"), concept("sr", "ultrasound")),
        code(concept("sr", "target-region"), concept("structure", "eye")),
        code(concept("sr", "image-laterality"), laterality_code(capture.eye)),
    ]
    if capture.acquired is not None:
        acquired = session_time(capture.acquired, scope.exam.session)
        facts += [
            ContentItem(concept("sr", "acquisition-date"), Date(acquired.date())),
            ContentItem(concept("sr", "acquisition-time"), Time(acquired.time())),
        ]
    if built.rows and built.columns:
        facts += [
            num(concept("sr", "pixel-data-rows"), Num(built.rows, concept("unit", "pixels"))),
            num(concept("sr", "pixel-data-columns"), Num(built.columns, concept("unit", "pixels"))),
        ]
    if built.frame_count > 1:
        facts.append(num(concept("sr", "number-of-frames"), Num(built.frame_count, concept("unit", "1"))))
    facts += _position(capture.position, scope)
    facts += _protocol_step(capture, scope)
    facts += _eye_witnesses(capture, scope)
    facts += _contact(capture)
    facts += _eye_as_found(image)
    children = tuple(acquisition_context(fact) for fact in facts)
    return ContentItem(None, image.reference(), children, origin=scope.capture_path(image))


def _position(position: ProbePosition, scope: ReportScope) -> list[ContentItem]:
    """Return scan, clock hour and zone as codes, and all of it in words.

    Transverse, longitudinal and axial are meant relative to limbus and visual axis, not to the body's planes.
    """
    facts = []
    view = find_concept("scan", position.scan.value)
    if view is not None:
        qualifier = find_concept("scan_modifier", position.scan.value)
        below: tuple[Child, ...] = ()
        if qualifier is not None:
            below = (concept_modifier(code(concept("sr", "image-view-modifier"), qualifier)),)
        facts.append(code(concept("sr", "image-view"), view, *below))
    if position.clock_hour is not None:
        facts.append(code(concept("sr", "clockface-or-region"), clock_code(position.clock_hour.four_digits, scope)))
    if position.zone is not None:
        facts.append(code(concept("sr", "zone"), concept("zone", position.zone.value)))
    facts.append(text(concept("sr", "comment"), position.words))
    return facts


def _protocol_step(capture: Capture, scope: ReportScope) -> list[ContentItem]:
    """Return the step that the capture was made for, and say what of its position was taken from it."""
    facts = []
    if capture.protocol_step:
        facts.append(text(concept("sr", "protocol-step"), capture.protocol_step))
    if capture.position_origin:
        facts.append(scope.own_words(concept("sr", "comment"), f"position not stated: {capture.position_origin}"))
    return facts


def _eye_witnesses(capture: Capture, scope: ReportScope) -> list[ContentItem]:
    """Return on what the eye rests; people have an item of their own, so that names can be found and taken out."""
    words = ledger_words(capture.eye_witnesses, are_people_named=False)
    people = dict.fromkeys(witness.person for witness in capture.eye_witnesses if witness.person)
    return [
        *([scope.own_words(concept("sr", "eye-witnesses"), words)] if words else []),
        *(ContentItem(concept("sr", "eye-stated-by"), Person(person)) for person in people),
    ]


def _contact(capture: Capture) -> list[ContentItem]:
    """Return how the probe met the eye: thickness through a lid is not comparable with thickness in immersion."""
    contact = capture.settings.contact
    if contact is None:
        return []
    facts = [code(concept("sr", "probe-contact"), concept("contact_method", contact.value))]
    lid = find_concept("eyelid_state", contact.value)
    return [*facts, code(concept("sr", "eyelid-state"), lid)] if lid else facts


def _eye_as_found(image: ReportedImage) -> list[ContentItem]:
    """Return lens and vitreous status, which decide how lengths through them are to be read."""
    capture = image.capture
    facts = []
    if capture.lens is not None:
        facts.append(code(concept("sr", "lens-status"), concept("lens_status", capture.lens.value)))
    if capture.vitreous is not None:
        facts.append(code(concept("sr", "vitreous-status"), concept("vitreous_status", capture.vitreous.value)))
    return facts


def clock_code(four_digits: str, scope: ReportScope) -> CodedConcept:
    """Return the code of a clock position under the site's terminology licence."""
    return clock_position(four_digits, snomed_extended=scope.options.snomed_extended)
