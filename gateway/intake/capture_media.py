"""The media of one capture, opened as the capture says: still or loop, page, window of grey, admitted gaps."""

from __future__ import annotations

import dataclasses
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from gateway.intake.dicom_objects import is_dicom_file, open_dicom_object
from gateway.intake.loops import open_loop
from gateway.intake.scan_lines import open_scan_lines
from gateway.intake.stills import open_still
from gateway.model.capture import Capture, CaptureKind
from gateway.model.media import FrameSource, PixelFacts


@dataclass(frozen=True, slots=True)
class NotedSource:
    """Another source with more known of it."""

    facts: PixelFacts
    source: FrameSource

    def frames(self) -> Iterator[NDArray[np.uint8]]:
        """Yield the frames of the other source."""
        yield from self.source.frames()


def open_capture_media(capture: Capture, files: Sequence[Path], *, name: str) -> FrameSource:
    """Open the media of a capture.

    Parameters
    ----------
    files : sequence of Path
        Where the capture's files lie.
    name : str
        Path as shown to people.

    Raises
    ------
    MediaError
        As `gateway.intake.scan_lines.open_scan_lines`, `gateway.intake.stills.open_still`,
        `gateway.intake.loops.open_loop` and `gateway.intake.dicom_objects.open_dicom_object`.
    """
    if capture.scan_lines:
        return open_scan_lines(files[0], capture, capture.scan_lines, name=name)
    if len(files) == 1 and is_dicom_file(files[0], name):
        return open_dicom_object(files[0], capture.kind, name=name)
    if capture.kind is CaptureKind.STILL:
        return open_still(files[0], name=name, page=capture.page, grey_window=capture.grey_window)
    source = open_loop(files, name=name, grey_window=capture.grey_window)
    if not capture.missing_frames:
        return source
    note = f"Missing in the source, their times kept: frames {_runs(capture.missing_frames)}."
    return NotedSource(dataclasses.replace(source.facts, derivation=(*source.facts.derivation, note)), source)


def _runs(numbers: Sequence[int]) -> str:
    """Return sorted numbers in words, e.g. ``3, 7 to 9``."""
    runs: list[list[int]] = []
    for number in numbers:
        if runs and number == runs[-1][-1] + 1:
            runs[-1][1:] = [number]
        else:
            runs.append([number])
    return ", ".join(" to ".join(map(str, run)) for run in runs)
