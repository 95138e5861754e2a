"""What a length by layers or by a published correction rests on: equation, reference, speeds, segments."""

from __future__ import annotations

from gateway.builders.sr.content import Child, ContentItem, has_property, inferred_from, num, text
from gateway.builders.sr.scope import ReportScope, finding_site
from gateway.builders.sr.speed import speed_item
from gateway.builders.sr.values import Num
from gateway.model.biometry import LENS_POWER_CAUTION, BiometryValue, Segment
from gateway.model.laterality import Eye
from gateway.model.measurement import MeasurementKind
from gateway.standard.codes import concept


def length_basis(length: BiometryValue, kind: MeasurementKind, eye: Eye, scope: ReportScope) -> tuple[Child, ...]:
    """Return what stands below a length by a named method, after the number that it was inferred from.

    An average speed of the whole eye stands directly below the length, because it is the speed of that length; speeds
    of segments stand with their segments.
    """
    children = [inferred_from(_segment(segment, eye, scope)) for segment in length.segments]
    if length.whole_eye_m_per_s is not None:
        words = "average speed of sound of the whole eye"
        children.append(inferred_from(speed_item(length.whole_eye_m_per_s, words, length.reference, scope)))
    children.append(inferred_from(scope.own_words(concept("sr", "equation"), length.equation)))
    children.append(inferred_from(text(concept("sr", "source"), length.reference)))
    remarks = [f"worked: {length.worked}", *length.remarks]
    if kind is MeasurementKind.AXIAL_LENGTH:
        remarks.append(LENS_POWER_CAUTION)
    children += [has_property(scope.own_words(concept("sr", "comment"), remark)) for remark in remarks]
    return tuple(children)


def _segment(segment: Segment, eye: Eye, scope: ReportScope) -> ContentItem:
    """Return one segment under a name of its own, so that no reader takes it for the length of the eye."""
    gate = segment.gate
    tissue = f"in {gate.speed.tissue.replace('-', ' ')}" if gate.speed.tissue else "stated for this segment"
    gate_words = f"gate {gate.start_us:g} to {gate.end_us:g} us, round trip"
    return num(
        concept("quantity", "distance"),
        Num(segment.length_mm, concept("unit", "mm"), f"{segment.length_mm:.4f}"),
        finding_site(gate.segment, eye),
        inferred_from(speed_item(gate.speed.speed_m_per_s, f"speed of sound {tissue}", gate.speed.source, scope)),
        has_property(scope.own_words(concept("sr", "comment"), gate_words)),
    )
