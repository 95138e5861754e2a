"""Loops: one movie file, or numbered stills; and the part of a loop that is kept."""

from __future__ import annotations

import dataclasses
import hashlib
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import islice
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from gateway.errors.document import FrameError
from gateway.errors.media import FrameSizeError, MediaChangedError, MediaKindError
from gateway.intake.media_file import accepted_format, read_head, read_still_bytes
from gateway.intake.movies import open_movie
from gateway.intake.stills import JPEG_METHOD, decode_still
from gateway.model.media import ColourModel, FrameSource, LossyStep, PixelFacts


def open_loop(paths: Sequence[Path], *, name: str) -> FrameSource:
    """Open a loop: one AVI or MP4 file, or two or more stills that are its frames in order.

    Every frame is decoded once here, because nothing less tells that all are there; later readings decode again, with
    one frame in memory at a time.

    Parameters
    ----------
    paths : sequence of Path
    name : str
        Path as shown to people; of numbered stills, of their folder or the first.

    Returns
    -------
    FrameSource
        ``facts`` hold the frame count, the container's frame times, the constant rate where every frame keeps to it
        within half a millisecond (or one tick of a coarser clock), and what was done to the pixels.

    Raises
    ------
    MediaTruncatedError
        If the file is cut, with the number of frames that are whole and of those stated.
    MediaError
        Its other subclasses name the reason: missing, unreadable, another format or codec, damaged, frames of different
        sizes, an unknown range of grey, to be turned, a still instead of a loop.
    """
    if len(paths) > 1:
        return _open_numbered(paths, name)
    media_format = accepted_format(read_head(paths[0], name), name)
    if not media_format.is_movie:
        raise MediaKindError(
            "one still where a loop belongs",
            where=name,
            was=media_format.value,
            fix="write kind: still, or list every frame under files",
        )
    return open_movie(paths[0], media_format, name)


# ---------------------------------------------------------------- numbered stills


@dataclass(frozen=True, slots=True)
class NumberedFrames:
    """Stills that are the frames of one loop.

    Parameters
    ----------
    paths : tuple of Path
    names : tuple of str
        As shown to people, beside `paths`.
    digests : tuple of bytes
        SHA-256 of each file at opening; a frame that is another at a later reading is refused.
    """

    facts: PixelFacts
    paths: tuple[Path, ...]
    names: tuple[str, ...]
    digests: tuple[bytes, ...]

    def frames(self) -> Iterator[NDArray[np.uint8]]:
        """Yield each frame in order.

        Raises
        ------
        MediaChangedError
            If a file is not the one that was opened.
        MediaMissingError, MediaNotReadableError
            If it went away meanwhile.
        """
        for path, name, digest in zip(self.paths, self.names, self.digests, strict=True):
            content = read_still_bytes(path, name)
            if hashlib.sha256(content).digest() != digest:
                raise MediaChangedError(
                    "the file changed while the exam was read", where=name, fix="hand the exam over again"
                )
            picture = decode_still(content, name).picture
            if self.facts.colour is ColourModel.RGB and picture.ndim == 2:
                picture = np.repeat(picture[..., np.newaxis], 3, axis=2)
            yield picture


def _open_numbered(paths: Sequence[Path], name: str) -> NumberedFrames:
    names = tuple(f"{name} (frame {number}: {path.name})" for number, path in enumerate(paths, start=1))
    digests: list[bytes] = []
    notes: dict[str, None] = {}
    shapes: list[tuple[int, ...]] = []
    lossy_bytes = pixel_bytes = total_bytes = lossy_count = 0
    for path, shown in zip(paths, names, strict=True):
        content = read_still_bytes(path, shown)
        still = decode_still(content, shown)
        shapes.append(still.picture.shape)
        if still.picture.shape[:2] != shapes[0][:2]:
            raise _other_size(shown, shapes[0], still.picture.shape)
        digests.append(hashlib.sha256(content).digest())
        notes.update(dict.fromkeys(still.derivation))
        total_bytes += len(content)
        pixel_bytes += still.picture.nbytes
        lossy_count += still.is_lossy
        lossy_bytes += len(content) * still.is_lossy
    is_grey = all(len(shape) == 2 for shape in shapes)
    if not is_grey and any(len(shape) == 2 for shape in shapes):
        notes["Grey frames were given three equal channels, as other frames show colour."] = None
    if lossy_count and lossy_count != len(paths):
        notes[f"{lossy_count} of {len(paths)} frames came as JPEG."] = None
    facts = PixelFacts(
        rows=shapes[0][0],
        columns=shapes[0][1],
        colour=ColourModel.GREY if is_grey else ColourModel.RGB,
        source_sha256=hashlib.sha256(b"".join(digests)).hexdigest(),
        frame_count=len(paths),
        lossy=LossyStep(JPEG_METHOD, pixel_bytes / total_bytes) if lossy_count else None,
        derivation=tuple(notes),
    )
    return NumberedFrames(facts, tuple(paths), names, tuple(digests))


def _other_size(name: str, first: Sequence[int], other: Sequence[int]) -> FrameSizeError:
    return FrameSizeError(
        "the frames have different sizes",
        where=name,
        was=f"{other[1]} x {other[0]}, the first has {first[1]} x {first[0]}",
        fix="export frames of one size",
    )


# ---------------------------------------------------------------- the kept part


@dataclass(frozen=True, slots=True)
class TrimmedSource:
    """Consecutive frames of another source; the others are never handed on."""

    facts: PixelFacts
    source: FrameSource
    first: int
    last: int

    def frames(self) -> Iterator[NDArray[np.uint8]]:
        """Yield the kept frames in order."""
        yield from islice(self.source.frames(), self.first - 1, self.last)


def times_from_first(times_ms: Sequence[float]) -> tuple[float, ...]:
    """Return times counted from the first of them, without the dust that subtracting binary fractions leaves."""
    return tuple(round(time - times_ms[0], 9) for time in times_ms)


def trimmed(source: FrameSource, first: int, last: int) -> FrameSource:
    """Keep frames `first` to `last`, counted from 1, both included.

    Times are counted from the first kept frame; digest and lossy step stay those of the whole source.

    Raises
    ------
    FrameError
        If the source has no such frames.
    """
    facts = source.facts
    count = facts.frame_count
    if not 1 <= first <= last <= count:
        raise FrameError(
            "the kept frames are not in the loop",
            was=f"{first} to {last} of {count}",
            fix=f"write first and last between 1 and {count}",
        )
    if (first, last) == (1, count):
        return source
    times = facts.frame_times_ms
    kept_times = times_from_first(times[first - 1 : last]) if times else None
    note = f"Frames {first} to {last} of {count} were kept."
    kept = dataclasses.replace(
        facts, frame_count=last - first + 1, derivation=(*facts.derivation, note), frame_times_ms=kept_times
    )
    return TrimmedSource(kept, source, first, last)
