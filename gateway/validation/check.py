"""The two ways in: a dataset in memory and a file on disk."""

from __future__ import annotations

import mmap
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Final

from pydicom.dataset import Dataset

from gateway.standard.sop_classes import sop_class
from gateway.validation.attribute_types import check_types
from gateway.validation.built_dataset import item_of, transfer_syntax_of
from gateway.validation.consistency import check_consistency
from gateway.validation.elements import Item
from gateway.validation.file_meta import check_file_meta
from gateway.validation.findings import FileReport, Finding, Severity
from gateway.validation.levels import compiled
from gateway.validation.part10 import NotDicomError, Part10, parse
from gateway.validation.scope import Scope, value

MEDIA_DIRECTORY: Final = "1.2.840.10008.1.3.10"
READ_WHOLE_BYTES: Final = 1 << 19
"""Small files are read at once, of large ones only the pages that are looked at."""
_ORDER: Final = {Severity.ERROR: 0, Severity.WARNING: 1, Severity.NOTE: 2}


def check_dataset(dataset: Dataset) -> tuple[Finding, ...]:
    """Check a dataset in memory against the tables of its SOP Class.

    The transfer syntax is taken from the file meta information of the dataset, where there is one; rules that need it
    are left out otherwise.

    Returns
    -------
    tuple of Finding
        Errors first, then by attribute.
    """
    root = item_of(dataset)
    return _ordered(_check_root(Scope(root, root, transfer_syntax_of(dataset))))


def check_file(path: Path) -> FileReport:
    """Check a file; whatever its bytes are, the answer is a report and never an exception.

    Parameters
    ----------
    path : Path
        Any file. A file that cannot be read or is no DICOM file is itself a finding.
    """
    try:
        size = path.stat().st_size
        if size == 0:
            return FileReport(findings=(_not_dicom("it is empty"),))
        if size <= READ_WHOLE_BYTES and path.is_file():
            return _check_bytes(path.read_bytes())
        with path.open("rb") as file, mmap.mmap(file.fileno(), 0, access=mmap.ACCESS_READ) as data:
            return _check_bytes(data)
    except (OSError, ValueError) as error:
        reason = error.strerror if isinstance(error, OSError) and error.strerror else str(error)
        finding = Finding(Severity.ERROR, "file-unreadable", "", f"the file cannot be read: {reason}", "PS3.10 7", "")
        return FileReport(findings=(finding,))


def check_bytes(data: bytes) -> FileReport:
    """Check the bytes of a file, as `check_file` does."""
    return _check_bytes(data)


def _check_bytes(data: bytes | mmap.mmap) -> FileReport:
    try:
        file = parse(data)
    except NotDicomError as error:
        return FileReport(findings=(_not_dicom(str(error)),))
    scope = Scope(file.dataset, file.dataset, file.transfer_syntax_uid)
    in_dataset = tuple(_check_root(scope, _class_uid(file.meta, "MediaStorageSOPClassUID")))
    if file.damage:
        # What stands after the damage was not seen, so nothing can be said to be missing.
        in_dataset = tuple(finding for finding in in_dataset if not finding.code.endswith("-missing"))
    findings = (*_damage(file), *check_file_meta(file), *in_dataset)
    return FileReport(_class_uid(file.dataset), file.transfer_syntax_uid, _ordered(findings))


def _not_dicom(reason: str) -> Finding:
    return Finding(Severity.ERROR, "not-dicom", "", f"this is no DICOM file: {reason}", "PS3.10 7.1", "2024e")


def _damage(file: Part10) -> Iterator[Finding]:
    if file.damage:
        message = f"the dataset cannot be followed to its end: {file.damage}; what stands before it was checked"
        yield Finding(Severity.ERROR, "dataset-damaged", "", message, "PS3.5 7.1", "2024e")


def _class_uid(root: Item, keyword: str = "SOPClassUID") -> str:
    return str(value(root, keyword) or "")


def _check_root(scope: Scope, announced_uid: str = "") -> Iterator[Finding]:
    uid = _class_uid(scope.root)
    if not uid and announced_uid == MEDIA_DIRECTORY:
        # A DICOMDIR has no SOP Common (PS3.10 8.6).
        uid = announced_uid
    rules = compiled(uid)
    if rules is None:
        yield _no_table(uid)
    else:
        yield from check_types(rules, scope)
    yield from check_consistency(scope)


def _no_table(uid: str) -> Finding:
    if not uid:
        message = "SOPClassUID is missing or empty, so no table applies; it must be there with a value (type 1)"
        return Finding(Severity.ERROR, "type-1-missing", "(0008,0016)", message, "PS3.3 C.12.1", "2020a")
    known = sop_class(uid)
    name = known.name if known else uid
    message = f"there is no attribute table for {name} here, so only the rules that all objects share were checked"
    return Finding(Severity.NOTE, "no-table", "(0008,0016)", message, "PS3.4 B.5", "2020a")


def _ordered(findings: Iterator[Finding] | tuple[Finding, ...]) -> tuple[Finding, ...]:
    key: Callable[[Finding], tuple[int, str, str]] = lambda f: (_ORDER[f.severity], f.attribute, f.code)  # noqa: E731
    return tuple(sorted(dict.fromkeys(findings), key=key))
