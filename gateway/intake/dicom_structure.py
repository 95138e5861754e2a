"""Where each element of a DICOM file begins and ends, found without trusting a single length (PS3.5 7.1, 7.5, A.4).

Nothing is decoded here and nothing recurses: whatever the bytes are, the answer is spans that lie within the file, or
one error. Only what was followed to its end is handed to a decoder.
"""

from __future__ import annotations

import mmap
import struct
import zlib
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from itertools import pairwise
from pathlib import Path
from typing import Final, TypeAlias

from gateway.errors.dicom_objects import DicomEncodingError, DicomNotReadableError
from gateway.errors.media import MediaNotReadableError
from gateway.intake.media_file import stamp_of
from gateway.standard.transfer_syntaxes import TransferSyntax, transfer_syntax

Buffer: TypeAlias = bytes | mmap.mmap

_UNDEFINED: Final = 0xFFFFFFFF
_ITEM, _ITEM_END, _SEQUENCE_END = 0xFFFEE000, 0xFFFEE00D, 0xFFFEE0DD
PIXEL_DATA: Final = 0x7FE00010
PIXELS: Final = frozenset({PIXEL_DATA, 0x7FE00008, 0x7FE00009})
_LONG_VRS: Final = frozenset(
    {b"OB", b"OD", b"OF", b"OL", b"OV", b"OW", b"SQ", b"SV", b"UC", b"UN", b"UR", b"UT", b"UV"}
)
DEEPEST: Final = 60
MOST_ELEMENTS: Final = 100_000
"""At the top level; an image has some hundred."""
MOST_STEPS: Final = 2_000_000
LARGEST_HEADER_BYTES: Final = 32 << 20
"""Of everything that is not pixels."""
LARGEST_INFLATED_BYTES: Final = 256 << 20


@dataclass(frozen=True, slots=True)
class Span:
    """One element of the top level: its tag, VR (empty in Implicit VR), and where it and its value lie."""

    tag: int
    vr: str
    start: int
    value: int
    end: int
    is_undefined: bool = False

    @property
    def is_pixels(self) -> bool:
        """Whether this is the pixel data."""
        return self.tag in PIXELS


@dataclass(frozen=True, slots=True)
class Structure:
    """A DICOM file, followed to its end.

    Parameters
    ----------
    data : Buffer
        In which the spans of the dataset count: the file, or what a deflated dataset inflates to.
    meta, elements : tuple of Span
        In ascending order of tags; those of `meta` count in the file itself.
    """

    data: Buffer
    syntax: TransferSyntax
    meta: tuple[Span, ...]
    elements: tuple[Span, ...]
    meta_bytes: bytes
    header_bytes: bytes
    """All elements that are not pixels, as they stand in the dataset."""

    @property
    def pixels(self) -> Span | None:
        """The pixel data, where there are any."""
        return next((span for span in self.elements if span.tag == PIXEL_DATA), None)


@contextmanager
def mapped(path: Path, name: str) -> Iterator[Buffer]:
    """Open a file for looking at any of its bytes without reading all of them.

    Raises
    ------
    MediaMissingError, MediaNotReadableError
    """
    stamp_of(path, name)
    try:
        with path.open("rb") as file, mmap.mmap(file.fileno(), 0, access=mmap.ACCESS_READ) as data:
            yield data
    except (OSError, ValueError) as error:
        raise MediaNotReadableError(
            "the file cannot be read", where=name, was=type(error).__name__, fix="check its permissions"
        ) from error


def is_dicom(head: bytes) -> bool:
    """Whether the first bytes are those of a DICOM file (PS3.10 7.1)."""
    return head[128:132] == b"DICM"


def structure_of(data: Buffer, name: str) -> Structure:
    """Follow a DICOM file to its end.

    Raises
    ------
    DicomNotReadableError
        If it is none, is damaged, or is nested or crowded beyond anything real.
    DicomEncodingError
        If its transfer syntax is unknown, or of the retired big-endian kind.
    """
    if not is_dicom(data[:132]):
        raise DicomNotReadableError("this is not a DICOM file", where=name, fix="name a DICOM file")
    try:
        meta_walk = _Walk(data, explicit=True)
        meta = tuple(meta_walk.elements(132, len(data), only_group=2))
        syntax = _syntax(data, meta, name)
        start = meta[-1].end
        if syntax.deflated:
            data, start = _inflated(data[start:]), 0
        elements = tuple(_Walk(data, explicit=syntax.explicit_vr).elements(start, len(data)))
    except _DamagedError as error:
        raise DicomNotReadableError(
            "the DICOM file is damaged", where=name, was=f"{error} at byte {error.at}", fix="fetch it again"
        ) from None
    tags = [span.tag for span in elements]
    if any(after <= before for before, after in pairwise(tags)):
        raise DicomNotReadableError(
            "the DICOM file is damaged", where=name, was="elements out of order or twice", fix="fetch it again"
        )
    header = [span for span in elements if not span.is_pixels]
    if sum(span.end - span.start for span in header) > LARGEST_HEADER_BYTES:
        raise DicomNotReadableError(
            "far more attributes than any picture has",
            where=name,
            was=f"more than {LARGEST_HEADER_BYTES >> 20} MiB beside the pixels",
            fix="fetch it again",
        )
    inner = meta_walk.data
    meta_bytes = b"".join(inner[span.start : span.end] for span in meta)
    return Structure(data, syntax, meta, elements, meta_bytes, b"".join(data[s.start : s.end] for s in header))


class _DamagedError(Exception):
    """A length or tag that leads nowhere."""

    def __init__(self, what: str, at: int) -> None:
        super().__init__(what)
        self.at = at


def _syntax(data: Buffer, meta: tuple[Span, ...], name: str) -> TransferSyntax:
    uid = next((data[s.value : s.end].strip(b" \0").decode("latin-1") for s in meta if s.tag == 0x00020010), "")
    syntax = transfer_syntax(uid)
    if syntax is None:
        raise DicomEncodingError(
            "a transfer syntax that is not known" if uid else "the file does not say how it is encoded",
            where=name,
            was=uid[:64] if uid.replace(".", "").isdigit() else "",
            fix="convert it to Explicit VR Little Endian",
        )
    if not syntax.little_endian:
        raise DicomEncodingError(
            "a retired encoding, with the bytes of each number turned round",
            where=name,
            was=syntax.name,
            fix="convert it to Explicit VR Little Endian",
        )
    return syntax


def _inflated(packed: bytes) -> bytes:
    machine = zlib.decompressobj(wbits=-zlib.MAX_WBITS)
    try:
        data = machine.decompress(packed, LARGEST_INFLATED_BYTES)
    except zlib.error as error:
        raise _DamagedError("a deflated dataset that cannot be unpacked", 0) from error
    if machine.unconsumed_tail or not machine.eof:
        raise _DamagedError("a deflated dataset that is cut, or larger than any picture", 0)
    return data


class _Walk:
    """Steps from element to element of one buffer."""

    __slots__ = ("data", "explicit", "steps")

    def __init__(self, data: Buffer, *, explicit: bool) -> None:
        self.data = data
        self.explicit = explicit
        self.steps = 0

    def elements(self, at: int, end: int, *, only_group: int | None = None) -> Iterator[Span]:
        """Yield the elements of the top level; the first of another group ends those of `only_group`."""
        count = 0
        while at < end:
            if only_group is not None and end - at >= 2 and self._pair(at)[0] != only_group:
                break
            span, length = self._head(at, end, explicit=self.explicit)
            if span.tag >> 16 == 0xFFFE:
                raise _DamagedError("an item outside any sequence", at)
            count += 1
            if count > MOST_ELEMENTS:
                raise _DamagedError(f"more than {MOST_ELEMENTS} elements", at)
            at = self._skip(span, end) if length == _UNDEFINED else self._within(span.value, length, end)
            yield Span(span.tag, span.vr, span.start, span.value, at, length == _UNDEFINED)
        if only_group is not None and count == 0:
            raise _DamagedError("no file meta information", at)

    def _pair(self, at: int) -> tuple[int, int]:
        group, number = struct.unpack_from("<HH", self.data, at) if at + 4 <= len(self.data) else (0, 0)
        return group, number

    def _within(self, at: int, length: int, end: int) -> int:
        if length > end - at:
            raise _DamagedError(f"an element of {length} bytes reaches beyond the end", at)
        return at + length

    def _head(self, at: int, end: int, *, explicit: bool) -> tuple[Span, int]:
        """Return an element whose end is not known yet, and its length."""
        self.steps += 1
        if self.steps > MOST_STEPS:
            raise _DamagedError(f"more than {MOST_STEPS} elements and items", at)
        if at + 8 > end:
            raise _DamagedError("the data end inside an element", at)
        group, number = self._pair(at)
        tag = group << 16 | number
        code = self.data[at + 4 : at + 6]
        if not explicit or group == 0xFFFE:
            return Span(tag, "", at, at + 8, at + 8), struct.unpack_from("<I", self.data, at + 4)[0]
        if code in _LONG_VRS:
            if at + 12 > end:
                raise _DamagedError("the data end inside an element", at)
            return Span(tag, code.decode(), at, at + 12, at + 12), struct.unpack_from("<I", self.data, at + 8)[0]
        if not (code.isalpha() and code.isupper()):
            raise _DamagedError("no value representation where one must stand", at)
        return Span(tag, code.decode(), at, at + 8, at + 8), struct.unpack_from("<H", self.data, at + 6)[0]

    def _skip(self, span: Span, end: int) -> int:
        """Return the position after a value of undefined length, at any depth, without recursion.

        An unknown sequence of undefined length is in Implicit VR, whatever stands around it (PS3.5 6.2.2).
        """
        at = span.value
        # True: items are due; False: elements are due. Beside it, whether elements there are in Explicit VR.
        open_levels = [(True, self.explicit and span.vr != "UN")]
        while open_levels:
            items_due, explicit = open_levels[-1]
            inner, length = self._head(at, end, explicit=explicit)
            at = inner.value
            if inner.tag in {_SEQUENCE_END, _ITEM_END}:
                if (inner.tag == _SEQUENCE_END) != items_due:
                    raise _DamagedError("a delimiter where it cannot stand", inner.start)
                open_levels.pop()
            elif items_due != (inner.tag == _ITEM):
                raise _DamagedError("an item where none can stand, or none where one must", inner.start)
            elif length != _UNDEFINED:
                at = self._within(at, length, end)
            elif len(open_levels) >= 2 * DEEPEST:
                raise _DamagedError(f"sequences nested more than {DEEPEST} deep", inner.start)
            else:
                open_levels.append((not items_due, explicit and inner.vr != "UN"))
        return at
