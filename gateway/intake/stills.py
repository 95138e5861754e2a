"""Stills: PNG, JPEG, TIFF, BMP and GIF become one grey or RGB picture, or an error that says why not."""

from __future__ import annotations

import hashlib
import io
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from gateway.errors.media import MediaKindError, PageMissingError, SeveralPicturesError
from gateway.intake.deep_grey import ensure_no_window, window_note, window_of, windowed
from gateway.intake.media_file import accepted_format, read_still_bytes
from gateway.intake.pictures import Contents, DecodedStill, opened_pictures
from gateway.model.media import FrameSource, GreyWindow, LossyStep, PixelFacts

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


def open_still(path: Path, *, name: str, page: int | None = None, grey_window: GreyWindow | None = None) -> FrameSource:
    """Open a still.

    Parameters
    ----------
    path : Path
    name : str
        Path as shown to people.
    page : int, optional
        Which picture of a file with several, from 1.
    grey_window : GreyWindow, optional
        How grey of 16 bits becomes 8; None for the least and greatest level of the picture.

    Returns
    -------
    FrameSource
        With one frame. Three equal channels become one grey channel, palettes are written out, an opacity channel that
        is opaque everywhere is left out, grey of 16 bits is brought to 8; each is told in ``facts.derivation``. A JPEG,
        also one inside a TIFF, carries a `LossyStep` with bytes of the picture over bytes of the file.

    Raises
    ------
    MediaError
        Its subclasses name the reason: missing, unreadable, another format, cut off, damaged, too large, other than 8
        or 16 bits, other colours, transparent, several pictures, to be turned, a window or page that does not apply.
    """
    content = read_still_bytes(path, name)
    still = decode_still(content, name, page)
    sha256 = hashlib.sha256(content).hexdigest()
    notes = still.derivation
    if still.is_deep:
        deep = still.picture.astype(np.uint16, copy=False)
        window = grey_window or window_of(deep)
        picture = windowed(deep, window)
        notes = (*notes, window_note(window, is_stated=grey_window is not None, sha256=sha256))
    else:
        ensure_no_window(grey_window, name)
        picture = still.picture.astype(np.uint8, copy=False)
    rows, columns = picture.shape[:2]
    facts = PixelFacts(
        rows=rows,
        columns=columns,
        colour=still.colour,
        source_sha256=sha256,
        lossy=LossyStep(JPEG_METHOD, picture.nbytes / len(content)) if still.is_lossy else None,
        derivation=notes,
        is_derived=still.is_deep,
    )
    picture.flags.writeable = False
    return StillSource(facts, picture)


def decode_still(content: bytes, name: str, page: int | None = None) -> DecodedStill:
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
    with opened_pictures(io.BytesIO(content), media_format, name) as pictures:
        index = _index_of(pictures.contents, page, name)
        still = pictures.decoded(index)
        count = len(pictures.contents.numbers)
        notes = pictures.contents.notes if count == 1 else (f"This is picture {page} of {count} in the file.",)
    return DecodedStill(still.picture, still.is_lossy, (*notes, *still.derivation))


def _index_of(contents: Contents, page: int | None, name: str) -> int:
    count = len(contents.numbers)
    if page is not None and not 1 <= page <= count:
        raise PageMissingError(
            "the file holds no such picture", where=name, was=f"{page} of {count}", fix=f"write at most {count}"
        )
    if page is None and count > 1:
        raise SeveralPicturesError(
            "this file holds several pictures",
            where=name,
            was=f"{count} frames" if contents.boxes else f"{count} pages",
            fix="name one with page, or write kind: loop where they are its frames",
        )
    return (page or 1) - 1
