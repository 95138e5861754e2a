"""Files of raw scan lines, and the picture that is made of them.

NumPy files are read as plain numbers only: their header is parsed by NumPy's own reader with a limit on its length, and
objects, which could run code, are refused before anything is read.
"""

from __future__ import annotations

import hashlib
import io
import warnings
from collections.abc import Iterator
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any, Final, Literal

import numpy as np
from numpy.lib import format as npy
from numpy.typing import NDArray
from PIL import Image

from gateway.acoustics.scan_conversion import (
    INTERPOLATION,
    INTERPOLATION_LINEAR,
    Samples,
    ScanConversion,
    line_places,
    plan_scan_conversion,
)
from gateway.errors import GatewayError
from gateway.errors.media import MediaTooLargeError
from gateway.errors.scan_lines import ScanLineFileError
from gateway.intake.media_file import (
    MAX_PIXELS,
    MAX_SIDE,
    MediaFormat,
    digest_of,
    ensure_possible_size,
    ensure_same_file,
    read_head,
    read_still_bytes,
    sniff,
    stamp_of,
)
from gateway.intake.still_structure import ensure_whole
from gateway.model.a_scan import AScanLine
from gateway.model.calibration import Calibration, Geometry, ScaleSource, SectorGeometry
from gateway.model.capture import Capture, CaptureKind
from gateway.model.media import ColourModel, PixelFacts
from gateway.model.scan_lines import LinearLines, LineLayout, ScanLines

NPY_MARK: Final = b"\x93NUMPY"
MOST_BYTES: Final = 4 * 2**30
"""Of a file of scan lines; it is mapped into memory, never read whole."""
_LONGEST_HEADER: Final = 4096


@dataclass(frozen=True, slots=True)
class ScanLineSource:
    """A still or loop made of scan lines; each line stays readable.

    Parameters
    ----------
    samples : ndarray, shape (frames, lines, samples)
        8 or 16 bits without sign.
    window : tuple of float
        Sample values shown as black and white.
    calibration : Calibration
        Scale of the picture.
    """

    facts: PixelFacts
    stated: ScanLines
    samples: Samples
    conversion: ScanConversion
    window: tuple[float, float]
    calibration: Calibration

    def frames(self) -> Iterator[NDArray[np.uint8]]:
        """Yield the picture of each frame, one in memory at a time."""
        for frame in self.samples:
            yield self.conversion.picture(frame, self.window)

    def line(self, number: int, frame: int = 1) -> Samples:
        """Return the samples of one line, shape (samples,).

        Parameters
        ----------
        number, frame : int
            Counted from 1.
        """
        line: Samples = self.samples[frame - 1, number - 1]
        return line

    def kept(self, facts: PixelFacts, first: int, last: int) -> ScanLineSource:
        """Return the source of frames `first` to `last`, counted from 1, with the facts of the shorter loop."""
        return replace(self, facts=facts, samples=self.samples[first - 1 : last])

    def a_scan_lines(self) -> tuple[AScanLine, ...]:
        """Return the chosen lines with where they run on the picture.

        Raises
        ------
        ScanLineGeometryError
            If the file has no such line.
        """
        shape = (self.samples.shape[1], self.samples.shape[2])
        return tuple(
            AScanLine(
                line.id,
                *self.conversion.line_ends(self.stated, line.number, shape),
                frame=line.frame,
                speed=line.speed,
                scan_line=line.number,
            )
            for line in self.stated.chosen
        )


def open_scan_lines(path: Path, capture: Capture, stated: ScanLines, *, name: str) -> ScanLineSource:
    """Open a file of scan lines and work out the picture that follows from its geometry.

    Parameters
    ----------
    name : str
        Path as shown to people.

    Raises
    ------
    ScanLineFileError
        If the file is not one of scan lines, or has another shape than the capture's kind.
    ScanLineGeometryError
        If the geometry makes no picture of them.
    MediaError
    """
    samples = _laid_out(_samples(path, name), capture, stated, name)
    frame_count, line_count, sample_count = samples.shape
    conversion = plan_scan_conversion(stated, line_count, sample_count, MAX_PIXELS)
    rows, columns = conversion.is_inside.shape
    ensure_possible_size(columns, rows, name)
    window = stated.window or _whole_range(samples)
    facts = PixelFacts(
        rows=rows,
        columns=columns,
        colour=ColourModel.GREY,
        source_sha256=digest_of(path, name),
        frame_count=frame_count,
        derivation=_derivation(stated, samples, window),
    )
    calibration = _calibration(stated, conversion, line_count)
    return ScanLineSource(facts, stated, samples, conversion, window, calibration)


def _samples(path: Path, name: str) -> Samples:
    head = read_head(path, name)
    if head.startswith(NPY_MARK):
        return _npy_samples(path, name)
    media_format = sniff(head)
    if media_format in {MediaFormat.PNG, MediaFormat.TIFF}:
        return _picture_samples(read_still_bytes(path, name), media_format, name)
    raise ScanLineFileError(
        "this is not a file of scan lines", where=name, fix="write them as .npy, or as a grey PNG or TIFF"
    )


def _npy_samples(path: Path, name: str) -> Samples:
    stamp = stamp_of(path, name)
    if stamp.size > MOST_BYTES:
        raise MediaTooLargeError("the file is too large", where=name, was=f"{stamp.size} bytes", fix="split the loop")
    with path.open("rb") as file:
        shape, is_fortran, dtype = _npy_header(file, name)
        offset = file.tell()
    if dtype.kind != "u" or dtype.itemsize not in {1, 2} or not shape or min(shape) < 1 or len(shape) > 3:
        raise _not_lines(name, f"{dtype} of shape {shape}")
    needed = offset + int(np.prod(np.array(shape, dtype=object))) * dtype.itemsize
    if needed != stamp.size:
        raise ScanLineFileError(
            "the file is not as long as it says", where=name, was=f"{stamp.size} bytes of {needed}", fix="copy it again"
        )
    order: Literal["F", "C"] = "F" if is_fortran else "C"
    samples: Samples = np.memmap(path, dtype=dtype, mode="r", offset=offset, shape=shape, order=order)
    ensure_same_file(path, name, stamp)
    return samples


def _npy_header(file: io.BufferedReader, name: str) -> tuple[tuple[int, ...], bool, np.dtype[Any]]:
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("error")
            version = npy.read_magic(file)
            read = npy.read_array_header_1_0 if version == (1, 0) else npy.read_array_header_2_0
            shape, is_fortran, dtype = read(file, max_header_size=_LONGEST_HEADER)
    except Exception as error:
        # The header is a Python literal; on bytes from outside NumPy raises many types.
        raise _not_lines(name, "a header that cannot be read") from error
    return shape, is_fortran, dtype


def _picture_samples(content: bytes, media_format: MediaFormat, name: str) -> Samples:
    ensure_whole(content, media_format, name)
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        warnings.simplefilter("error", Image.DecompressionBombWarning)
        try:
            with Image.open(io.BytesIO(content), formats=[media_format.value]) as image:
                ensure_possible_size(*image.size, name)
                if getattr(image, "n_frames", 1) > 1:
                    raise _not_lines(name, "several pages")
                mode, array = image.mode, np.asarray(image)
        except GatewayError:
            raise
        except (Image.DecompressionBombError, Image.DecompressionBombWarning) as error:
            raise MediaTooLargeError("the picture is too large", where=name, fix="check the file") from error
        except Exception as error:
            raise _not_lines(name, "a picture that cannot be read") from error
    if mode == "L":
        return array.astype(np.uint8)
    if mode.startswith("I;16"):
        return array.astype(np.uint16)
    raise _not_lines(name, f"a picture of mode {mode}")


def _not_lines(name: str, was: str) -> ScanLineFileError:
    return ScanLineFileError(
        "scan lines are whole numbers without sign, 8 or 16 bits, in two axes (a loop: three)",
        where=name,
        was=was,
        fix="write them as uint8 or uint16",
    )


def _laid_out(samples: Samples, capture: Capture, stated: ScanLines, name: str) -> Samples:
    """Return samples of shape (frames, lines, samples)."""
    axes = 2 if capture.kind is CaptureKind.STILL else 3
    if samples.ndim != axes:
        raise ScanLineFileError(
            f"a {capture.kind.value} of scan lines has {axes} axes",
            where=name,
            was=f"shape {samples.shape}",
            fix="write kind: loop for frames, lines and samples, kind: still for lines and samples",
        )
    if samples.ndim == 2:
        samples = samples[np.newaxis]
    samples = samples if stated.layout is LineLayout.LINES_ARE_ROWS else samples.swapaxes(1, 2)
    if max(samples.shape[1:]) > MAX_SIDE:
        raise ScanLineFileError(
            "too many lines or samples", where=name, was=f"shape {samples.shape}", fix=f"at most {MAX_SIDE} of each"
        )
    return samples


def _whole_range(samples: Samples) -> tuple[float, float]:
    if samples.dtype.itemsize == 1:
        return 0.0, 255.0
    low = min(float(frame.min()) for frame in samples)
    high = max(float(frame.max()) for frame in samples)
    return (low, high) if low < high else (low, low + 1.0)


def _derivation(stated: ScanLines, samples: Samples, window: tuple[float, float]) -> tuple[str, ...]:
    """Say how the picture came to be; every number that shaped it is in here, and so in the instance's UID."""
    _frames, line_count, sample_count = samples.shape
    lines = stated.lines
    if isinstance(lines, LinearLines):
        how = f"{lines.pitch_mm:g} mm apart, {INTERPOLATION_LINEAR}"
    else:
        places = line_places(stated, line_count)
        spacing = "evenly" if lines.is_even else f"as listed (digest {_short_digest(lines.angles_deg)})"
        how = (
            f"from {places[0]:.10g} to {places[-1]:.10g} degrees {spacing} around a pivot "
            f"{lines.pivot_to_face_mm:g} mm behind the face, {INTERPOLATION}"
        )
    return (
        f"Picture made of {line_count} scan lines of {sample_count} samples, {8 * samples.dtype.itemsize} bits, {how} "
        f"(first order), {stated.sample_interval_mm:.10g} mm a sample from depth {stated.start_depth_mm:g} mm at "
        f"{stated.assumed_speed_m_per_s:g} m/s, {stated.mm_per_pixel:g} mm a pixel.",
        f"Sample values {window[0]:g} to {window[1]:g} are shown as 0 to 255.",
    )


def _short_digest(angles_deg: tuple[float, ...]) -> str:
    """Stand for angles that are too many to be written out."""
    return hashlib.sha256(repr(angles_deg).encode()).hexdigest()[:16]


def _calibration(stated: ScanLines, conversion: ScanConversion, line_count: int) -> Calibration:
    sector = None
    if not isinstance(stated.lines, LinearLines) and conversion.pivot:
        places = line_places(stated, line_count)
        sector = SectorGeometry(conversion.pivot, stated.lines.pivot_to_face_mm, float(abs(places[-1] - places[0])))
    return Calibration(
        mm_per_pixel_x=stated.mm_per_pixel,
        mm_per_pixel_y=stated.mm_per_pixel,
        depth_axis=stated.depth_axis,
        assumed_speed_m_per_s=stated.assumed_speed_m_per_s,
        sector=sector,
        scale_source=ScaleSource.DERIVED,
        geometry=Geometry.LINEAR if isinstance(stated.lines, LinearLines) else None,
    )
