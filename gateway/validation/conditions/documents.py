"""Conditions of structured reports and encapsulated documents (PS3.3 C.17, C.18, C.24)."""

from __future__ import annotations

from gateway.validation.conditions.algebra import (
    ByShape,
    Need,
    Predicate,
    absent,
    equals,
    possible_when,
    present,
    when,
)
from gateway.validation.elements import Item
from gateway.validation.scope import Scope, has_value, items, value

_NAMED = frozenset({"TEXT", "NUM", "CODE", "DATETIME", "DATE", "TIME", "UIDREF", "PNAME", "TABLE"})
_WHOLE_SLIDE = "1.2.840.10008.5.1.4.1.1.77.1.6"
_RANGES = ("ReferencedSamplePositions", "ReferencedTimeOffsets", "ReferencedDateTime")


def conditions() -> dict[str, Predicate]:
    """Return the conditions of documents by name."""
    return _general() | _content() | _encapsulated()


def _general() -> dict[str, Predicate]:
    """PS3.3 C.17.2."""
    return {
        "document-verified": equals("VerificationFlag", "VERIFIED"),
        "observer-is-person": equals("ObserverType", "PSN"),
        "observer-is-device": equals("ObserverType", "DEV"),
        "content-tree-refers-to-instances": _evidence,
    }


def _evidence(scope: Scope) -> Need:
    """Ask for evidence: what the content tree refers to stands in one of two sequences (PS3.3 C.17.2.3)."""
    if has_value(scope.root, "PertinentOtherEvidenceSequence") or not refers_to_instances(scope.root):
        return Need.UNDECIDABLE
    return Need.REQUIRED


def refers_to_instances(item: Item) -> bool:
    """Whether an item of the content tree, or one below it, refers to a DICOM object."""
    if items(item, "ReferencedSOPSequence"):
        return True
    return any(refers_to_instances(child) for child in items(item, "ContentSequence"))


def _content() -> dict[str, Predicate]:
    """PS3.3 C.17.3 and C.18."""
    return {
        "content-item-needs-name": ByShape(_concept_name),
        "measured-value-is-empty": ByShape(
            when(
                lambda s: (
                    s.value("ValueType") == "NUM"
                    and s.has("MeasuredValueSequence")
                    and not s.has_value("MeasuredValueSequence")
                )
            ),
            unless="MeasuredValueSequence",
        ),
        "container-from-template": ByShape(possible_when(lambda s: s.value("ValueType") in {"CONTAINER", None})),
        "target-by-reference": ByShape(possible_when(lambda s: not s.has("ValueType"))),
        "target-by-value": absent("ReferencedContentItemIdentifier"),
        "region-of-whole-slide": ByShape(when(_whole_slide), unless="ContentSequence"),
        # C.18.7: one of three; a missing one is told once, at the time offsets.
        "temporal-range-by-samples": ByShape(possible_when(lambda s: _is_range(s) and not _has_other(s, 0))),
        "temporal-range-by-offsets": ByShape(when(lambda s: _is_range(s) and not _has_other(s, 1))),
        "temporal-range-by-datetime": ByShape(possible_when(lambda s: _is_range(s) and not _has_other(s, 2))),
    }


def _concept_name(scope: Scope) -> Need:
    kind = scope.value("ValueType")
    if kind in _NAMED or (kind == "CONTAINER" and scope.at_root):
        return Need.REQUIRED
    return Need.NOT_REQUIRED if scope.has("ReferencedContentItemIdentifier") else Need.UNDECIDABLE


def _whole_slide(scope: Scope) -> bool:
    references = [
        reference
        for child in items(scope.item, "ContentSequence")
        for reference in items(child, "ReferencedSOPSequence")
    ]
    return any(value(reference, "ReferencedSOPClassUID") == _WHOLE_SLIDE for reference in references)


def _is_range(scope: Scope) -> bool:
    return scope.value("ValueType") == "TCOORD"


def _has_other(scope: Scope, own: int) -> bool:
    return any(scope.has(keyword) for number, keyword in enumerate(_RANGES) if number != own)


def _encapsulated() -> dict[str, Predicate]:
    """PS3.3 C.24.2."""
    return {
        "content-sequence-present": present("ContentSequence"),
        "document-content-from-template": possible_when(lambda s: s.has("ContentSequence")),
        "encapsulated-document-is-cda": when(lambda s: value(s.root, "MIMETypeOfEncapsulatedDocument") == "text/XML"),
    }
