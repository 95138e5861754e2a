"""What a destination may read otherwise, and what it may not."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st
from pydicom.datadict import dictionary_VR, keyword_dict

from gateway.builders.attributes import AttributeWriter
from gateway.builders.overrides import OVERRIDABLE, apply_overrides, check_overrides, series_variant
from gateway.errors.destinations import OverrideNotAllowedError, OverrideValueError
from gateway.model.destination_override import DestinationOverride
from gateway.standard.iods import iods

NEVER = (
    "PatientID",
    "IssuerOfPatientID",
    "PatientName",
    "PatientBirthDate",
    "PatientSex",
    "StudyInstanceUID",
    "SeriesInstanceUID",
    "SOPInstanceUID",
    "SOPClassUID",
    "AccessionNumber",
    "ImageLaterality",
    "Laterality",
    "BodyPartExamined",
    "Modality",
    "PixelData",
    "PixelSpacing",
    "SequenceOfUltrasoundRegions",
    "SequenceOfUltrasoundRegions.PhysicalDeltaX",
    "ContentSequence",
    "AcquisitionDateTime",
    "StudyDate",
    "SpecificCharacterSet",
    "Manufacturer",
    "DeviceSerialNumber",
)


def override(attribute: str, value: str = "Clinic 12", because: str = "its own name for us") -> DestinationOverride:
    return DestinationOverride("hospital", attribute, value, because)


@pytest.mark.parametrize("attribute", NEVER)
def test_identity_eyes_places_and_measures_are_one_truth_for_everybody(attribute: str) -> None:
    with pytest.raises(OverrideNotAllowedError, match="InstitutionName"):
        check_overrides([override(attribute)])


@given(st.sampled_from(sorted(keyword_dict)))
def test_every_attribute_of_the_standard_that_is_not_listed_is_refused(keyword: str) -> None:
    # pydicom's dictionary of PS3.6.
    if keyword not in OVERRIDABLE:
        with pytest.raises(OverrideNotAllowedError):
            check_overrides([override(keyword)])


@pytest.mark.parametrize(
    ("typed", "meant"),
    [
        ("InstitutionNam", "InstitutionName"),
        ("institution_name", "InstitutionName"),
        ("StationNmae", "StationName"),
        ("IssuerOfAccessionNumberSequence.LocalNamspaceEntityID", "IssuerOfAccessionNumberSequence"),
    ],
)
def test_an_unknown_keyword_names_the_nearest(typed: str, meant: str) -> None:
    with pytest.raises(OverrideNotAllowedError, match=f"did you mean {meant}"):
        check_overrides([override(typed)])


@pytest.mark.parametrize(
    ("attribute", "value"),
    [
        ("InstitutionName", "x" * 65),
        ("StationName", "x" * 17),
        ("InstitutionName", "a\\b"),
        ("InstitutionName", "a\nb"),
        ("InstitutionAddress", "x" * 1025),
        ("InstitutionName", ""),
        ("InstitutionName", "  "),
        ("InstitutionName", " Clinic"),
        ("InstitutionName", "\ud800"),
        ("SeriesDescription", "OS stills"),
        ("StudyDescription", "US of the right eye"),
    ],
)
def test_a_value_that_the_attribute_cannot_take_is_refused(attribute: str, value: str) -> None:
    # PS3.5 6.2: LO 64 characters, SH 16, ST 1024.
    with pytest.raises(OverrideValueError) as caught:
        check_overrides([override(attribute, value)])
    assert attribute in str(caught.value)


def test_an_address_may_have_lines_and_words_that_only_look_like_eyes_are_fine() -> None:
    check_overrides([override("InstitutionAddress", "Shore road 1\r\nInvented Island")])
    check_overrides([override("SeriesDescription", "Ultrasound, model brighter")])


def test_an_override_says_why_and_stands_once() -> None:
    with pytest.raises(OverrideValueError, match="because"):
        check_overrides([override("StationName", "EYE", because=" ")])
    with pytest.raises(OverrideValueError, match="twice"):
        check_overrides([override("StationName", "EYE"), override("StationName", "EYE-2")])


def test_written_values_are_replaced_and_the_origin_names_destination_and_reason() -> None:
    w = AttributeWriter()
    w.set("InstitutionName", "Invented Island Eye Clinic", "session.institution")
    apply_overrides(w, [override("InstitutionName"), override("StationName", "EYE-12")])
    assert (w.dataset.InstitutionName, w.dataset.StationName) == ("Clinic 12", "EYE-12")
    assert w.origins["InstitutionName"] == "override for destination hospital: its own name for us"


def test_only_what_is_said_of_the_series_makes_another_series() -> None:
    assert series_variant([override("StudyDescription", "US eye")]) == []
    one = [override("StationName", "EYE"), override("InstitutionName")]
    assert series_variant(one) == series_variant(one[::-1]) != []


def test_what_may_be_overridden_belongs_to_every_object_that_is_built() -> None:
    # Tables of PS3.3 (dicom-standard): an override must not put an attribute where no module has it.
    for keyword in OVERRIDABLE:
        top = keyword.split(".", maxsplit=1)[0]
        for iod in iods().values():
            assert any(row.keyword == top for module in iod.modules for row in module.attributes), (keyword, iod.name)


def test_every_overridable_attribute_is_text() -> None:
    assert {dictionary_VR(keyword.rpartition(".")[2]) for keyword in OVERRIDABLE} <= {"LO", "SH", "ST", "UT"}
