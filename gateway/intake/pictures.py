"""The pictures of one file: PNG, JPEG, TIFF, BMP and GIF, each decoded to grey or RGB or refused with the reason."""

from __future__ import annotations

import io
import warnings
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from typing import BinaryIO

import numpy as np
from numpy.typing import NDArray
from PIL import ExifTags, Image, ImageFile, TiffImagePlugin, UnidentifiedImageError

from gateway.errors import GatewayError
from gateway.errors.media import (
    MediaFormatError,
    MediaTooLargeError,
    PixelDepthError,
    SeveralPicturesError,
    TurnedPictureError,
)
from gateway.intake.frame_boxes import FrameBox
from gateway.intake.gif_structure import gif_frames
from gateway.intake.media_file import MediaFormat, ensure_possible_size
from gateway.intake.picture_colours import grey_or_rgb
from gateway.intake.png_animation import png_animation
from gateway.intake.still_structure import damaged, ensure_whole, truncated
from gateway.intake.tiff_pages import tiff_pages
from gateway.model.media import ColourModel

ReadPicture = NDArray[np.uint8] | NDArray[np.uint16]


@dataclass(frozen=True, slots=True)
class DecodedStill:
    """A picture and how it came to be, before facts are made of it.

    Parameters
    ----------
    picture : ndarray
        (rows, columns) for grey, of uint16 where the file has 16 bits; (rows, columns, 3) of uint8 for RGB.
    is_lossy : bool
        Whether the file holds it in JPEG compression.
    derivation : tuple of str
    """

    picture: ReadPicture
    is_lossy: bool
    derivation: tuple[str, ...]

    @property
    def colour(self) -> ColourModel:
        """Grey or RGB, by the shape of the picture."""
        return ColourModel.GREY if self.picture.ndim == 2 else ColourModel.RGB

    @property
    def is_deep(self) -> bool:
        """Whether samples have 16 bits."""
        return self.picture.dtype == np.uint16


@dataclass(frozen=True, slots=True)
class Contents:
    """Which pictures a file holds.

    Parameters
    ----------
    numbers : tuple of int
        Pillow's numbers of the pictures, in order.
    boxes : tuple of FrameBox
        Beside `numbers` where the file is an animation; empty otherwise.
    notes : tuple of str
        What was left out.
    """

    numbers: tuple[int, ...]
    boxes: tuple[FrameBox, ...] = ()
    notes: tuple[str, ...] = ()


def contents_of(file: BinaryIO, media_format: MediaFormat, name: str) -> Contents:
    """Walk the file's own structure and return its pictures; nothing is decoded.

    Raises
    ------
    MediaError
        If the file is cut, damaged, too large, or of a variant that is not read.
    """
    if media_format is MediaFormat.TIFF:
        pages = tiff_pages(file, name)
        left_out = sum(not page.is_picture for page in pages)
        notes = (f"{left_out} reduced pictures or masks in the file were left out.",) if left_out else ()
        return Contents(tuple(page.number for page in pages if page.is_picture), notes=notes)
    file.seek(0)
    content = file.read()
    if media_format is MediaFormat.GIF:
        boxes = gif_frames(content, name)
        return Contents(tuple(range(len(boxes))), boxes)
    ensure_whole(content, media_format, name)
    animation = png_animation(content, name) if media_format is MediaFormat.PNG and b"acTL" in content else None
    if animation is None:
        return Contents((0,))
    first = int(animation.has_extra_picture)
    notes = ("The picture for readers without animation is not a frame and was left out.",) if first else ()
    return Contents(tuple(range(first, first + len(animation.boxes))), animation.boxes, notes)


@dataclass(frozen=True, slots=True)
class PictureFile:
    """An open file of pictures."""

    image: Image.Image
    contents: Contents
    media_format: MediaFormat
    size_bytes: int
    name: str

    def decoded(self, index: int) -> DecodedStill:
        """Decode one picture; `index` counts `contents.numbers` from 0. Reading them in order is quickest.

        Raises
        ------
        MediaError
        """
        with _errors_of_pillow(self.name, self.size_bytes):
            if len(self.contents.numbers) > 1:
                self.image.seek(self.contents.numbers[index])
            return _decoded(self.image, self.media_format, self.name)

    def __iter__(self) -> Iterator[DecodedStill]:
        return (self.decoded(index) for index in range(len(self.contents.numbers)))


@contextmanager
def opened_pictures(file: BinaryIO, media_format: MediaFormat, name: str) -> Iterator[PictureFile]:
    """Open a file of pictures.

    Raises
    ------
    MediaError
        As `contents_of`, and where Pillow cannot open it.
    """
    contents = contents_of(file, media_format, name)
    size_bytes = file.seek(0, io.SEEK_END)
    file.seek(0)
    with _errors_of_pillow(name, size_bytes):
        image = Image.open(file, formats=[media_format.value])
    with image:
        count = 1 if media_format.may_hold_several else getattr(image, "n_frames", 1)
        if count > 1:
            raise SeveralPicturesError(
                "this file holds several pictures", where=name, was=f"{count} pictures", fix="export one alone"
            )
        yield PictureFile(image, contents, media_format, size_bytes, name)


@contextmanager
def _errors_of_pillow(name: str, size_bytes: int) -> Iterator[None]:
    # Pillow warns of odd metadata, which carries no pixels; a bomb it must refuse.
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        warnings.simplefilter("error", Image.DecompressionBombWarning)
        try:
            yield
        except GatewayError:
            raise
        except (Image.DecompressionBombError, Image.DecompressionBombWarning) as error:
            raise MediaTooLargeError("the picture is too large", where=name, fix="check the file") from error
        except Exception as error:
            # Pillow's readers raise many types on bytes from outside; whatever it is, there is no picture.
            if "truncated" in str(error).lower():
                raise truncated(name, f"{size_bytes} bytes that end too early") from error
            unknown = isinstance(error, UnidentifiedImageError)
            raise damaged(name, "a header that cannot be read" if unknown else _reason(error)) from error


def _reason(error: Exception) -> str:
    return str(error)[:80].lower() or type(error).__name__


def _decoded(image: Image.Image, media_format: MediaFormat, name: str) -> DecodedStill:
    ensure_possible_size(*image.size, name)
    # Asking a PNG for its EXIF loads it, and how samples lay in the file is forgotten then.
    notes = _notes_before_loading(image)
    _refuse_turning(image, name)
    is_lossy = media_format is MediaFormat.JPEG
    if isinstance(image, TiffImagePlugin.TiffImageFile):
        is_lossy = _tiff_is_lossy(image, name)
    image.load()
    _refuse_turning(image, name)
    picture, more = grey_or_rgb(image, name)
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


def _tiff_is_lossy(image: TiffImagePlugin.TiffImageFile, name: str) -> bool:
    """Check what TIFF alone can hold; return whether its pixels are JPEG."""
    tags = image.tag_v2
    bits = tags.get(258, (1,))
    if (max(bits) > 8 or min(bits) < 1) and not _is_deep_grey(image):
        raise PixelDepthError(
            "the picture has other than 8 bits a sample", where=name, was=f"{max(bits)} bits", fix="export it with 8"
        )
    compression = tags.get(259, 1)
    if compression not in _LOSSLESS_TIFF | _JPEG_TIFF:
        raise MediaFormatError(
            "this compression inside TIFF is not read",
            where=name,
            was=f"compression {compression}",
            fix="write it as PNG, or as TIFF without compression",
        )
    return compression in _JPEG_TIFF


_UNSIGNED = 1
_BLACK_IS_ZERO = 1


def _is_deep_grey(image: TiffImagePlugin.TiffImageFile) -> bool:
    """Whether samples are 16-bit whole numbers without sign, black at 0, one a pixel."""
    tags = image.tag_v2
    return (
        tuple(tags.get(258, ())) == (16,)
        and tuple(tags.get(339, (_UNSIGNED,))) == (_UNSIGNED,)
        and tags.get(262) == _BLACK_IS_ZERO
        and tags.get(277, 1) == 1
    )


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
