"""Loops in one file of pictures: a TIFF of several pages, an animated GIF or an animated PNG."""

from __future__ import annotations

import dataclasses
import io
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import BinaryIO

import numpy as np
from numpy.typing import NDArray

from gateway.errors.media import MediaDamagedError, MediaKindError, MediaNotReadableError
from gateway.intake.frame_boxes import clock_of
from gateway.intake.frame_survey import FrameSurvey, frame_of
from gateway.intake.media_file import (
    FileStamp,
    MediaFormat,
    digest_of,
    ensure_same_file,
    read_still_bytes,
    stamp_of,
)
from gateway.intake.pictures import Contents, opened_pictures
from gateway.model.media import GreyWindow, PixelFacts


@dataclass(frozen=True, slots=True)
class PictureLoop:
    """A file of pictures on disk whose frames are decoded anew at each reading."""

    facts: PixelFacts
    path: Path
    name: str
    media_format: MediaFormat
    stamp: FileStamp
    window: GreyWindow | None = None

    def frames(self) -> Iterator[NDArray[np.uint8]]:
        """Yield each frame in order.

        Raises
        ------
        MediaChangedError
            If the file is not the one that was opened.
        MediaDamagedError
            If it gives another number of frames.
        """
        ensure_same_file(self.path, self.name, self.stamp)
        count = 0
        with (
            _content(self.path, self.media_format, self.name) as file,
            opened_pictures(file, self.media_format, self.name) as pictures,
        ):
            for still in pictures:
                count += 1
                yield frame_of(still.picture, self.facts.colour, self.window)
        if count != self.facts.frame_count:
            raise MediaDamagedError(
                "the loop gives another number of frames than at opening",
                where=self.name,
                was=f"{count} instead of {self.facts.frame_count}",
                fix="hand the exam over again",
            )


def open_picture_loop(
    path: Path, media_format: MediaFormat, name: str, grey_window: GreyWindow | None = None
) -> PictureLoop:
    """Open a file of several pictures as a loop, and look at every frame once.

    Raises
    ------
    MediaKindError
        If it holds one picture.
    MediaError
        As `gateway.intake.loops.open_loop`.
    """
    stamp = stamp_of(path, name)
    survey = FrameSurvey(grey_window)
    with _content(path, media_format, name) as file, opened_pictures(file, media_format, name) as pictures:
        contents = pictures.contents
        if len(contents.numbers) < 2:
            raise MediaKindError(
                "one still where a loop belongs",
                where=name,
                was=media_format.value,
                fix="write kind: still, or list every frame under files",
            )
        survey.notes.update(dict.fromkeys(contents.notes))
        for number, still in enumerate(pictures, start=1):
            survey.look_at(still, f"{name} (frame {number})")
    facts = _with_times(survey.facts(name, digest_of(path, name), stamp.size), contents)
    ensure_same_file(path, name, stamp)
    return PictureLoop(facts, path, name, media_format, stamp, survey.window)


@contextmanager
def _content(path: Path, media_format: MediaFormat, name: str) -> Iterator[BinaryIO]:
    """Give a TIFF, which may be large, page by page, and anything else whole."""
    if media_format is not MediaFormat.TIFF:
        yield io.BytesIO(read_still_bytes(path, name))
        return
    try:
        file = path.open("rb")
    except OSError as error:
        raise MediaNotReadableError("the file cannot be read", where=name, fix="check its permissions") from error
    with file:
        yield file


def _with_times(facts: PixelFacts, contents: Contents) -> PixelFacts:
    if not contents.boxes:
        return facts
    clock = clock_of(contents.boxes)
    notes = (*facts.derivation, *((clock.note,) if clock.note else ()))
    return dataclasses.replace(facts, derivation=notes, frame_times_ms=clock.times_ms, frame_rate_hz=clock.rate_hz)
