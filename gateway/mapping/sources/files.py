"""What a source folder holds, as intake hands it over: names, heads and records, no pixels."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

from gateway.mapping.located.tree import LocatedDocument
from gateway.model.capture import CaptureKind


@dataclass(frozen=True, slots=True)
class MediaItem:
    """One file that the mapping calls a capture.

    Parameters
    ----------
    name : str
        Below the folder, with ``/``.
    kind : CaptureKind
        By the first bytes of the file.
    device : LocatedDocument or None
        Attributes of a DICOM file; None for other files.
    """

    name: str
    kind: CaptureKind
    device: LocatedDocument | None = None


@dataclass(frozen=True, slots=True)
class RecordFile:
    """One file of a record, read."""

    name: str
    document: LocatedDocument


@dataclass(frozen=True, slots=True)
class SourceFiles:
    """A whole source folder.

    Parameters
    ----------
    folder : str
        Its name.
    records : mapping of str to tuple of RecordFile
        By record id.
    """

    folder: str
    media: tuple[MediaItem, ...]
    records: Mapping[str, tuple[RecordFile, ...]] = field(default_factory=dict)
