"""Pixel Data: stills as they are, loops in JPEG-LS Lossless frame by frame, and loops unpacked for the wire.

Never more than one frame of a loop is in memory. Samples are 8 bits, so native Pixel Data is OB (PS3.5 A.2).
"""

from __future__ import annotations

import struct
from collections.abc import Iterator
from pathlib import Path
from typing import BinaryIO, Final

import jpeg_ls
import numpy as np
from numpy.typing import NDArray
from pydicom import dcmread
from pydicom.dataset import Dataset
from pydicom.encaps import generate_fragments, parse_basic_offsets, parse_fragments
from pydicom.errors import InvalidDicomError

from gateway.builders.part10 import atomic_file, digest_of, file_head, part10_bytes
from gateway.errors.objects import NotTranscodableError, ObjectTooLargeError, PixelsNotAsStatedError
from gateway.model.media import ColourModel, FrameSource

EXPLICIT_VR_LITTLE_ENDIAN: Final = "1.2.840.10008.1.2.1"
JPEG_LS_LOSSLESS: Final = "1.2.840.10008.1.2.4.80"

_PIXEL_DATA_OB: Final = b"\xe0\x7f\x10\x00OB\x00\x00"
_UNDEFINED_LENGTH: Final = b"\xff\xff\xff\xff"
_ITEM: Final = b"\xfe\xff\x00\xe0"
_SEQUENCE_DELIMITER: Final = b"\xfe\xff\xdd\xe0\x00\x00\x00\x00"
_MOST_BYTES: Final = 2**32 - 2
"""Greatest even value length that is not the sign for an undefined one (PS3.5 7.1.1)."""
_BY_PIXEL: Final = 2
"""JPEG-LS interleave mode that fits Planar Configuration 0."""


def checked_frames(source: FrameSource) -> Iterator[NDArray[np.uint8]]:
    """Yield the frames of a source, each checked against what the source says of them.

    Raises
    ------
    PixelsNotAsStatedError
        If a frame has another shape or type, or the number of frames differs.
    """
    facts = source.facts
    shape = (facts.rows, facts.columns) if facts.colour is ColourModel.GREY else (facts.rows, facts.columns, 3)
    count = 0
    for count, frame in enumerate(source.frames(), start=1):
        if frame.shape != shape or frame.dtype != np.uint8:
            raise PixelsNotAsStatedError(
                f"frame {count} is unlike the others",
                was=f"{frame.dtype} {frame.shape}",
                fix=f"all frames must be uint8 {shape}",
            )
        yield np.ascontiguousarray(frame)
    if count != facts.frame_count:
        raise PixelsNotAsStatedError(
            "another number of frames than stated", was=f"{count} instead of {facts.frame_count}", fix="copy it again"
        )


def still_pixels(source: FrameSource) -> bytes:
    """Return the one frame of a still as native Pixel Data of even length."""
    frames = list(checked_frames(source))
    if len(frames) != 1:
        raise PixelsNotAsStatedError("a still must have one frame", was=f"{len(frames)} frames")
    data = frames[0].tobytes()
    return data + b"\0" * (len(data) % 2)


def write_jpeg_ls_loop(dataset: Dataset, source: FrameSource, path: Path) -> tuple[str, int]:
    """Write a multi-frame file in JPEG-LS Lossless: a Basic Offset Table and one fragment a frame (PS3.5 A.4).

    Parameters
    ----------
    dataset : Dataset
        Complete but for Pixel Data.

    Returns
    -------
    sha256 : str
    size : int

    Raises
    ------
    PixelsNotAsStatedError, ObjectTooLargeError
    """
    count = source.facts.frame_count
    with atomic_file(path) as file:
        file.write(part10_bytes(dataset, JPEG_LS_LOSSLESS))
        file.write(_PIXEL_DATA_OB + _UNDEFINED_LENGTH)
        table_at = file.tell()
        file.write(_ITEM + struct.pack("<I", 4 * count) + bytes(4 * count))
        offsets = _write_fragments(file, source)
        file.write(_SEQUENCE_DELIMITER)
        file.seek(table_at + 8)
        file.write(struct.pack(f"<{count}I", *offsets))
        _verify_fragments(file, table_at, offsets)
        return digest_of(file)


def _write_fragments(file: BinaryIO, source: FrameSource) -> list[int]:
    first_item = file.tell()
    offsets: list[int] = []
    for frame in checked_frames(source):
        offset = file.tell() - first_item
        if offset > _MOST_BYTES:
            raise ObjectTooLargeError("a loop of more than 4 GiB", was=f"at frame {len(offsets) + 1}")
        offsets.append(offset)
        # `encode_array` takes the precision from the brightest pixel: dark frames would say less than Bits Stored.
        samples, interleave = (frame.shape[2], _BY_PIXEL) if frame.ndim == 3 else (1, 0)
        fragment = jpeg_ls.encode_buffer(frame.tobytes(), *frame.shape[:2], samples, 8, interleave_mode=interleave)
        file.write(_ITEM + struct.pack("<I", len(fragment) + len(fragment) % 2))
        file.write(fragment)
        file.write(b"\0" * (len(fragment) % 2))
    return offsets


def _verify_fragments(file: BinaryIO, table_at: int, offsets: list[int]) -> None:
    """Read the structure back with the library's reader: what we count and what it finds must agree."""
    file.seek(table_at)
    table = parse_basic_offsets(file)
    first_item = file.tell()
    _, positions = parse_fragments(file)
    if table != offsets or [position - first_item for position in positions] != offsets:
        raise PixelsNotAsStatedError("fragments are not where the offset table says")


def transcode_to_explicit_le(path_in: Path, path_out: Path) -> None:
    """Unpack a loop in JPEG-LS Lossless to Explicit VR Little Endian, frame by frame.

    Everything between file meta information and Pixel Data stays byte for byte as it was, so it is the same instance.

    Raises
    ------
    NotTranscodableError
        If the file is not such a loop, or is damaged.
    ObjectTooLargeError
        If the unpacked pixels are more than one element can hold.
    """
    with path_in.open("rb") as packed:
        dataset, header = _read_header(packed, path_in)
        frame_bytes = dataset.Rows * dataset.Columns * dataset.SamplesPerPixel
        count = int(dataset.NumberOfFrames)
        size = frame_bytes * count
        if size + size % 2 > _MOST_BYTES:
            raise ObjectTooLargeError("a loop of more than 4 GiB unpacked", where=path_in.name, was=f"{count} frames")
        with atomic_file(path_out) as file:
            file.write(file_head(dataset.SOPClassUID, dataset.SOPInstanceUID, EXPLICIT_VR_LITTLE_ENDIAN))
            file.write(header + _PIXEL_DATA_OB + struct.pack("<I", size + size % 2))
            written = 0
            for number, frame in enumerate(_decoded_frames(packed, path_in), start=1):
                if len(frame) != frame_bytes or number > count:
                    raise _damaged(path_in, f"frame {number} of {count} holds {len(frame)} bytes")
                file.write(frame)
                written = number
            if written != count:
                raise _damaged(path_in, f"{written} of {count} frames")
            file.write(b"\0" * (size % 2))


def _read_header(packed: BinaryIO, path: Path) -> tuple[Dataset, bytes]:
    """Return the dataset before Pixel Data, parsed and as bytes; leave the file at the Basic Offset Table."""
    try:
        dataset = dcmread(packed, stop_before_pixels=True)
    except InvalidDicomError as error:
        raise NotTranscodableError("not a DICOM file", where=path.name) from error
    if dataset.file_meta.TransferSyntaxUID != JPEG_LS_LOSSLESS or "NumberOfFrames" not in dataset:
        raise NotTranscodableError("not a loop in JPEG-LS Lossless", where=path.name)
    pixels_at = packed.tell()
    packed.seek(140)
    header_at = 144 + int.from_bytes(packed.read(4), "little")  # PS3.10 7.1: group length counts from here
    packed.seek(header_at)
    header = packed.read(pixels_at - header_at)
    if packed.read(12) != _PIXEL_DATA_OB + _UNDEFINED_LENGTH:
        raise _damaged(path, "no encapsulated pixel data")
    return dataset, header


def _decoded_frames(packed: BinaryIO, path: Path) -> Iterator[bytes]:
    try:
        parse_basic_offsets(packed)
        for fragment in generate_fragments(packed):
            yield jpeg_ls.decode_buffer(fragment)[0]
    except (RuntimeError, ValueError, EOFError, struct.error) as error:
        raise _damaged(path, str(error)) from error


def _damaged(path: Path, was: str) -> NotTranscodableError:
    return NotTranscodableError("pixel data that are damaged", where=path.name, was=was, fix="build the exam again")
