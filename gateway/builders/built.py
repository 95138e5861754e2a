"""What a builder hands on: one file on disk and everything that later steps ask about it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from enum import StrEnum
from pathlib import Path

from gateway.builders.options import ReportVersion
from gateway.model.laterality import Eye


class ObjectKind(StrEnum):
    """What an object is to the people who wait for it."""

    IMAGE = "image"
    REPORT = "report"
    DOCUMENT = "document"


@dataclass(frozen=True, slots=True)
class BuiltObject:
    """One DICOM file, written and closed.

    Parameters
    ----------
    sha256 : str
        Hexadecimal digest of the whole file.
    size_bytes : int
    capture_id : str
        The capture shown, for images; empty otherwise.
    eye : Eye or None
        None where the object speaks of both eyes.
    rows, columns, frame_count : int
        Of images; 0, 0 and 1 otherwise.
    version : ReportVersion or None
        Of reports and documents.
    attribute_origins : mapping of str to str
        Where each value came from: attribute path (``AnatomicRegionSequence[1].AnatomicRegionModifierSequence``, items
        counted from 1) to a field of the exam document or the rule that gave it.
    keeps_encoding : bool
        A completed DICOM object, which goes out in the transfer syntax in which it came.
    """

    kind: ObjectKind
    sop_class_uid: str
    sop_instance_uid: str
    series_instance_uid: str
    study_instance_uid: str
    transfer_syntax_uid: str
    path: Path
    sha256: str
    size_bytes: int
    series_description: str
    series_number: int
    instance_number: int
    capture_id: str = ""
    eye: Eye | None = None
    rows: int = 0
    columns: int = 0
    frame_count: int = 1
    version: ReportVersion | None = None
    attribute_origins: Mapping[str, str] = field(default_factory=dict)
    keeps_encoding: bool = False
