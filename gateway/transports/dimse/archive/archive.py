"""The loopback archive: its services on one port."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from pathlib import Path
from types import TracebackType
from typing import Self, cast

from pydicom.dataset import Dataset
from pynetdicom import build_context, evt
from pynetdicom.events import Event
from pynetdicom.presentation import PresentationContext
from pynetdicom.sop_class import (  # type: ignore[attr-defined]
    StorageCommitmentPushModel,
    StudyRootQueryRetrieveInformationModelFind,
    Verification,
)

from gateway.transports.dimse.archive.matching import IdentifierError, answers, read_query
from gateway.transports.dimse.archive.records import Record
from gateway.transports.dimse.archive.reporter import CommitmentReporter
from gateway.transports.dimse.archive.store import ArchiveStore
from gateway.transports.dimse.association import DEFAULT_TRANSFER_SYNTAX, EXPLICIT_TRANSFER_SYNTAX, service_context
from gateway.transports.dimse.listener import Listener
from gateway.transports.dimse.peer import Peer

IMAGE_CLASSES = (
    "1.2.840.10008.5.1.4.1.1.6.1",  # Ultrasound Image
    "1.2.840.10008.5.1.4.1.1.3.1",  # Ultrasound Multi-frame Image
    "1.2.840.10008.5.1.4.1.1.7",  # Secondary Capture Image
    "1.2.840.10008.5.1.4.1.1.7.2",  # Multi-frame Grayscale Byte Secondary Capture
    "1.2.840.10008.5.1.4.1.1.7.3",  # Multi-frame Grayscale Word Secondary Capture
    "1.2.840.10008.5.1.4.1.1.7.4",  # Multi-frame True Color Secondary Capture
)
DOCUMENT_CLASSES = (
    "1.2.840.10008.5.1.4.1.1.88.22",  # Enhanced SR
    "1.2.840.10008.5.1.4.1.1.88.33",  # Comprehensive SR
    "1.2.840.10008.5.1.4.1.1.88.34",  # Comprehensive 3D SR
    "1.2.840.10008.5.1.4.1.1.88.59",  # Key Object Selection Document
    "1.2.840.10008.5.1.4.1.1.104.1",  # Encapsulated PDF
    "1.2.840.10008.5.1.4.1.1.11.1",  # Grayscale Softcopy Presentation State
    "1.2.840.10008.5.1.4.1.1.11.2",  # Color Softcopy Presentation State
)
IMAGE_TRANSFER_SYNTAXES = (
    EXPLICIT_TRANSFER_SYNTAX,
    "1.2.840.10008.1.2.4.80",  # JPEG-LS Lossless
    "1.2.840.10008.1.2.5",  # RLE Lossless
    "1.2.840.10008.1.2.4.50",  # JPEG Baseline
    "1.2.840.10008.1.2.4.102",  # MPEG-4 AVC/H.264 High Profile
    "1.2.840.10008.1.2.4.104",  # MPEG-4 AVC/H.264 High Profile for 2D video
    DEFAULT_TRANSFER_SYNTAX,
)


class LoopbackArchive:
    """An archive between entering and leaving a ``with`` block.

    Parameters
    ----------
    folder : Path
        Where instances are kept, as ``<study>/<series>/<instance>.dcm``; nothing else is put there.
    ae_title : str
        The title it answers to.
    host : str
        Address to listen on.
    port : int
        Port; 0 lets the operating system choose, see `port`.
    report_to : mapping of str to Peer, optional
        By requesting AE title: where its storage commitment reports go, on a new association. Titles that are not
        named get the report on the association of their request.
    timeout_s : float
        Patience with silent peers, seconds.

    Raises
    ------
    ListenerPortError
        On entering, if the port cannot be had.
    """

    def __init__(
        self,
        folder: Path,
        *,
        ae_title: str = "ARCHIVE",
        host: str = "127.0.0.1",
        port: int = 0,
        report_to: Mapping[str, Peer] | None = None,
        timeout_s: float = 60.0,
    ) -> None:
        self._store = ArchiveStore(folder)
        self._reporter = CommitmentReporter(self._store, report_to or {})
        self._listener = Listener(
            ae_title,
            (host, port),
            list(_contexts()),
            [
                (evt.EVT_C_ECHO, _on_echo),
                (evt.EVT_C_FIND, self._on_find),
                (evt.EVT_N_ACTION, self._reporter.on_action),
            ],
            open_sink=self._store.receive,
            timeout_s=timeout_s,
        )

    @property
    def ae_title(self) -> str:
        """The title it answers to."""
        return self._listener.ae_title

    @property
    def port(self) -> int:
        """The port it listens on."""
        return self._listener.port

    def records(self) -> tuple[Record, ...]:
        """Return what it holds."""
        return self._store.records()

    def __enter__(self) -> Self:
        self._store.open()
        try:
            self._listener.__enter__()
        except BaseException:
            self._store.close()
            raise
        self._reporter.start()
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self._listener.__exit__(kind, error, trace)
        self._reporter.stop()
        self._store.close()

    def _on_find(self, event: Event) -> Iterator[tuple[int | Dataset, Dataset | None]]:
        try:
            query = read_query(event.identifier)
        except IdentifierError as error:
            refusal = Dataset()
            refusal.Status = 0xA900
            refusal.ErrorComment = str(error)[:64]
            yield refusal, None
            return
        pending = 0xFF01 if query.unsupported else 0xFF00
        for answer in answers(query, self._store.records(), self.ae_title):
            if event.is_cancelled:
                yield 0xFE00, None
                return
            yield pending, answer


def _on_echo(event: Event) -> int:
    return 0x0000


def _contexts() -> Iterator[PresentationContext]:
    for sop_class in IMAGE_CLASSES:
        yield build_context(sop_class, list(IMAGE_TRANSFER_SYNTAXES))
    for sop_class in DOCUMENT_CLASSES:
        yield build_context(sop_class, [EXPLICIT_TRANSFER_SYNTAX, DEFAULT_TRANSFER_SYNTAX])
    for service in (Verification, StudyRootQueryRetrieveInformationModelFind, StorageCommitmentPushModel):
        yield service_context(cast("str", service))
