"""Stills: PNG, JPEG, TIFF and BMP become one grey or RGB picture, or an error that says why not."""

from __future__ import annotations

import hashlib
import io
import warnings
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray
from PIL import ExifTags, Image, ImageFile, TiffImagePlugin, UnidentifiedImageError

from gateway.errors import GatewayError
from gateway.errors.media import (
    ColourModelError,
    MediaFormatError,
    MediaKindError,
    MediaTooLargeError,
    PixelDepthError,
    SeveralPicturesError,
    TransparencyError,
    TurnedPictureError,
)
from gateway.intake.media_file import MediaFormat, accepted_format, ensure_possible_size, read_still_bytes
from gateway.intake.still_structure import damaged, ensure_whole, truncated
from gateway.model.media import ColourModel, FrameSource, LossyStep, PixelFacts

Picture = NDArray[np.uint8]

JPEG_METHOD = "ISO_10918_1"
"""Defined term of Lossy Image Compression Method (PS3.3 C.7.6.1.1.5.1)."""


@dataclass(frozen=True, slots=True)
class StillSource:
    """One picture; decoded once, since a still is small and every later step wants it.

    Parameters
    ----------
    picture : ndarray of uint8
        (rows, columns) for grey, (rows, columns, 3) for RGB; not writeable.
    """

    facts: PixelFacts
    picture: Picture

    def frames(self) -> Iterator[Picture]:
        """Yield the picture."""
        yield self.picture


@dataclass(frozen=True, slots=True)
class DecodedStill:
    """A picture and how it came to be, before facts are made of it.

    Parameters
    ----------
    is_lossy : bool
        Whether the file holds it in JPEG compression.
    derivation : tuple of str
    """

    picture: Picture
    is_lossy: bool
    derivation: tuple[str, ...]

    @property
    def colour(self) -> ColourModel:
        """Grey or RGB, by the shape of the picture."""
        return ColourModel.GREY if self.picture.ndim == 2 else ColourModel.RGB


def open_still(path: Path, *, name: str) -> FrameSource:
    """Open a still.

    Parameters
    ----------
    path : Path
    name : str
        Path as shown to people.

    Returns
    -------
    FrameSource
        With one frame. Three equal channels become one grey channel, palettes are written out, an opacity channel that
        is opaque everywhere is left out; each is told in ``facts.derivation``. A JPEG, also one inside a TIFF, carries
        a `LossyStep` with bytes of the picture over bytes of the file.

    Raises
    ------
    MediaError
        Its subclasses name the reason: missing, unreadable, another format, cut off, damaged, too large, more than 8
        bits, other colours, transparent, several pictures, to be turned.
    """
    content = read_still_bytes(path, name)
    still = decode_still(content, name)
    rows, columns = still.picture.shape[:2]
    facts = PixelFacts(
        rows=rows,
        columns=columns,
        colour=still.colour,
        source_sha256=hashlib.sha256(content).hexdigest(),
        lossy=LossyStep(JPEG_METHOD, still.picture.nbytes / len(content)) if still.is_lossy else None,
        derivation=still.derivation,
    )
    still.picture.flags.writeable = False
    return StillSource(facts, still.picture)


def decode_still(content: bytes, name: str) -> DecodedStill:
    """Decode the bytes of a still.

    Raises
    ------
    MediaError
        As `open_still`.
    """
    media_format = accepted_format(content[:132], name)
    if media_format.is_movie:
        raise MediaKindError(
            "a movie where a still belongs", where=name, was=media_format.value, fix="write kind: loop, or name a still"
        )
    ensure_whole(content, media_format, name)
    # Pillow warns of odd metadata, which carries no pixels; a bomb it must refuse.
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        warnings.simplefilter("error", Image.DecompressionBombWarning)
        try:
            with Image.open(io.BytesIO(content), formats=[media_format.value]) as image:
                return _decoded(image, media_format, content, name)
        except GatewayError:
            raise
        except (Image.DecompressionBombError, Image.DecompressionBombWarning) as error:
            raise MediaTooLargeError("the picture is too large", where=name, fix="check the file") from error
        except Exception as error:
            # Pillow's readers raise many types on bytes from outside; whatever it is, there is no picture.
            if "truncated" in str(error).lower():
                raise truncated(name, f"{len(content)} bytes that end too early") from error
            unknown = isinstance(error, UnidentifiedImageError)
            raise damaged(name, "a header that cannot be read" if unknown else _reason(error)) from error


def _reason(error: Exception) -> str:
    return str(error)[:80].lower() or type(error).__name__


def _decoded(image: Image.Image, media_format: MediaFormat, content: bytes, name: str) -> DecodedStill:
    ensure_possible_size(*image.size, name)
    if getattr(image, "n_frames", 1) > 1:
        pages = getattr(image, "n_frames", 1)
        raise SeveralPicturesError(
            "this file holds several pictures",
            where=name,
            was=f"{pages} pages",
            fix="write them as single files; list frames of a loop under files",
        )
    # Asking a PNG for its EXIF loads it, and how samples lay in the file is forgotten then.
    notes = _notes_before_loading(image)
    _refuse_turning(image, name)
    is_lossy = media_format is MediaFormat.JPEG
    if isinstance(image, TiffImagePlugin.TiffImageFile):
        is_lossy = _tiff_is_lossy(image, content, name)
    image.load()
    _refuse_turning(image, name)
    picture, more = _grey_or_rgb(image, name)
    return DecodedStill(picture, is_lossy, (*notes, *more))


def _refuse_turning(image: Image.Image, name: str) -> None:
    """Look twice: Pillow turns a TIFF while loading, and finds a PNG's mark only after it."""
    tags = image.tag_v2 if isinstance(image, TiffImagePlugin.TiffImageFile) else image.getexif()
    orientation = tags.get(ExifTags.Base.Orientation, 1)
    if orientation not in {0, 1}:
        raise TurnedPictureError(
            "the file asks for its picture to be turned or mirrored",
            where=name,
            was=f"EXIF orientation {orientation}",
            fix="export it upright, without that mark",
        )


_LOSSLESS_TIFF = frozenset({1, 2, 3, 4, 5, 8, 32773, 32946, 34925, 50000})
"""None, three fax codings, LZW, Deflate, PackBits, old Deflate, LZMA, Zstandard: tag 259, TIFF 6.0 and registered."""
_JPEG_TIFF = frozenset({6, 7})


def _tiff_is_lossy(image: TiffImagePlugin.TiffImageFile, content: bytes, name: str) -> bool:
    """Check what TIFF alone can hold; return whether its pixels are JPEG."""
    bits = image.tag_v2.get(258, (1,))
    if max(bits) > 8 or min(bits) < 1:
        raise PixelDepthError(
            "the picture has other than 8 bits a sample", where=name, was=f"{max(bits)} bits", fix="export it with 8"
        )
    compression = image.tag_v2.get(259, 1)
    if compression not in _LOSSLESS_TIFF | _JPEG_TIFF:
        raise MediaFormatError(
            "this compression inside TIFF is not read",
            where=name,
            was=f"compression {compression}",
            fix="write it as PNG, or as TIFF without compression",
        )
    tags = image.tag_v2
    offsets, lengths = (273, 279) if 273 in tags else (324, 325)
    ends = [start + length for start, length in zip(tags.get(offsets, ()), tags.get(lengths, ()), strict=False)]
    if ends and max(ends) > len(content):
        raise truncated(name, f"{len(content)} bytes of at least {max(ends)}")
    return compression in _JPEG_TIFF


def _notes_before_loading(image: Image.Image) -> tuple[str, ...]:
    notes = []
    if image.mode == "1" or _raw_mode(image) in {"L;2", "L;4"}:
        notes.append("Grey levels of fewer than 8 bits were spread evenly over 0 to 255.")
    if image.info.get("icc_profile"):
        notes.append("The colour profile in the file was not applied: pixel values are as stored.")
    return tuple(notes)


def _raw_mode(image: Image.Image) -> str:
    """Return how samples lie in the file, as Pillow names it, e.g. ``L;4``."""
    tiles = image.tile if isinstance(image, ImageFile.ImageFile) else []
    arguments = tiles[0].args if tiles else ""
    first = arguments[0] if isinstance(arguments, tuple) and arguments else arguments
    return first if isinstance(first, str) else ""


def _grey_or_rgb(image: Image.Image, name: str) -> tuple[Picture, tuple[str, ...]]:
    """Return the picture as (rows, columns) or (rows, columns, 3), and what was done to it."""
    notes: list[str] = []
    mode = image.mode
    if mode.startswith(("I", "F")):
        raise PixelDepthError(
            "the picture has other than 8 bits a sample", where=name, was=f"mode {mode}", fix="export it with 8 bits"
        )
    if mode not in {"1", "L", "LA", "P", "PA", "RGB", "RGBA", "RGBX"}:
        raise ColourModelError(
            "the picture is neither grey nor RGB", where=name, was=mode, fix="export it in grey or RGB"
        )
    if mode in {"LA", "PA", "RGBA"} or "transparency" in image.info:
        _refuse_transparency(image, name)
        notes.append("The opacity channel was left out: every pixel is opaque.")
    if mode in {"P", "PA"}:
        notes.append("Palette colours were written out for each pixel.")
    if mode in {"1", "L", "LA"}:
        return np.array(image.getchannel(0).convert("L"), dtype=np.uint8, order="C"), tuple(notes)
    rgb = np.array(image.convert("RGBA" if mode == "PA" else "RGB"), dtype=np.uint8, order="C")[..., :3]
    if is_neutral(rgb):
        notes.append("Three equal colour channels were kept as one grey channel.")
        return np.ascontiguousarray(rgb[..., 0]), tuple(notes)
    return np.ascontiguousarray(rgb), tuple(notes)


def _refuse_transparency(image: Image.Image, name: str) -> None:
    opacity = np.asarray(image.convert("RGBA").getchannel("A"))
    if opacity.min() < 255:
        share = float(np.mean(opacity < 255))
        raise TransparencyError(
            "the picture is transparent in places",
            where=name,
            was=f"{share:.1%} of its pixels",
            fix="export it without transparency",
        )


def is_neutral(rgb: Picture) -> bool:
    """Whether red, green and blue are equal in every pixel, so that one channel says it all."""
    return bool(np.array_equal(rgb[..., 0], rgb[..., 1]) and np.array_equal(rgb[..., 1], rgb[..., 2]))
