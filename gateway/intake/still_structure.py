"""Whether a still is whole: its own structure is walked before any decoder sees it.

Decoders are made to show something. Pillow shows a PNG without its end and, silently, a JPEG with its middle missing;
so lengths, checksums and end marks are looked at here, and a JPEG is decoded once more by a decoder that can be told to
stop at the first error.
"""

from __future__ import annotations

import re
import zlib
from collections.abc import Iterator

import av
from av.video.codeccontext import VideoCodecContext

from gateway.errors.media import (
    MediaDamagedError,
    MediaFormatError,
    MediaTruncatedError,
    PixelDepthError,
)
from gateway.intake.media_file import MediaFormat, ensure_possible_size


def ensure_whole(content: bytes, media_format: MediaFormat, name: str) -> None:
    """Refuse a still that is cut, damaged where that can be seen, or of a variant that is not read.

    GIF and TIFF may hold several pictures; `gif_structure` and `tiff_pages` walk them.

    Raises
    ------
    MediaTruncatedError, MediaDamagedError, MediaFormatError, MediaTooLargeError, PixelDepthError
    """
    match media_format:
        case MediaFormat.PNG:
            _check_png(content, name)
        case MediaFormat.JPEG:
            _check_jpeg(content, name)
        case MediaFormat.BMP:
            _check_bmp(content, name)


def truncated(name: str, was: str) -> MediaTruncatedError:
    """Return the error of a still that ends too early."""
    return MediaTruncatedError("the picture is cut off", where=name, was=was, fix="copy the file again")


def damaged(name: str, was: str) -> MediaDamagedError:
    """Return the error of a still with wrong bytes in it."""
    return MediaDamagedError("the picture is damaged", where=name, was=was, fix="copy or export the file again")


# ---------------------------------------------------------------- PNG (ISO/IEC 15948)


_GREY = 0
"""Colour type of PNG: grey, without opacity or palette."""


def _check_png(content: bytes, name: str) -> None:
    for kind, payload in png_chunks(content, name):
        if kind == b"IHDR":
            ensure_possible_size(int.from_bytes(payload[0:4], "big"), int.from_bytes(payload[4:8], "big"), name)
            if payload[8] == 16 and payload[9] != _GREY:
                # A window is a matter of grey; decoders bring 16-bit colour down without a word.
                raise _too_deep(16, name)


def png_chunks(content: bytes, name: str) -> Iterator[tuple[bytes, memoryview]]:
    """Yield kind and content of each chunk up to the end mark, its checksum held against its bytes.

    Raises
    ------
    MediaTruncatedError, MediaDamagedError
    """
    view, position = memoryview(content), 8
    while True:
        if position + 12 > len(content):
            raise truncated(name, f"{len(content)} bytes without the end mark IEND")
        length = int.from_bytes(view[position : position + 4], "big")
        kind, end = bytes(view[position + 4 : position + 8]), position + 12 + length
        if position == 8 and (kind != b"IHDR" or length != 13):
            raise damaged(name, "a PNG that does not begin with its header")
        if end > len(content):
            raise truncated(name, f"{end - len(content)} bytes fewer than its part {_readable(kind)} needs")
        if zlib.crc32(view[position + 4 : end - 4]) != int.from_bytes(view[end - 4 : end], "big"):
            raise damaged(name, f"a wrong checksum in its part {_readable(kind)}")
        if kind == b"IEND":
            return
        yield kind, view[position + 8 : end - 4]
        position = end


def _readable(kind: bytes) -> str:
    return kind.decode("ascii") if kind.isalpha() else kind.hex()


def _too_deep(bits: int, name: str) -> PixelDepthError:
    return PixelDepthError(
        "the picture has other than 8 bits a sample", where=name, was=f"{bits} bits", fix="export it with 8 bits"
    )


# ---------------------------------------------------------------- JPEG (ISO/IEC 10918-1)

_MARK_IN_SCAN = re.compile(rb"\xff+[^\x00\xd0-\xd7\xff]")
"""Inside a scan FF 00 is data and FF D0 to D7 restart it (B.1.1.2); anything else ends it."""
_FRAME_HEADERS = frozenset({0xC0, 0xC1, 0xC2, 0xC3, 0xC5, 0xC6, 0xC7, 0xC9, 0xCA, 0xCB, 0xCD, 0xCE, 0xCF})
_TAKEN_FRAME_HEADERS = frozenset({0xC0, 0xC1, 0xC2})
"""Baseline, extended and progressive DCT with Huffman coding; the others are rare and decoders disagree."""


def _check_jpeg(content: bytes, name: str) -> None:
    for marker, payload in _jpeg_segments(content, name):
        if marker in _FRAME_HEADERS:
            if marker not in _TAKEN_FRAME_HEADERS:
                raise MediaFormatError(
                    "this variant of JPEG is not read",
                    where=name,
                    was=f"frame header SOF{marker - 0xC0}",
                    fix="export the picture as PNG or baseline JPEG",
                )
            if len(payload) < 6:
                raise damaged(name, "a frame header that is too short")
            ensure_possible_size(int.from_bytes(payload[3:5], "big"), int.from_bytes(payload[1:3], "big"), name)
            if payload[0] != 8:
                raise _too_deep(payload[0], name)
    _check_jpeg_scan(content, name)


def _jpeg_segments(content: bytes, name: str) -> Iterator[tuple[int, bytes]]:
    position = 2
    while True:
        mark = re.compile(rb"\xff+([^\xff])", re.DOTALL).match(content, position)
        if mark is None:
            if position >= len(content) - 1:
                raise truncated(name, f"{len(content)} bytes without the end mark EOI")
            raise damaged(name, f"no mark at byte {position}")
        marker, position = mark[1][0], mark.end()
        if marker == 0xD9:
            return
        length = int.from_bytes(content[position : position + 2], "big")
        end = position + length
        if end > len(content):
            raise truncated(name, f"{len(content)} bytes, its next part ends at {end}")
        if length < 2:
            raise damaged(name, f"a part without length at byte {position}")
        yield marker, content[position + 2 : end]
        position = end
        if marker == 0xDA:
            scan_end = _MARK_IN_SCAN.search(content, position)
            if scan_end is None:
                raise truncated(name, f"{len(content)} bytes without the end mark EOI")
            position = scan_end.start()


def _check_jpeg_scan(content: bytes, name: str) -> None:
    decoder = VideoCodecContext.create("mjpeg", "r")
    decoder.options = {"err_detect": "explode"}
    try:
        for frame in decoder.decode(av.Packet(content)):
            if frame.is_corrupt:
                raise damaged(name, "compressed data that stops early")
    except av.error.InvalidDataError as error:
        raise damaged(name, "compressed data that cannot be decoded") from error
    except av.error.FFmpegError:
        # A variant that this decoder does not know says nothing about damage; Pillow decides.
        return


# ---------------------------------------------------------------- BMP


def _check_bmp(content: bytes, name: str) -> None:
    if len(content) < 26:
        raise truncated(name, f"{len(content)} bytes, not even its header")
    offset, header = int.from_bytes(content[10:14], "little"), int.from_bytes(content[14:18], "little")
    if header == 12:
        columns, rows, bits = (int.from_bytes(content[at : at + 2], "little") for at in (18, 20, 24))
        compression = 0
    else:
        if len(content) < 34:
            raise truncated(name, f"{len(content)} bytes, not even its header")
        columns = int.from_bytes(content[18:22], "little", signed=True)
        rows = abs(int.from_bytes(content[22:26], "little", signed=True))
        bits, compression = int.from_bytes(content[28:30], "little"), int.from_bytes(content[30:34], "little")
    if columns < 1 or rows < 1:
        raise damaged(name, f"a size of {columns} x {rows}")
    ensure_possible_size(columns, rows, name)
    if compression not in {0, 3} or bits not in {1, 4, 8, 24, 32}:
        raise MediaFormatError(
            "this variant of bitmap is not read",
            where=name,
            was=f"{bits} bits a pixel, compression {compression}",
            fix="write it as PNG, or as an uncompressed bitmap of 8 or 24 bits",
        )
    needed = offset + (columns * bits + 31) // 32 * 4 * rows
    if needed > len(content):
        raise truncated(name, f"{len(content)} bytes of {needed}")
