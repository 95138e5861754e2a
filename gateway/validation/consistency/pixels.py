"""Pixels: bits, samples, length, encoding and loss (PS3.3 C.7.6.3, C.7.6.1.1.5; PS3.5 8 and A.4)."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Final

from gateway.standard.transfer_syntaxes import Loss, Stream, TransferSyntax
from gateway.validation.consistency.finding import found
from gateway.validation.consistency.streams import stream_head
from gateway.validation.elements import Element, Fragments, shown
from gateway.validation.findings import Finding
from gateway.validation.scope import Scope

ONE_SAMPLE: Final = frozenset({"MONOCHROME1", "MONOCHROME2", "PALETTE COLOR"})
THREE_SAMPLES: Final = frozenset(
    {"RGB", "YBR_FULL", "YBR_FULL_422", "YBR_PARTIAL_420", "YBR_PARTIAL_422", "YBR_ICT", "YBR_RCT", "HSV"}
)
STILL_STREAMS: Final = frozenset({Stream.JPEG, Stream.JPEG_LS, Stream.JPEG_2000})


def check(scope: Scope) -> Iterator[Finding]:
    """Yield what is wrong between pixel data and the attributes that describe it."""
    if not scope.has("Rows") and not scope.has("PixelData"):
        return
    yield from _bits(scope)
    yield from _samples(scope)
    yield from _loss(scope)
    pixels = scope.element("PixelData")
    syntax = scope.transfer_syntax
    if pixels is None or pixels.empty or syntax is None:
        return
    if syntax.encapsulated != (pixels.fragments is not None):
        wanted = "fragments" if syntax.encapsulated else "one plain value"
        message = f"is not encoded as its transfer syntax says; {syntax.name} wants {wanted}"
        yield found("pixel-encoding-differs", "PixelData", message, "PS3.5 A.4")
    elif pixels.fragments is not None:
        yield from _encapsulated(scope, pixels.fragments, syntax)
    else:
        yield from _native_length(scope, pixels)


def _number(scope: Scope, keyword: str) -> int | None:
    value = scope.value(keyword)
    return value if isinstance(value, int) else None


def _bits(scope: Scope) -> Iterator[Finding]:
    allocated, stored, high = (_number(scope, name) for name in ("BitsAllocated", "BitsStored", "HighBit"))
    if stored is not None and high is not None and high != stored - 1:
        message = f"is {high}; it must be one less than BitsStored, which is {stored}"
        yield found("high-bit-wrong", "HighBit", message, "PS3.5 8.1.1")
    if allocated is not None and stored is not None and stored > allocated:
        message = f"is {stored}; it cannot be more than BitsAllocated, which is {allocated}"
        yield found("bits-stored-wrong", "BitsStored", message, "PS3.5 8.1.1")


def _samples(scope: Scope) -> Iterator[Finding]:
    kind, samples = scope.value("PhotometricInterpretation"), _number(scope, "SamplesPerPixel")
    wanted = 1 if kind in ONE_SAMPLE else 3 if kind in THREE_SAMPLES else None
    if wanted is not None and samples is not None and samples != wanted:
        message = f"is {samples}; {shown(kind)} has {wanted}"
        yield found("samples-contradict-photometric", "SamplesPerPixel", message, "PS3.3 C.7.6.3.1.2")


def _loss(scope: Scope) -> Iterator[Finding]:
    syntax = scope.transfer_syntax
    if syntax is not None and syntax.loss is Loss.ALWAYS and scope.value("LossyImageCompression") == "00":
        message = f"is 00; pixels in {syntax.name} have lost something, so it must be 01"
        yield found("lossy-flag-contradicts-encoding", "LossyImageCompression", message, "PS3.3 C.7.6.1.1.5")


def _frames(scope: Scope) -> int | None:
    """Return the number of frames, 1 where it is not stated, None where what is stated is no such number."""
    if not scope.has_value("NumberOfFrames"):
        return 1
    frames = _number(scope, "NumberOfFrames")
    return frames if frames is not None and frames > 0 else None


def _native_length(scope: Scope, pixels: Element) -> Iterator[Finding]:
    if scope.has("ExtendedOffsetTable"):
        message = "stands beside uncompressed pixels; it is for fragments only"
        yield found("offset-table-wrong", "ExtendedOffsetTable", message, "PS3.3 C.7.6.3.1.8")
    names = ("Rows", "Columns", "SamplesPerPixel", "BitsAllocated")
    frames = _frames(scope)
    rows, columns, samples, allocated = (_number(scope, name) for name in names)
    if rows is None or columns is None or samples is None or allocated is None or frames is None:
        return
    bits = rows * columns * samples * allocated * frames
    if scope.value("PhotometricInterpretation") == "YBR_FULL_422":
        bits = bits * 2 // 3
    wanted = (bits + 7) // 8
    if pixels.length not in {wanted, wanted + wanted % 2}:
        message = f"has {pixels.length} bytes; rows, columns, samples, bits and frames make {wanted + wanted % 2}"
        yield found("pixel-length-wrong", "PixelData", message, "PS3.5 8.1.1")


def _encapsulated(scope: Scope, fragments: Fragments, syntax: TransferSyntax) -> Iterator[Finding]:
    frames = _frames(scope)
    if frames is None:
        return
    if syntax.stream not in {Stream.MPEG, Stream.NONE} and fragments.count < frames:
        message = f"has {fragments.count} fragments; {frames} frames need at least one each"
        yield found("fragments-fewer-than-frames", "PixelData", message, "PS3.5 A.4")
    entries = fragments.offset_table_bytes // 4
    if entries and entries != frames and syntax.stream is not Stream.MPEG:
        message = f"has an offset table of {entries} entries; there are {frames} frames, so {frames} or none"
        yield found("offset-table-wrong", "PixelData", message, "PS3.5 A.4")
    if syntax.stream not in STILL_STREAMS or not fragments.head:
        return
    head = stream_head(fragments.head)
    if head is None or head.stream is not syntax.stream:
        message = f"does not start with a stream of its transfer syntax, {syntax.name}"
        yield found("stream-not-of-transfer-syntax", "PixelData", message, f"PS3.5 {syntax.section}")
    elif head.rows and (head.rows, head.columns) != (scope.value("Rows"), scope.value("Columns")):
        message = (
            f"has a first frame of {head.rows} rows and {head.columns} columns; Rows and Columns say "
            f"{shown(scope.value('Rows'))} and {shown(scope.value('Columns'))}"
        )
        yield found("stream-size-differs", "PixelData", message, f"PS3.5 {syntax.section}")
