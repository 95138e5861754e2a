"""Tables of IODs: what PS3.3 says of a few well-known attributes, checked by hand against the published text."""

from __future__ import annotations

import pytest
from pydicom.datadict import keyword_for_tag

from gateway.standard.iods import Usage, iod_of, iods

US, US_MF = "1.2.840.10008.5.1.4.1.1.6.1", "1.2.840.10008.5.1.4.1.1.3.1"
SR, PDF = "1.2.840.10008.5.1.4.1.1.88.33", "1.2.840.10008.5.1.4.1.1.104.1"


def rule_of(uid, module, keyword):
    iod = iod_of(uid)
    rules = next(each.attributes for each in iod.modules if each.name == module)
    return next(rule for rule in rules if rule.keyword == keyword)


def test_there_is_a_table_for_each_object_the_gateway_makes():
    assert iods().keys() == {US, US_MF, SR, PDF}


def test_a_class_without_table_is_none():
    assert iod_of("1.2.840.10008.5.1.4.1.1.2") is None
    assert iod_of("1.2.3") is None


# PS3.3 C.7.1.1, C.7.3.1, C.7.6.5, C.7.6.6, C.8.5.6, C.17.2, C.24.2 (edition 2020a), read by a person.
@pytest.mark.parametrize(
    ("uid", "module", "keyword", "type_"),
    [
        (US, "patient", "PatientName", "2"),
        (US, "patient", "IssuerOfPatientID", "3"),
        (US, "general-series", "Modality", "1"),
        (US, "general-series", "Laterality", "2C"),
        (US, "general-image", "PatientOrientation", "2C"),
        (US, "us-image", "ImageType", "2"),
        (US, "us-image", "LossyImageCompression", "1C"),
        (US, "image-pixel", "Rows", "1"),
        (US_MF, "multi-frame", "NumberOfFrames", "1"),
        (US_MF, "cine", "FrameTime", "1C"),
        (SR, "sr-document-general", "VerifyingObserverSequence", "1C"),
        (SR, "sr-document-series", "ReferencedPerformedProcedureStepSequence", "2"),
        (PDF, "encapsulated-document", "DocumentTitle", "2"),
        (PDF, "sc-equipment", "ConversionType", "1"),
    ],
)
def test_types_are_those_of_the_published_tables(uid, module, keyword, type_):
    assert rule_of(uid, module, keyword).type == type_


# PS3.3 A.6.4 and A.7.4
@pytest.mark.parametrize(
    ("uid", "module", "usage"),
    [
        (US, "us-region-calibration", Usage.USER),
        (US, "contrast-bolus", Usage.CONDITIONAL),
        (US, "general-acquisition", Usage.MANDATORY),
        (US_MF, "cine", Usage.MANDATORY),
        (US_MF, "synchronization", Usage.CONDITIONAL),
        (US_MF, "frame-pointers", Usage.USER),
    ],
)
def test_usages_are_those_of_the_published_tables(uid, module, usage):
    assert next(each.usage for each in iod_of(uid).modules if each.name == module) is usage


def test_every_keyword_belongs_to_its_tag():
    """PS3.6 through pydicom's dictionary; attributes retired since 2020a keep their keyword."""
    wrong = [
        (rule.keyword, hex(rule.tag))
        for iod in iods().values()
        for table in (*[module.attributes for module in iod.modules], *iod.item_tables.values())
        for rule in table
        if keyword_for_tag(rule.tag) != rule.keyword
    ]
    assert wrong == []


def test_a_content_item_contains_content_items():
    content_item = iod_of(SR).item_tables["content-item"]
    assert next(rule.items for rule in content_item if rule.keyword == "ContentSequence") == "content-item"


def test_every_conditional_module_has_a_condition():
    for iod in iods().values():
        for module in iod.modules:
            assert bool(module.condition) == (module.usage is Usage.CONDITIONAL)
