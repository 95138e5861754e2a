"""Pixels in memory and what is known of how they came: the contract between intake and builders."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from enum import StrEnum
from pathlib import Path
from typing import Any, Protocol, runtime_checkable

import numpy as np
from numpy.typing import NDArray


class ColourModel(StrEnum):
    """Grey (one sample a pixel) or RGB (three, interleaved)."""

    GREY = "grey"
    RGB = "rgb"


@dataclass(frozen=True, slots=True)
class LossyStep:
    """A lossy compression that the pixels have been through (PS3.3 C.7.6.1.1.5).

    Parameters
    ----------
    method : str
        Lossy Image Compression Method term, e.g. ``ISO_10918_1``.
    ratio : float
        Uncompressed bytes over compressed bytes.
    """

    method: str
    ratio: float


@dataclass(frozen=True, slots=True)
class GreyWindow:
    """Levels of deeper grey that become black and white on 8 bits; levels between are spread evenly."""

    low: int
    high: int


@dataclass(frozen=True, slots=True)
class PixelFacts:
    """What is known of a still or loop without decoding it again.

    Parameters
    ----------
    source_sha256 : str
        Digest of the source file; of numbered frames, digest over their digests in order.
    derivation : tuple of str
        What was done to the pixels on the way in, one sentence each; empty where they are as in the source.
    frame_times_ms : tuple of float or None
        Presentation time of each frame from the first, where the container carries it; first is 0.
    frame_rate_hz : float or None
        Constant rate where the container states one and the times agree.
    is_derived : bool
        Whether pixel values were changed beyond decoding, so that the image is DERIVED (PS3.3 C.7.6.1.1.2).
    """

    rows: int
    columns: int
    colour: ColourModel
    source_sha256: str
    frame_count: int = 1
    lossy: LossyStep | None = None
    derivation: tuple[str, ...] = ()
    frame_times_ms: tuple[float, ...] | None = None
    frame_rate_hz: float | None = None
    is_derived: bool = False


class FrameSource(Protocol):
    """A still or loop whose frames can be read one at a time, as often as wanted."""

    @property
    def facts(self) -> PixelFacts:
        """What is known of the pixels."""
        ...

    def frames(self) -> Iterator[NDArray[np.uint8]]:
        """Yield each frame in order, C-contiguous uint8; only one needs to be in memory at a time."""
        ...


@dataclass(frozen=True, slots=True)
class StoredElement:
    """One element of a DICOM file exactly as its bytes stand there, header included.

    Parameters
    ----------
    vr : str
        Empty where the file states none (Implicit VR).
    value_at : int
        Where in `data` the value begins.
    is_undefined : bool
        Whether its length is undefined, so that `data` ends with a delimiter.
    """

    tag: int
    vr: str
    data: bytes
    value_at: int
    is_undefined: bool = False


@dataclass(frozen=True, slots=True)
class StoredObject:
    """A DICOM file whose pixels go out byte for byte, in its own transfer syntax.

    Parameters
    ----------
    name : str
        Path as shown to people.
    elements : tuple of StoredElement
        Everything of the dataset but the pixels, in ascending order of tags.
    pixels_at, pixels_end : int
        Where the element Pixel Data lies in the file, header included.
    pixels_sha256 : str
        Of those bytes.
    """

    path: Path
    name: str
    sop_class_uid: str
    sop_instance_uid: str
    transfer_syntax_uid: str
    is_explicit: bool
    elements: tuple[StoredElement, ...]
    pixels_at: int
    pixels_end: int
    pixels_sha256: str


@runtime_checkable
class ObjectSource(FrameSource, Protocol):
    """A still or loop that is a DICOM object already."""

    @property
    def stored(self) -> StoredObject:
        """The object as it lies in the file."""
        ...


@runtime_checkable
class LineSource(FrameSource, Protocol):
    """A still or loop made of raw scan lines that stay readable one by one."""

    def line(self, number: int, frame: int = 1) -> NDArray[np.unsignedinteger[Any]]:
        """Return the samples of one line, shape (samples,); line and frame count from 1."""
        ...
