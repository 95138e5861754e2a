"""Encapsulated documents and content trees (PS3.3 C.24.2, C.17.2.3, C.18.6)."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Final

from gateway.validation.consistency.finding import found
from gateway.validation.elements import Item, shown
from gateway.validation.findings import Finding
from gateway.validation.scope import Scope, items, value, values

Within = tuple[tuple[str, int], ...]

EXACT_POINTS: Final = {"POINT": 1, "CIRCLE": 2, "ELLIPSE": 4}
LEAST_POINTS: Final = {"MULTIPOINT": 1, "POLYLINE": 2}
EVIDENCE: Final = ("CurrentRequestedProcedureEvidenceSequence", "PertinentOtherEvidenceSequence")


def check(scope: Scope) -> Iterator[Finding]:
    """Yield what is wrong with an encapsulated document or a content tree."""
    yield from _encapsulated(scope)
    if scope.has("ContentSequence") and scope.has("CompletionFlag"):
        yield from _tree(scope.root, _listed_evidence(scope), ())


def _encapsulated(scope: Scope) -> Iterator[Finding]:
    document = scope.element("EncapsulatedDocument")
    if document is None or document.empty:
        return
    head = document.raw if isinstance(document.raw, bytes) else b""
    is_pdf = str(scope.value("MIMETypeOfEncapsulatedDocument") or "").lower() == "application/pdf"
    if is_pdf and not head.startswith(b"%PDF-"):
        message = "does not start with %PDF-; MIMETypeOfEncapsulatedDocument says application/pdf"
        yield found("document-not-pdf", "EncapsulatedDocument", message, "PS3.3 C.24.2")
    stated = scope.value("EncapsulatedDocumentLength")
    if isinstance(stated, int) and not document.length - 1 <= stated <= document.length:
        message = f"is {stated}; the document has {document.length} bytes, or one less without padding"
        yield found("document-length-wrong", "EncapsulatedDocumentLength", message, "PS3.3 C.24.2")


def _listed_evidence(scope: Scope) -> frozenset[object]:
    return frozenset(
        value(reference, "ReferencedSOPInstanceUID")
        for keyword in EVIDENCE
        for study in items(scope.root, keyword)
        for series in items(study, "ReferencedSeriesSequence")
        for reference in items(series, "ReferencedSOPSequence")
    )


def _tree(item: Item, evidence: frozenset[object], within: Within) -> Iterator[Finding]:
    kind = value(item, "ValueType")
    if kind in {"IMAGE", "COMPOSITE", "WAVEFORM"}:
        yield from _reference(item, evidence, within)
    elif kind == "SCOORD":
        yield from _coordinates(item, within)
    for number, child in enumerate(items(item, "ContentSequence"), start=1):
        yield from _tree(child, evidence, (*within, ("ContentSequence", number)))


def _reference(item: Item, evidence: frozenset[object], within: Within) -> Iterator[Finding]:
    if not evidence:
        # That there is no evidence at all is told by the types of the evidence sequences.
        return
    for number, reference in enumerate(items(item, "ReferencedSOPSequence"), start=1):
        uid = value(reference, "ReferencedSOPInstanceUID")
        if uid and uid not in evidence:
            message = f"is {shown(uid)}, which no evidence sequence lists; the report must list what it refers to"
            place = (*within, ("ReferencedSOPSequence", number))
            yield found(
                "reference-not-in-evidence", "ReferencedSOPInstanceUID", message, "PS3.3 C.17.2.3", within=place
            )


def _is_source(child: Item) -> bool:
    by_reference = value(child, "ReferencedContentItemIdentifier") is not None
    return value(child, "RelationshipType") == "SELECTED FROM" and (
        value(child, "ValueType") == "IMAGE" or by_reference
    )


def _coordinates(item: Item, within: Within) -> Iterator[Finding]:
    kind, numbers = str(value(item, "GraphicType") or ""), values(item, "GraphicData")
    if not numbers:
        return
    points = len(numbers) // 2
    exact, least = EXACT_POINTS.get(kind), LEAST_POINTS.get(kind)
    if len(numbers) % 2 or (exact is not None and points != exact) or (least is not None and points < least):
        wanted = f"exactly {exact}" if exact is not None else f"at least {least or 1}"
        message = f"has {len(numbers)} numbers; {kind} has {wanted} points of column and row"
        yield found("graphic-data-count", "GraphicData", message, "PS3.3 C.18.6.1.2", within=within)
    if not any(_is_source(child) for child in items(item, "ContentSequence")):
        message = "belongs to no image; an IMAGE item must follow it as SELECTED FROM"
        yield found("coordinates-without-image", "GraphicData", message, "PS3.3 C.18.6", within=within)
    if any(isinstance(number, int | float) and number < 0 for number in numbers):
        message = "has a negative coordinate; coordinates start at 0 at the upper left corner of the image"
        yield found("coordinate-outside-image", "GraphicData", message, "PS3.3 C.18.6.1.1", within=within)
