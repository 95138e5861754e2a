"""A site's own folder and its source mapping: names, heads and records are read, mapped, and the media opened."""

from __future__ import annotations

import os
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from zoneinfo import ZoneInfo

from gateway.errors import GatewayError
from gateway.errors.document import ExamDocumentError, SeveralProblemsError
from gateway.errors.media import ExamFolderError
from gateway.intake.dicom_record import dicom_record
from gateway.intake.exam_folder import (
    ExamFolder,
    Progress,
    is_exam,
    path_inside,
    read_exam_folder,
    with_media,
)
from gateway.intake.media_file import read_head, sniff
from gateway.mapping.exam_document import map_exam_document
from gateway.mapping.located.csv_reader import CsvOptions
from gateway.mapping.located.records import RecordKind as WrittenAs
from gateway.mapping.located.records import RecordOptions, read_record
from gateway.mapping.located.tree import LocatedDocument, Scalar
from gateway.mapping.sources.engine import MappedSource, apply_mapping
from gateway.mapping.sources.files import MediaItem, RecordFile, SourceFiles
from gateway.mapping.sources.language import RecordKind
from gateway.mapping.sources.pictures import fits_any
from gateway.mapping.sources.reading import load_source_mapping
from gateway.mapping.sources.rules import RecordSpec, SourceMapping
from gateway.model.capture import CaptureKind
from gateway.model.exam import HeldPart
from gateway.model.measurement import TissueSpeed
from gateway.model.protocol import Protocol

MOST_FILES = 20_000
"""In one source folder; a long exam has some hundreds."""
_DICOM_MARK = b"DICM"


@dataclass(frozen=True, slots=True)
class SiteTables:
    """What a site states beside its exams, for the reader of exam documents.

    Parameters
    ----------
    speeds, protocols : mapping or None
        The site's own; the shipped ones where None.
    ids_are_made : bool
        The sources may state no patient identifier; see `mapping.exam_document`.
    site_zone : ZoneInfo or None
        Zone of times without offset where an exam states none.
    """

    speeds: Mapping[str, TissueSpeed] | None = None
    protocols: Mapping[str, Protocol] | None = None
    ids_are_made: bool = False
    site_zone: ZoneInfo | None = None


def read_exams(
    path: Path, mapping: Path | None, tables: SiteTables, *, on_progress: Progress | None = None
) -> tuple[ExamFolder, ...]:
    """Read what lies at a path: one exam with its document, or a site's own folder by its mapping.

    Parameters
    ----------
    path : Path
        Exam document, exam folder, or a site's own folder.
    mapping : Path or None
        The site's mapping, for a folder without an exam document.
    tables : SiteTables
    on_progress : callable, optional
        Called with step, done and total.

    Raises
    ------
    ExamFolderError, ExamDocumentError
        As `read_exam_folder` and `read_source_folder`.
    SourceMappingError
        If the mapping cannot be used.
    """
    if mapping is None or not path.is_dir() or is_exam(path):
        return (
            read_exam_folder(
                path,
                tables.speeds,
                tables.protocols,
                tables.site_zone,
                on_progress=on_progress,
                ids_are_made=tables.ids_are_made,
            ),
        )
    return read_source_folder(path, load_source_mapping(mapping), tables, on_progress=on_progress)


def read_source_folder(
    folder: Path, mapping: SourceMapping, tables: SiteTables | None = None, *, on_progress: Progress | None = None
) -> tuple[ExamFolder, ...]:
    """Read a site's own folder.

    Parameters
    ----------
    folder : Path
        With the pictures and the records that the mapping names.
    tables : SiteTables, optional
        The shipped ones where None.
    on_progress : callable, optional
        Called with step, done and total.

    Returns
    -------
    tuple of ExamFolder
        One for each exam. An exam that is refused beside others is held in each of them, with its reasons.

    Raises
    ------
    ExamFolderError
        If there is no such folder, it holds too many files, or none that the mapping calls a capture.
    ExamDocumentError
        If a record cannot be read, or every exam is refused.
    """
    names = _file_names(folder)
    files = _source_files(folder, names, mapping)
    tables = tables or SiteTables()
    read: list[ExamFolder] = []
    refused: list[HeldPart] = []
    for mapped in apply_mapping(mapping, files):
        try:
            read.append(_read_exam(folder, mapping, mapped, tables, on_progress))
        except ExamDocumentError as error:
            refused.append(HeldPart(f"exam {mapped.key}", mapped.key, error))
    if not read:
        raise ExamDocumentError([problem for part in refused for problem in _problems(part.reason)])
    return tuple(replace(each, held=(*each.held, *refused)) for each in read)


def _problems(reason: GatewayError) -> Sequence[GatewayError]:
    return reason.problems if isinstance(reason, SeveralProblemsError) else (reason,)


def _read_exam(
    folder: Path, mapping: SourceMapping, mapped: MappedSource, tables: SiteTables, on_progress: Progress | None
) -> ExamFolder:
    records = [record.file for record in mapping.records]
    try:
        exam = map_exam_document(
            mapped.document,
            mapped.key,
            speeds=tables.speeds,
            protocols=tables.protocols,
            ids_are_made=tables.ids_are_made,
            site_zone=tables.site_zone,
        )
        found = with_media(
            exam, folder, lambda name: fits_any(name, (*mapping.media.ignore, *records)), on_progress=on_progress
        )
    except ExamDocumentError as error:
        raise ExamDocumentError([*error.problems, *(part.reason for part in mapped.held)]) from error
    return replace(found, held=(*found.held, *mapped.held), traces=mapped.traces)


# ---------------------------------------------------------------- what the folder holds


def _file_names(folder: Path) -> list[str]:
    """Return the path of every file below a folder, without hidden ones; links to folders are not followed."""
    if not folder.is_dir():
        fix = "name the folder with the pictures and records"
        raise ExamFolderError("there is no such folder", where=str(folder), fix=fix)
    names = []
    for root, folders, files in os.walk(folder):
        folders[:] = sorted(name for name in folders if not name.startswith("."))
        below = Path(root).relative_to(folder)
        names += [_shown((below / name).as_posix()) for name in files if not name.startswith(".")]
        if len(names) > MOST_FILES:
            fix = f"at most {MOST_FILES}; divide it into one folder for each exam"
            raise ExamFolderError("the folder holds too many files", where=str(folder), fix=fix)
    return sorted(names)


def _shown(name: str) -> str:
    """Return a path that can be printed: bytes that are no text are shown by a backslash, which holds the file."""
    return os.fsencode(name).decode("utf-8", "backslashreplace")


def _source_files(folder: Path, names: list[str], mapping: SourceMapping) -> SourceFiles:
    spec = mapping.media
    media = tuple(
        _media_item(folder, name) for name in names if fits_any(name, spec.files) and not fits_any(name, spec.ignore)
    )
    if not media:
        was = ", ".join(spec.files)
        fix = f"check media.files at {spec.place.file}:{spec.place.line}, and the folder"
        raise ExamFolderError(
            "the folder holds no file that the mapping calls a capture", where=str(folder), was=was, fix=fix
        )
    reader = _RecordReader(folder, names)
    records = {record.id: tuple(reader.files(record)) for record in mapping.records}
    if reader.problems:
        raise ExamDocumentError(reader.problems)
    return SourceFiles(folder.resolve().name, media, records)


def _media_item(folder: Path, name: str) -> MediaItem:
    path = folder / name
    try:
        head = read_head(path, name)
        if head[128:132] == _DICOM_MARK:
            device = dicom_record(path, name)
            return MediaItem(name, _kind_of(device), device)
        found = sniff(head)
    except GatewayError:
        # Opening it later says what is wrong with it, and holds it.
        found = None
    return MediaItem(name, CaptureKind.LOOP if found and found.is_movie else CaptureKind.STILL)


def _kind_of(device: LocatedDocument) -> CaptureKind:
    frames = device.node(("NumberOfFrames",))
    is_loop = isinstance(frames, Scalar) and frames.text.strip() not in {"", "0", "1"}
    return CaptureKind.LOOP if is_loop else CaptureKind.STILL


class _RecordReader:
    """Reads the records of a folder; one file under two names is read once."""

    def __init__(self, folder: Path, names: list[str]) -> None:
        self._folder = folder
        self._names = names
        self._known: dict[tuple[str, RecordKind, str, CsvOptions], LocatedDocument] = {}
        self.problems: list[GatewayError] = []

    def files(self, record: RecordSpec) -> Iterator[RecordFile]:
        """Yield the files of one record; what cannot be read is noted as a problem."""
        for name in self._names:
            if fits_any(name, [record.file]):
                try:
                    yield RecordFile(name, self._document(name, record))
                except GatewayError as error:
                    self.problems.append(error)

    def _document(self, name: str, record: RecordSpec) -> LocatedDocument:
        key = (name, record.kind, record.encoding, record.csv)
        if key not in self._known:
            path = path_inside(self._folder, name, name)
            if record.kind is RecordKind.DICOM:
                self._known[key] = dicom_record(path, name)
            else:
                options = RecordOptions(WrittenAs(record.kind.value), record.encoding, record.csv)
                self._known[key] = read_record(path, options)
        return self._known[key]
