"""Applies a source mapping: names, records and heads of one folder become located exam documents."""

from __future__ import annotations

import hashlib
import re
from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

from gateway.errors import GatewayError, Place
from gateway.errors.mapping import MappingError, PictureNotThereError, SeveralExamsError
from gateway.mapping.located.tree import LocatedDocument
from gateway.mapping.sources.exam import ExamSources, Trace, put_together
from gateway.mapping.sources.files import SourceFiles
from gateway.mapping.sources.language import Per
from gateway.mapping.sources.pictures import Picture, PictureIndex, pictures_of, read_name
from gateway.mapping.sources.rows import RecordRow, rows_of
from gateway.mapping.sources.rules import Source, SourceKind, SourceMapping
from gateway.mapping.sources.values import Context, Evaluator, Outcome
from gateway.model.exam import HeldPart

__all__ = ["MappedSource", "Trace", "apply_mapping"]


@dataclass(frozen=True, slots=True)
class MappedSource:
    """One exam of a source folder, as a document with places.

    Parameters
    ----------
    key : str
        Short name of the exam; holds nothing of the patient.
    document : LocatedDocument
        Of the shape ``eye-ultrasound-exam/1``, for `map_exam_document`, with what was wrong in the sources.
    held : tuple of HeldPart
        Rows that belong to no picture, and pictures that belong to no exam.
    traces : mapping of str to Trace
        How each field came about, by its path in the document.
    """

    key: str
    document: LocatedDocument
    held: tuple[HeldPart, ...]
    traces: Mapping[str, Trace]


def apply_mapping(mapping: SourceMapping, files: SourceFiles) -> tuple[MappedSource, ...]:
    """Map a source folder.

    Parameters
    ----------
    files : SourceFiles
        Names, heads and records of the folder.

    Returns
    -------
    tuple of MappedSource
        One for each exam; at least one, though perhaps with nothing but problems.
    """
    problems: list[GatewayError] = []
    rows = rows_of(mapping, files, problems)
    pictures = pictures_of(mapping, files.media)
    folder_places, problem = read_name(files.folder, mapping.folder, "folder")
    if problem:
        problems.append(problem)
    held = _match_rows(rows, pictures)
    sources = ExamSources(mapping, files.folder, folder_places, pictures, rows)
    base = _base_key(mapping, files.folder)
    if not mapping.exams_by:
        return (_mapped(sources, base, problems, held),)
    parts, unassigned = _split(sources)
    if not parts:
        where = mapping.exams_by[0].place
        nothing = SeveralExamsError("nothing in the folder says which exam it is", where=where, fix="check exams.by")
        return (_mapped(sources, base, [*problems, nothing], [*held, *unassigned]),)
    return tuple(_mapped(part, f"{base}-{_digest(key)}", problems, [*held, *unassigned]) for key, part in parts.items())


def _mapped(sources: ExamSources, key: str, problems: Sequence[GatewayError], held: Sequence[HeldPart]) -> MappedSource:
    made = put_together(sources)
    all_problems = {**made.document.problems, (): [*problems, *made.document.problems.get((), ())]}
    return MappedSource(key, replace(made.document, problems=all_problems), tuple(held), made.traces)


def _base_key(mapping: SourceMapping, folder: str) -> str:
    """Return the folder's name as a key, or a digest of it where the name speaks of the patient."""
    of_person = any(
        source.kind is SourceKind.FOLDER_NAME and rule.to.path[0] in {"patient", "order"} and not rule.to.section
        for rule in mapping.rules
        for source in rule.sources
    )
    name = re.sub("[^A-Za-z0-9._-]+", "-", folder).strip("-.")[:48]
    return f"exam-{_digest(folder)}" if of_person or not name else name


def _digest(text: str) -> str:
    return hashlib.sha256(text.encode()).hexdigest()[:8]


def _match_rows(rows: dict[str, list[RecordRow]], pictures: Sequence[Picture]) -> list[HeldPart]:
    """Give each row to its pictures; take out and return the rows that belong to none."""
    index = PictureIndex(pictures)
    held = []
    for record, of_record in rows.items():
        if not of_record or not of_record[0].spec.match_to:
            continue
        matched = []
        for row in of_record:
            found, problem = index.match(row)
            for picture in found:
                picture.rows.append(row)
            if found:
                matched.append(row)
            elif problem and not (row.spec.unmatched_is_fine and isinstance(problem, PictureNotThereError)):
                held.append(HeldPart(f"record {record}, row {row.number}", f"{record} row {row.number}", problem))
        rows[record] = matched
    return held


# ---------------------------------------------------------------- several exams in one folder


def _split(sources: ExamSources) -> tuple[dict[str, ExamSources], list[HeldPart]]:
    """Divide pictures and rows among exams; what says nothing of its exam is held, for it may be another patient's."""
    keys = _ExamKeys(sources)
    held: list[HeldPart] = []
    pictures: dict[str, list[Picture]] = defaultdict(list)
    rows: dict[str, dict[str, list[RecordRow]]] = defaultdict(lambda: defaultdict(list))
    shared: dict[str, list[RecordRow]] = defaultdict(list)
    for picture in sources.pictures:
        key, problem = keys.of_picture(picture)
        pictures[key].append(picture)
        if problem:
            held.append(HeldPart(f"file {picture.files[0]}", picture.id, problem))
    for record, of_record in sources.rows.items():
        for row in of_record:
            key, problem = keys.of_row(row)
            if problem:
                held.append(HeldPart(f"record {record}, row {row.number}", f"{record} row {row.number}", problem))
            elif key:
                rows[key][record].append(row)
            elif row.spec.per is Per.EXAM:
                shared[record].append(row)
    pictures.pop("", None)
    for key in sorted({*pictures, *rows}):
        for record, of_record in shared.items():
            rows[key][record] += of_record
    parts = {
        key: ExamSources(sources.mapping, sources.folder, sources.folder_places, pictures.get(key, []), rows[key])
        for key in sorted({*pictures, *rows})
    }
    return parts, held


class _ExamKeys:
    """Says to which exam a picture or row belongs."""

    def __init__(self, sources: ExamSources) -> None:
        self._sources = sources
        self._evaluator = Evaluator(sources.mapping)
        self._pictures_of: dict[int, list[Picture]] = defaultdict(list)
        for picture in sources.pictures:
            for row in picture.rows:
                self._pictures_of[id(row)].append(picture)

    def of_picture(self, picture: Picture) -> tuple[str, GatewayError | None]:
        rows: dict[str, list[RecordRow]] = defaultdict(list)
        for row in picture.rows:
            rows[row.spec.id].append(row)
        return self._key(rows, [picture], self._sources.mapping.exams_by, picture.place, is_needed=True)

    def of_row(self, row: RecordRow) -> tuple[str, GatewayError | None]:
        """Return the exam of a row; the empty key where the record says nothing of exams and the row goes with all."""
        pictures = self._pictures_of[id(row)]
        if pictures:
            keys = {self.of_picture(picture)[0] for picture in pictures}
            if len(keys) == 1:
                return keys.pop(), None
        own = [source for source in self._sources.mapping.exams_by if source.record == row.spec.id]
        is_needed = bool(own) or row.spec.per is not Per.EXAM
        return self._key({row.spec.id: [row]}, [], own, row.place, is_needed=is_needed)

    def _key(
        self,
        rows: Mapping[str, Sequence[RecordRow]],
        pictures: Sequence[Picture],
        by: Sequence[Source],
        where: Place,
        *,
        is_needed: bool,
    ) -> tuple[str, GatewayError | None]:
        context = Context(self._sources.mapping, rows, pictures, self._sources.folder, self._sources.folder_places)
        outcome: Outcome = self._evaluator.key(by, context)
        if outcome.problems:
            return "", outcome.problems[0]
        if outcome.meaning is not None:
            return outcome.meaning.text, None
        if not is_needed:
            return "", None
        looked = ", ".join(source.words for source in self._sources.mapping.exams_by)
        fix = f"state it in one of: {looked}"
        error: MappingError = SeveralExamsError("nothing says to which exam this belongs", where=where, fix=fix)
        return "", error
