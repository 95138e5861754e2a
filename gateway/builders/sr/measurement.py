"""One measurement and everything that its number rests on (PS3.16 TID 300, 310, 315, 320).

The number that the source displayed always comes first and carries the calipers. A value for another speed of sound
stands after it as a measurement of its own kind: calculated, by a named method, and inferred from the displayed number,
which is repeated below it by value with the speed that the device assumed. Both copies of the displayed number have the
same Tracking Unique Identifier, so that a program can count them as one.
"""

from __future__ import annotations

import dataclasses

from gateway.acoustics.repeats import shown_mean_and_deviation
from gateway.builders.sr.biometry import length_basis
from gateway.builders.sr.calipers import drawn, line, require_inside
from gateway.builders.sr.content import (
    Child,
    ContentItem,
    code,
    contains,
    has_property,
    inferred_from,
    modifier,
    num,
    selected_from,
    text,
)
from gateway.builders.sr.observation import person_observer
from gateway.builders.sr.scope import ReportedImage, ReportScope, finding_site
from gateway.builders.sr.speed import speed_item
from gateway.builders.sr.uncertainty import uncertainty_items
from gateway.builders.sr.values import Coordinates, Num
from gateway.errors.measurement import MeasurementError
from gateway.model.biometry import BiometryValue
from gateway.model.laterality import Eye
from gateway.model.measurement import (
    CorrectedValue,
    MeasuredValue,
    Measurement,
    MeasurementKind,
    Quantity,
    TissueSpeed,
    ValueOrigin,
)
from gateway.standard.codes import CodedConcept, concept


def measurement_items(value: MeasuredValue, scope: ReportScope) -> tuple[Child, ...]:
    """Return what one measurement contributes to its group, the displayed number first.

    Raises
    ------
    ReferencedImageMissingError
        If its image was not built.
    PointOutsidePictureError
        If a caliper lies outside it.
    """
    displayed = _displayed(value, scope)
    below = uncertainty_items(value.uncertainty, value.value.unit, scope) + _remarks(value, scope)
    items = [dataclasses.replace(displayed, children=displayed.children + below)]
    if value.corrected is not None:
        items.append(_corrected(value.measurement, value.corrected, displayed, scope))
    if value.origin is not ValueOrigin.FROM_GATES:
        items.extend(_second_length(value.measurement, length, displayed, scope) for length in value.biometry)
    items.extend(_repeats(value.measurement, scope))
    return tuple(contains(item) for item in items)


def _displayed(value: MeasuredValue, scope: ReportScope) -> ContentItem:
    measurement = value.measurement
    image = scope.image(measurement.capture_id)
    method = {
        ValueOrigin.TRANSCRIBED: concept("sr", "transcribed"),
        ValueOrigin.COMPUTED: concept("sr", "computed-from-calipers"),
        ValueOrigin.FROM_GATES: concept("length_method", "layers"),
        ValueOrigin.DERIVED: concept("sr", "derived-here"),
    }.get(value.origin)
    children = (
        *_modifiers(measurement, image.capture.eye, method, _derivation(value)),
        *_sources(value, image, scope),
        *((inferred_from(scope.own_words(concept("sr", "equation"), value.equation)),) if value.equation else ()),
        *scope.tracking(measurement.id, f"measurement {measurement.id}"),
        *_measurer(measurement, scope),
        *_gated(value, image.capture.eye, scope),
    )
    return ContentItem(
        concept("quantity", measurement.kind.value),
        _number(value.value),
        children,
        observed=image.capture.acquired,
        origin=f"measurements {measurement.id}",
    )


def _derivation(value: MeasuredValue) -> CodedConcept | None:
    """Return how a number came to be; of one without calipers, gates or sources nobody knows."""
    if value.origin is ValueOrigin.TRANSCRIBED:
        return None
    return concept("sr", "calculated" if value.sources else "measured")


def _number(quantity: Quantity) -> Num:
    return Num(quantity.value, concept("unit", quantity.unit.value), quantity.text)


def _modifiers(
    measurement: Measurement,
    eye: Eye,
    method: CodedConcept | None,
    derivation: CodedConcept | None,
    meaning: str = "",
) -> tuple[Child, ...]:
    """Return method, derivation, site, and the trade's name where it is not the code's (TID 300 rows 3 to 7, 16)."""
    children = []
    if method is not None:
        children.append(modifier(code(concept("sr", "measurement-method"), method)))
    if derivation is not None:
        children.append(modifier(code(concept("sr", "derivation"), derivation)))
    if measurement.kind is MeasurementKind.AXIAL_LENGTH:
        children.append(finding_site(measurement.structure or "eye", eye, concept("sr", "axial")))
    elif measurement.structure:
        children.append(finding_site(measurement.structure, eye))
    if not meaning and measurement.kind.words != concept("quantity", measurement.kind.value).meaning.lower():
        meaning = measurement.kind.words
    if meaning:
        children.append(modifier(text(concept("sr", "equivalent-meaning"), meaning)))
    return tuple(children)


def _sources(value: MeasuredValue, image: ReportedImage, scope: ReportScope) -> tuple[Child, ...]:
    """Return where on which picture, and at which assumed speed of sound (TID 320).

    A number without calipers points to its picture alone; whose speed is behind it, nobody knows. A number computed
    from others holds those, each as it stands.
    """
    measurement = value.measurement
    purpose = concept("sr", "source-of-measurement")
    reference = image.reference(measurement.frame)
    if value.sources:
        return tuple(inferred_from(_displayed(source, scope)) for source in value.sources)
    if not measurement.points:
        picture = (inferred_from(ContentItem(purpose, reference)),)
        if measurement.reading_m_per_s is None:
            return picture
        words = "speed of sound at which the number was read"
        return (*picture, inferred_from(speed_item(measurement.reading_m_per_s, words, "", scope)))
    children = [inferred_from(_on_picture(measurement, drawn(measurement), image))]
    calibration = image.capture.calibration
    if calibration is not None and calibration.assumed_speed_m_per_s is not None:
        words = "speed of sound assumed by the device"
        children.append(inferred_from(speed_item(calibration.assumed_speed_m_per_s, words, "", scope)))
    return tuple(children)


def _on_picture(measurement: Measurement, shape: Coordinates, image: ReportedImage) -> ContentItem:
    require_inside(measurement, shape.points, image.built)
    selected = selected_from(ContentItem(None, image.reference(measurement.frame)))
    return ContentItem(concept("sr", "source-of-measurement"), shape, (selected,))


def _corrected(
    measurement: Measurement, corrected: CorrectedValue, displayed: ContentItem, scope: ReportScope
) -> ContentItem:
    """Return the value for another speed of sound: no calipers of its own, as they were drawn for the displayed one."""
    image = scope.image(measurement.capture_id)
    eye = image.capture.eye
    meaning = f"{measurement.kind.words} corrected for the speed of sound {_corrected_to(corrected)}"
    children = (
        *_modifiers(measurement, eye, concept("sr", "gateway-correction"), concept("sr", "calculated"), meaning),
        inferred_from(displayed),
        *_speeds(measurement, corrected, image, scope),
        inferred_from(scope.own_words(concept("sr", "equation"), corrected.formula)),
        *scope.tracking(f"{measurement.id} corrected", f"measurement {measurement.id} corrected"),
        *_measurer(measurement, scope),
        *uncertainty_items(corrected.uncertainty, corrected.quantity.unit, scope),
    )
    return ContentItem(
        displayed.name,
        _number(corrected.quantity),
        children,
        origin=f"rule: correction for the speed of sound of measurements {measurement.id}",
    )


def _corrected_to(corrected: CorrectedValue) -> str:
    if corrected.speed is not None:
        return f"{_in_tissue(corrected.speed)}, {corrected.speed.speed_m_per_s:g} m/s"
    if corrected.media:
        return "in each medium"
    return "of what it is computed from"


def _in_tissue(speed: TissueSpeed) -> str:
    return f"in {speed.tissue.replace('-', ' ')}" if speed.tissue else "stated for this measurement"


def _speeds(
    measurement: Measurement, corrected: CorrectedValue, image: ReportedImage, scope: ReportScope
) -> tuple[Child, ...]:
    """Return the speed corrected to, or each medium's with the line on the picture at which the beams enter it."""
    if corrected.speed is not None:
        speed = corrected.speed
        words = f"speed of sound {_in_tissue(speed)}"
        return (inferred_from(speed_item(speed.speed_m_per_s, words, speed.source, scope)),)
    children = []
    for medium in corrected.media:
        where: tuple[Child, ...] = ()
        words = f"speed of sound {_in_tissue(medium.speed)}, from the probe face on"
        if medium.begins:
            where = (inferred_from(_on_picture(measurement, line(medium.begins), image)),)
            words = f"speed of sound {_in_tissue(medium.speed)}, from this line on"
        children.append(inferred_from(speed_item(medium.speed.speed_m_per_s, words, medium.speed.source, scope, where)))
    return tuple(children)


def _gated(value: MeasuredValue, eye: Eye, scope: ReportScope) -> tuple[Child, ...]:
    """Return the segments of a length that is their sum and was never displayed."""
    if value.origin is not ValueOrigin.FROM_GATES:
        return ()
    kind = value.measurement.kind
    return tuple(child for length in value.biometry for child in length_basis(length, kind, eye, scope))


def _second_length(
    measurement: Measurement, length: BiometryValue, displayed: ContentItem, scope: ReportScope
) -> ContentItem:
    """Return a length by a named method, inferred from the displayed number."""
    eye = scope.image(measurement.capture_id).capture.eye
    method = concept("length_method", length.method)
    meaning = f"{measurement.kind.words} by {length.method.replace('-', ' ')}"
    children = (
        *_modifiers(measurement, eye, method, concept("sr", "calculated"), meaning),
        inferred_from(displayed),
        *length_basis(length, measurement.kind, eye, scope),
        *uncertainty_items(length.uncertainty, length.quantity.unit, scope),
        *scope.tracking(f"{measurement.id} {length.method}", f"measurement {measurement.id} {length.method}"),
        *_measurer(measurement, scope),
    )
    return ContentItem(
        displayed.name,
        _number(length.quantity),
        children,
        origin=f"rule: {length.method} of measurements {measurement.id}",
    )


def _measurer(measurement: Measurement, scope: ReportScope) -> tuple[Child, ...]:
    """Return the person who measured, where it is not the examiner, who observed the whole report."""
    person = measurement.measured_by
    if person is None or person == scope.exam.session.examiner:
        return ()
    return person_observer(person, origin=f"measurements {measurement.id}.measured_by")


def _remarks(value: MeasuredValue, scope: ReportScope) -> tuple[Child, ...]:
    name = concept("sr", "comment")
    children = []
    if value.measurement.comment:
        children.append(has_property(text(name, value.measurement.comment)))
    children += [has_property(scope.own_words(name, remark)) for remark in value.remarks]
    if value.not_corrected_because:
        words = f"not corrected for another speed of sound: {value.not_corrected_because}"
        children.append(has_property(scope.own_words(name, words)))
    return tuple(children)


def _repeats(measurement: Measurement, scope: ReportScope) -> list[ContentItem]:
    """Return the mean of repeats with its spread below it, inferred from each repeat.

    The spread never stands beside the measurements: a reader that drops modifiers would show it as a length. Repeats
    that cannot be averaged (one alone, or mixed units) stand as numbers of their own.
    """
    if not measurement.repeats:
        return []
    eye = scope.image(measurement.capture_id).capture.eye
    name = concept("quantity", measurement.kind.value)
    origin = f"measurements {measurement.id}.repeats"
    as_written = _modifiers(measurement, eye, concept("sr", "transcribed"), None)
    single = [num(name, _number(quantity), *as_written, origin=origin) for quantity in measurement.repeats]
    try:
        mean, deviation = shown_mean_and_deviation(measurement.repeats)
    except MeasurementError:
        return single
    meaning = f"mean {measurement.kind.words} of {len(single)} repeats"
    children = (
        *_modifiers(measurement, eye, None, concept("sr", "mean"), meaning),
        has_property(num(concept("sr", "standard-deviation"), _number(deviation))),
        *(inferred_from(item) for item in single),
        *scope.tracking(f"{measurement.id} mean", f"measurement {measurement.id} mean"),
        *_measurer(measurement, scope),
    )
    return [ContentItem(name, _number(mean), children, origin=origin)]
