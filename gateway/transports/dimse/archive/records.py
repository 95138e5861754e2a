"""What the archive knows about each instance, read from its header and never from its pixels."""

from __future__ import annotations

import re
from dataclasses import dataclass
from pathlib import Path
from typing import BinaryIO

from pydicom.charset import convert_encodings, decode_bytes
from pydicom.datadict import tag_for_keyword
from pydicom.dataset import Dataset
from pydicom.filereader import read_partial
from pydicom.tag import BaseTag

_UID = re.compile(r"(?:0|[1-9][0-9]*)(?:\.(?:0|[1-9][0-9]*))*")

STUDY_KEYS = (
    "StudyInstanceUID",
    "StudyDate",
    "StudyTime",
    "AccessionNumber",
    "StudyID",
    "StudyDescription",
    "PatientName",
    "PatientID",
    "IssuerOfPatientID",
    "PatientBirthDate",
    "PatientSex",
    "ReferringPhysicianName",
)
SERIES_KEYS = ("SeriesInstanceUID", "Modality", "SeriesNumber", "SeriesDescription")
IMAGE_KEYS = ("SOPInstanceUID", "SOPClassUID", "InstanceNumber")
_KEYS = STUDY_KEYS + SERIES_KEYS + IMAGE_KEYS
_NAMES_AND_TEXTS = {
    "PatientName",
    "StudyDescription",
    "SeriesDescription",
    "ReferringPhysicianName",
    "StudyID",
    "AccessionNumber",
    "PatientID",
    "IssuerOfPatientID",
}


def is_uid(text: str) -> bool:
    """Whether `text` is a UID (PS3.5 9.1): digits and dots, at most 64, so also a safe name for a file."""
    return len(text) <= 64 and _UID.fullmatch(text) is not None


@dataclass(frozen=True, slots=True)
class Record:
    """One stored instance.

    Parameters
    ----------
    path : Path
        Its file.
    values : dict of str to str
        Attribute values by keyword, as text; backslashes separate several.
    """

    path: Path
    values: dict[str, str]

    def __getitem__(self, keyword: str) -> str:
        return self.values.get(keyword, "")


def read_record(path: Path) -> Record:
    """Return what the header of a DICOM file says.

    Raises
    ------
    OSError
        If it cannot be read.
    Exception
        Whatever pydicom raises for bytes that are not DICOM.
    """
    with path.open("rb") as file:
        return Record(path, _header_values(file))


def _header_values(file: BinaryIO) -> dict[str, str]:
    wanted = ["SpecificCharacterSet", *_KEYS]
    header = read_partial(
        file, stop_when=_beyond_index, specific_tags=[int(tag_for_keyword(keyword) or 0) for keyword in wanted]
    )
    encodings = convert_encodings(_raw(header, "SpecificCharacterSet").decode("ascii", "replace").strip().split("\\"))
    values = {}
    for keyword in _KEYS:
        raw = _raw(header, keyword)
        if keyword in _NAMES_AND_TEXTS:
            values[keyword] = decode_bytes(raw, encodings, {ord("^"), ord("="), ord("\\")}).rstrip("\0 ")
        else:
            values[keyword] = raw.decode("ascii", "replace").strip("\0 ")
    return values


def _beyond_index(tag: BaseTag, vr: str | None, length: int) -> bool:
    # Every key of the index lies in groups up to 0020; what follows may be long (report content, pixels).
    return tag.group > 0x0020


def _raw(header: Dataset, keyword: str) -> bytes:
    # Undecoded: what the sender wrote is to be judged here, not silently repaired or warned about elsewhere.
    tag = tag_for_keyword(keyword)
    if tag is None or tag not in header:
        return b""
    value = header.get_item(tag).value
    return value if isinstance(value, bytes) else str(value or "").encode("ascii", "replace")
