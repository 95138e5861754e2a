"""Each condition of the tables, in objects that make it hold, not hold, or leave it open.

The expected answers are read from the condition columns of PS3.3 (2020a); the section stands beside each group.
"""

from __future__ import annotations

import json
from importlib import resources

import pytest

from gateway.standard.iods import iods
from gateway.validation.conditions import Need, partly_decidable, predicates, undecidable_reasons
from tests.unit.validation.items import item_scope, root_scope

R, N, F, U = Need.REQUIRED, Need.NOT_REQUIRED, Need.FORBIDDEN, Need.UNDECIDABLE

JPEG, MPEG, PLAIN, JPIP = (
    "1.2.840.10008.1.2.4.50",
    "1.2.840.10008.1.2.4.102",
    "1.2.840.10008.1.2.1",
    "1.2.840.10008.1.2.4.94",
)
US_STILL, US_LOOP = "1.2.840.10008.5.1.4.1.1.6.1", "1.2.840.10008.5.1.4.1.1.3.1"
SEGMENTATION, ECG, CT = (
    "1.2.840.10008.5.1.4.1.1.66.4",
    "1.2.840.10008.5.1.4.1.1.9.1.1",
    "1.2.840.10008.5.1.4.1.1.2",
)
EYE = [{"CodeValue": "81745001", "CodingSchemeDesignator": "SCT"}]
HEART = [{"CodeValue": "80891009", "CodingSchemeDesignator": "SCT"}]
IMAGE_ITEM = {"ValueType": "IMAGE", "ReferencedSOPSequence": [{"ReferencedSOPClassUID": US_STILL}]}
SLIDE_ITEM = {"ReferencedSOPSequence": [{"ReferencedSOPClassUID": "1.2.840.10008.5.1.4.1.1.77.1.6"}]}

IN_ITEM = [
    # PS3.3 8.8
    ("no-longer-form-of-code", R, {}),
    ("no-longer-form-of-code", N, {"LongCodeValue": "x"}),
    ("no-longer-form-of-code", N, {"URNCodeValue": "urn:x"}),
    ("code-value-longer-than-16", N, {"CodeValue": "x"}),
    ("code-value-longer-than-16", U, {}),
    ("code-value-is-urn", N, {"LongCodeValue": "x"}),
    ("code-value-is-urn", U, {}),
    ("code-value-or-long-code-value-present", R, {"CodeValue": "x"}),
    ("code-value-or-long-code-value-present", R, {"LongCodeValue": "x"}),
    ("code-value-or-long-code-value-present", N, {"URNCodeValue": "urn:x"}),
    ("coding-scheme-version-decides", F, {}),
    ("coding-scheme-version-decides", U, {"CodingSchemeDesignator": "SCT"}),
    ("context-identifier-present", R, {"ContextIdentifier": "4"}),
    ("context-identifier-present", N, {}),
    ("context-group-extended", R, {"ContextGroupExtensionFlag": "Y"}),
    ("context-group-extended", N, {"ContextGroupExtensionFlag": "N"}),
    # PS3.3 10.1, 10.17
    ("institution-code-absent", R, {}),
    ("institution-code-absent", N, {"InstitutionCodeSequence": EYE}),
    ("institution-name-absent", R, {}),
    ("institution-name-absent", N, {"InstitutionName": "x"}),
    ("universal-entity-id-present", R, {"UniversalEntityID": "x"}),
    ("universal-entity-id-present", N, {}),
    ("universal-entity-id-absent", R, {}),
    ("universal-entity-id-absent", N, {"UniversalEntityID": "x"}),
    ("local-namespace-entity-id-absent", R, {}),
    ("local-namespace-entity-id-absent", N, {"LocalNamespaceEntityID": "x"}),
    # PS3.3 10.3, C.18.4, C.18.5
    ("reference-to-some-frames", N, {"ReferencedSOPClassUID": US_STILL}),
    ("reference-to-some-frames", U, {"ReferencedSOPClassUID": US_LOOP}),
    ("reference-to-some-frames", U, {"ReferencedSOPClassUID": "1.2.3"}),
    ("reference-to-some-frames", N, {"ReferencedSOPClassUID": US_LOOP, "ReferencedSegmentNumber": 1}),
    ("reference-to-some-segments", N, {"ReferencedSOPClassUID": US_STILL}),
    ("reference-to-some-segments", U, {"ReferencedSOPClassUID": SEGMENTATION}),
    ("reference-to-some-segments", N, {"ReferencedSOPClassUID": SEGMENTATION, "ReferencedFrameNumber": 1}),
    ("reference-to-some-channels", N, {"ReferencedSOPClassUID": US_STILL}),
    ("reference-to-some-channels", U, {"ReferencedSOPClassUID": ECG}),
    ("referenced-instance-is-dicom", R, {"TypeOfInstances": "DICOM"}),
    ("referenced-instance-is-dicom", N, {"TypeOfInstances": "CDA"}),
    ("referenced-instance-is-cda", R, {"TypeOfInstances": "CDA"}),
    ("referenced-instance-is-cda", N, {"TypeOfInstances": "DICOM"}),
    # PS3.3 C.7.1.1, Referenced Patient Photo Sequence
    ("no-retrieval-sequence", R, {}),
    ("no-retrieval-sequence", N, {"WADORetrievalSequence": [{}]}),
    ("another-retrieval-sequence-instead", U, {}),
    ("another-retrieval-sequence-instead", N, {"WADORetrievalSequence": [{}]}),
    ("source-reoriented", R, {"SpatialLocationsPreserved": "REORIENTED_ONLY"}),
    ("source-reoriented", N, {"SpatialLocationsPreserved": "YES"}),
    # PS3.3 10.2, C.17.3, C.18
    *[
        (f"value-type-is-{name.lower()}", need, {"ValueType": kind})
        for name in (
            "TEXT", "CODE", "NUM", "DATE", "TIME", "DATETIME", "PNAME", "UIDREF", "SCOORD3D", "TCOORD", "CONTAINER",
            "NUMERIC",
        )
        for kind, need in ((name, R), ("COMPOSITE", N))
    ],
    ("value-type-is-text", U, {}),
    ("value-type-is-text", N, {"ReferencedContentItemIdentifier": [1, 2]}),
    ("value-type-is-reference", R, {"ValueType": "IMAGE"}),
    ("value-type-is-reference", R, {"ValueType": "WAVEFORM"}),
    ("value-type-is-reference", N, {"ValueType": "TEXT"}),
    ("value-type-is-coordinates", R, {"ValueType": "SCOORD"}),
    ("value-type-is-coordinates", N, {"ValueType": "TCOORD"}),
    ("rational-numerator-present", R, {"RationalNumeratorValue": 1}),
    ("rational-numerator-present", N, {}),
    ("content-item-needs-name", R, {"ValueType": "NUM"}),
    ("content-item-needs-name", U, {"ValueType": "IMAGE"}),
    ("content-item-needs-name", U, {"ValueType": "CONTAINER"}),
    ("content-item-needs-name", U, {}),
    ("content-item-needs-name", N, {"ReferencedContentItemIdentifier": [1, 2]}),
    ("measured-value-is-empty", R, {"ValueType": "NUM", "MeasuredValueSequence": []}),
    ("measured-value-is-empty", N, {"ValueType": "NUM", "MeasuredValueSequence": [{"NumericValue": "1"}]}),
    ("container-from-template", U, {"ValueType": "CONTAINER"}),
    ("container-from-template", N, {"ValueType": "CODE"}),
    ("target-by-reference", U, {}),
    ("target-by-reference", N, {"ValueType": "CODE"}),
    ("target-by-value", R, {}),
    ("target-by-value", N, {"ReferencedContentItemIdentifier": [1, 2]}),
    ("region-of-whole-slide", R, {"ContentSequence": [SLIDE_ITEM]}),
    ("region-of-whole-slide", N, {"ContentSequence": [IMAGE_ITEM]}),
    ("temporal-range-by-samples", U, {"ValueType": "TCOORD"}),
    ("temporal-range-by-samples", N, {"ValueType": "TCOORD", "ReferencedTimeOffsets": "1"}),
    ("temporal-range-by-samples", N, {"ValueType": "SCOORD"}),
    ("temporal-range-by-offsets", R, {"ValueType": "TCOORD"}),
    ("temporal-range-by-offsets", N, {"ValueType": "TCOORD", "ReferencedDateTime": "20260302"}),
    ("temporal-range-by-datetime", U, {"ValueType": "TCOORD"}),
    ("temporal-range-by-datetime", N, {"ValueType": "TCOORD", "ReferencedSamplePositions": 1}),
    ("observer-is-person", R, {"ObserverType": "PSN"}),
    ("observer-is-person", N, {"ObserverType": "DEV"}),
    ("observer-is-device", R, {"ObserverType": "DEV"}),
    ("observer-is-device", N, {"ObserverType": "PSN"}),
    # PS3.3 10.17.1
    ("selector-nested-or-absent", R, {}),
    ("selector-nested-or-absent", U, {"SelectorAttribute": 0x00100010}),
    ("selector-pointer-present", R, {"SelectorSequencePointer": 0x00400275}),
    ("selector-pointer-present", N, {}),
    ("selector-pointer-names-private-attribute", R, {"SelectorSequencePointer": 0x00091001}),
    ("selector-pointer-names-private-attribute", N, {"SelectorSequencePointer": 0x00400275}),
    ("selector-names-private-attribute", R, {"SelectorAttribute": 0x00091001}),
    ("selector-names-private-attribute", N, {"SelectorAttribute": 0x00100010}),
    # PS3.3 C.7.2.3, C.7.6.12, C.12.1
    ("consent-given-or-withdrawn", R, {"ConsentForDistributionFlag": "WITHDRAWN"}),
    ("consent-given-or-withdrawn", N, {"ConsentForDistributionFlag": "NO"}),
    ("consent-for-another-protocol", U, {"DistributionType": "NAMED_PROTOCOL"}),
    ("consent-for-another-protocol", N, {"DistributionType": "PUBLIC_RELEASE"}),
    ("coding-scheme-registered", R, {"CodingSchemeExternalID": "x"}),
    ("coding-scheme-registered", U, {}),
    ("coding-scheme-registered-without-uid", R, {"CodingSchemeRegistry": "HL7"}),
    ("coding-scheme-registered-without-uid", N, {"CodingSchemeRegistry": "HL7", "CodingSchemeUID": "1.2.3"}),
    ("coding-scheme-registered-without-uid", N, {}),
    ("certified-timestamp-present", R, {"CertifiedTimestamp": b"\1\0"}),
    ("certified-timestamp-present", N, {}),
    ("private-element-is-sequence", R, {"PrivateDataElementValueRepresentation": "SQ"}),
    ("private-element-is-sequence", N, {"PrivateDataElementValueRepresentation": "CS"}),
    ("private-block-identity-mixed", R, {"BlockIdentifyingInformationStatus": "MIXED"}),
    ("private-block-identity-mixed", N, {"BlockIdentifyingInformationStatus": "SAFE"}),
    ("device-diameter-present", R, {"DeviceDiameter": "1"}),
    ("device-diameter-present", N, {}),
    # PS3.3 C.7.6.16.2.11
    ("first-value-mapped-as-integer", R, {}),
    ("first-value-mapped-as-integer", N, {"DoubleFloatRealWorldValueFirstValueMapped": 1.0}),
    ("last-value-mapped-as-integer", R, {"RealWorldValueLUTData": [1.0]}),
    ("last-value-mapped-as-integer", N, {"DoubleFloatRealWorldValueLastValueMapped": 1.0}),
    ("first-value-mapped-as-float", R, {}),
    ("first-value-mapped-as-float", N, {"RealWorldValueFirstValueMapped": 1}),
    ("last-value-mapped-as-float", R, {}),
    ("last-value-mapped-as-float", N, {"RealWorldValueLastValueMapped": 1}),
    ("real-world-mapping-is-linear", R, {}),
    ("real-world-mapping-is-linear", N, {"RealWorldValueLUTData": [1.0]}),
    ("real-world-mapping-is-table", R, {}),
    ("real-world-mapping-is-table", N, {"RealWorldValueIntercept": 1.0}),
    # PS3.3 C.8.5.5
    ("pixel-components-calibrated", R, {"PixelComponentMask": 255}),
    ("pixel-components-calibrated", U, {}),
    ("pixel-component-organization-present", R, {"PixelComponentOrganization": 0}),
    ("pixel-component-organization-present", N, {}),
    ("pixel-components-bit-aligned", R, {"PixelComponentOrganization": 0}),
    ("pixel-components-bit-aligned", N, {"PixelComponentOrganization": 1}),
    ("pixel-components-in-ranges", R, {"PixelComponentOrganization": 1}),
    ("pixel-components-in-ranges", N, {"PixelComponentOrganization": 0}),
    ("pixel-components-by-break-points", R, {"PixelComponentOrganization": 1}),
    ("pixel-components-by-break-points", N, {"PixelComponentOrganization": 2}),
    ("pixel-components-by-table", R, {"PixelComponentOrganization": 3}),
    ("pixel-components-by-table", N, {"PixelComponentOrganization": 1}),
    ("pixel-components-by-value-table", R, {"PixelComponentOrganization": 2}),
    ("pixel-components-by-value-table", N, {"PixelComponentOrganization": 3}),
    ("pixel-components-by-code-table", R, {"PixelComponentOrganization": 3}),
    ("pixel-components-by-code-table", N, {"PixelComponentOrganization": 2}),
]  # fmt: skip

IN_ROOT = [
    # PS3.3 C.7.1.1
    ("patient-is-animal", R, {"PatientSpeciesDescription": "Felis catus"}, ""),
    ("patient-is-animal", R, {"PatientBreedDescription": "x"}, ""),
    ("patient-is-animal", N, {}, ""),
    ("patient-is-animal", N, {"PatientSpeciesCodeSequence": [{"CodeValue": "337915000"}]}, ""),
    ("patient-is-animal", R, {"PatientSpeciesCodeSequence": [{"CodeValue": "448169003"}]}, ""),
    ("patient-is-animal", N, {"PatientSpeciesDescription": "Homo sapiens"}, ""),
    ("animal-without-species-code", R, {"PatientSpeciesDescription": "Felis catus"}, ""),
    ("animal-without-species-code", N, {"PatientSpeciesCodeSequence": [{"CodeValue": "448169003"}]}, ""),
    ("animal-without-species-description", R, {"PatientSpeciesCodeSequence": [{"CodeValue": "448169003"}]}, ""),
    ("animal-without-species-description", N, {}, ""),
    ("animal-without-breed-code", R, {"PatientSpeciesDescription": "Felis catus"}, ""),
    ("animal-without-breed-code", N, {"PatientBreedCodeSequence": [{"CodeValue": "1"}]}, ""),
    ("animal-not-bipedal", U, {"PatientSpeciesDescription": "Felis catus"}, ""),
    ("animal-not-bipedal", N, {}, ""),
    ("date-in-alternative-calendar-present", R, {"PatientBirthDateInAlternativeCalendar": "x"}, ""),
    ("date-in-alternative-calendar-present", N, {}, ""),
    ("responsible-person-has-value", R, {"ResponsiblePerson": "x"}, ""),
    ("responsible-person-has-value", N, {"ResponsiblePerson": ""}, ""),
    ("identity-removed-without-method-code", R, {"PatientIdentityRemoved": "YES"}, ""),
    ("identity-removed-without-method-code", N, {"PatientIdentityRemoved": "NO"}, ""),
    (
        "identity-removed-without-method-code",
        N,
        {"PatientIdentityRemoved": "YES", "DeidentificationMethodCodeSequence": EYE},
        "",
    ),
    ("identity-removed-without-method-text", R, {"PatientIdentityRemoved": "YES"}, ""),
    ("identity-removed-without-method-text", N, {"PatientIdentityRemoved": "YES", "DeidentificationMethod": "x"}, ""),
    # PS3.3 C.7.1.3, C.7.2.3
    ("trial-subject-id-absent", R, {}, ""),
    ("trial-subject-id-absent", N, {"ClinicalTrialSubjectID": "1"}, ""),
    ("trial-subject-reading-id-absent", R, {}, ""),
    ("trial-subject-reading-id-absent", N, {"ClinicalTrialSubjectReadingID": "1"}, ""),
    ("ethics-approval-number-present", R, {"ClinicalTrialProtocolEthicsCommitteeApprovalNumber": "1"}, ""),
    ("ethics-approval-number-present", N, {}, ""),
    ("longitudinal-offset-present", R, {"LongitudinalTemporalOffsetFromEvent": 1.0}, ""),
    ("longitudinal-offset-present", N, {}, ""),
    # PS3.3 C.7.3.1; the eye is paired in PS3.16 Annex L, the heart is not
    ("paired-part-without-image-laterality", R, {"BodyPartExamined": "EYE"}, ""),
    ("paired-part-without-image-laterality", R, {"AnatomicRegionSequence": EYE}, ""),
    ("paired-part-without-image-laterality", U, {"AnatomicRegionSequence": HEART}, ""),
    ("paired-part-without-image-laterality", U, {}, ""),
    ("paired-part-without-image-laterality", N, {"AnatomicRegionSequence": EYE, "ImageLaterality": "R"}, ""),
    ("paired-part-without-image-laterality", N, {"BodyPartExamined": "EYE", "MeasurementLaterality": "L"}, ""),
    ("paired-part-without-image-laterality", U, {"BodyPartExamined": "EYE", "ImageLaterality": ""}, ""),
    ("patient-position-of-tomographic-class", R, {"SOPClassUID": CT}, ""),
    ("patient-position-of-tomographic-class", N, {"SOPClassUID": US_STILL}, ""),
    ("patient-position-of-tomographic-class", F, {"SOPClassUID": CT, "PatientOrientationCodeSequence": EYE}, ""),
    ("modality-is-ivus", R, {"Modality": "IVUS"}, ""),
    ("modality-is-ivus", N, {"Modality": "US"}, ""),
    # PS3.3 C.7.4.2, C.7.5.1
    ("synchronization-in-waveform", U, {"WaveformSequence": [{}]}, ""),
    ("synchronization-in-waveform", N, {}, ""),
    ("padding-range-limit-with-pixels", F, {}, ""),
    ("padding-range-limit-with-pixels", N, {"PixelDataProviderURL": "http://example.org"}, ""),
    (
        "padding-range-limit-with-pixels",
        R,
        {"PixelDataProviderURL": "http://example.org", "PixelPaddingRangeLimit": 1},
        "",
    ),
    # PS3.3 C.12.1
    ("text-beyond-default-repertoire", R, {"PatientID": "Ä"}, ""),
    ("text-beyond-default-repertoire", R, {"RequestAttributesSequence": [{"RequestedProcedureDescription": "ä"}]}, ""),
    ("text-beyond-default-repertoire", U, {"PatientID": "A"}, ""),
    # PS3.3 C.7.6.1, C.7.6.22, C.11.2
    ("no-orientation-in-patient-space", R, {}, ""),
    ("no-orientation-in-patient-space", U, {"ImageOrientationPatient": [1, 0, 0, 0, 1, 0]}, ""),
    ("several-specimens", R, {"SpecimenDescriptionSequence": [{}, {}]}, ""),
    ("several-specimens", N, {"SpecimenDescriptionSequence": [{}]}, ""),
    ("window-centre-absent", R, {}, ""),
    ("window-centre-absent", N, {"WindowCenter": 1}, ""),
    ("window-centre-present", R, {"WindowCenter": 1}, ""),
    ("window-centre-present", N, {}, ""),
    ("voi-lut-absent", R, {}, ""),
    ("voi-lut-absent", N, {"VOILUTSequence": [{}]}, ""),
    # PS3.3 C.7.6.3
    ("several-samples-per-pixel", R, {"SamplesPerPixel": 3}, ""),
    ("several-samples-per-pixel", N, {"SamplesPerPixel": 1}, ""),
    ("pixels-not-square-without-spacing", N, {"PixelAspectRatio": [1, 1]}, ""),
    ("pixels-not-square-without-spacing", U, {"PixelAspectRatio": [1, 2]}, ""),
    ("pixel-provider-absent", R, {}, ""),
    ("pixel-provider-absent", N, {"PixelDataProviderURL": "http://example.org"}, ""),
    ("transfer-syntax-is-jpip", R, {}, JPIP),
    ("transfer-syntax-is-jpip", N, {}, PLAIN),
    ("transfer-syntax-is-jpip", U, {}, ""),
    ("extended-offsets-of-single-fragments", N, {}, JPEG),
    ("extended-offsets-of-single-fragments", U, {"ExtendedOffsetTable": b"\0" * 8}, JPEG),
    ("compressed-with-loss", R, {}, JPEG),
    ("compressed-with-loss", R, {"LossyImageCompressionRatio": 10}, PLAIN),
    ("compressed-with-loss", U, {}, PLAIN),
    # PS3.3 C.7.6.3.1.5, C.7.9
    ("photometric-interpretation-is-palette", R, {"PhotometricInterpretation": "PALETTE COLOR"}, ""),
    ("photometric-interpretation-is-palette", N, {"PhotometricInterpretation": "RGB"}, ""),
    ("palette-colour", R, {"PhotometricInterpretation": "PALETTE COLOR"}, ""),
    ("palette-colour", R, {"PixelPresentation": "MIXED"}, ""),
    ("palette-colour", N, {"PhotometricInterpretation": "RGB"}, ""),
    ("palette-colour-in-full", R, {"PhotometricInterpretation": "PALETTE COLOR"}, ""),
    ("palette-colour-in-full", N, {"PhotometricInterpretation": "RGB"}, ""),
    (
        "palette-colour-in-full",
        N,
        {"PhotometricInterpretation": "PALETTE COLOR", "SegmentedRedPaletteColorLookupTableData": b"\0\0"},
        "",
    ),
    ("palette-not-segmented", R, {}, ""),
    ("palette-not-segmented", N, {"SegmentedRedPaletteColorLookupTableData": b"\0\0"}, ""),
    ("palette-segmented", U, {}, ""),
    ("palette-segmented", N, {"RedPaletteColorLookupTableData": b"\0\0"}, ""),
    # PS3.3 C.8.5.6
    ("staged-protocol", R, {"StageName": "x"}, ""),
    ("staged-protocol", R, {"NumberOfStages": 1}, ""),
    ("staged-protocol", U, {}, ""),
    ("ivus-motor-pullback", R, {"IVUSAcquisition": "MOTOR_PULLBACK"}, ""),
    ("ivus-motor-pullback", N, {"IVUSAcquisition": "GATED_PULLBACK"}, ""),
    ("ivus-gated-pullback", R, {"IVUSAcquisition": "GATED_PULLBACK"}, ""),
    ("ivus-gated-pullback", N, {"IVUSAcquisition": "MOTOR_PULLBACK"}, ""),
    ("ivus-pullback", R, {"IVUSAcquisition": "GATED_PULLBACK"}, ""),
    ("ivus-pullback", N, {"IVUSAcquisition": "SELECTIVE"}, ""),
    ("number-of-frames-present", R, {"NumberOfFrames": 2}, ""),
    ("number-of-frames-present", N, {}, ""),
    # PS3.3 C.7.6.5
    ("pointer-names-frame-time", R, {"FrameIncrementPointer": 0x00181063}, ""),
    ("pointer-names-frame-time", N, {"FrameIncrementPointer": 0x00181065}, ""),
    ("pointer-names-frame-time-vector", R, {"FrameIncrementPointer": [0x00181065]}, ""),
    ("pointer-names-frame-time-vector", N, {}, ""),
    ("audio-in-stream", U, {}, MPEG),
    ("audio-in-stream", U, {}, ""),
    ("audio-in-stream", N, {}, PLAIN),
    # PS3.3 C.17.2
    ("document-verified", R, {"VerificationFlag": "VERIFIED"}, ""),
    ("document-verified", N, {"VerificationFlag": "UNVERIFIED"}, ""),
    ("content-item-needs-name", R, {"ValueType": "CONTAINER"}, ""),
    ("content-tree-refers-to-instances", R, {"ContentSequence": [IMAGE_ITEM]}, ""),
    ("content-tree-refers-to-instances", R, {"ContentSequence": [{"ContentSequence": [IMAGE_ITEM]}]}, ""),
    ("content-tree-refers-to-instances", U, {"ContentSequence": [{"ValueType": "TEXT"}]}, ""),
    (
        "content-tree-refers-to-instances",
        U,
        {"ContentSequence": [IMAGE_ITEM], "PertinentOtherEvidenceSequence": [{"StudyInstanceUID": "1.2"}]},
        "",
    ),
    # PS3.3 C.24.2
    ("content-sequence-present", R, {"ContentSequence": [{}]}, ""),
    ("content-sequence-present", N, {}, ""),
    ("document-content-from-template", U, {"ContentSequence": [{}]}, ""),
    ("document-content-from-template", N, {}, ""),
    ("encapsulated-document-is-cda", R, {"MIMETypeOfEncapsulatedDocument": "text/XML"}, ""),
    ("encapsulated-document-is-cda", N, {"MIMETypeOfEncapsulatedDocument": "application/pdf"}, ""),
]


@pytest.mark.parametrize(("name", "need", "item"), IN_ITEM)
def test_a_condition_of_an_item_answers_as_its_row_says(name, need, item):
    assert predicates()[name](item_scope(item)) is need


@pytest.mark.parametrize(("name", "need", "root", "transfer_syntax"), IN_ROOT)
def test_a_condition_of_the_dataset_answers_as_its_row_says(name, need, root, transfer_syntax):
    assert predicates()[name](root_scope(root, transfer_syntax)) is need


def used_conditions():
    tables = [table for iod in iods().values() for table in iod.item_tables.values()]
    tables += [module.attributes for iod in iods().values() for module in iod.modules]
    in_rows = {rule.condition for table in tables for rule in table if rule.condition}
    return in_rows | {module.condition for iod in iods().values() for module in iod.modules if module.condition}


def test_every_condition_of_the_tables_is_defined_and_none_is_left_over():
    assert predicates().keys() == used_conditions()


def test_every_condition_is_tested_or_listed_as_undecidable_with_a_reason():
    tested = {case[0] for case in (*IN_ITEM, *IN_ROOT)}
    assert predicates().keys() == tested | undecidable_reasons().keys()
    assert not tested & undecidable_reasons().keys()


@pytest.mark.parametrize("name", sorted(undecidable_reasons()))
def test_an_undecidable_condition_says_nothing_and_says_why(name):
    assert predicates()[name](root_scope({})) is U
    assert len(undecidable_reasons()[name]) > 15


def test_every_condition_that_some_objects_leave_open_says_what_stays_open():
    left_open = {case[0] for case in (*IN_ITEM, *IN_ROOT) if case[1] is U}
    assert left_open <= partly_decidable().keys()
    assert partly_decidable().keys() <= {case[0] for case in (*IN_ITEM, *IN_ROOT)}


def test_reasons_are_in_our_own_words_and_short():
    text = resources.files("gateway.validation.conditions").joinpath("undecidable.json").read_text(encoding="utf-8")
    content = json.loads(text)
    assert all(len(reason) < 160 for group in ("never", "sometimes") for reason in content[group].values())
