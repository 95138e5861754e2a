from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest

from gateway.pipeline.store import ObjectRecord, Store


@pytest.fixture
def store(tmp_path: Path) -> Iterator[Store]:
    opened = Store(tmp_path / "data")
    yield opened
    opened.close()


def record(uid: str, sha256: str = "aa", study: str = "1.2") -> ObjectRecord:
    return ObjectRecord(uid, study, "1.2.3", "1.2.840.10008.5.1.4.1.1.6.1", "1.2.840.10008.1.2.1", "image", sha256)
