"""Conditions of the macros: codes, identifiers, persons, content items, references (PS3.3 8.8 and 10)."""

from __future__ import annotations

from gateway.standard.sop_classes import ContentKind, Frames, sop_class
from gateway.validation.conditions.algebra import (
    ByShape,
    Need,
    Predicate,
    absent,
    certain_when,
    equals,
    possible_when,
    present,
    when,
)
from gateway.validation.scope import Scope, values

_RETRIEVAL = (
    "DICOMRetrievalSequence",
    "DICOMMediaRetrievalSequence",
    "WADORetrievalSequence",
    "WADORSRetrievalSequence",
    "XDSRetrievalSequence",
)
_VALUE_TYPES = (
    "TEXT", "CODE", "NUM", "DATE", "TIME", "DATETIME", "PNAME", "UIDREF", "SCOORD3D", "TCOORD", "CONTAINER",
)  # fmt: skip


def conditions() -> dict[str, Predicate]:
    """Return the conditions of the macros by name."""
    return _codes() | _references() | _content_items() | _selectors()


def _codes() -> dict[str, Predicate]:
    return {
        # PS3.3 8.8: exactly one of Code Value, Long Code Value and URN Code Value.
        "no-longer-form-of-code": absent("LongCodeValue", "URNCodeValue"),
        "code-value-longer-than-16": ByShape(
            possible_when(lambda s: not s.has("CodeValue") and not s.has("URNCodeValue"))
        ),
        "code-value-is-urn": ByShape(possible_when(lambda s: not s.has("CodeValue") and not s.has("LongCodeValue"))),
        "code-value-or-long-code-value-present": present("CodeValue", "LongCodeValue"),
        "coding-scheme-version-decides": ByShape(_coding_scheme_version),
        "context-identifier-present": present("ContextIdentifier"),
        "context-group-extended": equals("ContextGroupExtensionFlag", "Y"),
        # PS3.3 10.1 and 10.17
        "institution-code-absent": absent("InstitutionCodeSequence"),
        "institution-name-absent": absent("InstitutionName"),
        "universal-entity-id-present": present("UniversalEntityID"),
        "universal-entity-id-absent": absent("UniversalEntityID"),
        "local-namespace-entity-id-absent": absent("LocalNamespaceEntityID"),
    }


def _coding_scheme_version(scope: Scope) -> Need:
    return Need.UNDECIDABLE if scope.has("CodingSchemeDesignator") else Need.FORBIDDEN


def _references() -> dict[str, Predicate]:
    return {
        "reference-to-some-frames": possible_when(_may_have_frames),
        "reference-to-some-segments": possible_when(_may_have_segments),
        "reference-to-some-channels": possible_when(_may_have_channels),
        "referenced-instance-is-dicom": equals("TypeOfInstances", "DICOM"),
        "referenced-instance-is-cda": equals("TypeOfInstances", "CDA"),
        # PS3.3 10.33: one of five ways; a missing one is told once, at the first.
        "no-retrieval-sequence": absent(*_RETRIEVAL[1:]),
        "another-retrieval-sequence-instead": possible_when(lambda s: not any(s.has(k) for k in _RETRIEVAL)),
        "source-reoriented": equals("SpatialLocationsPreserved", "REORIENTED_ONLY"),
    }


def _referenced_kind(scope: Scope) -> ContentKind | None:
    known = sop_class(str(scope.value("ReferencedSOPClassUID") or ""))
    return known.kind if known else None


def _may_have_frames(scope: Scope) -> bool:
    """Frame numbers make no sense for objects that have no or one frame (PS3.3 10.3)."""
    known = sop_class(str(scope.value("ReferencedSOPClassUID") or ""))
    if scope.has("ReferencedSegmentNumber"):
        return False
    return known is None or known.frames not in {Frames.NONE, Frames.ONE}


def _may_have_segments(scope: Scope) -> bool:
    if scope.has("ReferencedFrameNumber"):
        return False
    return _referenced_kind(scope) in {None, ContentKind.SEGMENTATION}


def _may_have_channels(scope: Scope) -> bool:
    return _referenced_kind(scope) in {None, ContentKind.WAVEFORM}


def _content_items() -> dict[str, Predicate]:
    kinds = {f"value-type-is-{name.lower()}": value_type(name) for name in _VALUE_TYPES}
    return kinds | {
        # PS3.3 10.2 says NUMERIC where C.17.3 says NUM.
        "value-type-is-numeric": value_type("NUMERIC"),
        "value-type-is-reference": value_type("IMAGE", "COMPOSITE", "WAVEFORM"),
        "value-type-is-coordinates": value_type("SCOORD", "SCOORD3D"),
        "rational-numerator-present": present("RationalNumeratorValue"),
    }


def value_type(*kinds: str) -> Predicate:
    """Make a condition: required for these value types; where the value type is missing that alone is told."""

    def predicate(scope: Scope) -> Need:
        kind = scope.value("ValueType")
        if kind is None and not scope.has("ReferencedContentItemIdentifier"):
            return Need.UNDECIDABLE
        return Need.REQUIRED if kind in kinds else Need.NOT_REQUIRED

    return ByShape(predicate)


def _selectors() -> dict[str, Predicate]:
    """PS3.3 10.17.1, used by Nonconforming Modified Attributes."""
    return {
        "selector-nested-or-absent": certain_when(lambda s: not s.has("SelectorAttribute")),
        "selector-pointer-present": present("SelectorSequencePointer"),
        "selector-pointer-names-private-attribute": when(lambda s: _names_private(s, "SelectorSequencePointer")),
        "selector-names-private-attribute": when(lambda s: _names_private(s, "SelectorAttribute")),
    }


def _names_private(scope: Scope, keyword: str) -> bool:
    return any(isinstance(tag, int) and tag >> 16 & 1 for tag in values(scope.item, keyword))
