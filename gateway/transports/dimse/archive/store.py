"""The archive's folder: one file an instance, never overwritten, on the disk before it is acknowledged."""

from __future__ import annotations

import os
import threading
from dataclasses import dataclass
from pathlib import Path

from gateway.transports.dimse.archive.incoming import IncomingFolder, IncomingObject
from gateway.transports.dimse.archive.records import Record, is_uid, read_record
from gateway.transports.dimse.outgoing import NotAsDescribedError, read_file_meta

STORED = 0x0000
OUT_OF_RESOURCES = 0xA700
DOES_NOT_MATCH_CLASS = 0xA900
CANNOT_UNDERSTAND = 0xC000
DUPLICATE = 0x0111
INSTANCE_NOT_VALID = 0x0117

_COMPARE_LENGTH = 1 << 20


class ArchiveStore:
    """Instances under ``folder/<study>/<series>/<instance>.dcm``, with an index in memory made from them.

    Parameters
    ----------
    folder : Path
        The archive's folder; made where it does not exist. One archive at a time may use it.
    """

    def __init__(self, folder: Path) -> None:
        self._folder = folder.resolve()
        self._incoming = IncomingFolder(self._folder)
        self._lock = threading.Lock()
        self._records: dict[str, Record] = {}

    def open(self) -> None:
        """Read the index from the folder and make ready to receive.

        Raises
        ------
        OSError
            If the folder cannot be made or read.
        """
        self._folder.mkdir(parents=True, exist_ok=True)
        self._incoming.prepare()
        self._records = {}
        for path in sorted(self._folder.glob("*/*/*.dcm")):
            record = read_record(path)
            self._records[record["SOPInstanceUID"]] = record

    def close(self) -> None:
        """Remove what was left unfinished."""
        self._incoming.remove()

    def receive(self, sop_class_uid: str, sop_instance_uid: str, transfer_syntax_uid: str) -> Reception:
        """Begin to receive one object."""
        return Reception(self, self._incoming.open(sop_class_uid, sop_instance_uid, transfer_syntax_uid))

    def records(self) -> tuple[Record, ...]:
        """Return every record; a copy, so that others may store meanwhile."""
        with self._lock:
            return tuple(self._records.values())

    def sop_class_of(self, sop_instance_uid: str) -> str | None:
        """Return the SOP class of a stored instance, or None where it is not there, looking at the disk as well."""
        with self._lock:
            record = self._records.get(sop_instance_uid)
        if record is None or not record.path.is_file():
            return None
        return record["SOPClassUID"]

    def keep(self, incoming: IncomingObject) -> tuple[int, str]:
        """Move a received object into the archive.

        The file is brought to the disk, gets its name, and the folder is brought to the disk, all before this
        returns `STORED`: a success may be believed even if the power fails right after it.

        Returns
        -------
        tuple of (int, str)
            C-STORE status and Error Comment.
        """
        if not incoming.valid:
            return INSTANCE_NOT_VALID, "a UID of the request breaks the rules for UIDs"
        try:
            incoming.sync()
        except OSError as error:
            return OUT_OF_RESOURCES, error.strerror or "cannot write"
        try:
            record = read_record(incoming.path)
        except Exception:  # whatever pydicom raises for bytes that are not a data set
            return CANNOT_UNDERSTAND, "the data set cannot be read"
        status, comment = _verdict(incoming, record)
        if status != STORED:
            return status, comment
        with self._lock:
            return self._place(incoming, record)

    def _place(self, incoming: IncomingObject, record: Record) -> tuple[int, str]:
        uid = record["SOPInstanceUID"]
        known = self._records.get(uid)
        if known is not None:
            if _same_data_set(known.path, incoming):
                return STORED, ""
            return DUPLICATE, "another object has this SOP Instance UID"
        series = self._folder / record["StudyInstanceUID"] / record["SeriesInstanceUID"]
        path = series / f"{uid}.dcm"
        try:
            _make_folders(series)
            incoming.path.rename(path)
            _sync(series)
        except OSError as error:
            return OUT_OF_RESOURCES, error.strerror or "cannot write"
        self._records[uid] = Record(path, record.values)
        return STORED, ""


@dataclass(frozen=True, slots=True)
class Reception:
    """One object on its way in; `gateway.transports.dimse.message_manners.Sink`."""

    store: ArchiveStore
    incoming: IncomingObject

    def write(self, data: memoryview) -> None:
        """Take the next bytes."""
        self.incoming.write(data)

    def finish(self) -> tuple[int, str]:
        """Keep the object."""
        return self.store.keep(self.incoming)

    def discard(self) -> None:
        """Forget what is not kept."""
        self.incoming.discard()


def _verdict(incoming: IncomingObject, record: Record) -> tuple[int, str]:
    if record["SOPInstanceUID"] != incoming.sop_instance_uid:
        return DOES_NOT_MATCH_CLASS, "the data set has another SOP Instance UID"
    if record["SOPClassUID"] != incoming.sop_class_uid:
        return DOES_NOT_MATCH_CLASS, "the data set has another SOP Class UID"
    for keyword in ("StudyInstanceUID", "SeriesInstanceUID"):
        if not is_uid(record[keyword]):
            return DOES_NOT_MATCH_CLASS, f"{keyword} is missing or not a UID"
    return STORED, ""


def _same_data_set(path: Path, incoming: IncomingObject) -> bool:
    try:
        meta, offset = read_file_meta(path)
    except (OSError, NotAsDescribedError):
        return False
    if meta.get(0x00020010) != incoming.transfer_syntax_uid:
        return False
    with path.open("rb") as stored, incoming.path.open("rb") as received:
        stored.seek(offset)
        received.seek(incoming.data_set_offset)
        while True:
            here, there = stored.read(_COMPARE_LENGTH), received.read(_COMPARE_LENGTH)
            if here != there:
                return False
            if not here:
                return True


def _make_folders(folder: Path) -> None:
    for each in (folder.parent, folder):
        if not each.is_dir():
            each.mkdir(exist_ok=True)
            _sync(each.parent)


def _sync(folder: Path) -> None:
    handle = os.open(folder, os.O_RDONLY)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)
