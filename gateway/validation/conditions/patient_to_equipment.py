"""Conditions of patient, study, series and equipment modules and of SOP Common (PS3.3 C.7.1 to C.7.5, C.12)."""

from __future__ import annotations

from gateway.standard.paired_structures import is_paired_code, is_paired_term
from gateway.validation.conditions.algebra import (
    Need,
    Predicate,
    absent,
    certain_when,
    equals,
    possible_when,
    present,
    undecidable,
    when,
)
from gateway.validation.elements import Element, Item, tag
from gateway.validation.scope import Scope, has_value, items, value

_TOMOGRAPHIC_CLASSES = frozenset(
    {
        "1.2.840.10008.5.1.4.1.1.2",
        "1.2.840.10008.5.1.4.1.1.2.1",
        "1.2.840.10008.5.1.4.1.1.4",
        "1.2.840.10008.5.1.4.1.1.4.1",
        "1.2.840.10008.5.1.4.1.1.4.2",
        "1.2.840.10008.5.1.4.1.1.4.3",
    }
)
_HUMAN = frozenset({"337915000", "L-85B00"})
_ONLY_OF_ANIMALS = (
    "PatientBreedDescription",
    "PatientBreedCodeSequence",
    "BreedRegistrationSequence",
    "StrainDescription",
    "StrainNomenclature",
    "StrainAdditionalInformation",
    "StrainStockSequence",
    "StrainCodeSequence",
    "GeneticModificationsSequence",
)
_MORE_SPECIFIC_LATERALITY = ("ImageLaterality", "FrameLaterality", "MeasurementLaterality")


def conditions() -> dict[str, Predicate]:
    """Return the conditions of these modules by name."""
    return _patient() | _trial() | _series() | _common()


def _patient() -> dict[str, Predicate]:
    return {
        "patient-is-animal": when(is_animal),
        "animal-without-species-code": when(lambda s: is_animal(s) and not s.has("PatientSpeciesCodeSequence")),
        "animal-without-species-description": when(lambda s: is_animal(s) and not s.has("PatientSpeciesDescription")),
        "animal-without-breed-code": when(lambda s: is_animal(s) and not s.has_value("PatientBreedCodeSequence")),
        "animal-not-bipedal": possible_when(is_animal),
        "date-in-alternative-calendar-present": present(
            "PatientBirthDateInAlternativeCalendar", "PatientDeathDateInAlternativeCalendar"
        ),
        "responsible-person-has-value": when(lambda s: s.has_value("ResponsiblePerson")),
        "identity-removed-without-method-code": when(
            lambda s: s.value("PatientIdentityRemoved") == "YES" and not s.has("DeidentificationMethodCodeSequence")
        ),
        "identity-removed-without-method-text": when(
            lambda s: s.value("PatientIdentityRemoved") == "YES" and not s.has("DeidentificationMethod")
        ),
    }


def is_animal(scope: Scope) -> bool:
    """Whether the object names a species other than human, a breed or a strain (PS3.3 C.7.1.1)."""
    species = [value(item, "CodeValue") for item in items(scope.root, "PatientSpeciesCodeSequence")]
    if species:
        return not any(code in _HUMAN for code in species)
    if has_value(scope.root, "PatientSpeciesDescription"):
        return "homo sapiens" not in str(value(scope.root, "PatientSpeciesDescription")).lower()
    return any(has_value(scope.root, keyword) for keyword in _ONLY_OF_ANIMALS)


def _trial() -> dict[str, Predicate]:
    return {
        "trial-subject-id-absent": absent("ClinicalTrialSubjectID"),
        "trial-subject-reading-id-absent": absent("ClinicalTrialSubjectReadingID"),
        "ethics-approval-number-present": present("ClinicalTrialProtocolEthicsCommitteeApprovalNumber"),
        "longitudinal-offset-present": present("LongitudinalTemporalOffsetFromEvent"),
        "consent-given-or-withdrawn": equals("ConsentForDistributionFlag", "YES", "WITHDRAWN"),
        "consent-for-another-protocol": possible_when(lambda s: s.value("DistributionType") == "NAMED_PROTOCOL"),
    }


def _series() -> dict[str, Predicate]:
    return {
        "paired-part-without-image-laterality": _laterality,
        "patient-position-of-tomographic-class": _patient_position,
        "synchronization-in-waveform": possible_when(lambda s: s.root.get(0x54000100) is not None),
        "padding-range-limit-with-pixels": _pixel_padding,
        "modality-is-ivus": when(lambda s: value(s.root, "Modality") == "IVUS"),
    }


def _laterality(scope: Scope) -> Need:
    """Of all lateralities one stands, the most specific (PS3.3 C.7.3.1); without a known part nothing is said."""
    if any(has_value(scope.root, keyword) for keyword in _MORE_SPECIFIC_LATERALITY):
        return Need.NOT_REQUIRED
    stands_empty = any(tag(keyword) in scope.root for keyword in _MORE_SPECIFIC_LATERALITY)
    return Need.UNDECIDABLE if stands_empty or not _shows_paired_part(scope.root) else Need.REQUIRED


def _shows_paired_part(root: Item) -> bool:
    if is_paired_term(str(value(root, "BodyPartExamined") or "")):
        return True
    regions = items(root, "AnatomicRegionSequence")
    return any(is_paired_code(str(value(region, "CodeValue") or "")) for region in regions)


def _patient_position(scope: Scope) -> Need:
    if scope.has("PatientOrientationCodeSequence"):
        return Need.FORBIDDEN
    return Need.REQUIRED if scope.root_value("SOPClassUID") in _TOMOGRAPHIC_CLASSES else Need.NOT_REQUIRED


def _pixel_padding(scope: Scope) -> Need:
    if not has_value(scope.root, "PixelData") and not has_value(scope.root, "PixelDataProviderURL"):
        return Need.FORBIDDEN
    return Need.REQUIRED if scope.root.get(0x00280121) is not None else Need.NOT_REQUIRED


def _common() -> dict[str, Predicate]:
    return {
        "text-beyond-default-repertoire": certain_when(
            lambda s: not s.has("SpecificCharacterSet") and beyond_default_repertoire(s.root)
        ),
        "coding-scheme-registered": certain_when(lambda s: s.has("CodingSchemeExternalID")),
        "coding-scheme-has-iso-identifier": undecidable,
        "coding-scheme-registered-without-uid": _coding_scheme_external_id,
        "certified-timestamp-present": present("CertifiedTimestamp"),
        "private-element-is-sequence": equals("PrivateDataElementValueRepresentation", "SQ"),
        "private-block-identity-mixed": equals("BlockIdentifyingInformationStatus", "MIXED"),
        "device-diameter-present": present("DeviceDiameter"),
    }


def _coding_scheme_external_id(scope: Scope) -> Need:
    if scope.has("CodingSchemeUID"):
        return Need.NOT_REQUIRED
    return Need.REQUIRED if scope.has("CodingSchemeRegistry") else Need.NOT_REQUIRED


def beyond_default_repertoire(item: Item) -> bool:
    """Whether any text needs more than ISO_IR 6, in this item or below (PS3.5 6.1)."""
    return any(_beyond(element) for element in item.values())


def _beyond(element: Element) -> bool:
    if element.items is not None:
        return any(beyond_default_repertoire(item) for item in element.items)
    if element.vr not in {"LO", "LT", "PN", "SH", "ST", "UC", "UT"}:
        return False
    if isinstance(element.raw, bytes):
        return not element.raw.isascii() or b"\x1b" in element.raw
    return any(isinstance(each, str) and not each.isascii() for each in element.raw or ())
