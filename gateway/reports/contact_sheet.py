"""All captures of an exam on one picture: right eye in the left half, left eye in the right half."""

from __future__ import annotations

import io
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from functools import cache
from typing import Final

from PIL import Image, ImageDraw, ImageFont

from gateway.reports.characters import CJK, FONTS_FOLDER, SANS, SANS_BOLD, can_draw, runs
from gateway.reports.content import CaptureCard, EyeSection, Report

TILE_WIDTH: Final = 300
PICTURE_HEIGHT: Final = 225
MARGIN: Final = 32
GUTTER: Final = 16
MIDDLE: Final = 56
"""Free space between the two eyes."""
HEADER_HEIGHT: Final = 112
CAPTION_LINES: Final = 4
LINE_HEIGHT: Final = 20
TILE_HEIGHT: Final = PICTURE_HEIGHT + 10 + CAPTION_LINES * LINE_HEIGHT + 14

_INK: Final = 25
_SOFT: Final = 95
_HAIR: Final = 190
_PAPER: Final = 255
_REGULAR: Final = (SANS, CJK)
_BOLD: Final = (SANS_BOLD, CJK)
"""Scripts whose letters stand side by side; joined scripts are named instead of being drawn wrongly."""


@dataclass(frozen=True, slots=True)
class Layout:
    """Where everything stands, in pixels.

    Parameters
    ----------
    columns : int
        Of each eye.
    rows : int
    """

    columns: int
    rows: int

    @property
    def half_width(self) -> int:
        """Width of one eye's tiles."""
        return self.columns * TILE_WIDTH + (self.columns - 1) * GUTTER

    @property
    def size(self) -> tuple[int, int]:
        """Width and height of the sheet."""
        return 2 * MARGIN + 2 * self.half_width + MIDDLE, HEADER_HEIGHT + self.rows * TILE_HEIGHT + MARGIN

    def left_of(self, half: int) -> int:
        """Return where a half begins: 0 for the right eye, 1 for the left eye."""
        return MARGIN + half * (self.half_width + MIDDLE)

    def tile(self, half: int, place: int) -> tuple[int, int]:
        """Return the top-left corner of the tile at a place of one half, row by row."""
        row, column = divmod(place, self.columns)
        return self.left_of(half) + column * (TILE_WIDTH + GUTTER), HEADER_HEIGHT + row * TILE_HEIGHT


def layout_for(report: Report) -> Layout:
    """Choose columns so that the sheet stays near the shape of a screen."""
    most = max(len(section.captures) for section in report.eyes)
    columns = 1 if most <= 1 else 2 if most <= 8 else 3 if most <= 18 else 4
    return Layout(columns, max(1, -(-most // columns)))


def render_contact_sheet(report: Report) -> bytes:
    """Draw the sheet as PNG; the same report gives the same bytes."""
    layout = layout_for(report)
    sheet = Image.new("L", layout.size, _PAPER)
    draw = ImageDraw.Draw(sheet)
    _draw_header(draw, report, layout)
    for half, section in enumerate(report.eyes):
        _draw_half(sheet, section, layout, half)
    stream = io.BytesIO()
    sheet.save(stream, "PNG", optimize=True)
    return stream.getvalue()


def _draw_header(draw: ImageDraw.ImageDraw, report: Report, layout: Layout) -> None:
    width = layout.size[0]
    mark = "INVENTED DATA" if report.invented else ""
    mark_width = _width(mark, _BOLD, 20)
    title = f"{report.exam_key}   {report.created:%Y-%m-%d %H:%M}"
    _write(draw, (MARGIN, 22), next(_lines(title, _BOLD, 20, width - 3 * MARGIN - int(mark_width)), ""), _BOLD, 20)
    _write(draw, (width - MARGIN - mark_width, 22), mark, _BOLD, 20)
    draw.line((MARGIN, 60, width - MARGIN, 60), fill=_HAIR)
    for half, section in enumerate(report.eyes):
        _write(draw, (layout.left_of(half), 66), section.words, _BOLD, 18)
        judged = "; ".join(_judged(section))
        _write(draw, (layout.left_of(half), 89), _fitting(judged, 13, layout.half_width), _REGULAR, 13, _SOFT)


def _judged(section: EyeSection) -> Iterator[str]:
    for row in section.coverage.judgements:
        subject = f"{row.subject}: " if row.subject else ""
        missing = f", {len(row.missing)} missing" if row.missing else ""
        yield f"{subject}{row.verdict} by {row.rules}{missing}"


def _fitting(text: str, size: int, width: int) -> str:
    return text if _width(text, _REGULAR, size) <= width else _shortened(text, _REGULAR, size, width)


def _draw_half(sheet: Image.Image, section: EyeSection, layout: Layout, half: int) -> None:
    draw = ImageDraw.Draw(sheet)
    if section.nothing:
        x, y = layout.tile(half, 0)
        for number, line in enumerate(_lines(section.nothing, _REGULAR, 15, TILE_WIDTH)):
            _write(draw, (x, y + number * LINE_HEIGHT), line, _REGULAR, 15, _SOFT)
    for place, card in enumerate(section.captures):
        corner = layout.tile(half, place)
        _draw_picture(sheet, card, corner)
        _draw_caption(draw, card, (corner[0], corner[1] + PICTURE_HEIGHT + 10))


def _draw_picture(sheet: Image.Image, card: CaptureCard, corner: tuple[int, int]) -> None:
    """Put the picture into its frame without changing its shape, with the calipers that lie on it."""
    x, y = corner
    draw = ImageDraw.Draw(sheet)
    if card.picture is None:
        draw.rectangle((x, y, x + TILE_WIDTH - 1, y + PICTURE_HEIGHT - 1), outline=_HAIR)
        _write(draw, (x + 108, y + 100), "no picture", _REGULAR, 15, _SOFT)
        return
    draw.rectangle((x, y, x + TILE_WIDTH - 1, y + PICTURE_HEIGHT - 1), fill=0)
    with Image.open(io.BytesIO(card.picture.png)) as stored:
        picture = stored.convert("L")
    scale = min(TILE_WIDTH / picture.width, PICTURE_HEIGHT / picture.height)
    shown = picture.resize(
        (max(1, round(picture.width * scale)), max(1, round(picture.height * scale))), Image.Resampling.LANCZOS
    )
    left, top = x + (TILE_WIDTH - shown.width) // 2, y + (PICTURE_HEIGHT - shown.height) // 2
    sheet.paste(shown, (left, top))
    for caliper in card.calipers:
        points = [
            (
                left + p.x * shown.width / card.picture.source_columns,
                top + p.y * shown.height / card.picture.source_rows,
            )
            for p in (*caliper.points, *(caliper.points[:1] if caliper.is_closed else ()))
        ]
        draw.line(points, fill=_PAPER, width=1)


def _draw_caption(draw: ImageDraw.ImageDraw, card: CaptureCard, corner: tuple[int, int]) -> None:
    x, y = corner
    side = f" ({card.side})" if card.side else ""
    position = (
        card.position if can_draw(card.position, _REGULAR) else "position in the examiner's words: see the report"
    )
    title = f"{card.number}. {card.eye.abbreviation} {position}{side}"
    below = ", ".join(part for part in (card.id, card.shown, "key image" if card.is_key_image else "") if part)
    lines = [(line, _BOLD, _INK) for line in _lines(title, _BOLD, 15, TILE_WIDTH)]
    lines += [(line, _REGULAR, _SOFT) for line in _lines(below, _REGULAR, 15, TILE_WIDTH)]
    if len(lines) > CAPTION_LINES:
        last, fonts, shade = lines[CAPTION_LINES - 1]
        lines[CAPTION_LINES - 1] = (_shortened(last, fonts, 15, TILE_WIDTH), fonts, shade)
    for number, (line, fonts, shade) in enumerate(lines[:CAPTION_LINES]):
        _write(draw, (x, y + number * LINE_HEIGHT), line, fonts, 15, shade)


@cache
def _font(file: str, size: int) -> ImageFont.FreeTypeFont:
    # The plain layout engine is part of every build of the imaging library, so every machine draws the same bytes.
    return ImageFont.truetype(str(FONTS_FOLDER / file), size, layout_engine=ImageFont.Layout.BASIC)


def _width(text: str, fonts: Sequence[str], size: int) -> float:
    return sum(_font(file, size).getlength(piece) for file, piece in runs(text, fonts))


def _write(
    draw: ImageDraw.ImageDraw,
    at: tuple[float, float],
    text: str,
    fonts: Sequence[str],
    size: int,
    shade: int = _INK,
) -> None:
    """Write one line; each piece in the first font that draws it, all on one base line."""
    x, y = at
    for file, piece in runs(text, fonts):
        font = _font(file, size)
        draw.text((x, y + size), piece, font=font, fill=shade, anchor="ls")
        x += font.getlength(piece)


def _lines(text: str, fonts: Sequence[str], size: int, width: int) -> Iterator[str]:
    """Divide a text into lines no wider than `width`; a word too wide is divided where it must be."""
    line = ""
    for word in text.split():
        longer = f"{line} {word}" if line else word
        if _width(longer, fonts, size) <= width:
            line = longer
            continue
        if line:
            yield line
        line = word
        while _width(line, fonts, size) > width:
            fitting = next(n for n in range(len(line) - 1, 0, -1) if _width(line[:n], fonts, size) <= width or n == 1)
            yield line[:fitting]
            line = line[fitting:]
    if line:
        yield line


def _shortened(line: str, fonts: Sequence[str], size: int, width: int) -> str:
    """End a line with an ellipsis, because more would follow."""
    while line and _width(f"{line}…", fonts, size) > width:
        line = line[:-1]
    return f"{line.rstrip(', ')}…"
