"""The captures of a source folder: what their names say, which frames are one loop, which rows speak of them."""

from __future__ import annotations

import hashlib
import re
import unicodedata
from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from fnmatch import fnmatchcase
from itertools import pairwise
from pathlib import PurePosixPath

from gateway.errors import GatewayError, Place
from gateway.errors.mapping import NameNotFittingError, PictureNotThereError, RowNotMatchedError
from gateway.mapping.located.tree import LocatedDocument
from gateway.mapping.sources.files import MediaItem
from gateway.mapping.sources.language import MatchTo, Per
from gateway.mapping.sources.names import NamePattern
from gateway.mapping.sources.rows import RecordRow
from gateway.mapping.sources.rules import MediaSpec, SourceKind, SourceMapping
from gateway.model.capture import CaptureKind


@dataclass(slots=True, eq=False)
class Picture:
    """One capture while it is put together.

    Parameters
    ----------
    places : mapping of str to str
        What its name says.
    problems : list of GatewayError
        Why it must be held as a whole.
    rows : list of RecordRow
        Rows that speak of it.
    """

    files: tuple[str, ...]
    kind: CaptureKind
    places: Mapping[str, str] = field(default_factory=dict)
    device: LocatedDocument | None = None
    problems: list[GatewayError] = field(default_factory=list)
    rows: list[RecordRow] = field(default_factory=list)
    id: str = ""

    @property
    def place(self) -> Place:
        """Its first file."""
        return Place(self.files[0])


def fits_any(name: str, globs: Iterable[str]) -> bool:
    """Whether a path fits one of several patterns of files: with a ``/`` as a whole, else by its last step."""
    whole = name.casefold()
    last = whole.rsplit("/", 1)[-1]
    return any(fnmatchcase(whole if "/" in glob else last, glob.casefold()) for glob in globs)


def read_name(name: str, patterns: Sequence[NamePattern], what: str) -> tuple[Mapping[str, str], GatewayError | None]:
    """Return what a name says at the places of the one pattern that it fits, and what is wrong where it does not.

    Parameters
    ----------
    what : str
        ``file`` or ``folder``, for the message.
    """
    if not patterns:
        return {}, None
    fits = [(pattern, fit) for pattern in patterns if (fit := pattern.fit(name))]
    where = Place(name)
    if not fits:
        shown = ", ".join(f"{pattern.text}, but {pattern.misfit(name)}" for pattern in patterns[:5])
        fix = f"rename it, or write a pattern that it fits; there are: {shown}"
        return {}, NameNotFittingError(f"the name of the {what} fits no pattern", where=where, fix=fix)
    if len(fits) > 1:
        was = " and ".join(pattern.text for pattern, _ in fits[:2])
        fix = "make the patterns tell it apart"
        return {}, NameNotFittingError(f"the name of the {what} fits two patterns", where=where, was=was, fix=fix)
    pattern, fit = fits[0]
    if fit.other is not None:
        other = fit.other
        differ = ", ".join(place for place in pattern.places if fit.places[place] != other[place])
        what = f"the name of the {what} can be read in two ways"
        fix = "give the places kinds or widths that leave one way"
        return {}, NameNotFittingError(what, where=where, was=f"{pattern.text}: {differ}", fix=fix)
    return fit.places, None


def pictures_of(mapping: SourceMapping, media: Sequence[MediaItem]) -> list[Picture]:
    """Return the captures in the order of their file names; numbered frames are put together."""
    spec = mapping.media
    singles: list[Picture] = []
    frames: dict[tuple[str, ...], list[tuple[int, Picture]]] = defaultdict(list)
    for item in sorted(media, key=lambda each: each.name):
        places, problem = read_name(item.name, spec.names, "file")
        picture = Picture((item.name,), item.kind, places, item.device, [problem] if problem else [])
        number = places.get(spec.frames, "") if spec.frames else ""
        if number and re.fullmatch("[0-9]{1,9}", number):
            frames[_loop_key(item.name, places, spec)].append((int(number), picture))
        else:
            singles.append(picture)
    pictures = [*singles, *(_loop(sorted(found, key=lambda each: each[0])) for found in frames.values())]
    pictures.sort(key=lambda each: each.files[0])
    _name_all(mapping, pictures)
    return pictures


def _loop_key(name: str, places: Mapping[str, str], spec: MediaSpec) -> tuple[str, ...]:
    others = (f"{place}={text}" for place, text in sorted(places.items()) if place != spec.frames)
    return str(PurePosixPath(name).parent), *others


def _loop(frames: Sequence[tuple[int, Picture]]) -> Picture:
    first = frames[0][1]
    loop = Picture(tuple(picture.files[0] for _, picture in frames), CaptureKind.LOOP, first.places)
    for (number, _), (following, picture) in pairwise(frames):
        if number == following:
            what = "two files are the same frame of one loop"
            fix = "leave one of them out, or tell the loops apart by a place of the pattern"
            loop.problems.append(NameNotFittingError(what, where=picture.place, was=f"frame {number}", fix=fix))
    return loop


def _name_all(mapping: SourceMapping, pictures: Sequence[Picture]) -> None:
    """Give each capture an id by its file, that changes with no other file and repeats nothing of the patient."""
    of_person = any(
        source.kind is SourceKind.FILE_NAME and rule.to.path[0] in {"patient", "order"} and not rule.to.section
        for rule in mapping.rules
        for source in rule.sources
    )
    taken: dict[str, int] = defaultdict(int)
    for picture in pictures:
        stem = re.sub("[^A-Za-z0-9_.-]+", "-", PurePosixPath(picture.files[0]).stem).strip("-.")[:56]
        if of_person or not stem:
            stem = f"c-{hashlib.sha256(picture.files[0].encode()).hexdigest()[:8]}"
        taken[stem] += 1
        picture.id = stem if taken[stem] == 1 else f"{stem}-{hashlib.sha256(picture.files[0].encode()).hexdigest()[:6]}"


class PictureIndex:
    """Finds the captures that a row speaks of."""

    def __init__(self, pictures: Sequence[Picture]) -> None:
        self._pictures = pictures
        self._by_name: dict[str, list[Picture]] = defaultdict(list)
        self._by_stem: dict[str, list[Picture]] = defaultdict(list)
        self._by_path_stem: dict[str, list[Picture]] = defaultdict(list)
        for picture in pictures:
            for file in picture.files:
                path = PurePosixPath(_folded(file))
                self._add(self._by_name, path.name, picture)
                self._add(self._by_stem, path.stem, picture)
                self._add(self._by_path_stem, str(path.with_suffix("")), picture)

    @staticmethod
    def _add(index: dict[str, list[Picture]], key: str, picture: Picture) -> None:
        if not index[key] or index[key][-1] is not picture:
            index[key].append(picture)

    def match(self, row: RecordRow) -> tuple[list[Picture], GatewayError | None]:
        """Return the captures of a row, and what is wrong where there is none, or more than one where one is meant."""
        spec = row.spec
        if spec.match_to == MatchTo.SAME_STEM:
            wanted, place = str(PurePosixPath(_folded(row.file.name)).with_suffix("")), row.place
            found = self._by_path_stem.get(wanted, [])
        else:
            texts = row.texts(spec.match_field)
            if not texts:
                what = "the row names no picture"
                fix = f"write it into {spec.match_field}, or delete the row"
                return [], RowNotMatchedError(what, where=row.place, fix=fix)
            wanted, place = texts[0]
            found = self._found(wanted, spec.match_to)
        many_are_fine = spec.per is Per.CAPTURE and spec.match_to not in list(MatchTo)
        if not found:
            fix = "copy the picture into the folder, or mend the row"
            what = "no picture of the folder belongs to the row"
            return [], PictureNotThereError(what, where=place, was=wanted[:80], fix=fix)
        if len(found) > 1 and not many_are_fine:
            was = ", ".join(picture.files[0] for picture in found[:5])
            fix = "name the picture with its folder"
            return [], RowNotMatchedError("several pictures fit the row", where=place, was=was, fix=fix)
        return found, None

    def _found(self, wanted: str, match_to: str) -> list[Picture]:
        if match_to not in list(MatchTo):
            return [picture for picture in self._pictures if picture.places.get(match_to) == wanted]
        path = PurePosixPath(_folded(wanted))
        if match_to == MatchTo.FILE_STEM:
            return self._by_stem.get(_folded(wanted).rsplit("/", 1)[-1], [])
        found = self._by_name.get(path.name, [])
        if len(path.parts) > 1:
            ends = f"/{path}"
            found = [each for each in found if any(f"/{_folded(file)}".endswith(ends) for file in each.files)]
        return found


def _folded(name: str) -> str:
    """Return a path as it is compared: names from one system to the next change case, slashes and composed letters."""
    return unicodedata.normalize("NFC", name).replace("\\", "/").casefold()
