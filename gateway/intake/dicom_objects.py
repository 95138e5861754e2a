"""DICOM objects as media of a capture: ultrasound images and secondary captures, their pixels taken as they are."""

from __future__ import annotations

import hashlib
import math
from collections.abc import Iterator
from dataclasses import dataclass, field
from itertools import accumulate
from pathlib import Path
from typing import Final

import numpy as np
from numpy.typing import NDArray
from pydicom.dataset import Dataset

from gateway.errors import Place
from gateway.errors.dicom_objects import DicomEncodingError, DicomKindError, DicomNotReadableError
from gateway.errors.document import FrameError
from gateway.errors.media import MediaKindError, PixelDepthError
from gateway.intake.dicom_frames import DECODED_HERE, pictures
from gateway.intake.dicom_record import header_dataset
from gateway.intake.dicom_structure import Span, Structure, is_dicom, mapped, structure_of
from gateway.intake.media_file import FileStamp, digest_of, ensure_possible_size, ensure_same_file, read_head, stamp_of
from gateway.model.capture import CaptureKind
from gateway.model.media import ColourModel, LossyStep, PixelFacts, StoredElement, StoredObject
from gateway.standard.sop_classes import sop_class_name

ULTRASOUND: Final = frozenset(
    {
        *("1.2.840.10008.5.1.4.1.1.6.1", "1.2.840.10008.5.1.4.1.1.3.1"),
        # Retired forms of the same two (PS3.6 Table A-1).
        *("1.2.840.10008.5.1.4.1.1.6", "1.2.840.10008.5.1.4.1.1.3"),
    }
)
SECONDARY_CAPTURE: Final = frozenset(
    {
        "1.2.840.10008.5.1.4.1.1.7",
        *("1.2.840.10008.5.1.4.1.1.7.2", "1.2.840.10008.5.1.4.1.1.7.3", "1.2.840.10008.5.1.4.1.1.7.4"),
    }
)
_MOST_FRAMES: Final = 100_000


@dataclass(frozen=True, slots=True)
class DicomSource:
    """A DICOM object as the media of a capture.

    Parameters
    ----------
    header : Dataset
        Everything but the pixels.
    """

    facts: PixelFacts
    stored: StoredObject
    header: Dataset = field(repr=False, compare=False)
    stamp: FileStamp

    def frames(self) -> Iterator[NDArray[np.uint8]]:
        """Yield each frame for looking at; see `gateway.intake.dicom_frames.pictures`.

        Raises
        ------
        MediaChangedError
            If the file is not the one that was opened.
        """
        ensure_same_file(self.stored.path, self.stored.name, self.stamp)
        yield from pictures(self.stored.path, self.stored, self.header)


def is_dicom_file(path: Path, name: str) -> bool:
    """Whether a file begins like a DICOM file; its name's ending decides nothing.

    Raises
    ------
    MediaMissingError, MediaNotReadableError
    """
    return is_dicom(read_head(path, name))


def open_dicom_object(path: Path, kind: CaptureKind, *, name: str) -> DicomSource:
    """Open a DICOM object as a still or loop; every frame is decoded once, as nothing less tells that all are there.

    Parameters
    ----------
    path : Path
    kind : CaptureKind
        What the capture says that it is.
    name : str
        Path as shown to people.

    Raises
    ------
    DicomNotReadableError, DicomEncodingError, DicomKindError
    MediaKindError
        If a still has several frames, or a loop is of a class that holds one.
    MediaError
        Its other subclasses: missing, unreadable, too large, damaged.
    """
    stamp = stamp_of(path, name)
    with mapped(path, name) as data:
        structure = structure_of(data, name)
        header = header_dataset(structure)
        stored = _stored(structure, header, path, name)
        facts = _facts(header, stored, structure)
    _check_kind(header, stored, facts, kind)
    source = DicomSource(facts, stored, header, stamp)
    count = sum(1 for _ in source.frames())
    if count != facts.frame_count:
        raise DicomNotReadableError(
            "another number of frames than stated",
            where=name,
            was=f"{count} of {facts.frame_count}",
            fix="fetch it again",
        )
    ensure_same_file(path, name, stamp)
    return source


def refuse_kept_range(where: Place | str, name: str) -> FrameError:
    """Return the error for a range of frames of an object whose pixels go out as they are."""
    return FrameError(
        "frames of a DICOM object cannot be left out, because its pixels go out as they are",
        where=where,
        was=name,
        fix="leave keep out",
    )


def _stored(structure: Structure, header: Dataset, path: Path, name: str) -> StoredObject:
    pixels = structure.pixels
    if pixels is None or sum(span.is_pixels for span in structure.elements) != 1:
        raise DicomKindError("this object holds no picture", where=name, fix="name a still or loop")
    if structure.syntax.deflated or structure.syntax.uid not in DECODED_HERE:
        raise DicomEncodingError(
            "pixels in an encoding that cannot be shown here",
            where=name,
            was=structure.syntax.name,
            fix="convert it to Explicit VR Little Endian",
        )
    uids = [_text(header, keyword) for keyword in ("SOPClassUID", "SOPInstanceUID")]
    if uids[0] not in ULTRASOUND | SECONDARY_CAPTURE:
        raise DicomKindError(
            "neither an ultrasound image nor a secondary capture",
            where=name,
            was=sop_class_name(uids[0]) if uids[0] else "no SOP Class",
            fix="name a still or loop of the exam",
        )
    if not uids[1]:
        raise DicomNotReadableError("an object without SOP Instance UID", where=name, fix="fetch it again")
    return StoredObject(
        path=path,
        name=name,
        sop_class_uid=uids[0],
        sop_instance_uid=uids[1],
        transfer_syntax_uid=structure.syntax.uid,
        is_explicit=structure.syntax.explicit_vr,
        elements=tuple(_element(structure, span) for span in structure.elements if not span.is_pixels),
        pixels_at=pixels.start,
        pixels_end=pixels.end,
        pixels_sha256=_digest(structure, pixels),
    )


def _element(structure: Structure, span: Span) -> StoredElement:
    data = structure.data[span.start : span.end]
    return StoredElement(span.tag, span.vr, data, span.value - span.start, span.is_undefined)


def _digest(structure: Structure, span: Span) -> str:
    digest = hashlib.sha256()
    for at in range(span.start, span.end, 1 << 20):
        digest.update(structure.data[at : min(at + (1 << 20), span.end)])
    return digest.hexdigest()


def _facts(header: Dataset, stored: StoredObject, structure: Structure) -> PixelFacts:
    rows, columns = _whole(header, "Rows", stored.name), _whole(header, "Columns", stored.name)
    ensure_possible_size(columns, rows, stored.name)
    if _whole(header, "BitsAllocated", stored.name) not in {8, 16}:
        raise PixelDepthError(
            "other than 8 or 16 bits a sample",
            where=stored.name,
            was=_text(header, "BitsAllocated"),
            fix="export 8 bits",
        )
    count = _whole(header, "NumberOfFrames", stored.name) if _text(header, "NumberOfFrames") else 1
    if count > _MOST_FRAMES:
        raise DicomNotReadableError("more frames than any loop has", where=stored.name, was=str(count))
    is_grey = _text(header, "PhotometricInterpretation") in {"MONOCHROME1", "MONOCHROME2"}
    times, rate = _timing(header, count)
    return PixelFacts(
        rows=rows,
        columns=columns,
        colour=ColourModel.GREY if is_grey else ColourModel.RGB,
        source_sha256=digest_of(stored.path, stored.name),
        frame_count=count,
        lossy=_lossy(header, stored, structure),
        frame_times_ms=times,
        frame_rate_hz=rate,
    )


def _lossy(header: Dataset, stored: StoredObject, structure: Structure) -> LossyStep | None:
    if _text(header, "LossyImageCompression") != "01" and structure.syntax.loss.value != "always":
        return None
    methods, ratios = _list(header, "LossyImageCompressionMethod"), _numbers(header, "LossyImageCompressionRatio")
    return LossyStep(methods[-1] if methods else "", ratios[-1] if ratios else 1.0)


def _timing(header: Dataset, count: int) -> tuple[tuple[float, ...] | None, float | None]:
    vector = _numbers(header, "FrameTimeVector")
    if len(vector) == count > 1 and vector[0] == 0 and all(step > 0 for step in vector[1:]):
        return tuple(accumulate(vector)), None
    frame_time_ms = next(iter(_numbers(header, "FrameTime")), 0.0)
    return None, 1000 / frame_time_ms if frame_time_ms > 0 and count > 1 else None


def _check_kind(header: Dataset, stored: StoredObject, facts: PixelFacts, kind: CaptureKind) -> None:
    if kind is CaptureKind.STILL and facts.frame_count > 1:
        raise MediaKindError(
            "a loop where a still belongs", where=stored.name, was=f"{facts.frame_count} frames", fix="write kind: loop"
        )
    if kind is CaptureKind.LOOP and not _text(header, "NumberOfFrames"):
        raise MediaKindError("one still where a loop belongs", where=stored.name, fix="write kind: still")


def _list(header: Dataset, keyword: str) -> list[str]:
    try:
        value = header.get(keyword)
    except Exception:  # a value that breaks its representation says nothing
        return []
    if value is None or value == "":
        return []
    several = value if hasattr(value, "append") else [value]
    return [str(each).strip(" \0") for each in several]


def _text(header: Dataset, keyword: str) -> str:
    return next(iter(_list(header, keyword)), "")


def _numbers(header: Dataset, keyword: str) -> list[float]:
    try:
        numbers = [float(text) for text in _list(header, keyword)]
    except ValueError:
        return []
    return numbers if all(map(math.isfinite, numbers)) else []


def _whole(header: Dataset, keyword: str, name: str) -> int:
    text = _text(header, keyword)
    if not text.isdigit() or int(text) < 1:
        raise DicomNotReadableError(
            f"{keyword} is missing or no whole number", where=name, was=text[:20], fix="fetch it again"
        )
    return int(text)
