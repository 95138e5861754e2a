"""The spool: built objects on disk under the digest of their bytes, until they are confirmed elsewhere."""

from __future__ import annotations

import hashlib
import os
import shutil
from pathlib import Path

from gateway.errors.store import SpoolDamagedError, StoreUnavailableError

_OWNER_ONLY = 0o700


class Spool:
    """A folder of files named by SHA-256, each written once and never changed.

    Parameters
    ----------
    folder : Path
        Created with access for its owner only: it holds patient data.
    """

    def __init__(self, folder: Path) -> None:
        self._folder = folder
        try:
            for part in (folder, self.building, self.outgoing):
                part.mkdir(mode=_OWNER_ONLY, parents=True, exist_ok=True)
            folder.chmod(_OWNER_ONLY)
        except OSError as error:
            raise StoreUnavailableError(
                "the spool folder cannot be used", where=str(folder), was=str(error), fix="mend the folder or its disk"
            ) from error

    @property
    def building(self) -> Path:
        """Where this process's builders write before an object is adopted; on the same file system as the spool."""
        return self._folder / f"building-{os.getpid()}"

    @property
    def outgoing(self) -> Path:
        """Where copies in another transfer syntax lie while they are being sent; this process's own."""
        return self._folder / f"outgoing-{os.getpid()}"

    def close(self) -> None:
        """Remove what this process began and did not finish."""
        for part in (self.building, self.outgoing):
            shutil.rmtree(part, ignore_errors=True)

    def path(self, sha256: str) -> Path:
        """Return where the file with this digest lies, whether or not it is there."""
        return self._folder / sha256[:2] / f"{sha256}.dcm"

    def adopt(self, built: Path, sha256: str) -> Path:
        """Move a finished file into the spool, durable before this returns; adopting the same bytes twice is harmless.

        Raises
        ------
        StoreUnavailableError
            If the disk refuses.
        """
        target = self.path(sha256)
        try:
            target.parent.mkdir(mode=_OWNER_ONLY, exist_ok=True)
            with built.open("rb") as file:
                os.fsync(file.fileno())
            built.replace(target)
            for folder in (target.parent, self._folder):
                _sync_folder(folder)
        except OSError as error:
            raise StoreUnavailableError("the spool cannot take a file", where=str(target), was=str(error)) from error
        return target

    def verified(self, sha256: str) -> Path:
        """Return the path of a file after reading it once and comparing its digest.

        Raises
        ------
        SpoolDamagedError
            If it is gone or changed.
        """
        path = self.path(sha256)
        try:
            with path.open("rb") as file:
                found = hashlib.file_digest(file, "sha256").hexdigest()
        except OSError as error:
            raise SpoolDamagedError("a file of the spool cannot be read", where=str(path), was=str(error)) from error
        if found != sha256:
            raise SpoolDamagedError("a file of the spool was changed", where=str(path), was=f"digest {found[:12]}...")
        return path


def _sync_folder(folder: Path) -> None:
    """Make a rename durable; POSIX wants the folder itself synchronised."""
    handle = os.open(folder, os.O_RDONLY)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)
