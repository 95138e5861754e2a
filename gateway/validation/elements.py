"""Data elements as the checker sees them: present or not, empty or not, and only then their values."""

from __future__ import annotations

import struct
from dataclasses import dataclass
from functools import cache
from typing import Final, TypeAlias

from pydicom.datadict import keyword_for_tag, tag_for_keyword

Scalar: TypeAlias = str | int | float | bytes

TEXT_VRS: Final = frozenset(
    {"AE", "AS", "CS", "DA", "DS", "DT", "IS", "LO", "LT", "PN", "SH", "ST", "TM", "UC", "UI", "UR", "UT"}
)
ONE_VALUE_VRS: Final = frozenset({"LT", "ST", "UT", "UR"})
_NUMBER_FORMATS: Final = {
    "US": "H", "SS": "h", "UL": "I", "SL": "i", "UV": "Q", "SV": "q", "FL": "f", "FD": "d", "OW": "H", "OF": "f",
}  # fmt: skip
_NUMBER_VRS: Final = frozenset({"US", "SS", "UL", "SL", "UV", "SV", "FL", "FD"})


@dataclass(frozen=True, slots=True)
class Fragments:
    """Encapsulated pixel data, seen from its headers (PS3.5 A.4).

    Parameters
    ----------
    offset_table_bytes : int
        Length of the basic offset table.
    count : int
        Fragments, the offset table not counted.
    total_bytes : int
        Of all fragments.
    head : bytes
        The first bytes of the first fragment.
    """

    offset_table_bytes: int
    count: int
    total_bytes: int
    head: bytes


class Element:
    """One data element.

    Parameters
    ----------
    vr : str
        Value representation; ``UN`` where it is unknown.
    length : int
        Bytes, or for values from a built dataset 0 where it is empty and 1 where it is not.
    raw : bytes or tuple or None
        Bytes as in the file (of long values only the head), or the values of a built dataset.
    items : tuple of Item or None
        Of a sequence.
    """

    __slots__ = ("_values", "fragments", "items", "length", "little_endian", "raw", "vr")

    def __init__(
        self,
        vr: str,
        length: int,
        raw: bytes | tuple[Scalar, ...] | None,
        *,
        items: tuple[Item, ...] | None = None,
        fragments: Fragments | None = None,
        little_endian: bool = True,
    ) -> None:
        self.vr = vr
        self.length = length
        self.raw = raw
        self.items = items
        self.fragments = fragments
        self.little_endian = little_endian
        self._values: tuple[Scalar, ...] | None = None

    @property
    def empty(self) -> bool:
        """Whether there is no value; padding alone is none (PS3.5 7.4.1)."""
        if self.items is not None:
            return not self.items
        if self.fragments is not None:
            return self.fragments.count == 0
        if self.length == 0:
            return True
        return isinstance(self.raw, bytes) and self.vr in TEXT_VRS and not self.raw.strip(b" \0")

    def values(self) -> tuple[Scalar, ...]:
        """Return the values: numbers for numeric VRs and IS and DS, tags as int, text split at the backslash.

        Text that is no number where a number is due stays text, so that a rule can tell.
        """
        if self._values is None:
            if isinstance(self.raw, bytes):
                self._values = _decoded(self.vr, self.raw, self.little_endian)
            else:
                self._values = self.raw or ()
        return self._values

    def first(self) -> Scalar | None:
        """Return the first value, or None."""
        values = self.values()
        return values[0] if values else None


Item: TypeAlias = dict[int, Element]
"""One dataset or sequence item: elements by tag."""


def _decoded(vr: str, raw: bytes, little_endian: bool) -> tuple[Scalar, ...]:
    order = "<" if little_endian else ">"
    if vr in _NUMBER_VRS:
        code = _NUMBER_FORMATS[vr]
        count = len(raw) // struct.calcsize(code)
        return struct.unpack_from(f"{order}{count}{code}", raw)
    if vr == "AT":
        halves = struct.unpack_from(f"{order}{len(raw) // 4 * 2}H", raw)
        return tuple(halves[i] << 16 | halves[i + 1] for i in range(0, len(halves), 2))
    if vr not in TEXT_VRS:
        return (raw,)
    text = raw.decode("latin-1").strip(" \0")
    if not text:
        return ()
    one = "\\" not in text or vr in ONE_VALUE_VRS
    parts = (text,) if one else tuple(part.strip(" ") for part in text.split("\\"))
    return tuple(as_number(vr, part) for part in parts) if vr in {"IS", "DS"} else parts


def as_number(vr: str, text: str) -> Scalar:
    """Return the number that a decimal or integer string stands for, or the text where it stands for none."""
    try:
        return int(text) if vr == "IS" else float(text)
    except ValueError:
        return text


def shown(value: Scalar | None) -> str:
    """Return a value as a message shows it, cut where it is long."""
    return (value.decode("latin-1") if isinstance(value, bytes) else str(value))[:64]


@cache
def tag(keyword: str) -> int:
    """Return the tag of a keyword as a plain number.

    Raises
    ------
    KeyError
        If PS3.6 has no such keyword.
    """
    found = tag_for_keyword(keyword)
    if found is None:
        raise KeyError(keyword)
    return int(found)


@cache
def keyword(number: int) -> str:
    """Return the keyword of a tag, or the tag itself where it has none."""
    return keyword_for_tag(number) or tag_text(number)


def tag_text(number: int) -> str:
    """Return a tag as the Standard writes it: ``(0018,6011)``."""
    return f"({number >> 16:04X},{number & 0xFFFF:04X})"
