"""Attributes go through one writer: known keywords, once each, each with its origin."""

from __future__ import annotations

from collections.abc import Iterator

import pytest
from pydicom.dataset import Dataset

from gateway.builders.attributes import AttributeWriter, concept_item
from gateway.errors.objects import AttributeWrittenTwiceError, ObjectError, UnknownAttributeError, ValueNotAllowedError
from gateway.model.people import PersonName
from gateway.standard.codes import CodedConcept

EYE = CodedConcept("81745001", "SCT", "Eye")
RIGHT = CodedConcept("24028007", "SCT", "Right")


def paths(dataset: Dataset, stem: str = "") -> Iterator[str]:
    for element in dataset:
        yield stem + element.keyword
        if element.VR == "SQ":
            for number, item in enumerate(element.value, start=1):
                yield from paths(item, f"{stem}{element.keyword}[{number}].")


def test_a_misspelt_keyword_is_refused() -> None:
    with pytest.raises(UnknownAttributeError):
        AttributeWriter().set("PatientNane", "A", "patient.name")


def test_an_attribute_cannot_be_written_twice() -> None:
    w = AttributeWriter()
    w.set("Modality", "US", "first")
    with pytest.raises(AttributeWrittenTwiceError, match="from first"):
        w.set("Modality", "SR", "second")


def test_every_value_at_every_depth_has_its_origin() -> None:
    w = AttributeWriter()
    region = concept_item(EYE, "rule")
    region.sequence("AnatomicRegionModifierSequence", [concept_item(RIGHT, "captures[0].eye")], "captures[0].eye")
    w.sequence("AnatomicRegionSequence", [region], "rule")
    w.set("PatientName", PersonName("A^B"), "patient.name")
    assert set(paths(w.dataset)) == set(w.origins)
    nested = "AnatomicRegionSequence[1].AnatomicRegionModifierSequence[1].CodeValue"
    assert w.origins[nested] == "captures[0].eye"


def test_none_and_empty_text_write_zero_length() -> None:
    w = AttributeWriter()
    w.set("PatientBirthDate", None, "patient.birth_date")
    w.set("AccessionNumber", "", "order.accession_number")
    assert [element.is_empty for element in w.dataset] == [True, True]


def test_several_values_need_an_attribute_that_holds_several() -> None:
    w = AttributeWriter()
    w.set("ImageType", ["ORIGINAL", "PRIMARY"], "rule")
    assert list(w.dataset.ImageType) == ["ORIGINAL", "PRIMARY"]
    with pytest.raises(ValueNotAllowedError):
        w.set("Modality", ["US", "SR"], "rule")


@pytest.mark.parametrize(
    "write",
    [
        lambda w: w.set("ViewCodeSequence", "x", "o"),
        lambda w: w.sequence("Modality", [], "o"),
        lambda w: w.set("PatientID", "x" * 65, "o"),
        lambda w: w.set("StudyDate", "yesterday", "o"),
    ],
)
def test_what_does_not_fit_is_not_written(write) -> None:
    w = AttributeWriter()
    with pytest.raises(ObjectError):
        write(w)
    assert not len(w.dataset)
    assert not w.origins


def test_a_code_of_more_than_sixteen_characters_is_a_long_code_value() -> None:
    """PS3.3 8.1: Code Value up to 16 characters, Long Code Value beyond."""
    w = AttributeWriter()
    w.code("ViewCodeSequence", CodedConcept("12345678901234567", "SCT", "Long"), "o")
    item = w.dataset.ViewCodeSequence[0]
    assert item.LongCodeValue == "12345678901234567"
    assert "CodeValue" not in item
