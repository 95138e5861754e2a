"""Cut the report's fonts out of the full ones, and write down which characters they can draw.

Run as ``python -m gateway.reports.generate.fonts NOTO_SANS_FOLDER NOTO_SANS_CJK_FILE`` with fontTools installed, for
instance on the files of Debian's packages ``fonts-noto-core`` and ``fonts-noto-cjk``. The same files give the same
bytes again. ``gateway/reports/fonts/README.md`` says what came out and under which licence.
"""

from __future__ import annotations

import importlib
import json
import sys
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final

from gateway.reports.characters import is_drawn_as_itself

FONTS_FOLDER: Final = Path(__file__).parent.parent / "fonts"

_SANS_RANGES: Final = (
    (0x0020, 0x007E),
    (0x00A0, 0x024F),
    (0x02B0, 0x036F),
    (0x0370, 0x052F),
    (0x1E00, 0x1FFF),
    (0x2000, 0x22FF),
    (0xFFFD, 0xFFFD),
)
"""Latin with diacritics, Greek, Cyrillic, punctuation, signs."""


@dataclass(frozen=True, slots=True)
class Cut:
    """One font to be made.

    Parameters
    ----------
    family : str
        Name of the cut font; the full fonts' names stay with the full fonts.
    features : tuple of str
        OpenType features kept; what a script needs for joining and placing marks stays.
    """

    source: Path
    family: str
    style: str
    file: str
    characters: frozenset[int]
    features: tuple[str, ...] = ("ccmp", "locl", "kern", "mark", "mkmk", "tnum", "lnum")


def cuts(sans_folder: Path, cjk_file: Path) -> Iterator[Cut]:
    """Name every font that the report carries."""
    sans = frozenset(code for first, last in _SANS_RANGES for code in range(first, last + 1))
    for style in ("Regular", "Bold"):
        name = f"report-sans-{style.lower()}.ttf"
        yield Cut(sans_folder / f"NotoSans-{style}.ttf", "Report Sans", style, name, sans)
    joining = ("ccmp", "locl", "kern", "mark", "mkmk", "init", "medi", "fina", "isol", "rlig", "calt", "liga")
    for script, first, last in (("Arabic", 0x0600, 0x06FF), ("Hebrew", 0x0590, 0x05FF), ("Thai", 0x0E00, 0x0E7F)):
        characters = frozenset(range(first, last + 1))
        source = sans_folder / f"NotoSans{script}-Regular.ttf"
        yield Cut(source, f"Report {script}", "Regular", f"report-{script.lower()}.ttf", characters, joining)
    yield Cut(cjk_file, "Report CJK", "Regular", "report-cjk.otf", east_asian_characters(), ())


def east_asian_characters() -> frozenset[int]:
    """Return the characters of the coded sets that text in East Asia uses (PS3.3 C.12.1.1.2), but for plain ASCII.

    JIS X 0208 and JIS X 0201 with the variants of family names that Windows code page 932 adds, KS X 1001, GB 2312
    level 1 and the frequently used half of Big5.
    """
    graphic = range(0xA1, 0xFF)
    after_escape = (*range(0x40, 0x7F), *range(0x80, 0xFD))
    found = set(_decoded("euc_jp", graphic, graphic))
    found |= set(_decoded("cp932", (*range(0x81, 0xA0), *range(0xE0, 0xFD)), after_escape))
    found |= set(_decoded("euc_kr", graphic, graphic))
    found |= set(_decoded("gb2312", range(0xA1, 0xD8), graphic))
    found |= set(_decoded("big5", range(0xA1, 0xC7), (*range(0x40, 0x7F), *graphic)))
    found |= set(range(0xFF61, 0xFFA0))
    return frozenset(code for code in found if code > 0x7F)


def _decoded(encoding: str, rows: Iterable[int], cells: Iterable[int]) -> Iterator[int]:
    columns = tuple(cells)
    for row in rows:
        for cell in columns:
            try:
                yield from (ord(character) for character in bytes((row, cell)).decode(encoding))
            except UnicodeDecodeError:
                continue


def make(cut: Cut, folder: Path) -> list[int]:
    """Write one font; return the characters that it draws."""
    subset = importlib.import_module("fontTools.subset")
    options = subset.Options(
        layout_features=list(cut.features),
        hinting=False,
        notdef_outline=True,
        name_IDs=[0, 1, 2, 3, 4, 5, 6, 13, 14],
        drop_tables=["BASE", "VORG", "vhea", "vmtx", "DSIG", "FFTM", "STAT", "meta"],
        recalc_timestamp=False,
    )
    font = _opened(cut.source)
    subsetter = subset.Subsetter(options)
    subsetter.populate(unicodes=sorted(code for code in cut.characters if is_drawn_as_itself(chr(code))))
    subsetter.subset(font)
    _rename(font, cut)
    font.save(folder / cut.file)
    return sorted(font.getBestCmap())


def _opened(path: Path) -> Any:  # noqa: ANN401  fontTools is not a dependency, so its types are not known here
    library = importlib.import_module("fontTools.ttLib")
    if path.suffix == ".ttc":
        return library.TTFont(path, fontNumber=0, recalcTimestamp=False)
    return library.TTFont(path, recalcTimestamp=False)


def _rename(font: Any, cut: Cut) -> None:  # noqa: ANN401  as above
    """Give the cut its own name, so that it is never mistaken for the full font; its copyright line stays."""
    names = font["name"]
    postscript = f"{cut.family}-{cut.style}".replace(" ", "")
    for name_id, text in (
        (1, cut.family),
        (2, cut.style),
        (3, postscript),
        (4, f"{cut.family} {cut.style}"),
        (6, postscript),
    ):
        names.setName(text, name_id, 3, 1, 0x409)
    names.names = [record for record in names.names if (record.platformID, record.langID) == (3, 0x409)]
    if "CFF " in font:
        cff = font["CFF "].cff
        cff.fontNames = [postscript]
        top = cff[cff.fontNames[0]]
        top.FullName, top.FamilyName = f"{cut.family} {cut.style}", cut.family


def ranges(codes: Iterable[int]) -> list[list[int]]:
    """Write sorted code points as first and last of each run."""
    runs: list[list[int]] = []
    for code in codes:
        if runs and code == runs[-1][1] + 1:
            runs[-1][1] = code
        else:
            runs.append([code, code])
    return runs


def main(arguments: list[str]) -> None:
    """Make every font and ``coverage.json``."""
    sans_folder, cjk_file = (Path(argument) for argument in arguments)
    coverage = {
        cut.file: {"family": cut.family, "ranges": ranges(make(cut, FONTS_FOLDER))}
        for cut in cuts(sans_folder, cjk_file)
    }
    text = json.dumps(coverage, separators=(",", ":"), sort_keys=True)
    (FONTS_FOLDER / "coverage.json").write_text(text.replace('},"', '},\n"') + "\n", encoding="utf-8")


if __name__ == "__main__":
    main(sys.argv[1:])
