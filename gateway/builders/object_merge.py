"""Which of two statements goes out, the object's or the exam's, and what of the object is kept as its earlier value.

The object is a witness of its own acquisition: pixels, device, settings, scale and times stay as it states them. The
exam is the witness of whose eye it is, where the probe was, and to which order it belongs: there its words go out, and
the object's are kept in Original Attributes Sequence (PS3.3 C.12.1.1.9). What only one of them states goes out as is.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from enum import StrEnum
from types import MappingProxyType
from typing import Final

from pydicom.datadict import keyword_for_tag, tag_for_keyword
from pydicom.dataset import Dataset

from gateway.model.capture import CorrectableAttribute
from gateway.model.media import StoredElement


class Reason(StrEnum):
    """Reason for the Attribute Modification (PS3.3 C.12.1.1.9)."""

    COERCE = "COERCE"
    """Replaced by the value that holds here."""
    CORRECT = "CORRECT"
    """It was wrong, as the exam says."""


def _tags(*keywords: str) -> frozenset[int]:
    found = {tag_for_keyword(keyword) for keyword in keywords}
    assert None not in found  # noqa: S101 - keywords of this module are of PS3.6
    return frozenset(tag for tag in found if tag is not None)


_OF_ACQUISITION: Final = _tags(
    *("Manufacturer", "ManufacturerModelName", "DeviceSerialNumber", "SoftwareVersions", "StationName"),
    *("InstitutionName", "TransducerType", "TransducerData", "DepthOfScanField", "MechanicalIndex"),
    *("BoneThermalIndex", "CranialThermalIndex", "SoftTissueThermalIndex", "SequenceOfUltrasoundRegions"),
    *("PixelSpacing", "PixelAspectRatio", "NumberOfFrames", "ImageType", "PatientOrientation"),
    *("ContentDate", "ContentTime", "AcquisitionDate", "AcquisitionTime", "AcquisitionDateTime"),
    *("TimezoneOffsetFromUTC", "BurnedInAnnotation", "UltrasoundColorDataPresent", "PresentationLUTShape"),
    *("LossyImageCompressionRatio", "LossyImageCompressionMethod", "DerivationDescription"),
)
"""Here the object's own statement stays."""
_OF_STUDY: Final = _tags("AccessionNumber", "StudyID", "ReferringPhysicianName")
"""One for all instances of a study, so the exam's goes out also where it is empty (PS3.3 C.7.2.1)."""
_CONTINUED: Final = _tags("CodingSchemeIdentificationSequence", "AcquisitionContextSequence", "SourceImageSequence")
"""Items of ours follow those that are there."""
_OF_ANOTHER_ORDER: Final = _tags("IssuerOfAccessionNumberSequence", "RequestAttributesSequence")
_NEVER_KEPT: Final = _tags("Laterality", "InstanceCreatorUID", "MACParametersSequence", "DigitalSignaturesSequence")
"""The eye is said by Image Laterality alone; creator and signatures are those of the other instance (PS3.15 C)."""
_EYE_TAGS: Final = _tags("ImageLaterality", "Laterality", "AnatomicRegionSequence", "PrimaryAnatomicStructureSequence")
_TIME_TAGS: Final = _tags("AcquisitionDate", "AcquisitionTime", "AcquisitionDateTime")
_CORRECTED: Final[Mapping[CorrectableAttribute, frozenset[int]]] = MappingProxyType(
    {
        CorrectableAttribute.EYE: _EYE_TAGS,
        CorrectableAttribute.ACQUIRED: _TIME_TAGS,
        **{
            one: _tags(one.value)
            for one in CorrectableAttribute
            if one not in {CorrectableAttribute.EYE, CorrectableAttribute.ACQUIRED}
        },
    }
)
_WHOSE: Final = frozenset({CorrectableAttribute.PATIENT_ID, CorrectableAttribute.PATIENT_NAME})


@dataclass(frozen=True, slots=True)
class Replaced:
    """An element of the object that does not go out as it was."""

    element: StoredElement
    reason: Reason


@dataclass(slots=True)
class Merged:
    """What goes out.

    Parameters
    ----------
    kept : tuple of StoredElement
        Of the object, as they are.
    taken : frozenset of int
        Tags of the exam's dataset that go out.
    continued : frozenset of int
        Tags whose items of ours follow those of the object.
    replaced : list of Replaced
    """

    kept: tuple[StoredElement, ...]
    taken: frozenset[int]
    continued: frozenset[int]
    replaced: list[Replaced] = field(default_factory=list)


@dataclass(frozen=True, slots=True)
class Rules:
    """What the capture and the destination say beside the two datasets.

    Parameters
    ----------
    overridden : frozenset of str
        Keywords that the destination reads otherwise.
    is_other_study : bool
        Whether the object comes into another study than it was in.
    """

    corrects: tuple[CorrectableAttribute, ...] = ()
    overridden: frozenset[str] = frozenset()
    is_other_study: bool = True

    @property
    def corrected(self) -> frozenset[int]:
        """Tags that the exam corrects."""
        return frozenset(tag for one in self.corrects for tag in _CORRECTED[one])


def merge(elements: tuple[StoredElement, ...], source: Dataset, exam: Dataset, rules: Rules) -> Merged:
    """Decide for each attribute.

    Parameters
    ----------
    elements : tuple of StoredElement
        The object's, without pixels.
    source : Dataset
        The same, to look at values.
    exam : Dataset
        What the exam says.
    """
    ours = {int(tag) for tag in exam.keys()}  # noqa: SIM118 - a dataset iterates over elements
    taken, continued, kept, replaced = set(ours), set(), [], []
    for element in elements:
        tag = element.tag
        if tag & 0xFFFF == 0 or tag == 0x00080001:
            continue  # retired group lengths: they count bytes that are others now (PS3.5 7.2)
        if tag in ours and tag in _CONTINUED:
            continued.add(tag)
            kept.append(element)
        elif tag in ours and not _stays(tag, source, exam, rules):
            if not _is_empty(element):
                replaced.append(Replaced(element, _reason(tag, rules)))
        elif tag in ours or not _goes(tag, rules):
            taken.discard(tag)
            kept.append(element)
        elif not _is_empty(element):
            replaced.append(Replaced(element, _reason(tag, rules)))
    return Merged(tuple(kept), frozenset(taken - continued), frozenset(continued), replaced)


def _stays(tag: int, source: Dataset, exam: Dataset, rules: Rules) -> bool:
    """Whether the object's own statement of what the exam states too goes out."""
    if tag in rules.corrected or keyword_for_tag(tag) in rules.overridden:
        return False
    stated = _value(source, tag)
    if stated in (None, ""):
        return False
    if tag in _OF_ACQUISITION:
        return True
    if exam[tag].is_empty:
        return tag not in _OF_STUDY
    try:
        return bool(stated == exam[tag].value)
    except Exception:  # values that cannot even be compared are not the same
        return False


def _goes(tag: int, rules: Rules) -> bool:
    """Whether something that only the object states cannot go out with what the exam states."""
    if tag in _NEVER_KEPT or (rules.is_other_study and tag in _OF_ANOTHER_ORDER):
        return True
    if tag in _EYE_TAGS and CorrectableAttribute.EYE in rules.corrects:
        return True
    # Of a patient who is another one, nothing can stay: age, other names, allergies.
    return tag >> 16 == 0x0010 and bool(_WHOSE & set(rules.corrects))


def _reason(tag: int, rules: Rules) -> Reason:
    is_of_wrong_patient = tag >> 16 == 0x0010 and bool(_WHOSE & set(rules.corrects))
    return Reason.CORRECT if tag in rules.corrected or is_of_wrong_patient else Reason.COERCE


def _value(dataset: Dataset, tag: int) -> object:
    try:
        return dataset[tag].value if tag in dataset else None
    except Exception:  # a value that breaks its representation is another one than ours
        return b"undecodable"


def _is_empty(element: StoredElement) -> bool:
    """Whether an element says nothing: no value, or padding alone (PS3.5 7.4.1)."""
    value = element.data[element.value_at :]
    return not value or (not value.strip(b" ") and element.vr not in _BINARY)


_BINARY: Final = frozenset(
    {"OB", "OD", "OF", "OL", "OV", "OW", "UN", "US", "SS", "UL", "SL", "UV", "SV", "FL", "FD", "AT"}
)


def by_reason(replaced: list[Replaced]) -> Iterator[tuple[Reason, tuple[StoredElement, ...]]]:
    """Yield the elements of each reason that there is, in the order of their tags."""
    for reason in Reason:
        elements = tuple(one.element for one in replaced if one.reason is reason)
        if elements:
            yield reason, tuple(sorted(elements, key=lambda element: element.tag))
