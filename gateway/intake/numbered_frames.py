"""Numbered stills that are the frames of one loop."""

from __future__ import annotations

import hashlib
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from gateway.errors.media import MediaChangedError
from gateway.intake.frame_survey import FrameSurvey, frame_of
from gateway.intake.media_file import read_still_bytes
from gateway.intake.stills import decode_still
from gateway.model.media import GreyWindow, PixelFacts


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
    window : GreyWindow or None
        By which grey of 16 bits becomes 8.
    """

    facts: PixelFacts
    paths: tuple[Path, ...]
    names: tuple[str, ...]
    digests: tuple[bytes, ...]
    window: GreyWindow | None = None

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
            yield frame_of(decode_still(content, name).picture, self.facts.colour, self.window)


def open_numbered(paths: Sequence[Path], name: str, grey_window: GreyWindow | None = None) -> NumberedFrames:
    """Open two or more stills as one loop.

    Raises
    ------
    MediaError
        As `gateway.intake.loops.open_loop`.
    """
    names = tuple(f"{name} (frame {number}: {path.name})" for number, path in enumerate(paths, start=1))
    digests: list[bytes] = []
    total_bytes = 0
    survey = FrameSurvey(grey_window)
    for path, shown in zip(paths, names, strict=True):
        content = read_still_bytes(path, shown)
        survey.look_at(decode_still(content, shown), shown)
        digests.append(hashlib.sha256(content).digest())
        total_bytes += len(content)
    sha256 = hashlib.sha256(b"".join(digests)).hexdigest()
    facts = survey.facts(name, sha256, total_bytes)
    return NumberedFrames(facts, tuple(paths), names, tuple(digests), survey.window)
