"""One run of the demo for all tests that look at what it left behind."""

from __future__ import annotations

import hashlib
import json
import os
import subprocess
import sys
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pytest
from pydicom import Dataset, dcmread


@dataclass(frozen=True)
class DemoRun:
    """Two runs of ``gateway demo`` into one folder."""

    folder: Path
    printed: Mapping[str, Any]
    """The JSON of the second run."""
    tables: str
    """The text of the first run."""
    digests_after_first: Mapping[str, str]
    digests_after_second: Mapping[str, str]

    @property
    def objects(self) -> list[Dataset]:
        """Every object in the archive."""
        return [dcmread(path) for path in archive_files(self.folder)]

    @property
    def report(self) -> Dataset:
        """The structured report."""
        (report,) = [ds for ds in self.objects if ds.Modality == "SR"]
        return report

    def image(self, capture_id: str) -> Dataset:
        """The image made of a capture, found by what the archive alone can tell: the report's evidence and comments."""
        for ds in self.objects:
            if ds.Modality == "US" and capture_id in str(ds.get("ImageComments", "")):
                return ds
        raise KeyError(capture_id)


def archive_files(folder: Path) -> list[Path]:
    return sorted(path for path in (folder / "archive").rglob("*") if path.is_file())


def digests(folder: Path) -> dict[str, str]:
    return {
        str(path.relative_to(folder)): hashlib.sha256(path.read_bytes()).hexdigest() for path in archive_files(folder)
    }


def gateway(*arguments: str | Path, cwd: Path | None = None, code: int = 0) -> str:
    """Run the program as a user would and return what it printed."""
    command = [sys.executable, "-W", "error", "-m", "gateway", *map(str, arguments)]
    # Compiled modules are kept even where the surroundings say otherwise: a start takes a quarter less.
    environment = {name: value for name, value in os.environ.items() if name != "PYTHONDONTWRITEBYTECODE"}
    result = subprocess.run(command, capture_output=True, text=True, cwd=cwd, check=False, timeout=120, env=environment)
    assert result.returncode == code, f"exit {result.returncode}\n{result.stdout}\n{result.stderr}"
    return result.stdout + result.stderr


@pytest.fixture(scope="session")
def demo(tmp_path_factory: pytest.TempPathFactory) -> DemoRun:
    folder = tmp_path_factory.mktemp("demo") / "demo-output"
    tables = gateway("demo", "--out", folder)
    first = digests(folder)
    second_output = gateway("demo", "--out", folder, "--json")
    return DemoRun(folder, json.loads(second_output), tables, first, digests(folder))
