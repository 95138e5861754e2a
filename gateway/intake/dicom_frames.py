"""Frames of a DICOM object decoded for looking at: reports and contact sheets; what goes out is never decoded."""

from __future__ import annotations

import io
import warnings
from collections.abc import Iterator
from pathlib import Path
from typing import Any, Final

import av
import numpy as np
from numpy.typing import NDArray
from PIL import Image
from pydicom.dataset import Dataset
from pydicom.encaps import generate_frames
from pydicom.pixels.processing import apply_color_lut
from pydicom.pixels.utils import iter_pixels

from gateway.errors import GatewayError
from gateway.errors.dicom_objects import DicomEncodingError
from gateway.errors.media import MediaDamagedError
from gateway.model.media import StoredObject

Picture = NDArray[np.uint8]

_JPEG_LOSSLESS: Final = frozenset({"1.2.840.10008.1.2.4.57", "1.2.840.10008.1.2.4.70"})
_BY_PYDICOM: Final = frozenset(
    {
        *("1.2.840.10008.1.2", "1.2.840.10008.1.2.1", "1.2.840.10008.1.2.5"),
        *("1.2.840.10008.1.2.4.50", "1.2.840.10008.1.2.4.51", "1.2.840.10008.1.2.4.80"),
        *("1.2.840.10008.1.2.4.81", "1.2.840.10008.1.2.4.90", "1.2.840.10008.1.2.4.91"),
    }
)
DECODED_HERE: Final = _BY_PYDICOM | _JPEG_LOSSLESS
"""Transfer syntaxes whose frames can be looked at."""


def pictures(path: Path, stored: StoredObject, header: Dataset) -> Iterator[Picture]:
    """Yield each frame as an 8-bit grey or RGB picture.

    Deeper grey is brought to 8 bits by the object's first window, or by its own least and greatest value frame by frame
    where it has none: good for looking at, not for measuring brightness.

    Parameters
    ----------
    header : Dataset
        Everything but the pixels.

    Raises
    ------
    DicomEncodingError
        If this encoding cannot be decoded here.
    MediaDamagedError
        If a frame cannot be decoded.
    """
    if stored.transfer_syntax_uid not in DECODED_HERE:
        raise DicomEncodingError(
            "pixels in an encoding that cannot be shown here",
            where=stored.name,
            was=stored.transfer_syntax_uid,
            fix="convert it to Explicit VR Little Endian",
        )
    with warnings.catch_warnings():
        # Of padding and odd headers nothing hangs; a picture far larger than stated must be refused.
        warnings.simplefilter("ignore")
        warnings.simplefilter("error", Image.DecompressionBombWarning)
        try:
            for frame in _decoded(path, stored, header):
                yield np.ascontiguousarray(_shown(frame, header))
        except GatewayError:
            raise
        except Exception as error:  # decoders raise many types on bytes from outside
            raise MediaDamagedError(
                "the pixels cannot be decoded", where=stored.name, was=type(error).__name__, fix="fetch it again"
            ) from error


def _decoded(path: Path, stored: StoredObject, header: Dataset) -> Iterator[NDArray[Any]]:
    if stored.transfer_syntax_uid in _JPEG_LOSSLESS:
        yield from _jpeg_lossless(path, stored, header)
    else:
        yield from iter_pixels(path)


def _jpeg_lossless(path: Path, stored: StoredObject, header: Dataset) -> Iterator[NDArray[Any]]:
    with path.open("rb") as file:
        file.seek(stored.pixels_at + (12 if stored.is_explicit else 8))
        encapsulated = file.read(stored.pixels_end - file.tell())
    count = int(header.get("NumberOfFrames") or 1)
    for data in generate_frames(encapsulated, number_of_frames=count):
        with av.open(io.BytesIO(data), "r", format="jpeg_pipe") as container:
            frame = next(container.decode(video=0))
        wanted = "rgb24" if header.SamplesPerPixel == 3 else "gray" if header.BitsAllocated == 8 else "gray16le"
        yield frame.to_ndarray(format=wanted)


def _shown(frame: NDArray[Any], header: Dataset) -> NDArray[np.uint8]:
    kind = str(header.PhotometricInterpretation)
    if kind == "PALETTE COLOR":
        colours = apply_color_lut(frame, header)
        shift = 8 * (colours.dtype.itemsize - 1)
        written_out: NDArray[np.uint8] = (colours >> shift).astype(np.uint8)
        return written_out
    grey = frame if frame.ndim == 3 or frame.dtype == np.uint8 else _windowed(frame, header)
    if grey.dtype != np.uint8:
        raise DicomEncodingError("colours of more than 8 bits", fix="convert it to 8 bits")
    picture: NDArray[np.uint8] = 255 - grey if kind == "MONOCHROME1" else grey
    return picture


def _windowed(frame: NDArray[Any], header: Dataset) -> NDArray[np.uint8]:
    levels = frame.astype(np.float64)
    levels = levels * float(header.get("RescaleSlope") or 1) + float(header.get("RescaleIntercept") or 0)
    centre, width = _first(header, "WindowCenter"), _first(header, "WindowWidth")
    low, high = levels.min(), levels.max()
    if centre is not None and width is not None and width > 0:
        low, high = centre - width / 2, centre + width / 2
    scale = 255 / (high - low) if high > low else 0.0
    shown: NDArray[np.uint8] = np.clip((levels - low) * scale, 0, 255).round().astype(np.uint8)
    return shown


def _first(header: Dataset, keyword: str) -> float | None:
    value = header.get(keyword)
    if value is None or value == "":
        return None
    return float(value[0] if hasattr(value, "__iter__") else value)
