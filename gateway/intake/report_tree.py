"""The content tree of any structured report, read without trusting it (PS3.3 C.17.3).

pydicom decodes the file; whatever it stumbles over in one value costs that value and leaves a note, never more. Of the
many ways in which a file can be broken, a caller sees one error.
"""

from __future__ import annotations

import io
import math
import unicodedata
import warnings
import zlib
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import Final

from pydicom import dcmread
from pydicom.dataset import Dataset
from pydicom.filereader import read_dataset
from pydicom.multival import MultiValue
from pydicom.uid import DeflatedExplicitVRLittleEndian

from gateway.errors.objects import ReportNotReadableError
from gateway.model.coded import CodedConcept

LARGEST_BYTES: Final = 32 << 20
"""Reports of this kind have some hundred kilobytes."""
DEEPEST: Final = 40
MOST_ITEMS: Final = 50_000
_MOST_COORDINATES: Final = 600


@dataclass(frozen=True, slots=True)
class ReportItem:
    """One content item. Every field is empty where the report does not fill it or fills it with something odd."""

    value_type: str
    relationship: str = ""
    name: CodedConcept | None = None
    text: str = ""
    """Of TEXT, PNAME, UIDREF, DATE and TIME."""
    code: CodedConcept | None = None
    number: float | None = None
    digits: str = ""
    unit: CodedConcept | None = None
    instance_uid: str = ""
    """Of IMAGE and the like: the SOP Instance UID referenced."""
    coordinates: str = ""
    """Of SCOORD and the like: the kind of graphic and its numbers, as a person reads them."""
    children: tuple[ReportItem, ...] = ()

    def walk(self) -> Iterator[ReportItem]:
        """Yield this item and all below it."""
        waiting = [self]
        while waiting:
            item = waiting.pop()
            yield item
            waiting.extend(reversed(item.children))


@dataclass(frozen=True, slots=True)
class ReportTree:
    """A report's header, as far as comparing and reading need it, and its content.

    Parameters
    ----------
    header : dict of str to str
        Keyword to value, stripped; only the attributes named in `HEADER`.
    notes : tuple of str
        What could not be read.
    """

    header: dict[str, str]
    root: ReportItem
    has_content: bool
    notes: tuple[str, ...] = ()

    def shown(self, keyword: str) -> str:
        """Return a value of the header as it may be shown: without control characters and turns of direction."""
        return "".join(map(_shown, self.header[keyword])).strip()


HEADER: Final = (
    "SOPClassUID",
    "SOPInstanceUID",
    "StudyInstanceUID",
    "Modality",
    "PatientID",
    "IssuerOfPatientID",
    "StudyDate",
    "StudyTime",
    "ContentDate",
    "ContentTime",
    "Manufacturer",
    "ManufacturerModelName",
    "PatientName",
    "PatientBirthDate",
    "PatientSex",
    "AccessionNumber",
    "StudyDescription",
    "CompletionFlag",
    "VerificationFlag",
)


@dataclass(slots=True)
class _Reading:
    """What one reading has met so far."""

    notes: list[str] = field(default_factory=list)
    items: int = 0

    def note(self, words: str) -> None:
        if len(self.notes) < 100:
            self.notes.append(words)

    def value(self, dataset: Dataset, keyword: str) -> object:
        """Return a value, or None where there is none or pydicom cannot decode it."""
        try:
            return dataset.get(keyword)
        except Exception as error:  # any of pydicom's many; the rest of the report is still good
            self.note(f"{keyword} cannot be decoded ({type(error).__name__})")
            return None

    def text(self, dataset: Dataset, keyword: str) -> str:
        """Return a single value as text that is safe to show: without control characters and turns of direction."""
        return "".join(map(_shown, self.exact(dataset, keyword))).strip()

    def exact(self, dataset: Dataset, keyword: str) -> str:
        """Return a single value as text, character by character as it stands there."""
        value = self.value(dataset, keyword)
        if value is None or isinstance(value, bytes | list | tuple) or not _is_single(value):
            return ""
        return str(value).strip(" \0")

    def sequence(self, dataset: Dataset, keyword: str) -> list[Dataset]:
        """Return the items of a sequence; none where something else stands there."""
        value = self.value(dataset, keyword)
        if value is None or isinstance(value, str | bytes):
            return []
        try:
            return [item for item in value if isinstance(item, Dataset)]  # type: ignore[attr-defined]
        except Exception as error:
            self.note(f"{keyword} is no sequence ({type(error).__name__})")
            return []


def _shown(character: str) -> str:
    turns = character in "\u200e\u200f\u202a\u202b\u202c\u202d\u202e\u2066\u2067\u2068\u2069"
    return " " if turns or unicodedata.category(character) in {"Cc", "Cs"} else character


def _is_single(value: object) -> bool:
    return isinstance(value, str) or not hasattr(value, "__iter__") or not hasattr(value, "append")


def read_report_tree(path: Path) -> ReportTree:
    """Read the header and content tree of a structured report.

    Raises
    ------
    ReportNotReadableError
        If the file is no DICOM file, or is damaged beyond its beginning.
    """
    try:
        with path.open("rb") as file:
            data = file.read(LARGEST_BYTES + 1)
    except (OSError, ValueError) as error:
        raise ReportNotReadableError(
            "the file cannot be opened", where=str(path), was=type(error).__name__, fix="check path and permissions"
        ) from error
    if len(data) > LARGEST_BYTES:
        raise ReportNotReadableError("far larger than any report", where=str(path), fix="name a structured report")
    return parse_report(data, str(path))


def is_structured_report(path: Path) -> bool:
    """Whether a file says that it is a structured report (PS3.4 B.5); nothing but its first kilobytes is read."""
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        try:
            with path.open("rb") as file:
                head = file.read(_META_BYTES)
            return head[128:132] == b"DICM" and _sop_class_uid(head).startswith(_STRUCTURED_REPORTS)
        except Exception:  # whatever the decoder raises, the file is no report that could be read
            return False


_META_BYTES: Final = 8192
_STRUCTURED_REPORTS: Final = "1.2.840.10008.5.1.4.1.1.88."


def _sop_class_uid(data: bytes) -> str:
    return str(_file_meta(io.BytesIO(data)).get("MediaStorageSOPClassUID", ""))


def _file_meta(file: io.BytesIO) -> Dataset:
    """Read the file meta information alone, which is always Explicit VR Little Endian (PS3.10 7.1)."""
    file.seek(132)
    return read_dataset(file, False, True, stop_when=lambda tag, _vr, _length: tag >> 16 != 2)


def parse_report(data: bytes, where: str) -> ReportTree:
    """Read a report from its bytes; `where` names it in errors.

    Raises
    ------
    ReportNotReadableError
    """
    if data[128:132] != b"DICM":
        raise ReportNotReadableError("not a DICOM file", where=where, fix="name a DICOM file or an exam folder")
    reading = _Reading()
    # Warnings of the decoder concern other people's values; what matters of them is noted here.
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        try:
            _refuse_bomb(data)
            dataset = dcmread(io.BytesIO(data), stop_before_pixels=True)
            return _tree(dataset, reading)
        except Exception as error:  # pydicom raises whatever its decoders raise
            raise ReportNotReadableError(
                "the DICOM file is damaged", where=where, was=type(error).__name__, fix="fetch it again"
            ) from error


def _refuse_bomb(data: bytes) -> None:
    """Refuse a deflated dataset that grows beyond all reports, before the decoder inflates it."""
    file = io.BytesIO(data)
    meta = _file_meta(file)
    if meta.get("TransferSyntaxUID") == DeflatedExplicitVRLittleEndian:
        inflater = zlib.decompressobj(-zlib.MAX_WBITS)
        if len(inflater.decompress(data[file.tell() :], LARGEST_BYTES + 1)) > LARGEST_BYTES:
            raise ValueError("inflates beyond any report")


def _tree(dataset: Dataset, reading: _Reading) -> ReportTree:
    # Exact, because identifiers are compared and never shown.
    header = {keyword: reading.exact(dataset, keyword) for keyword in HEADER}
    for shown in ("Manufacturer", "ManufacturerModelName"):
        header[shown] = reading.text(dataset, shown)
    root = _item(dataset, reading, 0)
    return ReportTree(header, root, bool(root.children), tuple(reading.notes))


def _item(dataset: Dataset, reading: _Reading, depth: int) -> ReportItem:
    reading.items += 1
    number, digits, unit = _number(dataset, reading)
    references = reading.sequence(dataset, "ReferencedSOPSequence")
    return ReportItem(
        value_type=reading.text(dataset, "ValueType"),
        relationship=reading.text(dataset, "RelationshipType"),
        name=_concept(dataset, "ConceptNameCodeSequence", reading),
        text=_text(dataset, reading),
        code=_concept(dataset, "ConceptCodeSequence", reading),
        number=number,
        digits=digits,
        unit=unit,
        instance_uid=reading.text(references[0], "ReferencedSOPInstanceUID") if references else "",
        coordinates=_coordinates(dataset, reading),
        children=_children(dataset, reading, depth),
    )


def _coordinates(dataset: Dataset, reading: _Reading) -> str:
    """Return a graphic as ``POLYLINE 212.5, 240; 308.2, 241.1`` (PS3.3 C.18.6), a span of frames by its kind alone."""
    kind = reading.text(dataset, "GraphicType")
    per_point = 3 if reading.text(dataset, "ValueType") == "SCOORD3D" else 2
    data = reading.value(dataset, "GraphicData")
    numbers = [_finite(each) for each in data][:_MOST_COORDINATES] if isinstance(data, list | MultiValue) else []
    known = [f"{number:g}" for number in numbers if number is not None]
    if not kind or len(known) != len(numbers):
        return ""
    points = [", ".join(known[at : at + per_point]) for at in range(0, len(known), per_point)]
    return f"{kind} {'; '.join(points)}"


def _children(dataset: Dataset, reading: _Reading, depth: int) -> tuple[ReportItem, ...]:
    below = reading.sequence(dataset, "ContentSequence")
    if below and depth >= DEEPEST:
        reading.note(f"content deeper than {DEEPEST} levels")
        return ()
    children = []
    for item in below:
        if reading.items >= MOST_ITEMS:
            reading.note(f"more than {MOST_ITEMS} content items")
            break
        children.append(_item(item, reading, depth + 1))
    return tuple(children)


_TEXTS: Final = {"TEXT": "TextValue", "PNAME": "PersonName", "UIDREF": "UID", "DATE": "Date", "TIME": "Time"}


def _text(dataset: Dataset, reading: _Reading) -> str:
    keyword = _TEXTS.get(reading.text(dataset, "ValueType"))
    return reading.text(dataset, keyword) if keyword else ""


def _concept(dataset: Dataset, keyword: str, reading: _Reading) -> CodedConcept | None:
    """Return the first code of a sequence: of the three places for its value, the one that is filled (PS3.3 8.8)."""
    for item in reading.sequence(dataset, keyword)[:1]:
        value = next((v for k in ("CodeValue", "LongCodeValue", "URNCodeValue") if (v := reading.text(item, k))), "")
        meaning = reading.text(item, "CodeMeaning")
        if value or meaning:
            return CodedConcept(value, reading.text(item, "CodingSchemeDesignator"), meaning)
    return None


def _number(dataset: Dataset, reading: _Reading) -> tuple[float | None, str, CodedConcept | None]:
    """Return number, digits and unit; the more exact Floating Point Value wins where both are given (C.18.1)."""
    for item in reading.sequence(dataset, "MeasuredValueSequence")[:1]:
        value = reading.value(item, "NumericValue")
        digits = str(getattr(value, "original_string", "") or "").strip()
        exact = reading.value(item, "FloatingPointValue")
        number = _finite(exact)
        if number is None:
            number = _finite(value)
        return number, digits, _concept(item, "MeasurementUnitsCodeSequence", reading)
    return None, "", None


def _finite(value: object) -> float | None:
    if isinstance(value, list | tuple) or not hasattr(value, "__float__"):
        return None
    try:
        number = float(value)
    except (ValueError, OverflowError, TypeError):
        return None
    return number if math.isfinite(number) else None
