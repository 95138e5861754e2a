"""A DICOM file's attributes as a record, for rules that take values from them (keywords of PS3.6).

Values are text as the file holds it; nothing of a patient stands in any error.
"""

from __future__ import annotations

import io
import math
import warnings
from collections.abc import Iterator
from pathlib import Path
from typing import Final

from pydicom.datadict import keyword_for_tag
from pydicom.dataelem import DataElement
from pydicom.dataset import Dataset
from pydicom.filereader import read_dataset

from gateway.errors import GatewayError, Place
from gateway.errors.dicom_objects import DicomNotReadableError
from gateway.intake.dicom_structure import Buffer, Structure, mapped, structure_of
from gateway.mapping.located.tree import (
    Budget,
    Entry,
    LocatedDocument,
    Node,
    Position,
    Row,
    Scalar,
    ScalarStyle,
    Table,
    checked_text,
)

_NO_LINE: Final = Position(1, 1)
_NUMBERS: Final = frozenset({"US", "SS", "UL", "SL", "UV", "SV", "FL", "FD"})
_TEXTS: Final = frozenset(
    {"AE", "AS", "CS", "DA", "DS", "DT", "IS", "LO", "LT", "PN", "SH", "ST", "TM", "UC", "UI", "UR", "UT"}
)
_DECIMALS: Final = frozenset({"DS", "IS"})
_LONGEST_LIST: Final = 10_000
"""Of the values of one attribute; longer lists are tables of bulk, which no rule asks for."""


def dicom_record(path: Path, name: str = "") -> LocatedDocument:
    """Read the attributes of a DICOM file, without its pixels.

    Parameters
    ----------
    path : Path
    name : str
        Path as shown to people; the path itself where empty.

    Returns
    -------
    LocatedDocument
        A table from keyword to text: several values are a list, items of a sequence a list of tables, an attribute
        without value is nothing. Numbers are written as the file writes them, tags as eight hexadecimal digits, names
        with their carets and equal signs. Bulk, private attributes, and values that break their own representation so
        that they cannot be decoded are as if they were not there. Every path has its place: the file and the keywords.

    Raises
    ------
    MediaMissingError, MediaNotReadableError
    DicomNotReadableError, DicomEncodingError
        If it is no DICOM file, is damaged, or cannot be followed.
    DocumentTooLargeError
        If it holds more values, or is nested deeper, than any document may.
    """
    shown = name or str(path)
    with mapped(path, shown) as data:
        return record_from(data, shown)


def record_from(data: Buffer, name: str) -> LocatedDocument:
    """Read the attributes from the bytes of a DICOM file, as `dicom_record` does."""
    structure = structure_of(data, name)
    reading = _Reading(name, Budget(name))
    try:
        with warnings.catch_warnings():
            # Warnings of the decoder concern other people's values; what cannot be decoded is left out.
            warnings.simplefilter("ignore")
            entries = reading.table(meta_dataset(structure), ()).entries
            root = reading.table(header_dataset(structure), ())
    except GatewayError:
        raise
    except Exception as error:  # pydicom raises whatever its decoders raise
        raise DicomNotReadableError(
            "the DICOM file is damaged", where=name, was=type(error).__name__, fix="fetch it again"
        ) from None
    whole = Table({**entries, **root.entries}, _NO_LINE)
    return LocatedDocument(name, whole, {(): Place(name)})


def header_dataset(structure: Structure) -> Dataset:
    """Return everything but the pixels as pydicom sees it; values are decoded when they are asked for."""
    return read_dataset(io.BytesIO(structure.header_bytes), not structure.syntax.explicit_vr, True)


def meta_dataset(structure: Structure) -> Dataset:
    """Return the file meta information (PS3.10 7.1)."""
    return read_dataset(io.BytesIO(structure.meta_bytes), False, True)


class _Reading:
    """One file on its way to a table."""

    def __init__(self, name: str, budget: Budget) -> None:
        self.name = name
        self.budget = budget

    def table(self, dataset: Dataset, path: tuple[str, ...]) -> Table:
        self.budget.count(_NO_LINE)
        self.budget.check_depth(len(path) + 1, _NO_LINE)
        entries: dict[str, Entry] = {}
        for keyword, element in _elements(dataset):
            node = self._node(element, (*path, keyword))
            if node is not None:
                entries[keyword] = Entry(Scalar(keyword, _NO_LINE), node)
        return Table(entries, _NO_LINE)

    def _node(self, element: DataElement, path: tuple[str, ...]) -> Node | None:
        if element.VR == "SQ":
            self.budget.count(_NO_LINE)
            self.budget.check_depth(len(path) + 1, _NO_LINE)
            return Row(tuple(self.table(item, path) for item in element.value), _NO_LINE)
        texts = _texts(element)
        if texts is None or len(texts) > _LONGEST_LIST:
            return None
        scalars = tuple(self._scalar(text) for text in texts)
        if any(scalar is None for scalar in scalars):
            return None
        kept = tuple(scalar for scalar in scalars if scalar is not None)
        return kept[0] if len(kept) == 1 else Row(kept, _NO_LINE)

    def _scalar(self, text: str) -> Scalar | None:
        self.budget.count(_NO_LINE)
        try:
            checked = checked_text(text, Place(self.name))
        except GatewayError:
            return None
        # An empty value is nothing; anything else is text, also where it reads ~ or null.
        return Scalar(checked, _NO_LINE, ScalarStyle.QUOTED if checked else ScalarStyle.PLAIN)


def _elements(dataset: Dataset) -> Iterator[tuple[str, DataElement]]:
    """Yield the standard attributes that can be decoded."""
    for tag in sorted(dataset.keys()):
        keyword = keyword_for_tag(tag)
        if not keyword or tag.element == 0:
            continue
        try:
            yield keyword, dataset[tag]
        except Exception:  # noqa: S112  whatever the decoder stumbles over in one value costs that value
            continue


def _texts(element: DataElement) -> list[str] | None:
    """Return the values of an element as text; None where it is bulk or breaks its representation."""
    value = element.value
    if element.is_empty:
        return [""]
    values = list(value) if element.VM > 1 else [value]
    if element.VR == "AT":
        return [f"{int(each):08X}" for each in values]
    if element.VR in _NUMBERS:
        return [_number(each) for each in values]
    if element.VR not in _TEXTS or any(isinstance(each, bytes) for each in values):
        return None
    return [_text(each, element.VR) for each in values]


def _number(value: object) -> str:
    if isinstance(value, float) and math.isfinite(value) and value.is_integer() and abs(value) < 1e15:
        return str(int(value))
    return repr(value) if isinstance(value, int | float) else str(value)


def _text(value: object, vr: str) -> str:
    """Return the digits of a number as the file writes them, and any other text without its padding."""
    if vr in _DECIMALS:
        return str(getattr(value, "original_string", "") or value).strip(" \0")
    return str(value).strip(" \0") if vr not in {"LT", "ST", "UT"} else str(value).rstrip(" \0")
