"""Errors of the local store, spool and queue."""

from __future__ import annotations

from typing import ClassVar

from gateway.errors import GatewayError


class StoreError(GatewayError):
    """The local store, spool or queue refused."""

    code: ClassVar[str] = "store"
    exit_code: ClassVar[int] = 5


class StoreUnavailableError(StoreError):
    """The database or the spool folder cannot be used."""

    code = "store-unavailable"
    temporary = True
    explanation = (
        "The gateway keeps exams, objects and deliveries in a database and a spool folder. The folder is missing,"
        " full, read-only, or another process holds the database. Nothing was lost: free space or mend the "
        "permissions and run the command again."
    )


class SameUidOtherContentError(StoreError):
    """An object with a known SOP Instance UID and different bytes."""

    code = "same-uid-other-content"
    explanation = (
        "A SOP Instance UID stands for one content for ever. The object just built has a UID that the store "
        "already knows with other bytes, so it was not queued. This is a fault of the gateway, not of the exam: "
        "keep the data folder and report it."
    )


class SpoolDamagedError(StoreError):
    """A file of the spool is gone or no longer what its digest says."""

    code = "spool-damaged"
    explanation = (
        "Objects wait in the spool under the digest of their bytes. This one is missing or was changed on disk, "
        "so it is not sent. Build the exam again from its folder; look at the disk before that."
    )
