"""Reads a DICOM file as far as checking needs it: every element, but of pixels and other bulk only the headers.

PS3.10 7.1 (file), PS3.5 7.1 (elements), 7.5 (sequences), A.4 (fragments). It never decodes pixels and never trusts a
length: whatever the bytes are, the answer is a dataset or one of two plain errors.
"""

from __future__ import annotations

import mmap
import struct
import zlib
from dataclasses import dataclass, field
from functools import cache
from typing import Final, TypeAlias

from pydicom.datadict import dictionary_VR

from gateway.standard.transfer_syntaxes import transfer_syntax
from gateway.validation.elements import Element, Fragments, Item

LONG_VRS: Final = {
    code.encode(): code for code in ("OB", "OD", "OF", "OL", "OV", "OW", "SQ", "SV", "UC", "UN", "UR", "UT", "UV")
}
SHORT_VRS: Final = {
    code.encode(): code
    for code in (
        "AE", "AS", "AT", "CS", "DA", "DS", "DT", "FL", "FD", "IS", "LO", "LT", "PN", "SH", "SL", "SS", "ST", "TM",
        "UI", "UL", "US",
    )
}  # fmt: skip
UNDEFINED: Final = 0xFFFFFFFF
ITEM, ITEM_END, SEQUENCE_END = 0xFFFEE000, 0xFFFEE00D, 0xFFFEE0DD
PIXEL_DATA: Final = 0x7FE00010
KEPT_BYTES: Final = 1 << 18
"""Longer values are not kept; no rule looks at more than their head and length."""
HEAD_BYTES: Final = 4096
SHARED_BYTES: Final = 256
"""A code with its scheme and meaning is shorter."""
DEEPEST: Final = 60
INFLATED_BYTES: Final = 1 << 29
"""A deflated dataset that grows beyond this is refused."""


class NotDicomError(Exception):
    """The bytes do not start like a DICOM file."""


class DamagedError(Exception):
    """The bytes start like a DICOM file but cannot be followed to the end.

    Parameters
    ----------
    offset : int
        Byte at which reading stopped.
    """

    def __init__(self, what: str, offset: int) -> None:
        super().__init__(what)
        self.offset = offset


@dataclass(frozen=True, slots=True)
class Part10:
    """One file, parsed.

    Parameters
    ----------
    damage : str
        Why the dataset ends early; empty where it does not. What came before is in `dataset`.
    """

    meta: Item
    dataset: Item = field(default_factory=dict)
    transfer_syntax_uid: str = ""
    damage: str = ""


Buffer: TypeAlias = bytes | mmap.mmap


def parse(data: Buffer) -> Part10:
    """Parse the bytes of a file.

    Raises
    ------
    NotDicomError
        If the prefix DICM or the file meta information is missing.
    """
    if data[128:132] != b"DICM":
        raise NotDicomError("no DICM after the preamble of 128 bytes")
    meta: Item = {}
    reader = _Reader(data, explicit=True, little=True)
    try:
        start = reader.elements(132, len(data), meta, stop_after_group=2)
    except DamagedError as error:
        raise NotDicomError(f"the file meta information cannot be read: {error}") from error
    uid_element = meta.get(0x00020010)
    uid = str(uid_element.first() or "") if uid_element else ""
    if not uid:
        raise NotDicomError("no Transfer Syntax UID, so the dataset cannot be read")
    return _with_dataset(data, start, meta, uid)


def _with_dataset(data: Buffer, start: int, meta: Item, uid: str) -> Part10:
    syntax = transfer_syntax(uid)
    dataset: Item = {}
    try:
        if syntax and syntax.deflated:
            data, start = _inflated(data[start:]), 0
        reader = _Reader(
            data, explicit=syntax.explicit_vr if syntax else True, little=syntax.little_endian if syntax else True
        )
        reader.elements(start, len(data), dataset)
    except DamagedError as error:
        return Part10(meta, dataset, uid, f"{error} at byte {error.offset}")
    return Part10(meta, dataset, uid)


def _inflated(packed: bytes) -> bytes:
    try:
        machine = zlib.decompressobj(wbits=-zlib.MAX_WBITS)
        data = machine.decompress(packed, INFLATED_BYTES)
    except zlib.error as error:
        raise DamagedError("the deflated dataset cannot be unpacked", 0) from error
    if machine.unconsumed_tail:
        raise DamagedError("the deflated dataset is larger than 512 MB", 0)
    return data


class _Reader:
    """Reads elements from one buffer in one encoding."""

    __slots__ = ("data", "explicit", "head", "little", "pair", "shared", "word")

    def __init__(self, data: Buffer, *, explicit: bool, little: bool) -> None:
        self.data = data
        self.shared: dict[bytes, tuple[Item, ...]] = {}
        self.explicit = explicit
        self.little = little
        self.pair = struct.Struct("<HH" if little else ">HH").unpack_from
        self.head = struct.Struct("<HH2sH" if little else ">HH2sH").unpack_from
        self.word = struct.Struct("<I" if little else ">I").unpack_from

    def elements(self, at: int, end: int, into: Item, *, stop_after_group: int = 0xFFFF, depth: int = 0) -> int:
        """Read elements up to `end` or an item delimiter; return the position after them."""
        data, head, little = self.data, self.head, self.little
        short = SHORT_VRS if self.explicit else {}
        while at < end:
            if at + 8 > end:
                raise DamagedError("the data end inside an element", at)
            group, number, code, length = head(data, at)
            tag = group << 16 | number
            if group > stop_after_group:
                return at
            if tag == ITEM_END:
                return at + 8
            vr = short.get(code)
            if vr is None:
                into[tag], at = self._long(tag, at, end, depth)
            elif length > end - at - 8:
                raise DamagedError(f"an element of {length} bytes reaches beyond the end", at)
            else:
                at += 8
                into[tag] = Element(vr, length, data[at : at + length], little_endian=little)
                at += length
        return at

    def _long(self, tag: int, at: int, end: int, depth: int) -> tuple[Element, int]:
        """Read an element with a length of four bytes: bulk, sequences, fragments and all of an implicit encoding."""
        if not self.explicit or tag >> 16 == 0xFFFE:
            vr, length, at = dictionary_vr(tag), self.word(self.data, at + 4)[0], at + 8
        else:
            known = LONG_VRS.get(self.data[at + 4 : at + 6])
            if known is None or at + 12 > len(self.data):
                raise DamagedError("no value representation where one must stand", at)
            vr, length, at = known, self.word(self.data, at + 8)[0], at + 12
        return self._other(tag, vr, length, at, end, depth)

    def _other(self, tag: int, vr: str, length: int, at: int, end: int, depth: int) -> tuple[Element, int]:
        """Read what is not simply a short value: sequences, fragments, bulk and unknown attributes."""
        if length == UNDEFINED:
            return self._undefined(tag, vr, at, end, depth)
        if length > end - at:
            raise DamagedError(f"an element of {length} bytes reaches beyond the end", at)
        element = self._unknown(tag, at, length, depth) if vr == "UN" else self._defined(vr, at, length, depth)
        return element, at + length

    def _defined(self, vr: str, at: int, length: int, depth: int) -> Element:
        if vr == "SQ":
            return Element("SQ", length, None, items=self._sequence(at, length, depth))
        kept = length if length <= KEPT_BYTES else HEAD_BYTES
        return Element(vr, length, self.data[at : at + kept], little_endian=self.little)

    def _sequence(self, at: int, length: int, depth: int) -> tuple[Item, ...]:
        """Read the items of a short sequence once, however often the same bytes come: reports repeat their codes."""
        if length > SHARED_BYTES:
            return self._items(at, at + length, depth)[0]
        content = self.data[at : at + length]
        items = self.shared.get(content)
        if items is None:
            items, _ = self._items(at, at + length, depth)
            self.shared[content] = items
        return items

    def _unknown(self, tag: int, at: int, length: int, depth: int) -> Element:
        """Read an attribute sent as UN by the VR of the dictionary; its value is in Implicit Little Endian (6.2.2)."""
        vr = dictionary_vr(tag)
        try:
            return _Reader(self.data, explicit=False, little=True)._defined(vr, at, length, depth)
        except DamagedError:
            return self._defined("UN", at, length, depth)

    def _undefined(self, tag: int, vr: str, at: int, end: int, depth: int) -> tuple[Element, int]:
        if tag == PIXEL_DATA or vr in {"OB", "OW"}:
            fragments, at = self._fragments(at, end)
            return Element(vr, fragments.total_bytes, None, fragments=fragments), at
        if vr == "UN" and self.explicit:
            # PS3.5 6.2.2: an unknown sequence of undefined length is encoded in Implicit VR Little Endian.
            items, at = _Reader(self.data, explicit=False, little=True)._items(at, end, depth)
        else:
            items, at = self._items(at, end, depth)
        return Element("SQ", UNDEFINED, None, items=items), at

    def _items(self, at: int, end: int, depth: int) -> tuple[tuple[Item, ...], int]:
        if depth > DEEPEST:
            raise DamagedError(f"sequences are nested more than {DEEPEST} deep", at)
        items: list[Item] = []
        while at < end:
            tag, length, at = self._item_header(at, end)
            if tag == SEQUENCE_END:
                break
            item: Item = {}
            if length == UNDEFINED:
                at = self.elements(at, end, item, depth=depth + 1)
            else:
                if at + length > end:
                    raise DamagedError(f"an item of {length} bytes reaches beyond its sequence", at)
                self.elements(at, at + length, item, depth=depth + 1)
                at += length
            items.append(item)
        return tuple(items), at

    def _item_header(self, at: int, end: int) -> tuple[int, int, int]:
        if at + 8 > end:
            raise DamagedError("the data end inside a sequence", at)
        group, number = self.pair(self.data, at)
        tag = group << 16 | number
        if tag not in {ITEM, SEQUENCE_END}:
            raise DamagedError("no item where one must stand in a sequence", at)
        return tag, self.word(self.data, at + 4)[0], at + 8

    def _fragments(self, at: int, end: int) -> tuple[Fragments, int]:
        lengths: list[int] = []
        head = b""
        while True:
            tag, length, at = self._item_header(at, end)
            if tag == SEQUENCE_END:
                break
            if at + length > end:
                raise DamagedError(f"a fragment of {length} bytes reaches beyond the end", at)
            if len(lengths) == 1:
                head = self.data[at : at + min(length, HEAD_BYTES)]
            lengths.append(length)
            at += length
        return Fragments(lengths[0] if lengths else 0, max(len(lengths) - 1, 0), sum(lengths[1:]), head), at


@cache
def dictionary_vr(tag: int) -> str:
    """Return the VR that PS3.6 gives a tag; ``UN`` for private and unknown ones."""
    try:
        return dictionary_VR(tag).split(" or ", maxsplit=1)[0]
    except KeyError:
        return "UN"


def fragments_of(value: bytes) -> Fragments | None:
    """Return the fragments inside an encapsulated Pixel Data value, or None where it is no such value."""
    try:
        found, _ = _Reader(value, explicit=True, little=True)._fragments(0, len(value))
    except DamagedError:
        try:
            found, _ = _Reader(value + b"\xfe\xff\xdd\xe0\0\0\0\0", explicit=True, little=True)._fragments(
                0, len(value) + 8
            )
        except DamagedError:
            return None
    return found
