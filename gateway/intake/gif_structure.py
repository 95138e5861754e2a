"""The blocks of a GIF, walked before any decoder sees it (CompuServe GIF89a specification, 1990)."""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction

from gateway.errors.media import MediaTruncatedError
from gateway.intake.frame_boxes import FrameBox, ensure_nothing_open
from gateway.intake.media_file import ensure_possible_size
from gateway.intake.still_structure import damaged, truncated

_EXTENSION, _IMAGE, _TRAILER = 0x21, 0x2C, 0x3B
_GRAPHIC_CONTROL = 0xF9
_CLEAR_TO_BACKGROUND, _RESTORE = 2, 3


@dataclass(frozen=True, slots=True)
class _Control:
    """A Graphic Control Extension: it speaks of the next image."""

    disposal: int = 0
    is_seethrough: bool = False
    shown_s: Fraction = Fraction(0)


class _Reader:
    """Bytes read one after another, or the error of a file that ends too early."""

    def __init__(self, content: bytes, name: str) -> None:
        self.content, self.name, self.position = content, name, 0

    def take(self, count: int) -> bytes:
        end = self.position + count
        if end > len(self.content):
            raise self.cut()
        found = self.content[self.position : end]
        self.position = end
        return found

    def cut(self) -> MediaTruncatedError:
        return truncated(self.name, f"{len(self.content)} bytes without the end mark")

    def byte(self) -> int:
        return self.take(1)[0]

    def number(self) -> int:
        return int.from_bytes(self.take(2), "little")

    def colours(self, flags: int) -> None:
        if flags & 0x80:
            self.take(3 << (flags & 7) + 1)

    def sub_blocks(self) -> bytes:
        """Skip a row of sub-blocks; return the first."""
        first = b""
        while length := self.byte():
            block = self.take(length)
            first = first or block
        return first


def gif_frames(content: bytes, name: str) -> tuple[FrameBox, ...]:
    """Return the frames of a GIF, whole to its end mark.

    Raises
    ------
    MediaTruncatedError, MediaDamagedError, MediaTooLargeError, TransparencyError
    """
    reader = _Reader(content, name)
    reader.take(6)
    columns, rows, flags = reader.number(), reader.number(), reader.byte()
    if not columns or not rows:
        raise damaged(name, f"a size of {columns} x {rows}")
    ensure_possible_size(columns, rows, name)
    reader.take(2)
    reader.colours(flags)
    boxes: list[FrameBox] = []
    control, disposal_before = _Control(), 0
    while (kind := reader.byte()) != _TRAILER:
        if kind == _EXTENSION:
            control = _extension(reader, control)
        elif kind == _IMAGE:
            boxes.append(_image(reader, control, disposal_before if boxes else None))
            # Some readers let a frame without disposal of its own take over the one before; others do not.
            disposal_before = control.disposal or disposal_before
            control = _Control()
        else:
            raise damaged(name, f"a block of kind {kind:02x} at byte {reader.position - 1}")
    if not boxes:
        raise damaged(name, "a GIF without a picture")
    ensure_nothing_open(boxes, columns, rows, name)
    return tuple(boxes)


def _extension(reader: _Reader, control: _Control) -> _Control:
    label, block = reader.byte(), reader.sub_blocks()
    if label != _GRAPHIC_CONTROL:
        return control
    if len(block) < 4:
        raise damaged(reader.name, "a graphic control of fewer than 4 bytes")
    hundredths = int.from_bytes(block[1:3], "little")
    return _Control(block[0] >> 2 & 7, bool(block[0] & 1), Fraction(hundredths, 100))


def _image(reader: _Reader, control: _Control, disposal_before: int | None) -> FrameBox:
    """Return the frame at this place; `disposal_before` is None for the first, before which there is nothing."""
    left, top, columns, rows = (reader.number() for _ in range(4))
    reader.colours(reader.byte())
    reader.byte()  # the width of codes; decoders judge it
    reader.sub_blocks()
    stated = control.disposal
    is_disputed = not stated and disposal_before in {_CLEAR_TO_BACKGROUND, _RESTORE}
    is_cleared = stated == _CLEAR_TO_BACKGROUND or is_disputed or (stated == _RESTORE and disposal_before is None)
    return FrameBox(
        left=left,
        top=top,
        right=left + columns,
        bottom=top + rows,
        is_seethrough=control.is_seethrough,
        is_cleared=is_cleared,
        is_taken_back=stated == _RESTORE or is_disputed,
        shown_s=control.shown_s,
    )
