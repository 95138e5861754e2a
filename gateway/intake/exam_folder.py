"""An exam folder: one document and the media it names, opened and held against each other.

What is wrong with one capture holds that capture and what rests on it; the others go on.
"""

from __future__ import annotations

import dataclasses
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, field
from pathlib import Path, PurePosixPath
from zoneinfo import ZoneInfo

from gateway.errors import GatewayError, Place
from gateway.errors.document import ExamDocumentError, FrameError, NoCaptureLeftError
from gateway.errors.media import ExamFolderError, MediaMissingError, MediaNotReadableError, MediaOutsideFolderError
from gateway.intake.capture_media import open_capture_media
from gateway.intake.dicom_agreement import check_object
from gateway.intake.dicom_objects import DicomSource, refuse_kept_range
from gateway.intake.dicom_structure import is_dicom
from gateway.intake.loops import times_from_first, trimmed
from gateway.intake.masking import mask_refused, masked
from gateway.intake.media_file import MEDIA_ENDINGS, read_head, sniff
from gateway.intake.on_picture import check_capture, misplaced_parts, part_paths, place_of
from gateway.intake.scan_lines import ScanLineSource
from gateway.mapping.exam_document import MappedExam, read_exam_document
from gateway.mapping.sources.exam import Trace
from gateway.model.capture import Capture
from gateway.model.exam import Exam, HeldPart
from gateway.model.holding import hold_captures
from gateway.model.measurement import TissueSpeed
from gateway.model.media import FrameSource
from gateway.model.protocol import Protocol

DOCUMENT_NAMES = ("exam.yaml", "exam.yml", "exam.json")

Progress = Callable[[str, int, int], None]
"""Step, done, total."""


@dataclass(frozen=True, slots=True)
class ExamFolder:
    """An exam with its pixels, and everything of the folder that did not become part of it.

    Parameters
    ----------
    exam : Exam
        What may go on.
    media : mapping of str to FrameSource
        By capture id; of a loop only the kept frames.
    held : tuple of HeldPart
        Parts set aside, with reasons.
    unused : tuple of str
        Media files in the folder that the document's accepted captures do not name, relative to the folder.
    traces : mapping of str to Trace
        How each field came about, by its path, where a source mapping made the document.
    """

    exam: Exam
    media: Mapping[str, FrameSource]
    held: tuple[HeldPart, ...]
    unused: tuple[str, ...] = ()
    traces: Mapping[str, Trace] = field(default_factory=dict)


def read_exam_folder(
    folder: Path,
    speeds: Mapping[str, TissueSpeed] | None = None,
    protocols: Mapping[str, Protocol] | None = None,
    site_zone: ZoneInfo | None = None,
    *,
    on_progress: Progress | None = None,
    ids_are_made: bool = False,
) -> ExamFolder:
    """Read an exam folder: its document, then each capture's media.

    Parameters
    ----------
    folder : Path
        The folder, or the exam document itself where it has another name or stands beside others.
    speeds : mapping of str to TissueSpeed, optional
        The site's table of speeds of sound; the shipped one where None.
    protocols : mapping of str to Protocol, optional
        Protocols that the session may name; the shipped ones where None.
    site_zone : ZoneInfo, optional
        Zone of times without offset where the document states none.
    on_progress : callable, optional
        Called with step, done and total.
    ids_are_made : bool
        The document may state no patient identifier; see `mapping.exam_document`.

    Raises
    ------
    ExamFolderError
        If there is not exactly one document.
    ExamDocumentError
        If the document as a whole cannot become an exam, or no capture is left.
    """
    document = exam_document_in(folder)
    mapped = read_exam_document(
        document, speeds=speeds, protocols=protocols, ids_are_made=ids_are_made, site_zone=site_zone
    )
    return with_media(mapped, document.parent, lambda name: name == document.name, on_progress=on_progress)


def with_media(
    mapped: MappedExam, root: Path, is_known: Callable[[str], bool], *, on_progress: Progress | None = None
) -> ExamFolder:
    """Open the media of an exam that was mapped, each capture once, and hold it against what is stated of it.

    Parameters
    ----------
    root : Path
        Folder below which the captures' files lie.
    is_known : callable
        Whether a file of the folder, by its path below it, is known to be no capture, and so not reported as unused.

    Raises
    ------
    ExamDocumentError
        If no capture is left.
    """
    exam = mapped.exam
    paths = part_paths(exam, mapped.held, "captures", len(exam.captures))
    media: dict[str, FrameSource] = {}
    failed: list[HeldPart] = []
    captures: list[Capture] = []
    for number, (capture, path) in enumerate(zip(exam.captures, paths, strict=True)):
        if on_progress:
            on_progress("read", number, len(exam.captures))
        try:
            opened, stored = _opened(exam, capture, path, root)
        except GatewayError as error:
            failed.append(HeldPart(path, capture.id, error))
            captures.append(capture)
        else:
            media[capture.id] = opened
            captures.append(stored)
    if on_progress:
        on_progress("read", len(exam.captures), len(exam.captures))
    if not media:
        raise _nothing_left(exam, (*mapped.held, *failed))
    exam = dataclasses.replace(exam, captures=tuple(captures))
    misplaced = misplaced_parts(exam, mapped.held, media)
    exam, held = hold_captures(_without(exam, mapped.held, misplaced), failed)
    unused = _unused(root, is_known, mapped.exam.captures)
    return ExamFolder(exam, media, (*mapped.held, *misplaced, *held), unused)


def is_exam(path: Path) -> bool:
    """Whether a path is an exam document by its name, or a folder that holds one."""
    if path.is_dir():
        return any((path / name).is_file() for name in DOCUMENT_NAMES)
    return path.suffix.lower() in {".yaml", ".yml", ".json"}


def exam_document_in(folder: Path) -> Path:
    """Return the one exam document of a folder; a path to a file is that file.

    Raises
    ------
    ExamFolderError
        If there is none, or more than one.
    """
    if folder.is_file():
        return folder
    if not folder.is_dir():
        raise ExamFolderError(
            "there is no such exam folder", where=str(folder), fix="name a folder with exam.yaml, or that file"
        )
    found = [folder / name for name in DOCUMENT_NAMES if (folder / name).is_file()]
    if not found:
        fix = f"write {DOCUMENT_NAMES[0]} there, name the document itself, or give --mapping"
        raise ExamFolderError("the folder holds no exam document", where=str(folder), fix=fix)
    if len(found) > 1:
        raise ExamFolderError(
            "the folder holds more than one exam document",
            where=str(folder),
            was=", ".join(path.name for path in found),
            fix="leave one, or name the one that holds",
        )
    return found[0]


def _opened(exam: Exam, capture: Capture, path: str, root: Path) -> tuple[FrameSource, Capture]:
    """Open one capture's media; return what is kept of it, and the capture with its times counted in kept frames."""
    files = [path_inside(root, name, place_of(exam, f"{path}.file", f"{path}.files", path)) for name in capture.files]
    source = open_capture_media(capture, files, name=_name_of(capture.files))
    if isinstance(source, ScanLineSource):
        lines = (*capture.a_scan_lines, *source.a_scan_lines())
        capture = dataclasses.replace(capture, calibration=source.calibration, a_scan_lines=lines)
    check_capture(exam, capture, path, source.facts)
    if isinstance(source, DicomSource):
        check_object(exam, capture, path, source)
        if capture.kept is not None:
            raise refuse_kept_range(place_of(exam, f"{path}.keep", path), capture.files[0])
    if capture.burned_in_text and capture.burned_in_text.is_masked:
        if isinstance(source, DicomSource):
            raise mask_refused(place_of(exam, f"{path}.burned_in_text", path), capture.files[0])
        source = masked(source, capture.burned_in_text.regions)
    kept = capture.kept
    if kept is None:
        return source, capture
    if kept.last > source.facts.frame_count:
        raise FrameError(
            "the loop has fewer frames",
            where=place_of(exam, f"{path}.keep.last", f"{path}.keep", path),
            was=f"{kept.last} of {source.facts.frame_count}",
            fix=f"write at most {source.facts.frame_count}",
        )
    times = capture.timing.frame_times_ms[kept.first - 1 : kept.last]
    timing = dataclasses.replace(capture.timing, frame_times_ms=times_from_first(times))
    shorter = trimmed(source, kept.first, kept.last)
    if isinstance(source, ScanLineSource):
        shorter = source.kept(shorter.facts, kept.first, kept.last)
    return shorter, dataclasses.replace(capture, timing=timing)


def _name_of(files: tuple[str, ...]) -> str:
    """Return what a loop is called: its file, or the folder of its numbered frames."""
    if len(files) == 1:
        return files[0]
    folders = {str(PurePosixPath(name).parent) for name in files}
    return folders.pop() if len(folders) == 1 and folders != {"."} else files[0]


def path_inside(root: Path, name: str, where: Place | str) -> Path:
    """Return the path of a media file, following links, and refuse one that leaves the exam folder.

    Raises
    ------
    MediaMissingError, MediaNotReadableError, MediaOutsideFolderError
    """
    try:
        home = root.resolve()
        found = (home / name).resolve(strict=True)
    except FileNotFoundError as error:
        raise MediaMissingError(
            "the file is not in the folder", where=where, was=name, fix="copy it there or mend the name"
        ) from error
    except (OSError, ValueError, RuntimeError) as error:
        raise MediaNotReadableError(
            "the file cannot be reached", where=where, was=name, fix="check the path and its permissions"
        ) from error
    if not found.is_relative_to(home):
        raise MediaOutsideFolderError(
            "the file lies outside the exam folder", where=where, was=name, fix="copy it into the folder"
        )
    return found


def _nothing_left(exam: Exam, held: Iterable[HeldPart]) -> ExamDocumentError:
    reason = NoCaptureLeftError("no capture can be accepted", where=place_of(exam, "captures"), fix="mend those named")
    return ExamDocumentError([reason, *(part.reason for part in held)])


def _without(exam: Exam, held: tuple[HeldPart, ...], misplaced: tuple[HeldPart, ...]) -> Exam:
    """Take misplaced measurements and annotations out of an exam."""
    gone = {part.part for part in misplaced}
    measurements = part_paths(exam, held, "measurements", len(exam.measurements))
    annotations = part_paths(exam, held, "annotations", len(exam.annotations))
    return dataclasses.replace(
        exam,
        measurements=tuple(m for m, path in zip(exam.measurements, measurements, strict=True) if path not in gone),
        annotations=tuple(a for a, path in zip(exam.annotations, annotations, strict=True) if path not in gone),
    )


def _unused(root: Path, is_known: Callable[[str], bool], captures: Iterable[Capture]) -> tuple[str, ...]:
    """Return the media files that no accepted capture names; hidden files and folders are left alone."""
    named = {str(PurePosixPath(name)) for capture in captures for name in capture.files}
    unused = []
    for path in sorted(root.rglob("*")):
        relative = path.relative_to(root)
        name = relative.as_posix()
        if any(part.startswith(".") for part in relative.parts) or name in named or path.is_dir():
            continue
        if not is_known(name) and _is_media(path):
            unused.append(name)
    return tuple(unused)


def _is_media(path: Path) -> bool:
    if path.suffix.lower() in MEDIA_ENDINGS:
        return True
    try:
        head = read_head(path, path.name)
        return sniff(head) is not None or is_dicom(head)
    except GatewayError:
        return False
