"""Objects while they arrive: raw bytes behind a new File Meta Information, outside the archive's folder."""

from __future__ import annotations

import os
import shutil
import struct
import tempfile
from pathlib import Path

from pynetdicom import PYNETDICOM_IMPLEMENTATION_UID, PYNETDICOM_IMPLEMENTATION_VERSION

from gateway.transports.dimse.archive.records import is_uid


def file_head(sop_class_uid: str, sop_instance_uid: str, transfer_syntax_uid: str) -> bytes:
    """Return preamble, prefix and File Meta Information of a file (PS3.10 7.1), up to its data set."""
    elements = (
        (0x0002, b"UI", sop_class_uid),
        (0x0003, b"UI", sop_instance_uid),
        (0x0010, b"UI", transfer_syntax_uid),
        (0x0012, b"UI", PYNETDICOM_IMPLEMENTATION_UID),
        (0x0013, b"SH", PYNETDICOM_IMPLEMENTATION_VERSION),
    )
    meta = struct.pack("<HH2sHL2s", 0x0002, 0x0001, b"OB", 0, 2, b"\x00\x01")
    for element, vr, text in elements:
        value = text.encode("ascii")
        if len(value) % 2:
            value += b"\0" if vr == b"UI" else b" "
        meta += struct.pack("<HH2sH", 0x0002, element, vr, len(value)) + value
    return bytes(128) + b"DICM" + struct.pack("<HH2sHL", 0x0002, 0x0000, b"UL", 4, len(meta)) + meta


class IncomingObject:
    """The unfinished file of one object.

    Parameters
    ----------
    folder : Path
        Where the unfinished file lies.
    sop_class_uid, sop_instance_uid, transfer_syntax_uid : str
        As the command and the negotiation state them.
    """

    def __init__(self, folder: Path, sop_class_uid: str, sop_instance_uid: str, transfer_syntax_uid: str) -> None:
        self.sop_class_uid = sop_class_uid
        self.sop_instance_uid = sop_instance_uid
        self.transfer_syntax_uid = transfer_syntax_uid
        self.failure: OSError | None = None
        self.path = Path()
        self.data_set_offset = 0
        self._handle = -1
        if not all(map(is_uid, (sop_class_uid, sop_instance_uid, transfer_syntax_uid))):
            return  # `valid` says so; nothing of it is written
        try:
            self._handle, name = tempfile.mkstemp(dir=folder)
            self.path = Path(name)
        except OSError as error:
            self.failure = error
            return
        head = file_head(sop_class_uid, sop_instance_uid, transfer_syntax_uid)
        self.data_set_offset = len(head)
        self.write(memoryview(head))

    @property
    def valid(self) -> bool:
        """Whether the command named the object by real UIDs."""
        return self.failure is not None or self.data_set_offset > 0

    def write(self, data: memoryview) -> None:
        """Append bytes; the first failure is kept, what follows it is dropped."""
        if self._handle < 0 or self.failure is not None:
            return
        try:
            while data:
                data = data[os.write(self._handle, data) :]
        except OSError as error:
            self.failure = error

    def sync(self) -> None:
        """Bring everything to the disk and close.

        Raises
        ------
        OSError
            The first failure of this object.
        """
        if self.failure is not None:
            raise self.failure
        os.fsync(self._handle)
        self._close()

    def discard(self) -> None:
        """Forget the object; harmless after it was moved into the archive."""
        self._close()
        if self.path.name:
            self.path.unlink(missing_ok=True)

    def _close(self) -> None:
        if self._handle >= 0:
            os.close(self._handle)
            self._handle = -1


class IncomingFolder:
    """The folder of unfinished files: beside the archive's own, on the same file system, so that a move is atomic."""

    def __init__(self, folder: Path) -> None:
        self.path = folder.with_name(f".{folder.name}.incoming")

    def prepare(self) -> None:
        """Make it, empty: what a crash left unfinished was never acknowledged."""
        shutil.rmtree(self.path, ignore_errors=True)
        self.path.mkdir(parents=True)

    def remove(self) -> None:
        """Remove it."""
        shutil.rmtree(self.path, ignore_errors=True)

    def open(self, sop_class_uid: str, sop_instance_uid: str, transfer_syntax_uid: str) -> IncomingObject:
        """Begin one object."""
        return IncomingObject(self.path, sop_class_uid, sop_instance_uid, transfer_syntax_uid)
