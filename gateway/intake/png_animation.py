"""The frames of an animated PNG (APNG), from its chunks (W3C Portable Network Graphics, third edition, 11.3.4)."""

from __future__ import annotations

from dataclasses import dataclass, field
from fractions import Fraction

from gateway.errors.media import MediaFormatError, PixelDepthError
from gateway.intake.frame_boxes import FrameBox, ensure_nothing_open
from gateway.intake.still_structure import damaged, png_chunks

_CLEAR, _TAKE_BACK, _OVER = 1, 2, 1
"""dispose_op of background and previous, blend_op of over."""
_HAS_OPACITY = 4
"""Bit of the colour type."""
_HUNDREDTHS = 100
"""Parts of a second where the file writes 0."""


@dataclass(frozen=True, slots=True)
class PngAnimation:
    """What the chunks of an animated PNG say.

    Parameters
    ----------
    has_extra_picture : bool
        Whether the picture for readers without animation is not one of the frames.
    """

    boxes: tuple[FrameBox, ...]
    has_extra_picture: bool


@dataclass(slots=True)
class _Chunks:
    """What is gathered while the chunks go by."""

    name: str
    stated: int | None = None
    columns: int = 0
    rows: int = 0
    depth: int = 8
    may_be_seethrough: bool = False
    has_extra_picture: bool = False
    sequence: int = 0
    boxes: list[FrameBox] = field(default_factory=list)

    def take(self, kind: bytes, payload: memoryview) -> None:
        if kind == b"IHDR":
            self.columns, self.rows = (int.from_bytes(payload[at : at + 4], "big") for at in (0, 4))
            self.depth, self.may_be_seethrough = payload[8], bool(payload[9] & _HAS_OPACITY)
        elif kind == b"tRNS":
            self.may_be_seethrough = True
        elif kind == b"acTL":
            if len(payload) != 8 or self.stated is not None:
                raise damaged(self.name, "an animation header of another length, or a second one")
            self.stated = int.from_bytes(payload[:4], "big")
        elif kind == b"IDAT":
            self.has_extra_picture = self.has_extra_picture or not self.boxes
        elif kind in {b"fcTL", b"fdAT"}:
            self._take_frame(kind, payload)

    def _take_frame(self, kind: bytes, payload: memoryview) -> None:
        if int.from_bytes(payload[:4], "big") != self.sequence:
            raise damaged(self.name, f"frame data out of order at number {self.sequence}")
        self.sequence += 1
        if kind == b"fcTL":
            self.boxes.append(self._box(payload))

    def _box(self, payload: memoryview) -> FrameBox:
        if len(payload) != 26:
            raise damaged(self.name, "a frame header of another length")
        columns, rows, left, top = (int.from_bytes(payload[at : at + 4], "big") for at in (4, 8, 12, 16))
        parts, whole = int.from_bytes(payload[20:22], "big"), int.from_bytes(payload[22:24], "big") or _HUNDREDTHS
        disposal, blend = payload[24], payload[25]
        if disposal > 2 or blend > 1:
            was = f"disposal {disposal}, blend {blend}"
            raise MediaFormatError("this animation is not read", where=self.name, was=was, fix="export it again")
        # What comes back after a frame that is taken back differs between decoders (Pillow 13 and FFmpeg 8).
        is_cleared = disposal in {_CLEAR, _TAKE_BACK}
        return FrameBox(
            left=left,
            top=top,
            right=left + columns,
            bottom=top + rows,
            is_seethrough=self.may_be_seethrough and blend == _OVER,
            is_cleared=is_cleared,
            is_taken_back=disposal == _TAKE_BACK,
            shown_s=Fraction(parts, whole),
        )


def png_animation(content: bytes, name: str) -> PngAnimation | None:
    """Return the frames of an animated PNG, None for a plain one.

    Raises
    ------
    MediaTruncatedError, MediaDamagedError, TransparencyError, PixelDepthError
    """
    chunks = _Chunks(name)
    for kind, payload in png_chunks(content, name):
        chunks.take(kind, payload)
    if chunks.stated is None:
        return None
    if chunks.depth == 16:
        raise PixelDepthError("the animation has 16 bits a sample", where=name, was="16 bits", fix="export 8 bits")
    if len(chunks.boxes) != chunks.stated or not chunks.boxes:
        raise damaged(name, f"{len(chunks.boxes)} of {chunks.stated} frames")
    ensure_nothing_open(chunks.boxes, chunks.columns, chunks.rows, name)
    return PngAnimation(tuple(chunks.boxes), chunks.has_extra_picture)
