"""Values of content items: each knows its value type and writes itself into an item (PS3.3 C.17.3, C.18)."""

from __future__ import annotations

import math
import re
from dataclasses import dataclass
from datetime import date, time
from enum import StrEnum
from typing import ClassVar

from gateway.builders.attributes import AttributeWriter
from gateway.builders.value_rules import decimal_string
from gateway.errors.objects import ContentTreeError
from gateway.model.calibration import Point
from gateway.model.people import PersonName
from gateway.standard.codes import CodedConcept

_DECIMAL_DIGITS = re.compile(r"[+-]?(\d+(\.\d*)?|\.\d+)", re.ASCII)
_DCMR_UID = "1.2.840.10008.8.1.1"
"""DICOM Content Mapping Resource (PS3.6 A)."""
_FORBIDDEN_IN_TEXT = re.compile(r"[\x00-\x09\x0b-\x1f\x7f]")


class ValueType(StrEnum):
    """Value types of content items that this project writes (PS3.3 C.17.3.2.1)."""

    CONTAINER = "CONTAINER"
    TEXT = "TEXT"
    CODE = "CODE"
    NUM = "NUM"
    PNAME = "PNAME"
    UIDREF = "UIDREF"
    DATE = "DATE"
    TIME = "TIME"
    IMAGE = "IMAGE"
    SCOORD = "SCOORD"


class GraphicType(StrEnum):
    """Shapes of spatial coordinates that this project writes (PS3.3 C.18.6.1.2)."""

    POINT = "POINT"
    POLYLINE = "POLYLINE"
    ELLIPSE = "ELLIPSE"


@dataclass(frozen=True, slots=True)
class Container:
    """A heading with children, read as separate items (PS3.3 C.18.8)."""

    value_type: ClassVar[ValueType] = ValueType.CONTAINER

    template: str = ""
    """Template Identifier of mapping resource DCMR where the container is the root of a template."""

    def write(self, item: AttributeWriter, origin: str) -> None:
        """Write the value into a content item."""
        item.set("ContinuityOfContent", "SEPARATE", origin)
        if self.template:
            rule = f"rule: PS3.16 TID {self.template}"
            template = AttributeWriter()
            template.set("MappingResource", "DCMR", rule)
            template.set("MappingResourceUID", _DCMR_UID, rule)
            template.set("TemplateIdentifier", self.template, rule)
            item.sequence("ContentTemplateSequence", [template], rule)


@dataclass(frozen=True, slots=True)
class Text:
    """Words. Line ends become CR LF and other control characters a space, as UT in a content item asks (C.17.3.2)."""

    value_type: ClassVar[ValueType] = ValueType.TEXT

    text: str

    def __post_init__(self) -> None:
        if not self.text.strip():
            raise ContentTreeError("a TEXT content item without words")

    def write(self, item: AttributeWriter, origin: str) -> None:
        """Write the value into a content item."""
        lines = re.split(r"\r\n|\r|\n", self.text.strip())
        item.set("TextValue", "\r\n".join(_FORBIDDEN_IN_TEXT.sub(" ", line) for line in lines), origin)


@dataclass(frozen=True, slots=True)
class Code:
    """A coded value."""

    value_type: ClassVar[ValueType] = ValueType.CODE

    concept: CodedConcept

    def write(self, item: AttributeWriter, origin: str) -> None:
        """Write the value into a content item."""
        item.code("ConceptCodeSequence", self.concept, origin)


@dataclass(frozen=True, slots=True)
class Num:
    """A number with its unit.

    Numeric Value is a decimal string of at most 16 characters; the digits that the source showed are kept. Where that
    string is not the number itself, Floating Point Value carries it (PS3.3 C.18.1).

    Parameters
    ----------
    number : float
    unit : CodedConcept
        UCUM (PS3.16 CID 82).
    digits : str
        The number as it was displayed, where it was.
    is_limit : bool
        Whether the digits are the number rounded up, as those of an uncertainty are.
    """

    value_type: ClassVar[ValueType] = ValueType.NUM

    number: float
    unit: CodedConcept
    digits: str = ""
    is_limit: bool = False

    def __post_init__(self) -> None:
        if not math.isfinite(self.number):
            raise ContentTreeError("a NUM content item needs a number", was=str(self.number))

    def write(self, item: AttributeWriter, origin: str) -> None:
        """Write the value into a content item."""
        shown = self.digits if _shows(self.digits, self.number, self.is_limit) else decimal_string(self.number)
        measured = AttributeWriter()
        measured.set("NumericValue", shown, origin)
        if float(shown) != self.number:
            measured.set("FloatingPointValue", self.number, origin)
        measured.code("MeasurementUnitsCodeSequence", self.unit, origin)
        item.sequence("MeasuredValueSequence", [measured], origin)


def _shows(digits: str, number: float, is_limit: bool) -> bool:
    """Whether these digits can be written and are `number` rounded to their last place, or up to it."""
    if len(digits) > 16 or not _DECIMAL_DIGITS.fullmatch(digits):
        return False
    last_place = 10.0 ** -len(digits.partition(".")[2])
    # The tiny allowance is for the binary representation of decimal digits.
    above = float(digits) - number
    if is_limit:
        return -1e-6 * last_place <= above < last_place
    return abs(above) <= last_place * 0.5 * (1 + 1e-6)


@dataclass(frozen=True, slots=True)
class Person:
    """A person's name."""

    value_type: ClassVar[ValueType] = ValueType.PNAME

    name: PersonName

    def write(self, item: AttributeWriter, origin: str) -> None:
        """Write the value into a content item."""
        item.set("PersonName", self.name, origin)


@dataclass(frozen=True, slots=True)
class UidRef:
    """A UID that is no reference to an instance."""

    value_type: ClassVar[ValueType] = ValueType.UIDREF

    uid: str

    def write(self, item: AttributeWriter, origin: str) -> None:
        """Write the value into a content item."""
        item.set("UID", self.uid, origin)


@dataclass(frozen=True, slots=True)
class Date:
    """A date in the time zone of the document (Timezone Offset From UTC)."""

    value_type: ClassVar[ValueType] = ValueType.DATE

    date: date

    def write(self, item: AttributeWriter, origin: str) -> None:
        """Write the value into a content item."""
        item.set("Date", self.date, origin)


@dataclass(frozen=True, slots=True)
class Time:
    """A time of day in the time zone of the document (Timezone Offset From UTC)."""

    value_type: ClassVar[ValueType] = ValueType.TIME

    time: time

    def write(self, item: AttributeWriter, origin: str) -> None:
        """Write the value into a content item."""
        item.set("Time", self.time, origin)


@dataclass(frozen=True, slots=True)
class Image:
    """A reference to an image, and to one frame of it (PS3.3 C.18.4).

    Parameters
    ----------
    frame : int or None
        1-based; None for all frames, and always for an image that is not multi-frame.
    """

    value_type: ClassVar[ValueType] = ValueType.IMAGE

    sop_class_uid: str
    sop_instance_uid: str
    frame: int | None = None

    def write(self, item: AttributeWriter, origin: str) -> None:
        """Write the value into a content item."""
        reference = AttributeWriter()
        reference.set("ReferencedSOPClassUID", self.sop_class_uid, origin)
        reference.set("ReferencedSOPInstanceUID", self.sop_instance_uid, origin)
        if self.frame is not None:
            reference.set("ReferencedFrameNumber", [self.frame], origin)
        item.sequence("ReferencedSOPSequence", [reference], origin)


@dataclass(frozen=True, slots=True)
class Coordinates:
    """Points on an image: column then row, from the top left corner of the top left pixel (PS3.3 C.18.6)."""

    value_type: ClassVar[ValueType] = ValueType.SCOORD

    graphic_type: GraphicType
    points: tuple[Point, ...]

    def __post_init__(self) -> None:
        if self.graphic_type is GraphicType.POINT and len(self.points) != 1:
            raise ContentTreeError("a POINT has one point", was=str(len(self.points)))
        if self.graphic_type is GraphicType.POLYLINE and len(self.points) < 2:
            raise ContentTreeError("a POLYLINE has two points or more", was=str(len(self.points)))
        if self.graphic_type is GraphicType.ELLIPSE and len(self.points) != 4:
            raise ContentTreeError("an ELLIPSE has the ends of its two axes", was=str(len(self.points)))

    def write(self, item: AttributeWriter, origin: str) -> None:
        """Write the value into a content item."""
        item.set("GraphicType", self.graphic_type.value, origin)
        item.set("GraphicData", [coordinate for point in self.points for coordinate in (point.x, point.y)], origin)


Value = Container | Text | Code | Num | Person | UidRef | Date | Time | Image | Coordinates
