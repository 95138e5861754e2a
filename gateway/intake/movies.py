"""Movies: AVI and MP4 files, surveyed once at opening, then read one frame at a time.

The survey decodes every frame once. Nothing less tells that all of them are there, that all can be decoded, and that
none shows colour.
"""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from itertools import pairwise, repeat
from pathlib import Path
from typing import TYPE_CHECKING, cast

import av
import numpy as np
from av.container import InputContainer
from av.packet import Packet
from av.sidedata.sidedata import Type as SideDataType
from av.video.frame import VideoFrame
from av.video.stream import VideoStream
from numpy.typing import NDArray

from gateway.errors.media import (
    CodecError,
    FrameSizeError,
    GreyRangeError,
    MediaDamagedError,
    MediaError,
    MediaTruncatedError,
    SeveralPicturesError,
    TurnedPictureError,
)
from gateway.intake.container import count_empty_avi_frames, shortfall_of
from gateway.intake.frame_times import FrameClock, frame_clock
from gateway.intake.media_file import (
    FileStamp,
    MediaFormat,
    digest_of,
    ensure_possible_size,
    ensure_same_file,
    stamp_of,
)
from gateway.intake.video_levels import (
    Levels,
    chroma_deviation,
    derivation_of,
    is_grey,
    levels_of,
    picture_of,
    range_of,
)
from gateway.model.media import ColourModel, LossyStep, PixelFacts

if TYPE_CHECKING:
    from av.sidedata.sidedata import SideDataContainer

_TAKEN_CODECS = {
    MediaFormat.AVI: frozenset({"rawvideo", "mjpeg", "ffv1"}),
    MediaFormat.MP4: frozenset({"h264", "mjpeg"}),
}
_LOSSY_METHODS = {"mjpeg": "ISO_10918_1", "h264": "ISO_14496_10"}
"""Defined terms of Lossy Image Compression Method (PS3.3 C.7.6.1.1.5.1)."""
_IDENTITY_MATRIX = np.array([[1 << 16, 0, 0], [0, 1 << 16, 0], [0, 0, 1 << 30]], dtype="<i4")
"""A display matrix that changes nothing, in the fixed-point form of ISO/IEC 14496-12, 8.2.2."""


@dataclass(frozen=True, slots=True)
class MovieSource:
    """A movie on disk whose frames are decoded anew at each reading."""

    facts: PixelFacts
    path: Path
    name: str
    media_format: MediaFormat
    stamp: FileStamp
    levels: Levels
    times_shown: tuple[int, ...] | None = None
    """How often each decoded frame is shown, where the file has empty frames that repeat the one before."""

    def frames(self) -> Iterator[NDArray[np.uint8]]:
        """Yield each frame in the order shown.

        Raises
        ------
        MediaChangedError
            If the file is not the one that was opened.
        MediaDamagedError
            If it can no longer be decoded as at opening.
        """
        ensure_same_file(self.path, self.name, self.stamp)
        count = decoded = 0
        with _opened(self.path, self.media_format, self.name) as container:
            stream = container.streams.video[0]
            for _packet, frames in _decoded(container, stream, self.name):
                for frame in frames:
                    picture = picture_of(frame, self.levels, self.facts.colour)
                    shown = self.times_shown[decoded] if self.times_shown else 1
                    decoded += 1
                    count += shown
                    yield from repeat(picture, shown)
        if count != self.facts.frame_count:
            raise MediaDamagedError(
                "the loop gives another number of frames than at opening",
                where=self.name,
                was=f"{count} instead of {self.facts.frame_count}",
                fix="hand the exam over again",
            )


def open_movie(path: Path, media_format: MediaFormat, name: str) -> MovieSource:
    """Open an AVI or MP4 file and look at every frame once.

    Raises
    ------
    MediaError
        As `gateway.intake.loops.open_loop`.
    """
    stamp = stamp_of(path, name)
    shortfall = shortfall_of(path, media_format, name)
    try:
        with _opened(path, media_format, name) as container:
            if shortfall:
                raise _cut(name, *_whole_of_stated(container), shortfall.words)
            stream = _only_movie(container, media_format, name)
            survey = _surveyed(container, stream, name)
            _complete(survey, stream.frames, media_format, path, name)
            clock = frame_clock(survey.ticks, stream.time_base, (stream.average_rate, stream.base_rate))
            notes = (*survey.notes, *_notes_of(container, stream), *((clock.note,) if clock.note else ()))
    except MediaDamagedError as error:
        if shortfall:
            raise _cut(name, 0, 0, shortfall.words) from error
        raise
    facts = _facts(survey, clock, notes, digest_of(path, name))
    ensure_same_file(path, name, stamp)
    return MovieSource(facts, path, name, media_format, stamp, survey.levels, survey.times_shown)


def _facts(survey: _Survey, clock: FrameClock, notes: tuple[str, ...], sha256: str) -> PixelFacts:
    levels, colour = survey.levels, survey.colour
    columns, rows = survey.size
    samples = columns * rows * (1 if colour is ColourModel.GREY else 3) * len(survey.ticks)
    method = _LOSSY_METHODS.get(survey.codec)
    return PixelFacts(
        rows=rows,
        columns=columns,
        colour=colour,
        source_sha256=sha256,
        frame_count=len(survey.ticks),
        lossy=LossyStep(method, samples / survey.packet_bytes) if method else None,
        derivation=(*derivation_of(levels, colour, survey.chroma_deviation), *notes),
        frame_times_ms=clock.times_ms,
        frame_rate_hz=clock.rate_hz,
    )


# ---------------------------------------------------------------- reading


@contextmanager
def _opened(path: Path, media_format: MediaFormat, name: str) -> Iterator[InputContainer]:
    """Open with the demuxer that the content asked for, and no way to other files."""
    try:
        container = av.open(
            f"file:{path.resolve()}", format=media_format.value.lower(), options={"protocol_whitelist": "file"}
        )
    except (av.error.FFmpegError, ValueError) as error:
        raise MediaDamagedError(
            "the loop cannot be opened", where=name, was=_reason(error), fix="copy or export the file again"
        ) from error
    with container:
        yield container


def _reason(error: Exception) -> str:
    text = error.strerror if isinstance(error, av.error.FFmpegError) else str(error)
    return (text or type(error).__name__).lower()[:80]


def _only_movie(container: InputContainer, media_format: MediaFormat, name: str) -> VideoStream:
    streams = container.streams.video
    if not streams:
        raise CodecError("the file holds no movie", where=name, fix="export the loop again")
    if len(streams) > 1:
        raise SeveralPicturesError(
            "the file holds several movies", where=name, was=f"{len(streams)} tracks", fix="export one track alone"
        )
    stream = streams[0]
    # A track whose codec libav does not know has no codec context at all.
    codec = getattr(stream.codec_context, "name", "an unknown codec")
    if codec not in _TAKEN_CODECS[media_format]:
        taken = ", ".join(sorted(_TAKEN_CODECS[media_format]))
        raise CodecError(
            f"this encoding is not read in {media_format.value}", where=name, was=codec, fix=f"export it as {taken}"
        )
    ensure_possible_size(stream.codec_context.width, stream.codec_context.height, name)
    return stream


def _whole_of_stated(container: InputContainer) -> tuple[int, int]:
    """Return how many frames are there in full, without decoding, and how many the file states."""
    whole = 0
    if not container.streams.video:
        return 0, 0
    stream = container.streams.video[0]
    try:
        for packet in container.demux(stream):
            if packet.is_corrupt:
                break
            whole += packet.size > 0
    except (av.error.FFmpegError, ValueError):
        return whole, stream.frames
    return whole, stream.frames


def _cut(name: str, whole: int, stated: int, words: str) -> MediaTruncatedError:
    frames = f"{whole} whole frames of {stated}" if stated else f"{whole} whole frames of an unknown number"
    return MediaTruncatedError(
        "the loop is cut off", where=name, was=f"{frames} ({words})" if words else frames, fix="copy the file again"
    )


def _decoded(
    container: InputContainer, stream: VideoStream, name: str
) -> Iterator[tuple[Packet[VideoStream], list[VideoFrame]]]:
    """Yield each packet with the frames that it completes; stop at the first fault instead of covering it up."""
    stream.thread_type = "AUTO"
    stream.codec_context.options = {"err_detect": "explode"}
    whole = 0
    try:
        for packet in container.demux(stream):
            if packet.is_corrupt:
                raise _cut(name, whole, stream.frames, "")
            frames = packet.decode()
            whole += packet.size > 0
            if any(frame.is_corrupt for frame in frames):
                raise _undecodable(name, whole, "a frame that was patched up")
            yield packet, frames
    except MediaError:
        raise
    except (av.error.FFmpegError, ValueError) as error:
        raise _undecodable(name, whole + 1, _reason(error)) from error


def _undecodable(name: str, number: int, reason: str) -> MediaDamagedError:
    return MediaDamagedError(
        "the loop cannot be decoded", where=name, was=f"{reason}, about frame {number}", fix="copy or export it again"
    )


# ---------------------------------------------------------------- survey


@dataclass(slots=True)
class _Survey:
    """What is gathered while every frame is looked at once."""

    levels: Levels
    codec: str
    size: tuple[int, int]
    colour: ColourModel = ColourModel.GREY
    chroma_deviation: int = 0
    packet_bytes: int = 0
    packets: int = 0
    ticks: list[int | None] = field(default_factory=list)
    times_shown: tuple[int, ...] | None = None
    notes: tuple[str, ...] = ()

    def look_at(self, frame: VideoFrame, name: str) -> None:
        """Take one frame in, or refuse the loop."""
        if (frame.width, frame.height) != self.size:
            raise FrameSizeError(
                "the frames have different sizes",
                where=name,
                was=f"{self.size[0]} x {self.size[1]}, then {frame.width} x {frame.height} at {len(self.ticks) + 1}",
                fix="export frames of one size",
            )
        if levels_of(frame, self.codec, name) != self.levels:
            raise GreyRangeError(
                "the layout or range of grey changes within the loop",
                where=name,
                was=f"{frame.format.name}, range {range_of(frame).name.lower()} at frame {len(self.ticks) + 1}",
                fix="export the loop again",
            )
        if self.colour is ColourModel.GREY:
            if not is_grey(frame, self.levels):
                self.colour = ColourModel.RGB
            elif self.levels.has_chroma:
                self.chroma_deviation = max(self.chroma_deviation, chroma_deviation(frame))
        self.ticks.append(frame.pts)


def _surveyed(container: InputContainer, stream: VideoStream, name: str) -> _Survey:
    survey: _Survey | None = None
    packet_bytes = packets = hidden = 0
    for packet, frames in _decoded(container, stream, name):
        packet_bytes += packet.size
        packets += packet.size > 0
        hidden += packet.is_discard
        for frame in frames:
            if survey is None:
                codec = stream.codec_context.name
                survey = _Survey(levels_of(frame, codec, name), codec, (frame.width, frame.height))
                _refuse_turning(frame, name)
            survey.look_at(frame, name)
    if survey is None and packets < stream.frames:
        raise _cut(name, packets, stream.frames, "")
    if survey is None:
        raise MediaDamagedError("the loop holds no frame", where=name, fix="export it again")
    if len(survey.ticks) != packets - hidden:
        raise _undecodable(name, len(survey.ticks) + 1, f"{len(survey.ticks)} of {packets - hidden} frames came out")
    survey.packet_bytes, survey.packets = packet_bytes, packets
    return survey


def _complete(survey: _Survey, stated: int, media_format: MediaFormat, path: Path, name: str) -> None:
    """Hold the frames that came out against the number stated in the file; show frames again where it asks for that."""
    missing = stated - survey.packets
    if missing <= 0:
        return
    if media_format is not MediaFormat.AVI or count_empty_avi_frames(path) != missing:
        raise _cut(name, survey.packets, stated, "")
    places = [tick for tick in survey.ticks if tick is not None]
    if len(places) != len(survey.ticks) or places[0] != 0:
        raise _undecodable(name, 1, "an empty frame with none before it")
    survey.times_shown = tuple(after - before for before, after in pairwise([*places, stated]))
    survey.ticks = list(range(stated))
    survey.notes = (f"{missing} empty frames of the file repeat the frame before them, as it asks.",)


def _refuse_turning(frame: VideoFrame, name: str) -> None:
    try:
        # PyAV's stub of this attribute knows one key only.
        matrix = cast("SideDataContainer", frame.side_data)[SideDataType.DISPLAYMATRIX]
    except KeyError:
        return
    found = np.frombuffer(memoryview(matrix), dtype="<i4").reshape(3, 3)
    if not np.array_equal(found[:2, :2], _IDENTITY_MATRIX[:2, :2]):
        raise TurnedPictureError(
            "the file asks for its frames to be turned or mirrored",
            where=name,
            was=f"a display matrix for {frame.rotation} degrees",
            fix="export it upright, without that mark",
        )


def _notes_of(container: InputContainer, stream: VideoStream) -> tuple[str, ...]:
    """Tell what of the file was left out or not applied."""
    notes = [
        f"A track of kind {other.type} in the file was left out."
        for other in container.streams
        if other.index != stream.index
    ]
    aspect = stream.sample_aspect_ratio
    if aspect and aspect != 1:
        notes.append(f"The file states pixels of aspect {aspect.numerator}:{aspect.denominator}; they are as stored.")
    return tuple(notes)
