"""Where this checker and dciodvfy differ, each with its reason; anything else that differs fails a test."""

from __future__ import annotations

ONLY_THEIRS = {
    "SliceProgressionDirection": "values of a type 3 attribute, listed in a form that the tables leave out",
    "Laterality": "dciodvfy wants a side unless the part is known to be single; without a part nobody can tell",
}
"""Keyed by the last keyword of the path."""

ONLY_OURS = {
    "ValueType": "a content item without value type has no meaning (PS3.3 C.17.3); dciodvfy looks at the root only",
    "MeasuredValueSequence": "newer editions want a qualifier where it is empty (a warning); belongs to NUM only",
    "LongitudinalTemporalOffsetFromEvent": "one attribute of an optional module makes its type 2 attributes due",
    "LongitudinalTemporalEventType": "one attribute of an optional module makes its type 2 attributes due",
    "NTPSourceAddress": "one attribute of Synchronization makes its type 1 attributes due",
    "SynchronizationFrameOfReferenceUID": "one attribute of Synchronization makes its type 1 attributes due",
    "SynchronizationTrigger": "one attribute of Synchronization makes its type 1 attributes due",
    "TriggerSourceOrType": "one attribute of Synchronization makes its type 1 attributes due",
    "SynchronizationChannel": "one attribute of Synchronization makes its type 1 attributes due",
    "AcquisitionTimeSynchronized": "one attribute of Synchronization makes its type 1 attributes due",
    "TimeSource": "one attribute of Synchronization makes its type 1 attributes due",
    "TimeDistributionProtocol": "one attribute of Synchronization makes its type 1 attributes due",
    "PaletteColorLookupTableUID": "one attribute of the palette module makes its descriptors due",
    "SegmentedRedPaletteColorLookupTableData": "one attribute of the palette module makes its descriptors due",
    "SegmentedGreenPaletteColorLookupTableData": "one attribute of the palette module makes its descriptors due",
    "SegmentedBluePaletteColorLookupTableData": "one attribute of the palette module makes its descriptors due",
    "NumericValueQualifierCodeSequence": "the added item has no code; dciodvfy looks at it in NUM items only",
    "ConceptCodeSequence": "belongs to another value type (PS3.3 C.18.2)",
    "ReferencedSOPSequence": "belongs to another value type (PS3.3 C.18.3)",
    "GraphicData": "belongs to another value type (PS3.3 C.18.6)",
    "GraphicType": "belongs to another value type (PS3.3 C.18.6)",
    "ReferencedFrameOfReferenceUID": "belongs to another value type (PS3.3 C.18.9)",
    "TemporalRangeType": "belongs to another value type (PS3.3 C.18.7)",
    "ReferencedSamplePositions": "belongs to another value type (PS3.3 C.18.7)",
    "ReferencedTimeOffsets": "belongs to another value type (PS3.3 C.18.7)",
    "ReferencedDateTime": "belongs to another value type (PS3.3 C.18.7)",
    "ContinuityOfContent": "belongs to another value type (PS3.3 C.18.8)",
    "ContentTemplateSequence": "belongs to another value type (PS3.3 C.18.8)",
}
"""Keyed by the last keyword of the path."""


def only_ours_reason(keyword: str) -> str | None:
    """Return why only this checker says something about an attribute, or None where no reason is known."""
    if keyword.startswith("Contrast"):
        return "one attribute of Contrast/Bolus makes its type 2 attribute due"
    return ONLY_OURS.get(keyword)
