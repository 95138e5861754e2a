"""Which characters of a text can be put on paper, and what stands there for those that cannot.

A character without a glyph, or one that acts without being seen (a control, a change of writing direction), is never
dropped and never becomes an empty box: its code point is written out instead, as ``[U+202E]``.
"""

from __future__ import annotations

import json
import unicodedata
from bisect import bisect_right
from collections.abc import Collection, Iterator
from functools import cache
from itertools import groupby
from pathlib import Path
from typing import Final

FONTS_FOLDER: Final = Path(__file__).parent / "fonts"

SANS: Final = "report-sans-regular.ttf"
SANS_BOLD: Final = "report-sans-bold.ttf"
CJK: Final = "report-cjk.otf"

_UNSEEN: Final = frozenset({"Cc", "Cf", "Cn", "Co", "Cs", "Zl", "Zp"})
_JOINERS: Final = frozenset("\u200c\u200d")
"""Part of the spelling of some languages; they join or part letters and move nothing."""


def is_drawn_as_itself(character: str) -> bool:
    """Tell whether a character is seen where it stands, given a font for it."""
    return unicodedata.category(character) not in _UNSEEN or character in _JOINERS


def code_point(character: str) -> str:
    """Write a character as its code point, e.g. ``[U+202E]``."""
    return f"[U+{ord(character):04X}]"


def seen(text: str) -> str:
    """Return a text of the exam with every unseen character written out.

    A change of writing direction inside a comment could otherwise turn the digits beside it around. Line ends stay;
    a tab becomes a space.
    """
    lines = text.replace("\t", " ").replace("\r\n", "\n").replace("\r", "\n").split("\n")
    return "\n".join("".join(c if is_drawn_as_itself(c) else code_point(c) for c in line) for line in lines).strip()


@cache
def families() -> tuple[str, ...]:
    """Return the names of the report's fonts, the one for most text first."""
    rows = _coverage()
    return tuple(dict.fromkeys(rows[file][0] for file in (SANS, *sorted(rows))))


@cache
def _coverage() -> dict[str, tuple[str, tuple[int, ...]]]:
    """Return for each font file its family and the sorted bounds of its runs, ``first, last + 1, first, ...``."""
    content = json.loads((FONTS_FOLDER / "coverage.json").read_text(encoding="utf-8"))
    return {
        file: (row["family"], tuple(bound for first, last in row["ranges"] for bound in (first, last + 1)))
        for file, row in content.items()
    }


def _has(file: str, character: str) -> bool:
    # An odd number of bounds up to the character means that a run has begun and not ended.
    return bisect_right(_coverage()[file][1], ord(character)) % 2 == 1


def font_for(character: str, files: Collection[str] = ()) -> str:
    """Return the first font file that draws a character, or an empty text where none does.

    Parameters
    ----------
    files : collection of str
        Fonts to choose from, in order; empty for all.
    """
    for file in files or (SANS, *(name for name in _coverage() if name not in {SANS, SANS_BOLD})):
        if _has(file, character):
            return file
    return ""


def can_draw(text: str, files: Collection[str] = ()) -> bool:
    """Tell whether the report's fonts draw every character of a text; line ends need no glyph."""
    return all(character == "\n" or font_for(character, files) for character in text)


def drawable(text: str, files: Collection[str] = ()) -> str:
    """Return the text with each character that no font draws written as its code point."""
    return "".join(c if c == "\n" or font_for(c, files) else code_point(c) for c in text)


def runs(text: str, files: Collection[str] = ()) -> Iterator[tuple[str, str]]:
    """Divide a drawable text of one line into pieces of one font each, as (font file, piece)."""
    for file, characters in groupby(drawable(text, files), key=lambda character: font_for(character, files)):
        yield file, "".join(characters)
