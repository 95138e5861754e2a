"""The one way in which attributes are written: checked against their value representation, each with its origin."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from types import MappingProxyType
from typing import TypeAlias

from pydicom.datadict import dictionary_VM, dictionary_VR, tag_for_keyword
from pydicom.dataelem import DataElement
from pydicom.dataset import Dataset
from pydicom.sequence import Sequence as DicomSequence
from pydicom.tag import Tag

from gateway.builders.value_rules import Value, encoded
from gateway.errors.objects import AttributeWrittenTwiceError, UnknownAttributeError, ValueNotAllowedError
from gateway.standard.codes import CodedConcept

__all__ = ["AttributeValue", "AttributeWriter", "concept_item"]

AttributeValue: TypeAlias = Value | Sequence[Value] | None
"""One value, several values, or None for a zero-length attribute (type 2, PS3.5 7.4.3)."""


class AttributeWriter:
    """Writes one dataset or sequence item and remembers where each value came from.

    `origin` is the field of the exam document that gave a value (``patient.name``) or the rule behind it
    (``rule: PS3.3 C.7.6.1``). No attribute can be written twice, so every value has exactly one origin.
    """

    def __init__(self) -> None:
        self._dataset = Dataset()
        self._origins: dict[str, str] = {}

    @property
    def dataset(self) -> Dataset:
        """The dataset as far as it is written."""
        return self._dataset

    @property
    def origins(self) -> Mapping[str, str]:
        """Attribute path to origin, items counted from 1: ``ViewCodeSequence[1].CodeValue``."""
        return MappingProxyType(self._origins)

    def __contains__(self, keyword: str) -> bool:
        return keyword in self._dataset

    def set(self, keyword: str, value: AttributeValue, origin: str) -> None:
        """Write one attribute.

        Parameters
        ----------
        keyword : str
            Of PS3.6.
        value : value, sequence of values or None
            Dates, times, moments, names and numbers are turned into text as PS3.5 6.2 says. None and ``""`` write a
            zero-length attribute.

        Raises
        ------
        UnknownAttributeError, AttributeWrittenTwiceError, ValueTooLongError, ValueNotAllowedError
        """
        vr = self._new_attribute(keyword)
        if vr == "SQ":
            raise ValueNotAllowedError("a plain value in a sequence", where=keyword)
        several = isinstance(value, Sequence) and not isinstance(value, str | bytes)
        if several and dictionary_VM(keyword) == "1":
            raise ValueNotAllowedError("several values in an attribute that holds one", where=keyword)
        written: object = None
        if several:
            written = [encoded(vr, each, keyword) for each in value]  # type: ignore[union-attr]
        elif value is not None and value != "":
            written = encoded(vr, value, keyword)  # type: ignore[arg-type]
        self._add(keyword, vr, written, origin)

    def override(self, keyword: str, value: AttributeValue, origin: str) -> None:
        """Write one attribute anew, whether or not it was written before; see `set`."""
        self.leave_out(keyword)
        self.set(keyword, value, origin)

    def leave_out(self, keyword: str) -> None:
        """Take an attribute out again, whether or not it was written."""
        if keyword in self._dataset:
            del self._dataset[keyword]
            del self._origins[keyword]

    def sequence(self, keyword: str, items: Sequence[AttributeWriter], origin: str) -> None:
        """Write a sequence of items that other writers have filled; their origins come along.

        Raises
        ------
        UnknownAttributeError, AttributeWrittenTwiceError, ValueNotAllowedError
        """
        if self._new_attribute(keyword) != "SQ":
            raise ValueNotAllowedError("items in an attribute that is no sequence", where=keyword)
        self._add(keyword, "SQ", DicomSequence([item.dataset for item in items]), origin)
        for number, item in enumerate(items, start=1):
            self._origins.update({f"{keyword}[{number}].{path}": source for path, source in item.origins.items()})

    def code(self, keyword: str, concept: CodedConcept, origin: str) -> None:
        """Write a code sequence with one item."""
        self.sequence(keyword, [concept_item(concept, origin)], origin)

    def _new_attribute(self, keyword: str) -> str:
        """Return the value representation of an attribute that is not written yet."""
        if tag_for_keyword(keyword) is None:
            raise UnknownAttributeError("no such attribute in PS3.6", where=keyword)
        if keyword in self._dataset:
            raise AttributeWrittenTwiceError(
                "an attribute written twice", where=keyword, was=f"from {self._origins[keyword]}"
            )
        # Of the ambiguous ones, only Pixel Data is written here; 8-bit samples are OB (PS3.5 A.2).
        return dictionary_VR(keyword).split(" or ", maxsplit=1)[0]

    def _add(self, keyword: str, vr: str, value: object, origin: str) -> None:
        tag = tag_for_keyword(keyword)
        assert tag is not None  # noqa: S101 - _new_attribute has refused unknown keywords
        self._dataset.add(DataElement(Tag(tag), vr, value))
        self._origins[keyword] = origin


def concept_item(concept: CodedConcept, origin: str) -> AttributeWriter:
    """Return an item of a code sequence (PS3.3 8.8); a value of more than 16 characters is a Long Code Value (8.1)."""
    item = AttributeWriter()
    item.set("CodeValue" if len(concept.value) <= 16 else "LongCodeValue", concept.value, origin)
    item.set("CodingSchemeDesignator", concept.scheme, origin)
    item.set("CodeMeaning", concept.meaning, origin)
    return item
