"""Elements of a foreign DICOM object as bytes: kept as they are, joined with ours, and brought into one character set.

What nobody changed is copied, never decoded and encoded again: private blocks, unknown representations and odd values
come out byte for byte.
"""

from __future__ import annotations

import struct
import warnings
from collections.abc import Iterable, Mapping
from io import BytesIO
from typing import Final

from pydicom.charset import convert_encodings
from pydicom.datadict import dictionary_VR
from pydicom.dataset import Dataset
from pydicom.filebase import DicomFileLike
from pydicom.filereader import read_dataset
from pydicom.filewriter import write_dataset

from gateway.errors.dicom_objects import DicomEncodingError
from gateway.model.media import StoredElement, StoredObject

_ITEM: Final = b"\xfe\xff\x00\xe0"
_DELIMITER_BYTES: Final = 8
_TEXT_VRS: Final = frozenset({"LO", "LT", "PN", "SH", "ST", "UC", "UT"})
"""Those that Specific Character Set affects (PS3.5 6.1.2.3)."""
_ASCII_ONLY: Final = frozenset({"", "ISO_IR 6", "ISO 2022 IR 6"})
_UTF_8: Final = "ISO_IR 192"
_ESCAPE: Final = 0x1B


def dataset_of(elements: Iterable[StoredElement], *, is_explicit: bool) -> Dataset:
    """Return elements as pydicom sees them; values are decoded when they are asked for."""
    return read_dataset(BytesIO(b"".join(element.data for element in elements)), not is_explicit, True)


def encoded_elements(dataset: Dataset, *, is_explicit: bool) -> dict[int, bytes]:
    """Return each element of one of our datasets as bytes, by tag."""
    found = {}
    for element in dataset:
        one = Dataset()
        one.add(element)
        found[int(element.tag)] = dataset_as_bytes(one, is_explicit=is_explicit)
    return found


def dataset_as_bytes(dataset: Dataset, *, is_explicit: bool) -> bytes:
    """Return one of our datasets as bytes in UTF-8."""
    buffer = BytesIO()
    file = DicomFileLike(buffer)
    file.is_little_endian = True
    file.is_implicit_VR = not is_explicit
    write_dataset(file, dataset, parent_encoding="utf-8")
    return buffer.getvalue()


def sequence_bytes(tag: int, items: Iterable[bytes], *, is_explicit: bool) -> bytes:
    """Return a sequence whose items are bytes already, item headers included (PS3.5 7.5)."""
    value = b"".join(items)
    head = struct.pack("<HH", tag >> 16, tag & 0xFFFF) + (b"SQ\0\0" if is_explicit else b"")
    return head + struct.pack("<I", len(value)) + value


def item_bytes(content: bytes) -> bytes:
    """Return an item of explicit length (PS3.5 7.5.1)."""
    return _ITEM + struct.pack("<I", len(content)) + content


def items_of(element: StoredElement | None, name: str) -> bytes:
    """Return the items of a sequence as they stand there; nothing where there is no sequence.

    Raises
    ------
    DicomEncodingError
        If the sequence is encoded as unknown, in which form no items of ours can follow.
    """
    if element is None:
        return b""
    if element.vr not in {"SQ", ""}:
        raise DicomEncodingError(
            "a sequence that stands there as unknown cannot be continued",
            where=name,
            was=f"({element.tag >> 16:04X},{element.tag & 0xFFFF:04X})",
            fix="convert the object to Explicit VR Little Endian with its sequences",
        )
    end = -_DELIMITER_BYTES if element.is_undefined else None
    return element.data[element.value_at : end]


class CharacterSets:
    """Brings the texts of one object into UTF-8, character by character (PS3.3 C.12.1.1.2, PS3.5 6.1).

    Parameters
    ----------
    stated : sequence of str
        Specific Character Set of the object.
    """

    def __init__(self, stored: StoredObject, stated: list[str]) -> None:
        self._stored = stored
        self._stated = stated
        self._is_ascii = all(each in _ASCII_ONLY for each in stated)

    @property
    def is_kept(self) -> bool:
        """Whether the bytes of every text mean the same in UTF-8."""
        return self._is_ascii or self._stated == [_UTF_8]

    def in_utf_8(self, element: StoredElement) -> bytes:
        """Return an element in UTF-8; what holds no text beyond ASCII comes back as it is.

        Raises
        ------
        DicomEncodingError
            If a text has characters that the object's character set does not have, or that cannot be decoded.
        """
        vr = element.vr or _dictionary_vr(element.tag)
        if vr not in _TEXT_VRS | {"SQ"}:
            return element.data
        value = element.data[element.value_at :]
        if all(byte < 0x80 and byte != _ESCAPE for byte in value) and "ISO_IR 13" not in self._stated:
            return element.data
        if vr == "SQ" and self.is_kept:
            return element.data
        if self._stated == [_UTF_8]:
            self._decode(value, element)
            return element.data
        if self._is_ascii:
            raise self._refused(element, "no character set is stated for them")
        return self._again(element)

    def _decode(self, value: bytes, element: StoredElement) -> None:
        try:
            value.decode("utf-8")
        except UnicodeDecodeError:
            raise self._refused(element, "they are not UTF-8, as it says") from None

    def _again(self, element: StoredElement) -> bytes:
        explicit = self._stored.is_explicit
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            warnings.filterwarnings("error", message="(Failed to decode|Unknown encoding|.*unknown escape)")
            try:
                encodings = convert_encodings(self._stated)
                read = read_dataset(BytesIO(element.data), not explicit, True, parent_encoding=encodings)
                read.decode()
                return dataset_as_bytes(read, is_explicit=explicit)
            except Exception as error:  # decoders raise many types on bytes from outside
                raise self._refused(element, "they cannot be decoded") from error

    def _refused(self, element: StoredElement, why: str) -> DicomEncodingError:
        return DicomEncodingError(
            f"characters of a text cannot be told: {why}",
            where=self._stored.name,
            was=f"({element.tag >> 16:04X},{element.tag & 0xFFFF:04X})",
            fix="export the object with its Specific Character Set",
        )


def _dictionary_vr(tag: int) -> str:
    try:
        return dictionary_VR(tag)
    except KeyError:
        return "UN"


def joined(elements: Mapping[int, bytes]) -> bytes:
    """Return elements in the order of their tags (PS3.5 7.1)."""
    return b"".join(elements[tag] for tag in sorted(elements))
