"""Our tables (edition 2020a with curated changes) against highdicom's map of a newer edition (about 2025)."""

from __future__ import annotations

import json
from pathlib import Path

import highdicom
import pytest

from gateway.standard.iods import iods

FOLDER = Path(highdicom.__file__).parent / "_standard"
OTHER_NAMES = {"us-image": "ultrasound-image", "us-multi-frame-image": "ultrasound-multi-frame-image"}
NOT_TAKEN_OVER = {
    "EthnicGroupCodeSequence": "type 3, replaces Ethnic Group",
    "IssuerOfClinicalTrialProtocolID": "type 3",
    "IssuerOfClinicalTrialSiteID": "type 3",
    "IssuerOfClinicalTrialSubjectID": "type 3",
    "IssuerOfClinicalTrialSubjectReadingID": "type 3",
    "IssuerOfClinicalTrialSeriesID": "type 3",
    "IssuerOfClinicalTrialTimePointID": "type 3",
    "OtherClinicalTrialProtocolIDsSequence": "type 3",
    "ClinicalTrialTimePointTypeCodeSequence": "type 3",
    "TreatmentSessionUID": "type 3, radiotherapy",
    "DateOfManufacture": "type 3",
    "DateOfInstallation": "type 3",
    "TransducerIdentificationSequence": "type 3",
    "TabulatedValuesSequence": "value type TABLE, which Comprehensive SR does not use",
    "OverlaySubtype": "1C in newer editions, and its condition cannot be decided from an object",
    "ImageFrameOrigin": "1C in newer editions, and its condition cannot be decided from an object",
    "ReferencedDefinedProtocolSequence": "moved between modules; its condition cannot be decided from an object",
    "ReferencedPerformedProtocolSequence": "moved between modules; its condition cannot be decided from an object",
}
VALUE_TYPE_MACROS = "type 1 or 2 inside the macro of one value type, 1C or 2C in the tree as a whole (PS3.3 C.17.3)"
RESTORED = {
    "ConceptCodeSequence", "ReferencedSOPSequence", "GraphicData", "GraphicType", "ReferencedFrameOfReferenceUID",
    "TemporalRangeType", "ContinuityOfContent", "MeasuredValueSequence", "ValueType",
}  # fmt: skip


@pytest.fixture(scope="module")
def newer_modules():
    return json.loads((FOLDER / "iod_module_map.json").read_text())


@pytest.fixture(scope="module")
def newer_attributes():
    return json.loads((FOLDER / "module_attribute_map.json").read_text())


@pytest.mark.parametrize("iod", iods().values(), ids=lambda iod: iod.name)
def test_modules_and_their_usage_are_those_of_the_newer_edition(iod, newer_modules):
    newer = {row["key"]: row["usage"] for row in newer_modules[OTHER_NAMES.get(iod.name, iod.name)]}
    ours = {module.name: module.usage.value for module in iod.modules}
    surplus = ours.keys() - newer.keys()
    assert {name: newer[name] for name in ours.keys() & newer.keys()} == {
        name: usage for name, usage in ours.items() if name in newer
    }
    assert newer.keys() <= ours.keys()
    assert surplus == set()


@pytest.mark.parametrize("iod", iods().values(), ids=lambda iod: iod.name)
def test_types_of_module_attributes_differ_from_the_newer_edition_only_where_said(iod, newer_attributes):
    differing = set()
    in_object = {rule.keyword: rule.type for module in iod.modules for rule in module.attributes}
    for module in iod.modules:
        ours = {rule.keyword: rule.type for rule in module.attributes}
        newer = {row["keyword"]: row["type"] for row in newer_attributes[module.name] if not row["path"]}
        for keyword, type_ in newer.items():
            if ours.get(keyword) != type_:
                differing.add(keyword)
        for keyword, type_ in ours.items():
            # An attribute that only older editions have must not be demanded.
            if keyword not in newer and type_ != "3":
                differing.add(keyword)
    unexplained = differing - NOT_TAKEN_OVER.keys() - RESTORED
    assert unexplained == set()
    assert in_object
